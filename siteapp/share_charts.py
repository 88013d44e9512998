"""How are charts on rivals and on the share drawn? The same inks as everywhere.

Each function takes a table from ``capture.papers`` and returns an Altair chart; nothing is
told by colour alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from capture.basis import Range
from capture.papers.look import INK, RUST, WATER
from siteapp.charts import finish

NARROW = alt.Axis(labelLimit=150)


def draw_ranges(
    rows: Sequence[tuple[str, Range]], *, title: str, scale: float = 1.0, digits: int = 2
) -> Any:
    """Draw ranges under each other: a diamond at the middle, a bar from 5th to 95th percentile.

    Parameters
    ----------
    rows : sequence of (name, Range)
    title : str
        What is drawn, with its unit.
    scale : float
        From the ranges' unit to the one drawn.
    digits : int
        Digits after the point of the labels.
    """
    table = pd.DataFrame(
        [
            {
                "name": name,
                "low": number.low * scale,
                "value": number.value * scale,
                "high": number.high * scale,
                "label": f"{number.value * scale:.{digits}f}",
            }
            for name, number in rows
        ]
    )
    base = alt.Chart(table).encode(y=alt.Y("name:N", title=None, sort=None, axis=NARROW))
    bars = base.mark_rule(strokeWidth=4, color=WATER).encode(
        x=alt.X(
            "low:Q",
            title=title,
            scale=alt.Scale(domain=[0, 1.06 * float(table["high"].max())], nice=False),
        ),
        x2="high:Q",
    )
    points = base.mark_point(shape="diamond", size=130, filled=True, color=RUST, opacity=1).encode(
        x="value:Q"
    )
    text = base.mark_text(dy=-13, fontWeight=600).encode(x="value:Q", text="label:N")
    return finish(bars + points + text, height=80 + 48 * len(table))


def draw_homes(table: pd.DataFrame) -> Any:
    """Draw where washing from homes goes; the site's own bar is filled with another ink."""
    shown = table.assign(percent=table["share"] * 100, own=table["name"] == "this site")
    shown = shown.assign(label=[f"{value:.0f} %" for value in shown["percent"]])
    base = alt.Chart(shown).encode(y=alt.Y("name:N", title=None, sort=None, axis=NARROW))
    bars = base.mark_bar(height=18, stroke=INK, strokeWidth=1).encode(
        x=alt.X("percent:Q", title="of washing from homes within ten minutes, %"),
        color=alt.Color(
            "own:N", legend=None, scale=alt.Scale(domain=[True, False], range=[RUST, "#ffffff"])
        ),
    )
    text = base.mark_text(align="left", dx=6).encode(x="percent:Q", text="label:N")
    return finish(bars + text, height=40 + 27 * len(shown))

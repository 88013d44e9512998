"""How are charts on rivals and on the share drawn? The same inks as everywhere.

Each function takes a table from ``capture.papers`` and returns an Altair chart; nothing is
told by colour alone.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from capture.basis import Range
from capture.papers.look import FAINT_INK, INK, MOSS, PLUM, RUST, SAND, WATER
from siteapp.charts import finish

NARROW = alt.Axis(labelLimit=150)
WRAPPED = alt.Axis(labelLimit=170, labelExpr="split(datum.value, '\\n')", labelLineHeight=15)
#: a legend of filled shapes, without the dashes of the lines around them
PLAIN = alt.Legend(symbolStrokeWidth=0)
#: characters of a label's line
WRAP_AT = 22


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
                "name": textwrap.fill(name, WRAP_AT),
                "low": number.low * scale,
                "value": number.value * scale,
                "high": number.high * scale,
                "label": f"{number.value * scale:.{digits}f}",
            }
            for name, number in rows
        ]
    )
    base = alt.Chart(table).encode(y=alt.Y("name:N", title=None, sort=None, axis=WRAPPED))
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


def draw_learning(table: pd.DataFrame) -> Any:
    """Draw what each factor was believed to do (dashed ring) and now is (solid diamond)."""
    before = table.assign(
        which="starting value", lo=table["prior_low"], mid=table["prior"], hi=table["prior_high"]
    )
    after = table.assign(which="with the known sites", lo=table["low"], mid=table["factor"],
                         hi=table["high"])  # fmt: skip
    kinds = ["starting value", "with the known sites"]
    long = pd.concat([before, after])
    names = list(table["name"])
    ends = [0.96 * float(long["lo"].min()), 1.04 * float(long["hi"].max())]
    base = alt.Chart(long).encode(
        y=alt.Y("name:N", title=None, sort=names, axis=NARROW),
        yOffset=alt.YOffset("which:N", sort=kinds),
        color=alt.Color(
            "which:N",
            title=None,
            legend=PLAIN,
            sort=kinds,
            scale=alt.Scale(domain=kinds, range=[PLUM, WATER]),
        ),
    )
    bars = base.mark_rule(strokeWidth=3).encode(
        x=alt.X(
            "lo:Q",
            title="one usual step multiplies the share by",
            scale=alt.Scale(type="log", nice=False, domain=ends),
            axis=alt.Axis(values=[0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.25, 1.5, 2]),
        ),
        x2="hi:Q",
        strokeDash=alt.StrokeDash(
            "which:N",
            title=None,
            legend=PLAIN,
            sort=kinds,
            scale=alt.Scale(domain=kinds, range=[[5, 4], [1, 0]]),
        ),
    )
    points = base.mark_point(size=80, filled=True, opacity=1).encode(
        x="mid:Q",
        shape=alt.Shape(
            "which:N", title=None, legend=PLAIN, sort=kinds,
            scale=alt.Scale(domain=kinds, range=["circle", "diamond"]),
        ),
    )  # fmt: skip
    one = (
        alt.Chart(pd.DataFrame({"x": [1.0]}))
        .mark_rule(color=INK, strokeDash=[2, 3])
        .encode(x="x:Q")
    )
    return finish(one + bars + points, height=90 + 40 * len(table))


def draw_calibration(table: pd.DataFrame) -> Any:
    """Draw told against washed share, one mark a site; outside its range is a cross."""
    shown = table.assign(
        told=table["told_share"] * 100,
        seen=table["share"] * 100,
        lo=table["low"] * 100,
        hi=table["high"] * 100,
    )
    ends = [float(shown[["told", "seen", "lo"]].min().min()) * 0.9,
            float(shown[["told", "seen", "hi"]].max().max()) * 1.1]  # fmt: skip
    scale = alt.Scale(type="log", domain=ends, nice=False)
    kinds = ["inside its range", "outside its range"]
    base = alt.Chart(shown).encode(x=alt.X("told:Q", title="told from the others, %", scale=scale))
    bars = base.mark_rule(strokeWidth=1.5, color=FAINT_INK, opacity=0.6).encode(
        y=alt.Y("lo:Q", scale=scale, title="share it did wash, %"), y2="hi:Q"
    )
    points = base.mark_point(size=70, opacity=1, strokeWidth=2.5).encode(
        y=alt.Y("seen:Q", scale=scale),
        shape=alt.Shape(
            "place:N", title=None, scale=alt.Scale(domain=kinds, range=["circle", "cross"])
        ),
        color=alt.Color(
            "place:N", title=None, scale=alt.Scale(domain=kinds, range=[WATER, RUST])
        ),
        tooltip=[alt.Tooltip("id", title="site"), alt.Tooltip("seen", title="washed, %",
                 format=".2f"), alt.Tooltip("told", title="told, %", format=".2f")],
    )  # fmt: skip
    line = (
        alt.Chart(pd.DataFrame({"a": ends}))
        .mark_line(color=INK, strokeDash=[4, 3])
        .encode(x=alt.X("a:Q", scale=scale), y=alt.Y("a:Q", scale=scale))
    )
    return finish(line + bars + points, height=360)


def draw_coverage(table: pd.DataFrame) -> Any:
    """Draw how many sites fell in ranges of each width, against how many should."""
    shown = table.assign(wide=table["width"] * 100, inside=table["inside_share"] * 100)
    kinds = list(dict.fromkeys(shown["told_from"]))
    scale = alt.Scale(domain=[0, 100])
    inks = alt.Scale(domain=kinds, range=[WATER, RUST][: len(kinds)])
    base = alt.Chart(shown).encode(
        x=alt.X("wide:Q", title="width of the range, %", scale=scale),
        y=alt.Y("inside:Q", title="sites that fell inside, %", scale=scale),
        color=alt.Color("told_from:N", title=None, legend=PLAIN, sort=kinds, scale=inks),
    )
    dashes = alt.Scale(domain=kinds, range=[[1, 0], [7, 4]][: len(kinds)])
    shapes = alt.Scale(domain=kinds, range=["circle", "square"][: len(kinds)])
    lines = base.mark_line(strokeWidth=3).encode(
        strokeDash=alt.StrokeDash("told_from:N", title=None, legend=PLAIN, sort=kinds, scale=dashes)
    )
    points = base.mark_point(size=70, filled=True, opacity=1).encode(
        shape=alt.Shape("told_from:N", title=None, legend=PLAIN, sort=kinds, scale=shapes)
    )
    ideal = (
        alt.Chart(pd.DataFrame({"a": [0, 100]}))
        .mark_line(color=INK, strokeDash=[2, 3])
        .encode(x="a:Q", y="a:Q")
    )
    return finish(ideal + lines + points, height=360)


def draw_back_test(table: pd.DataFrame) -> Any:
    """Draw cars by month: the told range as a bar, what was seen as a mark."""
    months = list(table["month"])
    base = alt.Chart(table).encode(x=alt.X("month:N", title=None, sort=months,
                                           axis=alt.Axis(labelAngle=0)))  # fmt: skip
    bars = base.mark_bar(color=SAND, stroke=FAINT_INK, width={"band": 0.6}).encode(
        y=alt.Y("low:Q", title="cars a month"), y2="high:Q"
    )
    ticks = base.mark_tick(color=INK, thickness=3, width={"band": 0.6}).encode(y="cars:Q")
    kinds = ["inside its range", "outside its range"]
    seen = (
        alt.Chart(table[table["place"] != "not given"])
        .mark_point(size=110, filled=True, opacity=1)
        .encode(
            x=alt.X("month:N", sort=months),
            y="seen_cars:Q",
            shape=alt.Shape("place:N", title=None,
                            scale=alt.Scale(domain=kinds, range=["circle", "cross"])),
            color=alt.Color("place:N", title=None,
                            scale=alt.Scale(domain=kinds, range=[WATER, RUST])),
        )
    )  # fmt: skip
    return finish(bars + ticks + seen, height=300)


def draw_members(table: pd.DataFrame) -> Any:
    """Draw members month by month, with their range."""
    base = alt.Chart(table).encode(
        x=alt.X("month:Q", title="months after opening", scale=alt.Scale(nice=False))
    )
    band = base.mark_area(color=SAND).encode(y=alt.Y("low:Q", title="members"), y2="high:Q")
    line = base.mark_line(color=MOSS, strokeWidth=3).encode(y="members:Q")
    return finish(band + line, height=240)

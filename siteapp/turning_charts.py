"""How are waits by hour, the drive in and places of a driveway drawn?

Every series differs by dash, shape, fill or words as well as by ink.
"""

from __future__ import annotations

import math
from typing import Any, Final

import altair as alt
import pandas as pd

from capture.basis import UnitSystem, convert_out
from capture.papers.look import FAINT_INK, INK, MOSS, PLUM, RUST, WATER
from capture.papers.turning_tables import LOOKED_AT
from siteapp.charts import draw_hours_by_stream, finish

#: what may speak against a place of a driveway
_PLACES: Final = ("nothing against it", "near a junction", "a sight triangle fails")
_SEEN: Final = ("in view", "can be read")


def draw_hour_delays(table: pd.DataFrame) -> Any:
    """Draw the seconds that turning in and back out costs by hour, one line per stream."""
    return draw_hours_by_stream(
        table, amount="delay_s", title="seconds, in and back out", short="seconds"
    )


def draw_drive(
    view: pd.DataFrame, events: pd.DataFrame, *, needed_m: float, speed_mps: float,
    system: UnitSystem,
) -> Any:  # fmt: skip
    """Draw the driver's strip: distance before the driveway against what can be seen.

    Parameters
    ----------
    view : DataFrame
        From ``make_drive_table``.
    events : DataFrame
        From ``make_drive_events``.
    needed_m : float
        Distance that a driver needs.
    speed_mps : float
        Speed of the road, which turns distances into seconds.
    system : {"us", "metric"}
    """
    unit = convert_out(1.0, "m", system)[1]
    per_second = convert_out(speed_mps, "m", system)[0]
    most = max(float(view["start"].max()), 1.02 * convert_out(needed_m, "m", system)[0])
    whole = alt.Scale(domain=[most, -0.02 * most], nice=False)
    rows = alt.Scale(domain=[*LOOKED_AT.values(), "on the way"])
    across = alt.X(
        "start:Q",
        title=f"{unit} and seconds before the driveway",
        scale=whole,
        axis=alt.Axis(
            values=_pick_ticks(most),
            labelExpr=f"[datum.label, format(datum.value / {per_second:.6g}, '.0f') + ' s']",
        ),
    )
    drawn = view.assign(kind=["seen" if word in _SEEN else "not" for word in view["view"]])
    bars = (
        alt.Chart(drawn)
        .mark_bar(height=24, stroke=MOSS, strokeWidth=1.5)
        .encode(
            x=across,
            x2="end:Q",
            y=alt.Y("what:N", title=None, scale=rows),
            fill=alt.Fill(
                "kind:N", legend=None,
                scale=alt.Scale(domain=["seen", "not"], range=[MOSS, "#fffdf8"]),
            ),
            tooltip=[alt.Tooltip("what"), alt.Tooltip("view"),
                     alt.Tooltip("start", title=f"from, {unit}", format=".0f"),
                     alt.Tooltip("end", title=f"to, {unit}", format=".0f")],
        )
    )  # fmt: skip
    long = drawn[(drawn["start"] - drawn["end"]) > 0.24 * most]
    words = (
        alt.Chart(long)
        .mark_text(fontWeight=600, align="left", dx=8)
        .encode(
            x=alt.X("start:Q", scale=whole),
            y=alt.Y("what:N", scale=rows),
            text="view:N",
            color=alt.Color(
                "kind:N", legend=None,
                scale=alt.Scale(domain=["seen", "not"], range=["#ffffff", INK]),
            ),
        )
    )  # fmt: skip
    return finish(
        alt.layer(bars, words, *_draw_needed(needed_m, whole, system), *_draw_events(events, whole,
                  rows)).resolve_scale(color="independent", fill="independent"),
        height=300,
    )  # fmt: skip


def _pick_ticks(most: float) -> list[float]:
    size = 10 ** math.floor(math.log10(max(most, 1.0)))
    step = next((size * part for part in (0.1, 0.2, 0.25, 0.5, 1.0) if most / (size * part) <= 6),
                2 * size)  # fmt: skip
    return [step * k for k in range(int(most / step) + 1)]


def _draw_needed(needed_m: float, whole: Any, system: UnitSystem) -> tuple[Any, Any]:
    at = convert_out(needed_m, "m", system)[0]
    table = pd.DataFrame({"at": [at], "label": ["must be seen by here"]})
    base = alt.Chart(table).encode(x=alt.X("at:Q", scale=whole))
    rule = base.mark_rule(color=RUST, strokeWidth=2.5, strokeDash=[6, 4])
    text = base.mark_text(color=RUST, align="center", fontWeight=600, dy=-8, baseline="bottom")
    return rule, text.encode(y=alt.value(0), text="label:N")


def _draw_events(events: pd.DataFrame, whole: Any, rows: Any) -> tuple[Any, Any]:
    marks = events[events["drawn"]].assign(row="on the way")
    marks = marks.assign(label=[str(number) for number in marks["number"]])
    base = alt.Chart(marks).encode(
        x=alt.X("at:Q", scale=whole), y=alt.Y("row:N", title=None, scale=rows)
    )
    points = base.mark_point(shape="diamond", size=150, color=PLUM, filled=True, opacity=1)
    return (
        points.encode(tooltip=[alt.Tooltip("what")]),
        base.mark_text(dy=16, fontWeight=700).encode(text="label:N"),
    )


def draw_places(
    table: pd.DataFrame, best: int, *, corner_reach_m: float, system: UnitSystem
) -> Any:
    """Draw every place of a driveway tried: the part of willing drivers that it keeps.

    Places within ``corner_reach_m`` of a junction, or with failing sight triangles, are told
    apart by shape and fill.
    """
    unit = convert_out(1.0, "m", system)[1]
    shown = table.assign(
        at=[convert_out(value, "m", system)[0] for value in table["along_m"]],
        percent=table["kept"] * 100,
        state=[
            _PLACES[2] if not clear else _PLACES[1] if corner <= corner_reach_m else _PLACES[0]
            for clear, corner in zip(table["triangles_clear"], table["corner_m"], strict=True)
        ],
    )
    low = max(0.0, 5 * math.floor(float(shown["percent"].min()) / 5 - 1))
    high = min(100.0, 5 * math.ceil(float(shown["percent"].max()) / 5 + 1))
    reach = 1.08 * max(float(shown["at"].abs().max()), 1.0)
    x = alt.X(
        "at:Q",
        title=f"{unit} along the road from where it is",
        scale=alt.Scale(domain=[-reach, reach], nice=False),
    )
    y = alt.Y("percent:Q", title="drivers kept, %", scale=alt.Scale(domain=[low, high]))
    points = (
        alt.Chart(shown)
        .mark_point(size=90, strokeWidth=2, stroke=WATER, opacity=1)
        .encode(
            x=x,
            y=y,
            fill=alt.Fill(
                "state:N", title=None,
                scale=alt.Scale(domain=_PLACES, range=[WATER, "#ffffff", "#ffffff"]),
            ),
            shape=alt.Shape(
                "state:N", title=None,
                scale=alt.Scale(domain=_PLACES, range=["circle", "triangle-up", "square"]),
            ),
            tooltip=[alt.Tooltip("at", title=unit, format="+.0f"),
                     alt.Tooltip("percent", title="drivers kept, %", format=".1f"),
                     alt.Tooltip("state", title="place")],
        )
    )  # fmt: skip
    now = int(shown["at"].abs().argmin())
    marked = shown.iloc[[now] if now == best else [now, best]].assign(
        label=["now, and best"] if now == best else ["now", "best"]
    )
    base = alt.Chart(marked).encode(x=x, y=y)
    ring = base.mark_point(shape="diamond", size=420, strokeWidth=2.5, color=RUST, opacity=1)
    text = base.mark_text(dy=-19, fontWeight=700, color=INK).encode(text="label:N")
    rule = alt.Chart(shown.iloc[[now]]).mark_rule(color=FAINT_INK, strokeDash=[2, 4]).encode(x=x)
    return finish(rule + points + ring + text, height=300)

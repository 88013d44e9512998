"""How are hours, months, ages and estimates of traffic drawn?

The same inks as the other charts; every series differs by dash, shape or words as well.
"""

from __future__ import annotations

from typing import Any, Final

import altair as alt
import pandas as pd

from capture.papers.look import FAINT_INK, INK, RUST, SAND, WATER
from capture.passing.aadt import MONTHS, WEEKDAYS
from siteapp.charts import draw_hours_by_stream, finish

#: puts each part of a name on its own line, which leaves room on a phone
_BY_COMMA: Final = "split(datum.label, ', ')"
#: vehicles a day that the axes of estimates name
_TICKS: Final = (100, 300, 1_000, 3_000, 10_000, 30_000, 100_000)


def draw_directions(table: pd.DataFrame) -> Any:
    """Draw vehicles a day of each direction with its range; measured filled, estimated open."""
    base = alt.Chart(table).encode(
        y=alt.Y(
            "stream:N",
            title=None,
            sort=None,
            axis=alt.Axis(labelExpr=_BY_COMMA, labelOverlap=False),
        )
    )
    bars = base.mark_bar(stroke=WATER, strokeWidth=2, height=20).encode(
        x=alt.X("vehicles_per_day:Q", title="vehicles a day that could be washed"),
        fill=alt.Fill(
            "known_by:N",
            title=None,
            scale=alt.Scale(domain=["measured", "estimated"], range=[WATER, "#ffffff"]),
        ),
    )
    ranges = base.mark_rule(strokeWidth=3, color=INK).encode(x="low:Q", x2="high:Q")
    ends = base.mark_tick(thickness=3, height=12, color=INK)
    return finish(
        bars + ranges + ends.encode(x="low:Q") + ends.encode(x="high:Q"),
        height=130 + 62 * len(table),
    )


def draw_stream_hours(table: pd.DataFrame) -> Any:
    """Draw vehicles an hour by hour of the day, one line per stream."""
    return draw_hours_by_stream(
        table,
        amount="vehicles_per_hour",
        title="vehicles an hour on a mean day",
        short="vehicles an hour",
    )


def draw_cells(table: pd.DataFrame) -> Any:
    """Draw the 84 cells as numbers: hundredths of the average day, darker for more."""
    least, most = float(table["over_average"].min()), float(table["over_average"].max())
    base = alt.Chart(table).encode(
        x=alt.X("month:N", title=None, sort=list(MONTHS), axis=alt.Axis(labelAngle=0)),
        y=alt.Y("weekday:N", title=None, sort=list(WEEKDAYS)),
    )
    boxes = base.mark_rect(stroke="#ffffff").encode(
        color=alt.Color(
            "over_average:Q",
            legend=None,
            scale=alt.Scale(domain=[least, most], range=["#fffdf8", "#9cc3c8"]),
        ),
        tooltip=[
            alt.Tooltip("month"),
            alt.Tooltip("weekday"),
            alt.Tooltip("days", title="days counted"),
            alt.Tooltip("mean_day", title="vehicles on that day", format=",.0f"),
        ],
    )
    return finish(boxes + base.mark_text(color=INK).encode(text="label:N"), height=230)


def draw_design_hours(table: pd.DataFrame) -> Any:
    """Draw the share of the average day in the nth busiest hour."""
    named = table.assign(percent=100 * table["k"], label=[f"{100 * k:.1f} %" for k in table["k"]])
    base = alt.Chart(named).encode(
        x=alt.X("rank:O", title="which busiest hour of the year", axis=alt.Axis(labelAngle=0)),
        y=alt.Y("percent:Q", title="share of the average day, %", scale=alt.Scale(domainMin=0)),
    )
    bars = base.mark_bar(color=WATER, width={"band": 0.6})
    return finish(bars + base.mark_text(dy=-9).encode(text="label:N"), height=230)


def draw_ages(table: pd.DataFrame) -> Any:
    """Draw how many counts are from each year."""
    years = table["year"].map(lambda year: "no year" if pd.isna(year) else f"{year:.0f}")
    counted = years.value_counts().rename_axis("year").reset_index(name="counts")
    base = alt.Chart(counted).encode(
        x=alt.X("year:N", title="year of the count", axis=alt.Axis(labelAngle=0)),
        y=alt.Y("counts:Q", title="counts", axis=alt.Axis(tickMinStep=1)),
    )
    bars = base.mark_bar(color=WATER, width={"band": 0.5})
    return finish(bars + base.mark_text(dy=-9).encode(text="counts:Q"), height=180)


def draw_held_out(table: pd.DataFrame) -> Any:
    """Draw what was said of hidden counts against what was counted, with its range."""
    named = table.assign(
        how=["inside the range" if inside else "outside it" for inside in table["inside"]]
    )
    least = 0.8 * float(table[["counted", "low"]].min().min())
    most = 1.25 * float(table[["counted", "high"]].max().max())
    ticks = [tick for tick in _TICKS if least <= tick <= most]
    scale = alt.Scale(type="log", domain=[least, most], nice=False, clamp=True)
    axis = alt.Axis(values=ticks, format=",.0f")
    across = alt.X("counted:Q", title="counted, vehicles a day", scale=scale, axis=axis)
    base = alt.Chart(named).encode(x=across)
    ranges = base.mark_rule(color=FAINT_INK, strokeWidth=1.2).encode(
        y=alt.Y("low:Q", title="estimated without it, vehicles a day", scale=scale, axis=axis),
        y2="high:Q",
    )
    points = base.mark_point(size=70, filled=True, opacity=1).encode(
        y=alt.Y("said:Q", scale=scale),
        shape=alt.Shape(
            "how:N",
            title=None,
            scale=alt.Scale(
                domain=["inside the range", "outside it"], range=["circle", "triangle-up"]
            ),
        ),
        color=alt.Color(
            "how:N",
            title=None,
            scale=alt.Scale(domain=["inside the range", "outside it"], range=[WATER, RUST]),
        ),
        tooltip=[
            alt.Tooltip("group", title="kind of road"),
            alt.Tooltip("counted", format=",.0f"),
            alt.Tooltip("said", title="estimated", format=",.0f"),
        ],
    )
    ends = pd.DataFrame({"counted": [least, most], "said": [least, most]})
    line = alt.Chart(ends).mark_line(color=INK, strokeDash=[4, 4]).encode(x=across, y="said:Q")
    return finish(ranges + line + points, height=340)


def draw_class_volumes(table: pd.DataFrame) -> Any:
    """Draw what an ordinary road of each class is estimated to carry, with its range."""
    classes = list(table["road_class"])
    scale = alt.Scale(type="log", nice=False)
    base = alt.Chart(table).encode(y=alt.Y("road_class:N", title=None, sort=classes))
    axis = alt.Axis(values=list(_TICKS), format=",.0f")
    ranges = base.mark_rule(strokeWidth=8, color=SAND).encode(
        x=alt.X("low:Q", title="vehicles a day, estimated", scale=scale, axis=axis), x2="high:Q"
    )
    points = base.mark_point(size=90, color=WATER, filled=False, strokeWidth=2.5).encode(
        x="vehicles_per_day:Q"
    )
    labels = table.assign(label=[f"{v:,.0f}" for v in table["vehicles_per_day"].round(-1)])
    text = (
        alt.Chart(labels)
        .mark_text(dy=-11)
        .encode(y=alt.Y("road_class:N", sort=classes), x="vehicles_per_day:Q", text="label:N")
    )
    return finish(ranges + points + text, height=36 * len(table) + 40)

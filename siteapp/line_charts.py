"""How are the pictures of the busy hour, the line and the money drawn?

Each takes a table of the papers' and returns an Altair chart in the common look. What a
colour says, a size, a dash, a shape or a word says too.
"""

from __future__ import annotations

from typing import Any, Final

import altair as alt
import pandas as pd

from capture.basis import UnitSystem, convert_out
from capture.papers.look import INK, MOSS, PLUM, RUST, SAND, WATER
from siteapp.charts import DASHES, INKS, finish

HEAT: Final = ("#f1ead9", "#b9cfc9", "#6ea6aa", "#2d7f8d", "#0a4a5e")
KINDS: Final = ("half of drivers at most", "9 of 10 at most", "19 of 20 at most")


def draw_heat(table: pd.DataFrame, rows: str, *, title: str = "cars an hour") -> Any:
    """Draw cars an hour by month or weekday and hour: darker and larger is fuller."""
    shown = table[table["cars_per_hour"] > 0]
    order = list(dict.fromkeys(table[rows]))
    return finish(
        alt.Chart(shown)
        .mark_square(opacity=1, stroke=INK, strokeWidth=0.3)
        .encode(
            x=alt.X("hour:O", title="hour of the day", axis=alt.Axis(labelAngle=0)),
            y=alt.Y(f"{rows}:N", title=None, sort=order),
            size=alt.Size("cars_per_hour:Q", title=title, scale=alt.Scale(range=[6, 420])),
            color=alt.Color("cars_per_hour:Q", title=title, scale=alt.Scale(range=list(HEAT))),
            tooltip=[
                alt.Tooltip(f"{rows}:N", title=rows),
                alt.Tooltip("hour:O"),
                alt.Tooltip("cars_per_hour:Q", title="cars an hour", format=".1f"),
            ],
        ),
        height=90 + 25 * len(order),
    )


def draw_calendar(table: pd.DataFrame) -> Any:
    """Draw every day of the year: darker and larger is fuller; a ring marks better weather."""
    days = list(dict.fromkeys(table.sort_values("day")["weekday"].head(7)))
    order = [day for day in ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun") if day in days]
    return finish(
        alt.Chart(table)
        .mark_point(filled=True, opacity=1)
        .encode(
            x=alt.X("week:Q", title="week of the year", scale=alt.Scale(nice=False)),
            y=alt.Y("weekday:N", title=None, sort=order, axis=alt.Axis(labelOverlap=False)),
            size=alt.Size("cars:Q", title="cars a day", scale=alt.Scale(range=[4, 95])),
            color=alt.Color("cars:Q", title="cars a day", scale=alt.Scale(range=list(HEAT))),
            shape=alt.Shape(
                "weather:N",
                title="weather brings",
                legend=alt.Legend(orient="bottom"),
                scale=alt.Scale(
                    domain=["more", "as usual", "fewer"],
                    range=["triangle-up", "square", "triangle-down"],
                ),
            ),
            tooltip=["day:N", "weekday:N", alt.Tooltip("cars:Q", format=".0f"), "weather:N"],
        ),
        height=340,
    )


def draw_ranks(table: pd.DataFrame, *, rank: int, design: float) -> Any:
    """Draw the duration curve with its range, the chosen hour and the hour with headroom."""
    across = alt.X(
        "rank:Q",
        title="nth busiest hour of next year",
        scale=alt.Scale(type="log", domain=[1, float(table["rank"].max())]),
        axis=alt.Axis(values=[1, 2, 5, 10, 30, 100, 300, 1000]),
    )
    base = alt.Chart(table).encode(x=across)
    band = base.mark_area(color=SAND).encode(y=alt.Y("low:Q", title="cars an hour"), y2="high:Q")
    line = base.mark_line(color=WATER, strokeWidth=3).encode(y="cars:Q")
    here = table[table["rank"] == rank]
    row = here.iloc[0] if len(here) else table.iloc[0]
    mark = pd.DataFrame(
        {
            "rank": [row["rank"]],
            "cars": [row["cars"]],
            "low": [row["low"]],
            "high": [row["high"]],
            "label": [f"hour {rank}: {row['cars']:.0f} ({row['low']:.0f} to {row['high']:.0f})"],
        }
    )
    chosen = alt.Chart(mark).encode(x=across)
    rule = chosen.mark_rule(color=RUST, strokeWidth=3).encode(y="low:Q", y2="high:Q")
    point = chosen.mark_point(shape="diamond", size=180, color=RUST, filled=True, opacity=1).encode(
        y="cars:Q"
    )
    text = chosen.mark_text(align="left", dx=6, dy=-8, fontWeight=600).encode(
        y="high:Q", text="label:N"
    )
    last = float(table["rank"].max())
    limit = pd.DataFrame({"y": [design], "rank": [last], "label": [f"built for {design:.0f}"]})
    flat = alt.Chart(limit).mark_rule(color=INK, strokeDash=[6, 4], strokeWidth=2).encode(y="y:Q")
    said = (
        alt.Chart(limit)
        .mark_text(align="right", dx=-4, dy=-9)
        .encode(x=across, y="y:Q", text="label:N")
    )
    return finish(band + line + flat + said + rule + point + text, height=320)


def draw_ramp(table: pd.DataFrame) -> Any:
    """Draw how a young wash grows into its cars."""
    base = alt.Chart(table.assign(share=table["share"] * 100, low=table["low"] * 100,
                                  high=table["high"] * 100)).encode(
        x=alt.X("month:Q", title="months open", axis=alt.Axis(values=[1, 12, 24, 36, 48]))
    )  # fmt: skip
    band = base.mark_area(color=SAND).encode(
        y=alt.Y("low:Q", title="% of mature cars"), y2="high:Q"
    )
    return finish(band + base.mark_line(color=WATER, strokeWidth=3).encode(y="share:Q"), height=240)


def draw_frontier(table: pd.DataFrame, own: dict[str, float], system: UnitSystem) -> Any:
    """Draw cars an hour against length, by package, with cost in the size, and what is chosen."""
    unit = convert_out(1.0, "m", system)[1]
    lengths = [convert_out(v, "m", system)[0] for v in table["length_m"]]
    rows = table.assign(length=lengths, million=table["capital_usd"] / 1e6)
    kinds = list(dict.fromkeys(rows["package"]))
    across = alt.X("length:Q", title=f"length of the line, {unit}", scale=alt.Scale(zero=False))
    up = alt.Y("cars_per_hour:Q", title="cars an hour", scale=alt.Scale(zero=False))
    dots = (
        alt.Chart(rows)
        .mark_point(filled=True, opacity=1)
        .encode(
            x=across,
            y=up,
            size=alt.Size("million:Q", title="equipment, $ million",
                          scale=alt.Scale(range=[12, 260], zero=False)),
            color=alt.Color("package:N", title=None, scale=alt.Scale(
                domain=kinds, range=list(INKS[: len(kinds)]))),
            shape=alt.Shape("package:N", title=None),
            tooltip=["package:N", alt.Tooltip("length:Q", format=".0f"),
                     alt.Tooltip("cars_per_hour:Q", format=".0f"),
                     alt.Tooltip("million:Q", title="$ million", format=".2f")],
        )
    )  # fmt: skip
    here = pd.DataFrame(
        {
            "length": [convert_out(own["length_m"], "m", system)[0]],
            "cars_per_hour": [own["cars_per_hour"]],
            "label": ["the line chosen"],
        }
    )
    point = (
        alt.Chart(here)
        .mark_point(shape="diamond", size=420, color=INK, strokeWidth=4, filled=False)
        .encode(x=across, y=up)
    )
    text = (
        alt.Chart(here)
        .mark_text(align="left", dx=14, dy=12, fontWeight=600)
        .encode(x=across, y=up, text="label:N")
    )
    return finish(dots + point + text, height=340)


def draw_waits(table: pd.DataFrame, *, title: str, limit: float | None = None) -> Any:
    """Draw a percentile each of waits or queues by hour; dash and colour tell them apart."""
    lines = (
        alt.Chart(table)
        .mark_line(strokeWidth=3, interpolate="monotone")
        .encode(
            x=alt.X("hour:Q", title="hour of arrival", scale=alt.Scale(domain=[0, 24]),
                    axis=alt.Axis(tickCount=12)),
            y=alt.Y("amount:Q", title=title),
            color=alt.Color("which:N", title=None, sort=list(KINDS), legend=alt.Legend(columns=1),
                            scale=alt.Scale(domain=list(KINDS), range=[MOSS, PLUM, RUST])),
            strokeDash=alt.StrokeDash("which:N", title=None, sort=list(KINDS),
                                      scale=alt.Scale(domain=list(KINDS), range=list(DASHES[:3]))),
        )
    )  # fmt: skip
    if limit is None:
        return finish(lines, height=320)
    mark = pd.DataFrame({"y": [limit], "hour": [0.3], "label": [f"{limit:.0f} places"]})
    rule = alt.Chart(mark).mark_rule(color=INK, strokeDash=[3, 3], strokeWidth=2).encode(y="y:Q")
    text = alt.Chart(mark).mark_text(align="left", dy=-8).encode(x="hour:Q", y="y:Q", text="label")
    return finish(lines + rule + text, height=320)


def draw_most_waiting(table: pd.DataFrame, places: float) -> Any:
    """Draw on what share of days so many cars wait at once, and the places that there are."""
    rows = table.assign(
        share=table["share_of_days"] * 100,
        where=["on the street" if cars > places else "on the lot" for cars in table["cars"]],
    )
    return finish(
        alt.Chart(rows[(rows["cars"] > 0) & (rows["share"] >= 0.1)])
        .mark_bar(stroke=INK, strokeWidth=0.7)
        .encode(
            x=alt.X("cars:O", title="cars waiting at once", axis=alt.Axis(
                labelAngle=0, labelOverlap=True)),
            y=alt.Y("share:Q", title="% of days with that many or more"),
            color=alt.Color("where:N", title="the last car stands",
                            scale=alt.Scale(domain=["on the lot", "on the street"],
                                            range=[SAND, RUST])),
        ),
        height=260,
    )  # fmt: skip


def draw_bays(table: pd.DataFrame) -> Any:
    """Draw the share of arrivals that find all bays taken, by number of bays."""
    rows = table.assign(share=table["taken_share"] * 100)
    base = alt.Chart(rows).encode(
        x=alt.X("bays:O", title="bays", axis=alt.Axis(labelAngle=0)),
        y=alt.Y("share:Q", title="% that find all taken, design hour"),
    )
    bars = base.mark_bar(color=SAND, stroke=INK, strokeWidth=0.7)
    text = base.mark_text(dy=-8, fontWeight=600).encode(text="chosen:N")
    return finish(bars + text, height=260)


def draw_fan(table: pd.DataFrame, *, title: str) -> Any:
    """Draw cash gathered since the contract with its range."""
    rows = table.assign(
        years=table["month"] / 12,
        low=table["low_usd"] / 1e6,
        middle=table["usd"] / 1e6,
        high=table["high_usd"] / 1e6,
    )
    base = alt.Chart(rows).encode(x=alt.X("years:Q", title="years since the contract"))
    band = base.mark_area(color=SAND).encode(y=alt.Y("low:Q", title=title), y2="high:Q")
    line = base.mark_line(color=WATER, strokeWidth=3).encode(y="middle:Q")
    zero = alt.Chart(pd.DataFrame({"y": [0.0]})).mark_rule(color=INK).encode(y="y:Q")
    return finish(band + line + zero, height=320)


def draw_tornado(table: pd.DataFrame, middle_usd: float) -> Any:
    """Draw the mean value where each input is low and where it is high, strongest first."""
    order = list(table["input"])
    long = pd.concat(
        [
            pd.DataFrame({"input": table["input"], "million": table[name] / 1e6, "when": words})
            for name, words in (
                ("at_low_usd", "in its lowest tenth"),
                ("at_high_usd", "in its highest tenth"),
            )
        ],
        ignore_index=True,
    )
    spans = table.assign(a=table["at_low_usd"] / 1e6, b=table["at_high_usd"] / 1e6)
    rows = alt.Y("input:N", title=None, sort=order)
    bars = (
        alt.Chart(spans)
        .mark_bar(height=14, color=SAND, stroke=INK, strokeWidth=0.6)
        .encode(y=rows, x=alt.X("a:Q", title="mean value today, $ million"), x2="b:Q")
    )
    ends = (
        alt.Chart(long)
        .mark_point(filled=True, size=110, opacity=1)
        .encode(
            y=rows,
            x="million:Q",
            shape=alt.Shape("when:N", title=None, legend=alt.Legend(columns=1), scale=alt.Scale(
                domain=["in its lowest tenth", "in its highest tenth"],
                range=["triangle-left", "circle"])),
            color=alt.Color("when:N", title=None, scale=alt.Scale(
                domain=["in its lowest tenth", "in its highest tenth"], range=[RUST, MOSS])),
        )
    )  # fmt: skip
    rule = (
        alt.Chart(pd.DataFrame({"x": [middle_usd / 1e6]}))
        .mark_rule(color=INK, strokeDash=[4, 3])
        .encode(x="x:Q")
    )
    return finish(bars + rule + ends, height=70 + 32 * len(table))

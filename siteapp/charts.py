"""How are charts drawn? The same inks as maps and print; never by colour alone.

Each function takes a table from ``capture.papers.pictures`` and returns an Altair chart in
the reader's units. Labels name what is meant; text is ink on paper.
"""

from __future__ import annotations

from typing import Any, Final

import altair as alt
import pandas as pd

from capture.basis import UnitSystem, convert_out
from capture.papers.look import FAINT_INK, INK, MOSS, PLUM, RUST, SAND, WATER

FONT: Final = "Source Sans Pro, Source Sans, sans-serif"
DASHES: Final = ([1, 0], [7, 4], [2, 3], [9, 3, 2, 3], [4, 4], [12, 4])
INKS: Final = (WATER, RUST, PLUM, MOSS, INK, FAINT_INK)


def finish(chart: Any, *, height: int = 300) -> Any:
    """Give a chart the common look."""
    return (
        chart.properties(
            height=height,
            background="transparent",
            padding={"left": 5, "right": 16, "top": 5, "bottom": 5},
        )
        .configure_view(stroke=None)
        .configure_axis(
            labelFont=FONT, titleFont=FONT, labelColor=INK, titleColor=INK, labelFontSize=13,
            titleFontSize=13, titleFontWeight="normal", gridColor=SAND, domainColor=FAINT_INK,
            tickColor=FAINT_INK, labelLimit=260,
        )
        .configure_legend(
            labelFont=FONT, titleFont=FONT, labelColor=INK, titleColor=INK, labelFontSize=13,
            symbolStrokeWidth=3, symbolSize=220, orient="top", labelLimit=360,
        )
        .configure_text(font=FONT, fontSize=13, color=INK)
    )  # fmt: skip


def draw_hours_by_stream(table: pd.DataFrame, *, amount: str, title: str, short: str) -> Any:
    """Draw an amount by hour of the day, one line per stream.

    Parameters
    ----------
    table : DataFrame
        Columns ``stream``, ``hour`` and the amount's own.
    amount : str
        That column.
    title, short : str
        What the upright axis and the label of a point say of it.
    """
    streams = list(dict.fromkeys(table["stream"]))
    inks = [INKS[n % len(INKS)] for n in range(len(streams))]
    dashes = [DASHES[n % len(DASHES)] for n in range(len(streams))]
    legend = alt.Legend(columns=1, symbolSize=900)
    last = table[table["hour"] == table["hour"].max()]
    drawn = pd.concat([table, last.assign(hour=last["hour"] + 1)])
    return finish(
        alt.Chart(drawn)
        .mark_line(strokeWidth=3, interpolate="step-after")
        .encode(
            x=alt.X("hour:Q", title="hour of the day", scale=alt.Scale(domain=[0, 24]),
                    axis=alt.Axis(values=list(range(0, 25, 4)))),
            y=alt.Y(f"{amount}:Q", title=title),
            color=alt.Color("stream:N", title=None, sort=streams, legend=legend,
                            scale=alt.Scale(domain=streams, range=inks)),
            strokeDash=alt.StrokeDash("stream:N", title=None, sort=streams, legend=legend,
                                      scale=alt.Scale(domain=streams, range=dashes)),
            tooltip=[alt.Tooltip("stream"), alt.Tooltip("hour"),
                     alt.Tooltip(amount, title=short, format=",.0f")],
        ),
        height=330 + 24 * len(streams),
    )  # fmt: skip


def draw_share(table: pd.DataFrame) -> Any:
    """Draw the steps from the reference share to this site's."""
    kinds = [
        "whole" if key in {"base", "rate"} else "raises" if factor >= 1 else "lowers"
        for key, factor in zip(table["key"], table["factor"], strict=True)
    ]
    labels = [
        f"{100 * end:.2f} %" if kind == "whole" else f"x {factor:.2f}"
        for kind, end, factor in zip(kinds, table["to_share"], table["factor"], strict=True)
    ]
    named = table.assign(
        kind=kinds,
        label=labels,
        start=table["from_share"] * 100,
        end=table["to_share"] * 100,
        right=table[["from_share", "to_share"]].max(axis=1) * 100,
        name=[
            name if known else f"{name} (not known)"
            for name, known in zip(table["name"], table["known"], strict=True)
        ],
    )
    base = alt.Chart(named).encode(y=alt.Y("name:N", title=None, sort=None))
    bars = base.mark_bar(height=20, stroke=INK, strokeWidth=1).encode(
        x=alt.X(
            "start:Q",
            title="share washed, %",
            scale=alt.Scale(domain=[0, 1.34 * float(named["right"].max())], nice=False),
        ),
        x2="end:Q",
        color=alt.Color(
            "kind:N",
            legend=None,
            scale=alt.Scale(domain=["whole", "raises", "lowers"], range=[INK, MOSS, RUST]),
        ),
    )
    text = base.mark_text(align="left", dx=7).encode(x="right:Q", text="label:N")
    return finish(bars + text, height=40 + 30 * len(named))


def draw_week(table: pd.DataFrame) -> Any:
    """Draw expected cars an hour by weekday and hour as circles whose size tells."""
    open_hours = table[table["cars_per_hour"] > 0]
    days = list(dict.fromkeys(table["weekday"]))
    return finish(
        alt.Chart(open_hours)
        .mark_circle(color=WATER, opacity=1)
        .encode(
            x=alt.X("hour:O", title="hour of the day", axis=alt.Axis(labelAngle=0)),
            y=alt.Y("weekday:N", title=None, sort=days),
            size=alt.Size("cars_per_hour:Q", title="cars an hour, on average",
                          scale=alt.Scale(range=[8, 620])),
            tooltip=[alt.Tooltip("weekday"), alt.Tooltip("hour"),
                     alt.Tooltip("cars_per_hour", title="cars an hour", format=".1f")],
        ),
        height=280,
    )  # fmt: skip


def draw_months(table: pd.DataFrame) -> Any:
    """Draw cars by month."""
    months = list(table["month"])
    return finish(
        alt.Chart(table)
        .mark_bar(color=WATER, width={"band": 0.7})
        .encode(
            x=alt.X("month:N", title=None, sort=months, axis=alt.Axis(labelAngle=0)),
            y=alt.Y("cars:Q", title="cars"),
        ),
        height=180,
    )


def draw_line(table: pd.DataFrame, system: UnitSystem) -> Any:
    """Draw the line to scale: zones in order, and what hangs over them."""
    unit = convert_out(1.0, "m", system)[1]
    rows = table.assign(
        start=[convert_out(v, "m", system)[0] for v in table["start_m"]],
        end=[convert_out(v, "m", system)[0] for v in table["start_m"] + table["length_m"]],
        row=[str(n % 3) for n in range(len(table))],
        label=[f"{n + 1}" for n in range(len(table))],
        kind=["zone" if length > 0 else "over another zone" for length in table["length_m"]],
    )
    zones = rows[rows["length_m"] > 0]
    over = rows[rows["length_m"] <= 0]
    boxes = (
        alt.Chart(zones)
        .mark_bar(height=54, stroke=INK, strokeWidth=1.5, color="#fffdf8")
        .encode(
            x=alt.X("start:Q", title=f"{unit} from the first roller"),
            x2="end:Q",
            tooltip=["name", "purpose"],
        )
    )
    middle = zones.assign(middle=(zones["start"] + zones["end"]) / 2)
    text = alt.Chart(middle).mark_text(fontWeight=700).encode(x="middle:Q", text="label:N")
    hung = (
        alt.Chart(over)
        .mark_point(shape="triangle-down", size=130, color=RUST, filled=True, yOffset=-38)
        .encode(x="start:Q", tooltip=["name", "purpose"])
    )
    numbers = (
        alt.Chart(over)
        .mark_text(dy=-54, fontWeight=700, color=RUST)
        .encode(x="start:Q", text="label:N")
    )
    return finish(boxes + text + hung + numbers, height=150)


def draw_queue(table: pd.DataFrame, places: float) -> Any:
    """Draw the cars waiting by hour of the day, with the places there are."""
    names = [name for name in table.columns if name.startswith("queue_cars ")]
    long = table.melt("hour", names, "which", "cars").dropna()
    long["which"] = long["which"].str.removeprefix("queue_cars ") + " find at most"
    kinds = list(dict.fromkeys(long["which"]))
    lines = (
        alt.Chart(long)
        .mark_line(strokeWidth=3, interpolate="monotone")
        .encode(
            x=alt.X("hour:Q", title="hour of arrival", scale=alt.Scale(domain=[0, 24])),
            y=alt.Y("cars:Q", title="cars waiting ahead"),
            color=alt.Color("which:N", title=None, sort=kinds,
                            scale=alt.Scale(domain=kinds, range=[MOSS, PLUM, RUST])),
            strokeDash=alt.StrokeDash("which:N", title=None, sort=kinds,
                                      scale=alt.Scale(domain=kinds, range=list(DASHES[:3]))),
        )
    )  # fmt: skip
    limit = pd.DataFrame({"cars": [places], "hour": [0.3], "label": [f"{places:.0f} places"]})
    rule = (
        alt.Chart(limit).mark_rule(color=INK, strokeWidth=2, strokeDash=[3, 3]).encode(y="cars:Q")
    )
    text = (
        alt.Chart(limit)
        .mark_text(align="left", dy=-8)
        .encode(x="hour:Q", y="cars:Q", text="label:N")
    )
    return finish(lines + rule + text)


def draw_cash(table: pd.DataFrame) -> Any:
    """Draw cash gathered since the contract, with its range."""
    scaled = table.assign(
        years=table["month"] / 12,
        low=table["low_usd"] / 1e6,
        middle=table["usd"] / 1e6,
        high=table["high_usd"] / 1e6,
    )
    base = alt.Chart(scaled).encode(x=alt.X("years:Q", title="years since the contract"))
    fan = base.mark_area(color=SAND, opacity=0.9).encode(
        y=alt.Y("low:Q", title="cash gathered before debt, $ million"), y2="high:Q"
    )
    line = base.mark_line(color=WATER, strokeWidth=3).encode(y="middle:Q")
    zero = alt.Chart(pd.DataFrame({"y": [0.0]})).mark_rule(color=INK).encode(y="y:Q")
    return finish(fan + line + zero, height=320)

"""Which pictures does a printed report hold? Share, hours, line, queue, money, as SVG.

Each takes the table behind it and gives the same text for the same table. Nothing is told
by colour alone: place, dash, shape or a word always says it too. The map and the parcel
are drawn in :mod:`capture.papers.site_figure`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from capture.basis import UnitSystem
from capture.papers.argument import Claim
from capture.papers.drawing import (
    FACE,
    Axis,
    Drawing,
    draw_axis_below,
    draw_axis_left,
    even,
)
from capture.papers.look import FAINT_INK, INK, MOSS, PLUM, RUST, SAND, WATER
from capture.papers.parcel_figure import draw_parcel, say_parcel
from capture.papers.pictures import WEEKDAYS
from capture.papers.site_figure import draw_map

__all__ = [
    "draw_busy",
    "draw_cash",
    "draw_line",
    "draw_map",
    "draw_parcel",
    "draw_queue",
    "draw_ranges",
    "draw_share",
    "draw_week",
    "say_parcel",
]

WIDE: Final = 520.0
HALF: Final = 252.0
PAPER: Final = "#ffffff"
#: ends of the axis of ranges, as parts of the middle
_LEAST_PART: Final = 0.2
_MOST_PART: Final = 5.0
#: what a bar of :func:`draw_ranges` is called, its unit in the name
_RANGE_WORDS: Final = {
    "passing": "vehicles passing a day",
    "share": "share washed, %",
    "cars": "cars washed a day",
    "hour": "cars in the design hour",
    "line": "length of the line",
    "pay": "years until it has paid back",
}


def draw_share(table: pd.DataFrame) -> str:
    """Draw the steps from the reference share to this site's, each with its own range."""
    rows = table.to_dict("records")
    step = 16.5
    foot = step * len(rows) + 22
    drawing = Drawing(WIDE, foot + 28, "Steps from the reference share to this site's")
    most = 100 * float(table[["from_share", "to_share"]].to_numpy().max())
    axis = Axis(low=0, high=1.02 * most, start=150, end=WIDE - 120)
    draw_axis_below(drawing, axis, foot, 20, "share washed, %")
    drawing.text(WIDE - 82, 12, "times", anchor="end", size=9, ink=FAINT_INK)
    drawing.text(WIDE - 2, 12, "9 times in 10", anchor="end", size=9, ink=FAINT_INK)
    last = axis.start
    for k, row in enumerate(rows):
        y = step * k + 20
        start, end = axis.at(100 * row["from_share"]), axis.at(100 * row["to_share"])
        whole = row["key"] in {"base", "rate"}
        ink = INK if whole else MOSS if row["factor"] >= 1 else RUST
        drawing.line([(last, y - 4), (last, y + 2)], FAINT_INK, 0.6)
        drawing.box(min(start, end), y + 2, max(abs(end - start), 1.4), 11, ink)
        last = end
        name = row["name"] if row["known"] else f"{row['name']} (not known)"
        drawing.text(144, y + 11, name, anchor="end", size=9.5, bold=whole)
        _say_step(drawing, row, y + 11, whole=whole)
    return drawing.render()


def _say_step(drawing: Drawing, row: Any, y: float, *, whole: bool) -> None:
    scale, unit = (100.0, " %") if whole else (1.0, "")
    drawing.text(WIDE - 82, y, f"{scale * row['factor']:.2f}{unit}", anchor="end", size=9.5,
                 bold=whole)  # fmt: skip
    if row["high"] - row["low"] > 1e-9:
        said = f"{scale * row['low']:.2f} to {scale * row['high']:.2f}{unit}"
        drawing.text(WIDE - 2, y, said, anchor="end", size=9.5)


def draw_week(table: pd.DataFrame) -> str:
    """Draw a mean week as dots whose size tells the cars an hour."""
    drawing = Drawing(HALF, 176, "Cars an hour in a mean week")
    shown = table[table["cars_per_hour"] > 0]
    hours = sorted(shown["hour"].unique())
    across = Axis(low=hours[0], high=hours[-1], start=40, end=HALF - 14)
    most = float(shown["cars_per_hour"].max())
    largest = min(9.5, 0.48 * (HALF - 54) / max(len(hours) - 1, 1))
    for k, day in enumerate(WEEKDAYS):
        drawing.text(2, 23 + 20 * k, day, size=9.5)
    for row in shown.to_dict("records"):
        radius = largest * float(np.sqrt(row["cars_per_hour"] / most))
        y = 20 + 20 * WEEKDAYS.index(row["weekday"])
        drawing.dot(across.at(row["hour"]), y, radius, WATER)
    for hour in hours[:: 2 if len(hours) > 10 else 1]:
        drawing.text(across.at(hour), 160, f"{hour}:00", anchor="middle", size=8.5)
    drawing.text(HALF / 2 + 14, 173, f"largest dot: {most:.0f} cars an hour", anchor="middle",
                 size=9, ink=FAINT_INK)  # fmt: skip
    return drawing.render()


def draw_busy(
    table: pd.DataFrame, busy: Sequence[float], *, rank: int, design: float, carries: float
) -> str:
    """Draw the busiest hours of the year in order, and what the line is sized for.

    Parameters
    ----------
    table : DataFrame
        Expected cars of the busiest hours, as made by ``make_duration_table``.
    busy : sequence of float
        5th percentile, median and 95th percentile of next year's hour of that rank.
    rank : int
        Rank of the hour that the line is sized by.
    design, carries : float
        The hour with headroom, and what the line carries, cars/h.
    """
    drawing = Drawing(HALF, 176, "The busiest hours of the year, in order")
    curve = table["cars_per_hour"].to_numpy(dtype=np.float64)
    most = max(float(curve.max()), busy[2], design, carries)
    up = Axis(low=0, high=1.08 * most, start=140, end=22)
    across = Axis(low=0, high=float(len(curve)), start=30, end=HALF - 8)
    draw_axis_left(drawing, up, 30, across.end, "cars an hour")
    draw_axis_below(drawing, across, 140, 140, "hours of the year, busiest first")
    points = [(across.at(k + 1), up.at(value)) for k, value in enumerate(curve)]
    drawing.line(points, WATER, 2.2)
    drawing.text(across.end, up.at(curve[-1]) + 13, "mean of many years", anchor="end", size=8.5,
                 ink=WATER, halo=PAPER)  # fmt: skip
    x = across.at(rank)
    drawing.line([(x, up.at(busy[0])), (x, up.at(busy[2]))], RUST, 1.6)
    for end in (busy[0], busy[2]):
        drawing.line([(x - 4, up.at(end)), (x + 4, up.at(end))], RUST, 1.6)
    drawing.dot(x, up.at(busy[1]), 4, RUST)
    drawing.text(x + 7, up.at(busy[2]) + 7, f"hour {rank} of one year", size=8.5, ink=RUST,
                 halo=PAPER)  # fmt: skip
    y = up.at(carries)
    drawing.line([(30, y), (across.end, y)], INK, 1.2, "5 3")
    drawing.text(across.end, y - 4, f"the line carries {carries:.0f}", anchor="end", size=9,
                 halo=PAPER)  # fmt: skip
    return drawing.render()


def draw_line(line: Any, system: UnitSystem) -> str:
    """Draw the line to scale, numbered as in its schedule; "" for bays."""
    from capture.line import render_line

    if not line.stations:
        return ""
    drawn = render_line(line, units=system, listing=False)
    return re.sub(r'font-family="[^"]*"', f'font-family="{FACE}"', drawn).strip()


def draw_queue(table: pd.DataFrame, places: float, *, seconds: bool = False) -> str:
    """Draw cars found waiting, or minutes waited, by hour of arrival."""
    what = "wait_s" if seconds else "queue_cars"
    title = "Minutes waited by hour of arrival" if seconds else "Cars waiting by hour of arrival"
    drawing = Drawing(HALF, 176, title)
    names = [name for name in table.columns if name.startswith(f"{what} ")]
    scale = 1 / 60 if seconds else 1.0
    known = table.dropna(subset=names)
    most = max(float(np.nanmax(scale * table[names].to_numpy(), initial=1.0)), 1.0)
    high = most if seconds else max(most, min(places, 3 * most))
    up = Axis(low=0, high=high * 1.1, start=140, end=22)
    low_hour, high_hour = (known["hour"].min(), known["hour"].max()) if len(known) else (0, 24)
    across = Axis(low=float(low_hour), high=float(high_hour), start=30, end=HALF - 62)
    draw_axis_left(drawing, up, 30, across.end, "minutes" if seconds else "cars waiting")
    draw_axis_below(drawing, across, 140, 140, "hour of arrival")
    ends = []
    looks = ((MOSS, "", "half"), (PLUM, "6 3", "9 of 10"), (RUST, "2 3", "19 of 20"))  # fmt: skip
    for name, (ink, dash, words) in zip(names, looks, strict=True):
        points = [
            (across.at(h), up.at(scale * v))
            for h, v in known[["hour", name]].itertuples(index=False)
        ]
        if points:
            drawing.line(points, ink, 2, dash)
            ends.append((points[-1][1], ink, words, dash))
    for k, (_, ink, words, dash) in enumerate(reversed(ends)):
        y = 40.0 + 26 * k
        drawing.line([(HALF - 58, y), (HALF - 34, y)], ink, 2, dash)
        drawing.text(HALF - 58, y + 11, words, size=8.5)
    if not seconds and places <= up.high:
        y = up.at(places)
        drawing.line([(30, y), (across.end, y)], INK, 1.2, "5 3")
        drawing.text(across.end, y - 4, f"{places:.0f} places there are", anchor="end", size=9,
                     halo=PAPER)  # fmt: skip
    return drawing.render()


def draw_cash(table: pd.DataFrame) -> str:
    """Draw cash gathered since the contract, with its range."""
    drawing = Drawing(WIDE, 150, "Cash gathered since the contract")
    scaled = table[["low_usd", "usd", "high_usd"]].to_numpy() / 1e6
    up = Axis(low=float(scaled.min()), high=max(float(scaled.max()), 0.1), start=116, end=20)
    across = Axis(low=0, high=float(len(table) - 1) / 12, start=34, end=WIDE - 76)
    draw_axis_left(drawing, up, 34, across.end, "$ million, before debt")
    draw_axis_below(drawing, across, 116, 20, "years since the contract")
    low, middle, high = (even(list(scaled[:, k]), up, across, 1 / 12) for k in range(3))
    drawing.area([*low, *high[::-1]], SAND, share=0.75)
    drawing.line(low, FAINT_INK, 0.9, "2 3")
    drawing.line(high, FAINT_INK, 0.9, "2 3")
    drawing.line(middle, WATER, 2.4)
    drawing.line([(34, up.at(0)), (across.end, up.at(0))], INK, 1.2)
    drawing.text(44, up.at(0) - 4, "above this line it has paid back", size=9, ink=FAINT_INK,
                 halo=PAPER)  # fmt: skip
    for points, words in ((high, "1 in 20 above"), (middle, "middle"), (low, "1 in 20 below")):
        drawing.text(across.end + 5, points[-1][1] + 3, words, size=9, bold=words == "middle")
    return drawing.render()


def draw_ranges(claims: Sequence[Claim]) -> str:
    """Draw how far each number of the argument may be from its middle.

    Bars run from the 5th to the 95th percentile as parts of the middle, on a scale of
    equal ratios from a fifth to five times; an arrow says that the bar goes on.
    """
    shown = [c for c in claims if c.spread and np.isfinite(c.summed.range.value)]
    step = 15.5
    foot = step * len(shown) + 6
    drawing = Drawing(WIDE, foot + 17, "How far each number may be from its middle")
    axis = Axis(low=np.log(_LEAST_PART), high=np.log(_MOST_PART), start=150, end=WIDE - 120)
    for part, words in ((0.2, "a fifth"), (0.5, "half"), (1, "the middle"), (2, "double"),
                        (5, "five times")):  # fmt: skip
        x = axis.at(float(np.log(part)))
        drawing.line([(x, foot), (x, 2)], INK if part == 1 else SAND, 0.8)
        drawing.text(x, foot + 13, words, anchor="middle", size=9)
    for k, claim in enumerate(shown):
        found = claim.summed.range
        y = step * k + 14
        words = _RANGE_WORDS.get(claim.key, claim.words)
        if claim.key == "line":
            words = f"{words}, {claim.said.rpartition(' ')[2]}" if found.unit == "m" else words
        drawing.text(144, y, words, anchor="end", size=9.5)
        low, high = (_part_of(end, found.value) for end in (found.low, found.high))
        start, end = (axis.at(float(np.log(np.clip(p, _LEAST_PART, _MOST_PART))))
                      for p in (low, high))  # fmt: skip
        drawing.box(start, y - 8, max(end - start, 1.5), 9, WATER)
        _draw_going_on(drawing, start, end, y - 3.5, below=low < _LEAST_PART, above=high > 5)
        drawing.text(WIDE - 2, y, claim.spread, anchor="end", size=9.5)
    return drawing.render()


def _draw_going_on(
    drawing: Drawing, start: float, end: float, y: float, *, below: bool, above: bool
) -> None:
    if below:
        drawing.area([(start - 7, y), (start, y - 6), (start, y + 6)], WATER)
    if above:
        drawing.area([(end + 7, y), (end, y - 6), (end, y + 6)], WATER)


def _part_of(amount: float, middle: float) -> float:
    """Return an amount as a part of the middle; a loss counts as less than any part."""
    return max(amount / middle, 1e-9) if middle > 0 else 1.0

"""Which pictures does a printed report hold? Map, share, week, line, queue, money, as SVG."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd
import shapely

from capture.basis import UnitSystem, convert_out
from capture.papers.drawing import (
    Axis,
    Drawing,
    draw_axis_below,
    draw_axis_left,
    even,
)
from capture.papers.layers import MOST_ROADS
from capture.papers.look import FAINT_INK, GROUND, INK, LOOKS, MOSS, PLUM, RUST, SAND, WATER
from capture.papers.look import choose_volume_look as choose
from capture.papers.pictures import WEEKDAYS

MAP_HALF_M: Final = 1400.0
WIDE: Final = 520.0


def draw_map(study: Any, *, height: float = 300.0) -> str:
    """Draw roads by vehicles a day, rivals and the site, for print."""
    network, sites, volumes = study.place.network, study.sites, study.volumes
    x0, y0 = float(sites.x[0]), float(sites.y[0])
    scale = height / (2 * MAP_HALF_M)
    drawing = Drawing(WIDE, height, "Map of the roads around the site by vehicles a day")
    drawing.box(0, 0, WIDE, height, GROUND)
    half_x = WIDE / scale / 2
    frame = shapely.box(x0 - half_x, y0 - MAP_HALF_M, x0 + half_x, y0 + MAP_HALF_M)

    def place(points: Any) -> list[tuple[float, float]]:
        return [((x - x0) * scale + WIDE / 2, height / 2 - (y - y0) * scale) for x, y in points]

    starts = network.geom_indptr[:-1]
    near = np.hypot(network.geom_x[starts] - x0, network.geom_y[starts] - y0)
    for g in np.argsort(near, kind="stable")[:MOST_ROADS]:
        piece = shapely.intersection(shapely.LineString(network.segment_line(int(g))), frame)
        daily = float(volumes.vehicles_per_day[g])
        for line in shapely.get_parts(piece):
            if line.is_empty or line.geom_type != "LineString":
                continue
            look = LOOKS[choose(daily, measured=bool(volumes.measured[g]))]
            busy = daily >= 1000
            drawing.line(
                place(shapely.get_coordinates(line)),
                look.ink if busy else "#cfc4a8",
                look.width * 0.7 if busy else 0.8,
                look.dash if busy else "",
            )
    _mark_places(drawing, study, place, frame)
    return drawing.render()


def _mark_places(drawing: Drawing, study: Any, place: Any, frame: Any) -> None:
    rivals, sites = study.rivals, study.sites
    for k in range(len(rivals.names)):
        if frame.contains(shapely.Point(rivals.x[k], rivals.y[k])):
            [(x, y)] = place([(rivals.x[k], rivals.y[k])])
            drawing.box(x - 5, y - 5, 10, 10, "#ffffff", ink=INK, line=1.5)
            drawing.text(x + 8, y + 4, rivals.names[k], size=8.5)
    [(x, y)] = place([(sites.x[0], sites.y[0])])
    drawing.area([(x, y - 10), (x + 10, y), (x, y + 10), (x - 10, y)], RUST, ink="#ffffff")
    drawing.text(x + 13, y - 8, "the site", bold=True, size=10)
    drawing.text(8, drawing.height - 8, "solid: counted; dashed: estimated; squares: rivals; "
                 "north is up", size=8.5)  # fmt: skip


def draw_share(table: pd.DataFrame) -> str:
    """Draw the steps from the reference share to this site's."""
    rows = table.to_dict("records")
    drawing = Drawing(WIDE, 22.0 * len(rows) + 36, "Steps from the reference share to this site's")
    most = 100 * float(table[["from_share", "to_share"]].to_numpy().max())
    axis = Axis(low=0, high=1.12 * most, start=170, end=WIDE - 40)
    foot = 22.0 * len(rows) + 4
    draw_axis_below(drawing, axis, foot, 0, "share washed, %")
    for k, row in enumerate(rows):
        start, end = axis.at(100 * row["from_share"]), axis.at(100 * row["to_share"])
        whole = row["key"] in {"base", "rate"}
        ink = INK if whole else MOSS if row["factor"] >= 1 else RUST
        drawing.box(min(start, end), 22 * k + 4, max(abs(end - start), 1.2), 14, ink)
        name = row["name"] if row["known"] else f"{row['name']} (not known)"
        drawing.text(164, 22 * k + 15, name, anchor="end", size=9.5)
        said = f"{100 * row['to_share']:.2f} %" if whole else f"× {row['factor']:.2f}"
        drawing.text(max(start, end) + 5, 22 * k + 15, said, size=9.5, bold=whole)
    return drawing.render()


def draw_week(table: pd.DataFrame) -> str:
    """Draw a mean week as dots whose size tells the cars an hour."""
    drawing = Drawing(WIDE, 178, "Cars an hour in a mean week")
    shown = table[table["cars_per_hour"] > 0]
    hours = sorted(shown["hour"].unique())
    across = Axis(low=hours[0], high=hours[-1], start=60, end=WIDE - 30)
    most = float(shown["cars_per_hour"].max())
    for k, day in enumerate(WEEKDAYS):
        drawing.text(30, 22 + 21 * k, day, size=9.5)
    for row in shown.to_dict("records"):
        radius = 10 * float(np.sqrt(row["cars_per_hour"] / most))
        drawing.dot(across.at(row["hour"]), 18 + 21 * WEEKDAYS.index(row["weekday"]), radius, WATER)
    for hour in hours:
        drawing.text(across.at(hour), 164, f"{hour}:00", anchor="middle", size=8)
    drawing.text(WIDE / 2, 176, f"the largest dot is {most:.0f} cars an hour", anchor="middle",
                 size=9)  # fmt: skip
    return drawing.render()


def draw_line(table: pd.DataFrame, system: UnitSystem) -> str:
    """Draw the line to scale, numbered as in its schedule."""
    drawing = Drawing(WIDE, 92, "The line to scale")
    if table.empty:
        return drawing.render()
    end_m = float((table["start_m"] + table["length_m"]).max())
    axis = Axis(low=0, high=convert_out(end_m, "m", system)[0], start=8, end=WIDE - 12)
    draw_axis_below(
        drawing, axis, 62, 16, f"{convert_out(1, 'm', system)[1]} from the first roller"
    )
    for k, row in enumerate(table.to_dict("records")):
        start = axis.at(convert_out(row["start_m"], "m", system)[0])
        stop = axis.at(convert_out(row["start_m"] + row["length_m"], "m", system)[0])
        if row["length_m"] > 0:
            drawing.box(start, 22, stop - start, 38, "#fffdf8", ink=INK, line=1.2)
            drawing.text((start + stop) / 2, 45, k + 1, anchor="middle", size=9.5, bold=True)
        else:
            drawing.area([(start - 4, 10), (start + 4, 10), (start, 19)], RUST)
            drawing.text(start, 8, k + 1, anchor="middle", size=9, bold=True, ink=RUST)
    return drawing.render()


def draw_queue(table: pd.DataFrame, places: float) -> str:
    """Draw cars found waiting by hour of arrival."""
    drawing = Drawing(WIDE, 180, "Cars waiting by hour of arrival")
    names = [name for name in table.columns if name.startswith("queue_cars ")]
    most = max(float(np.nanmax(table[names].to_numpy(), initial=1.0)), 1.0)
    up = Axis(low=0, high=max(most, min(places, 3 * most)) * 1.1, start=148, end=20)
    across = Axis(low=0, high=24, start=40, end=WIDE - 120)
    draw_axis_left(drawing, up, 40, across.end, "cars")
    draw_axis_below(drawing, across, 148, 148, "hour of arrival")
    for name, ink, dash in zip(names, (MOSS, PLUM, RUST), ("", "6 3", "2 3"), strict=True):
        known = table[["hour", name]].dropna()
        points = [(across.at(h + 0.5), up.at(v)) for h, v in known.itertuples(index=False)]
        if points:
            drawing.line(points, ink, 2, dash)
    for k, (words, ink, dash) in enumerate(
        (("half find at most", MOSS, ""), ("9 of 10", PLUM, "6 3"), ("19 of 20", RUST, "2 3"))
    ):
        drawing.line([(WIDE - 108, 30 + 16 * k), (WIDE - 84, 30 + 16 * k)], ink, 2, dash)
        drawing.text(WIDE - 80, 33 + 16 * k, words, size=9)
    if places <= up.high:
        drawing.line([(40, up.at(places)), (across.end, up.at(places))], INK, 1, "3 3")
        drawing.text(44, up.at(places) - 3, f"{places:.0f} places", size=9)
    return drawing.render()


def draw_cash(table: pd.DataFrame) -> str:
    """Draw cash gathered since the contract, with its range."""
    drawing = Drawing(WIDE, 210, "Cash gathered since the contract")
    scaled = table[["low_usd", "usd", "high_usd"]].to_numpy() / 1e6
    up = Axis(low=float(scaled.min()), high=float(scaled.max()), start=176, end=22)
    across = Axis(low=0, high=float(len(table) - 1) / 12, start=40, end=WIDE - 20)
    draw_axis_left(drawing, up, 40, across.end, "$ million, before debt")
    draw_axis_below(drawing, across, 176, 176, "years since the contract")
    low, middle, high = (even(list(scaled[:, k]), up, across, 1 / 12) for k in range(3))
    drawing.area([*low, *high[::-1]], SAND, share=0.8)
    drawing.line(middle, WATER, 2.2)
    drawing.line([(40, up.at(0)), (across.end, up.at(0))], INK, 1)
    drawing.text(across.end, up.at(0) - 4, "paid back above this line", anchor="end", size=9,
                 ink=FAINT_INK)  # fmt: skip
    return drawing.render()

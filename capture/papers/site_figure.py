"""How do the site's roads look on paper, with no network?

Drawn from the place itself: the roads around the site by vehicles a day, rivals and counts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from capture.basis import UnitSystem
from capture.papers.drawing import Drawing
from capture.papers.layers import MOST_ROADS
from capture.papers.look import GROUND, INK, LOOKS, RUST, WATER
from capture.papers.look import choose_volume_look as choose
from capture.papers.words import say_number

FloatArray = NDArray[np.float64]
Place = Callable[[Any], list[tuple[float, float]]]
WIDE: Final = 520.0
HALF_M: Final = 1300.0
#: roads below this are drawn as background
BUSY: Final = 1000.0
#: roads from this on are named
NAMED: Final = 4000.0
MOST_NAMES: Final = 9
PAPER: Final = "#ffffff"
MINOR: Final = "#ddd5c2"
FOOT: Final = 24.0


@dataclass(slots=True)
class _Labels:
    """Places that words already take, so that none lies on another."""

    width: float
    height: float
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)

    def claim(self, x: float, y: float, width: float, height: float) -> bool:
        box = (x, y - height, x + width, y)
        if box[0] < 2 or box[1] < 2 or box[2] > self.width - 2 or box[3] > self.height - 2:
            return False
        if any(a < box[2] and box[0] < c and b < box[3] and box[1] < d
               for a, b, c, d in self.taken):  # fmt: skip
            return False
        self.taken.append(box)
        return True

    def write(
        self, drawing: Drawing, x: float, y: float, said: str, *, size: float, bold: bool = False
    ) -> bool:
        """Write words right, left, above or below a point, where there is room."""
        wide = 0.5 * size * len(said) + 4
        for dx, dy in ((9, 3.5), (-9 - wide, 3.5), (-wide / 2, -9), (-wide / 2, 17)):
            if self.claim(x + dx, y + dy + 2, wide, size + 3):
                drawing.text(x + dx, y + dy, said, size=size, bold=bold, halo=PAPER)
                return True
        return False


def draw_map(study: Any, *, height: float = 300.0, system: UnitSystem = "us") -> str:
    """Draw roads by vehicles a day, counts, rivals and the site, for print.

    Parameters
    ----------
    study : Study
    height : float
        Of the picture without its legend, points.
    system : {"us", "metric"}
        Unit of the scale.
    """
    sites = study.sites
    x0, y0 = float(sites.x[0]), float(sites.y[0])
    scale = height / (2 * HALF_M)
    drawing = Drawing(WIDE, height + FOOT, "Map of the roads around the site by vehicles a day")
    drawing.box(0, 0, WIDE, height, GROUND)
    half_x = WIDE / scale / 2
    frame = shapely.box(x0 - half_x, y0 - HALF_M, x0 + half_x, y0 + HALF_M)

    def place(points: Any) -> list[tuple[float, float]]:
        return [((x - x0) * scale + WIDE / 2, height / 2 - (y - y0) * scale) for x, y in points]

    labels = _Labels(WIDE, height)
    [(x, y)] = place([(x0, y0)])
    labels.taken.append((x - 11, y - 11, x + 11, y + 11))
    roads = _draw_roads(drawing, study, place, frame)
    _draw_counts(drawing, study, place, frame)
    _draw_site(drawing, study, place, labels)
    shown = _draw_rivals(drawing, study, place, frame, labels)
    _name_roads(drawing, roads, labels)
    _draw_legend(drawing, height, scale, system, rivals=shown)
    return drawing.render()


def _draw_roads(
    drawing: Drawing, study: Any, place: Place, frame: Any
) -> dict[str, tuple[float, Any]]:
    """Draw the roads, quiet ones first; return the busiest stretch of each named road."""
    network, volumes = study.place.network, study.volumes
    starts = network.geom_indptr[:-1]
    middle = frame.centroid
    near = np.hypot(network.geom_x[starts] - middle.x, network.geom_y[starts] - middle.y)
    daily = np.nan_to_num(np.asarray(volumes.vehicles_per_day, dtype=np.float64))
    kept = np.argsort(near, kind="stable")[:MOST_ROADS]
    named: dict[str, tuple[float, Any, float]] = {}
    for g in kept[np.argsort(daily[kept], kind="stable")].tolist():
        piece = shapely.intersection(shapely.LineString(network.segment_line(g)), frame)
        look = LOOKS[choose(daily[g], measured=bool(volumes.measured[g]))]
        busy = daily[g] >= BUSY
        for line in shapely.get_parts(piece):
            if line.is_empty or line.geom_type != "LineString":
                continue
            points = place(shapely.get_coordinates(line))
            ink, width = (look.ink, look.width * 0.7) if busy else (MINOR, 0.7)
            drawing.line(points, ink, width, look.dash if busy else "")
            name = network.segment_name[g]
            if name and daily[g] >= NAMED and line.length > named.get(name, (0.0, None, 0.0))[0]:
                named[name] = (line.length, points, daily[g])
    return {name: (found[2], found[1]) for name, found in named.items()}


def _name_roads(drawing: Drawing, roads: dict[str, tuple[float, Any]], labels: _Labels) -> None:
    """Name the busiest roads with their vehicles a day, where there is room."""
    written = 0
    for name, (daily, points) in sorted(roads.items(), key=lambda item: (-item[1][0], item[0])):
        said = f"{name} {say_number(daily)}"
        for x, y in (points[len(points) // 2], points[0], points[-1]):
            wide = 0.5 * 8.5 * len(said) + 6
            if labels.claim(x - wide / 2, y + 5, wide, 12):
                drawing.text(x, y + 3, said, anchor="middle", size=8.5, halo=PAPER, ink=INK)
                written += 1
                break
        if written == MOST_NAMES:
            break


def _draw_counts(drawing: Drawing, study: Any, place: Place, frame: Any) -> None:
    table = getattr(study.volumes, "counts", None)
    if table is None or len(table) == 0:
        return
    if {"x", "y"} <= set(table.columns):
        xs, ys = table["x"].to_numpy(), table["y"].to_numpy()
    elif {"lat", "lon"} <= set(table.columns):
        xs, ys = study.place.network.projection.to_xy(table["lat"], table["lon"])
    else:
        return
    for x, y in place(zip(np.asarray(xs, float), np.asarray(ys, float), strict=True)):
        if np.isfinite(x) and np.isfinite(y) and 5 < x < WIDE - 5 and 5 < y < drawing.height - 30:
            drawing.area([(x, y - 4.5), (x + 4, y + 3), (x - 4, y + 3)], PAPER, ink=WATER)


def _draw_rivals(drawing: Drawing, study: Any, place: Place, frame: Any, labels: _Labels) -> bool:
    rivals = study.rivals
    seconds = np.asarray(study.around.rival_seconds)[0] if len(rivals.names) else []
    inside = [
        k for k in range(len(rivals.names))
        if frame.contains(shapely.Point(rivals.x[k], rivals.y[k]))
    ]  # fmt: skip
    spots = place([(rivals.x[k], rivals.y[k]) for k in inside])
    for x, y in spots:
        labels.taken.append((x - 6, y - 6, x + 6, y + 6))
    for k, (x, y) in zip(inside, spots, strict=True):
        shut = str(rivals.status[k]) != "open"
        drawing.box(x - 4.5, y - 4.5, 9, 9, PAPER if shut else INK, ink=INK, line=1.3)
        minutes = float(seconds[k]) / 60
        far = f", {minutes:.1f} min" if np.isfinite(minutes) else ""
        state = f", {rivals.status[k]}" if shut else ""
        name = rivals.names[k] or "wash without a name"
        labels.write(drawing, x, y, f"{name}{far}{state}", size=8.5)
    return bool(inside)


def _draw_site(drawing: Drawing, study: Any, place: Place, labels: _Labels) -> None:
    [(x, y)] = place([(float(study.sites.x[0]), float(study.sites.y[0]))])
    drawing.area([(x, y - 10), (x + 10, y), (x, y + 10), (x - 10, y)], RUST, ink=PAPER, width=1.5)
    labels.write(drawing, x + 4, y - 2, "the site", size=11, bold=True)


def _draw_legend(
    drawing: Drawing, height: float, scale: float, system: UnitSystem, *, rivals: bool
) -> None:
    """Write what the marks mean, a scale and north, in one row below the map."""
    y = height + 15
    x = 2.0
    for words, dash in (("counted", ""), ("estimated", "5 3.5")):
        drawing.line([(x, y - 3), (x + 24, y - 3)], WATER, 3, dash)
        drawing.text(x + 29, y, words, size=9)
        x += 84
    drawing.area([(x + 4, y - 7.5), (x + 8, y), (x, y)], PAPER, ink=WATER)
    drawing.text(x + 12, y, "count", size=9)
    x += 50
    if rivals:
        drawing.box(x, y - 8, 8, 8, INK, ink=INK)
        drawing.text(x + 12, y, "rival, open", size=9)
        drawing.box(x + 64, y - 8, 8, 8, PAPER, ink=INK, line=1.3)
        drawing.text(x + 76, y, "shut or planned", size=9)
    long_m = 804.672 if system == "us" else 500.0
    words = "half a mile" if system == "us" else "500 m"
    end = WIDE - 18
    drawing.line([(end - long_m * scale, y - 2), (end, y - 2)], INK, 1.6)
    drawing.text(end - long_m * scale - 5, y, words, size=9, anchor="end")
    drawing.area([(WIDE - 6, y - 11), (WIDE - 2.5, y), (WIDE - 9.5, y)], INK)

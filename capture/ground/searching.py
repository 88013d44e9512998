"""Where on a parcel do building, lanes, turn and apron fit together?

Looks at turned frames along the parcel's own edges, quarter turns, arrangements and every
place on a fine grid; the same parcel always gives the same answer. Assumes one setback for
buildings and one for paving on all sides.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from capture.basis import InputError, Sheet
from capture.ground.layout import Arrangement, Box, list_arrangements
from capture.ground.needs import Needs
from capture.ground.raster import Frame, fits_at, make_frame, sum_areas
from capture.ground.values import VALUES

Cells = tuple[int, int, int, int]
#: cells that a grid may have, and the finest cell, m
_MOST_CELLS: Final = 40_000
_FINEST_M: Final = 0.5
_ANGLES: Final = 3
_APART_DEG: Final = 5.0
#: classes of turn in which edges are added up
_BIN_DEG: Final = 0.5
_BINS: Final = 180
#: a parcel larger than this across is looked at only near its driveway, m
_WINDOW_M: Final = 320.0
#: corners that an outline may have, and the first tolerance at which it is thinned, m
_MOST_CORNERS: Final = 400
_THIN_M: Final = 0.1
#: directions towards which the building is pushed inside what is feasible
_PUSHES: Final = ((-1, -1), (-1, 1), (1, -1), (1, 1), (0, 0))
#: largest parcel that is looked at
MOST_AREA_M2: Final = 1e10


@dataclass(frozen=True, slots=True)
class Candidate:
    """An arrangement at one place of one turned frame."""

    #: turned grid
    frame: Frame
    #: quarter turns within it
    quarter: int
    #: how the rectangles stand together
    arrangement: Arrangement
    #: their cells, relative to ``at``
    boxes: tuple[tuple[str, Cells], ...]
    #: cell of the building's entry corner
    at: tuple[int, int]
    #: as the crow flies from driveway to lanes and from apron back, m
    way_m: float


def check_parcel(parcel: BaseGeometry) -> Polygon:
    """Return a usable polygon of a parcel, its largest part when there are several.

    Raises
    ------
    InputError
        When the shape is empty, has no area or is over 10,000 km2.
    """
    shape = parcel if parcel.is_valid else shapely.make_valid(parcel)
    if not isinstance(shape, Polygon):
        flat = shapely.union_all(list(getattr(shape, "geoms", ())))
        shape = _largest_part(flat) or Polygon()
    if shape.is_empty or not 1.0 <= shape.area <= MOST_AREA_M2:
        raise InputError(
            f"parcel: area must be 1 to {MOST_AREA_M2:.0e} m2, got {shape.area:.1f} m2; "
            "check its shape and units"
        )
    return shape


def crop_parcel(parcel: Polygon, near: tuple[float, float] | None) -> Polygon:
    """Cut a very large parcel to a window round its driveway, or its middle; thin its corners.

    Without this a farm's cells would be too coarse for a building, and a ragged outline too
    slow to search. What is returned lies inside the parcel.
    """
    low_x, low_y, high_x, high_y = parcel.bounds
    if max(high_x - low_x, high_y - low_y) > _WINDOW_M:
        inside = parcel.representative_point()
        x, y = near if near is not None else (inside.x, inside.y)
        half = 0.5 * _WINDOW_M
        window = shapely.box(x - half, y - half, x + half, y + half)
        parcel = _largest_part(parcel.intersection(window)) or parcel
    return _thin(parcel)


def _thin(parcel: Polygon) -> Polygon:
    """Drop corners beyond a bound, staying inside by as much as the outline was moved."""
    moved, thin = 0.0, parcel
    step = _THIN_M
    while shapely.get_num_coordinates(thin) > _MOST_CORNERS and step < _WINDOW_M:
        rough = shapely.make_valid(parcel.simplify(step, preserve_topology=False))
        moved, thin = step, _largest_part(rough) or parcel
        step *= 2.0
    if moved == 0.0:
        return parcel
    return _largest_part(thin.buffer(-moved, join_style="mitre").intersection(parcel)) or parcel


def _largest_part(shape: BaseGeometry) -> Polygon | None:
    parts = [part for part in getattr(shape, "geoms", (shape,)) if isinstance(part, Polygon)]
    best = max(parts, key=lambda part: part.area, default=None)
    return None if best is None or best.is_empty else best


def pick_angles(parcel: Polygon) -> list[float]:
    """Return the turns worth trying, radians within a quarter turn, longest edges first."""
    ring = shapely.get_coordinates(parcel.exterior.simplify(0.5))
    rectangle = shapely.get_coordinates(parcel.minimum_rotated_rectangle)[:3]
    step = np.concatenate((np.diff(ring, axis=0), 0.5 * np.diff(rectangle, axis=0)))
    length = np.hypot(step[:, 0], step[:, 1])
    turn = np.degrees(np.arctan2(step[:, 1], step[:, 0])) % 90.0
    bins = np.minimum((turn / _BIN_DEG).astype(np.int64), _BINS - 1)
    held = np.bincount(bins, weights=length, minlength=_BINS)
    near = np.sum([np.roll(held, shift) for shift in (-2, -1, 0, 1, 2)], axis=0)
    order = sorted(
        range(turn.size), key=lambda at: (-round(float(near[bins[at]]), 3), -length[at], at)
    )
    picked: list[float] = []
    for at in order:
        if all(_apart(float(turn[at]), other) >= _APART_DEG for other in picked):
            picked.append(float(turn[at]))
        if len(picked) == _ANGLES:
            break
    return [math.radians(one) for one in picked]


def _apart(one: float, other: float) -> float:
    gap = abs(one - other) % 90.0
    return min(gap, 90.0 - gap)


def fits_core(parcel: BaseGeometry, needs: Needs, *, values: Sheet = VALUES) -> bool:
    """Tell whether building, lanes, turn and apron fit together anywhere on the parcel."""
    return bool(find_candidates(check_parcel(parcel), needs, (), values, every=False))


def find_candidates(
    parcel: Polygon,
    needs: Needs,
    driveways: Sequence[tuple[float, float]],
    values: Sheet,
    *,
    every: bool,
) -> list[Candidate]:
    """Find places at which everything fits; the first alone unless ``every``."""
    building_zone = parcel.buffer(-values.value("building_setback_m"), join_style="mitre")
    paving_zone = parcel.buffer(-values.value("paving_setback_m"), join_style="mitre")
    found: list[Candidate] = []
    arrangements = list_arrangements(needs, values=values)
    for angle in pick_angles(parcel):
        frame = _frame(parcel, angle)
        tables = {
            "building": sum_areas(frame.cells_inside(building_zone)),
            "paving": sum_areas(frame.cells_inside(paving_zone)),
        }
        for quarter in range(4):
            for arrangement in arrangements:
                boxes = _to_cells(arrangement, quarter, frame.cell_m)
                for at in _feasible(frame, tables, boxes):
                    way = _way_m(frame, arrangement, quarter, at, driveways)
                    found.append(Candidate(frame, quarter, arrangement, boxes, at, way))
                if found and not every:
                    return found
    return found


def _frame(parcel: Polygon, angle: float) -> Frame:
    coarse = make_frame(parcel, angle, 1.0)
    cell = max(_FINEST_M, math.sqrt(coarse.shape[0] * coarse.shape[1] / _MOST_CELLS))
    return make_frame(parcel, angle, cell)


def _quarter_turn(x: float, y: float, quarter: int) -> tuple[float, float]:
    return ((x, y), (-y, x), (-x, -y), (y, -x))[quarter]


def _turn_box(box: Box, quarter: int) -> tuple[float, float, float, float]:
    x0, y0 = _quarter_turn(box.x0, box.y0, quarter)
    x1, y1 = _quarter_turn(box.x1, box.y1, quarter)
    return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)


def _to_cells(
    arrangement: Arrangement, quarter: int, cell_m: float
) -> tuple[tuple[str, Cells], ...]:
    """Cells that hold each box, rounded outwards."""
    held = []
    for box in arrangement.boxes:
        x0, y0, x1, y1 = _turn_box(box, quarter)
        low = math.floor(x0 / cell_m + 1e-9), math.floor(y0 / cell_m + 1e-9)
        high = math.ceil(x1 / cell_m - 1e-9), math.ceil(y1 / cell_m - 1e-9)
        held.append((box.name, (*low, *high)))
    return tuple(held)


def draw_part(one: Candidate, box: Box) -> Polygon:
    """Return a box, not rounded to cells, on the map."""
    cell = one.frame.cell_m
    x0, y0, x1, y1 = (side / cell for side in _turn_box(box, one.quarter))
    i, j = one.at
    return one.frame.rectangle(i + x0, j + y0, i + x1, j + y1)


def _feasible(
    frame: Frame,
    tables: Mapping[str, NDArray[np.int32]],
    boxes: tuple[tuple[str, Cells], ...],
) -> list[tuple[int, int]]:
    """Offsets at which all boxes fit: the extreme ones and a middle one."""
    low = [min(box[k] for _, box in boxes) for k in (0, 1)]
    high = [max(box[k] for _, box in boxes) for k in (2, 3)]
    size = [frame.shape[k] - (high[k] - low[k]) + 1 for k in (0, 1)]
    if min(size) < 1:
        return []
    start = (-low[0], -low[1])
    fit = np.ones((size[0], size[1]), dtype=bool)
    for name, box in boxes:
        table = tables["building" if name == "building" else "paving"]
        fit &= fits_at(table, box, start, (size[0], size[1]))
        if not fit.any():
            return []
    i, j = np.nonzero(fit)
    centre_i, centre_j = float(i.mean()), float(j.mean())
    picked = []
    for push_i, push_j in _PUSHES:
        if push_i == push_j == 0:
            at = int(((i - centre_i) ** 2 + (j - centre_j) ** 2).argmin())
        else:
            at = int((push_i * i + push_j * j).argmax())
        picked.append((int(i[at]) + start[0], int(j[at]) + start[1]))
    return list(dict.fromkeys(picked))


def _way_m(
    frame: Frame,
    arrangement: Arrangement,
    quarter: int,
    at: tuple[int, int],
    driveways: Sequence[tuple[float, float]],
) -> float:
    join, leave = (
        map_point(frame, xy, quarter, at) for xy in (arrangement.join_xy, arrangement.leave_xy)
    )
    if not driveways:
        return math.dist(join, leave)
    return min(math.dist(join, mouth) for mouth in driveways) + min(
        math.dist(leave, mouth) for mouth in driveways
    )


def map_point(
    frame: Frame, xy: tuple[float, float], quarter: int, at: tuple[int, int]
) -> tuple[float, float]:
    """Return a point of an arrangement on the map."""
    x, y = _quarter_turn(*xy, quarter)
    return frame.point_out(frame.x0 + at[0] * frame.cell_m + x, frame.y0 + at[1] * frame.cell_m + y)

"""Where do vacuum rows go, and can a car drive from the driveway to the lanes and back out?

Works on the cells that building, lanes and turn have left free. A way must be one lane wide
everywhere; turning within it is not followed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import Point, Polygon

from capture.basis import Sheet
from capture.ground.layout import Needs
from capture.ground.raster import Frame, longest_rows
from capture.ground.values import VALUES

BoolArray = NDArray[np.bool_]
Cells = tuple[int, int, int, int]
_MOST_ROWS: Final = 4
_LEAST_ROW: Final = 2


def place_vacuums(
    frame: Frame,
    paving: BoolArray,
    boxes: Mapping[str, Cells],
    needs: Needs,
    values: Sheet = VALUES,
) -> tuple[list[Cells], list[Cells], int]:
    """Put vacuum rows, each with its aisle, on what is left free, longest first.

    Returns
    -------
    tuple of (list, list, int)
        Stalls and aisles as cell rectangles, and the number of bays.
    """
    free = paving.copy()
    for box in boxes.values():
        free[box[0] : box[2], box[1] : box[3]] = False
    cell = frame.cell_m
    stall = math.ceil(values.value("vacuum_depth_m") / cell)
    depth = stall + math.ceil(values.value("aisle_m") / cell)
    wide = values.value("vacuum_width_m") / cell
    building = boxes["building"]
    middle = ((building[0] + building[2]) / 2, (building[1] + building[3]) / 2)
    stalls: list[Cells] = []
    aisles: list[Cells] = []
    left = needs.vacuum_bays
    for _ in range(_MOST_ROWS):
        if left <= 0:
            break
        row = _best_row(free, depth, max(1, math.ceil(_LEAST_ROW * wide)))
        if row is None:
            break
        first, base, length, upright = row
        bays = min(left, int(length / wide + 1e-9))
        used = math.ceil(bays * wide)
        centre = base + depth / 2
        outward = centre > middle[0 if upright else 1]
        low = (base + depth - stall, base + depth) if outward else (base, base + stall)
        aisle = (base, base + depth - stall) if outward else (base + stall, base + depth)
        for span, kept in ((low, stalls), (aisle, aisles)):
            kept.append(_cells(first, first + used, span, upright=upright))
        i0, j0, i1, j1 = _cells(first, first + used, (base, base + depth), upright=upright)
        free[i0:i1, j0:j1] = False
        left -= bays
    return stalls, aisles, needs.vacuum_bays - left


def _cells(first: int, last: int, across: tuple[int, int], *, upright: bool) -> Cells:
    if upright:
        return across[0], first, across[1], last
    return first, across[0], last, across[1]


def _best_row(free: BoolArray, depth: int, least: int) -> tuple[int, int, int, bool] | None:
    flat = longest_rows(free, depth, least)
    upright = longest_rows(free.T, depth, least)
    if max(flat[2], upright[2]) == 0:
        return None
    return (*flat, False) if flat[2] >= upright[2] else (*upright, True)


def check_ways(
    frame: Frame,
    parcel: Polygon,
    paving: BoolArray,
    boxes: Mapping[str, Cells],
    stalls: Sequence[Cells],
    ends: Sequence[Point],
    driveways: Sequence[tuple[float, float]],
    values: Sheet = VALUES,
) -> bool | None:
    """Tell whether cars can drive from a driveway to the lanes' end and from the apron back.

    Returns
    -------
    bool or None
        None without a driveway.
    """
    if not driveways:
        return None
    lane = values.value("lane_width_m")
    free = paving.copy()
    inside = frame.cells_inside(parcel)
    for x, y in driveways:
        throat = Point(x, y).buffer(values.value("paving_setback_m") + lane).intersection(parcel)
        free |= frame.cells_inside(throat.buffer(frame.cell_m)) & inside
    for name, box in boxes.items():
        if name != "apron":
            free[box[0] : box[2], box[1] : box[3]] = False
    for stall in stalls:
        free[stall[0] : stall[2], stall[1] : stall[3]] = False
    radius = max(1, round(0.35 * lane / frame.cell_m))
    disc = np.hypot(*np.mgrid[-radius : radius + 1, -radius : radius + 1]) <= radius
    open_cells = ndimage.binary_erosion(free, structure=disc)
    parts, _ = ndimage.label(open_cells)
    reach = lane + frame.cell_m
    mouths = [_parts_near(frame, parts, Point(xy), reach + 2 * lane) for xy in driveways]
    join, leave = (_parts_near(frame, parts, point, reach) for point in ends)
    return any(mouth & join for mouth in mouths) and any(mouth & leave for mouth in mouths)


def _parts_near(frame: Frame, parts: NDArray[np.int32], point: Point, reach_m: float) -> set[int]:
    """Labels of the free parts within a distance of a point."""
    at_x, at_y = frame.point_in(point.x, point.y)
    x, y = frame.centres()
    near = np.hypot(x[:, None] - at_x, y[None, :] - at_y) <= reach_m
    return set(np.unique(parts[near]).tolist()) - {0}

"""Where do vacuum rows go, and can a car drive from the driveway to the lanes and back out?

Works on the cells that building, lanes and turn have left free. A way must be one lane wide
everywhere; turning within it is not followed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import Point, Polygon

from capture.basis import Sheet
from capture.ground.needs import Needs
from capture.ground.raster import Frame, fits_at, longest_rows, sum_areas
from capture.ground.values import VALUES

BoolArray = NDArray[np.bool_]
Cells = tuple[int, int, int, int]
#: strips that are tried for vacuum rows, and the fewest bays of a row
_TRIED: Final = 8
_LEAST_ROW: Final = 4
#: clear width that a car needs on its way, as a share of a lane
_CLEAR_SHARE: Final = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row of vacuum bays, rectangles in cells."""

    #: where cars stand
    stalls: Cells
    #: where they drive up
    aisle: Cells
    #: how many
    bays: int

    @property
    def both(self) -> Cells:
        """Stalls and aisle together."""
        one, other = self.stalls, self.aisle
        return (
            min(one[0], other[0]),
            min(one[1], other[1]),
            max(one[2], other[2]),
            max(one[3], other[3]),
        )


class Ways:
    """What is free to drive on, and which parts of it a driveway reaches."""

    def __init__(
        self,
        frame: Frame,
        drivable: BoolArray,
        boxes: Mapping[str, Cells],
        ends: Sequence[tuple[float, float]],
        driveways: Sequence[tuple[float, float]],
        values: Sheet = VALUES,
    ) -> None:
        self._frame, self._ends, self._driveways = frame, ends, driveways
        self._lane_m = values.value("lane_width_m")
        free = drivable.copy()
        for name, box in boxes.items():
            if name != "apron":
                free[box[0] : box[2], box[1] : box[3]] = False
        self._free = free

    def reach(self, rows: Sequence[Row]) -> bool | None:
        """Tell whether cars get from a driveway to the lanes' end, every aisle, and back out.

        Returns
        -------
        bool or None
            None without a driveway.
        """
        if not self._driveways:
            return None
        free = self._free.copy()
        for row in rows:
            i0, j0, i1, j1 = row.stalls
            free[i0:i1, j0:j1] = False
        clear = _keep_wide(free, max(1, round(_CLEAR_SHARE * self._lane_m / self._frame.cell_m)))
        parts, _ = ndimage.label(clear)
        near = self._lane_m + self._frame.cell_m
        mouths: set[int] = set()
        for xy in self._driveways:
            mouths |= self._parts_near(parts, xy, near + 2 * self._lane_m)
        joined = all(mouths & self._parts_near(parts, point, near) for point in self._ends)
        aisles = (set(np.unique(parts[a[0] : a[2], a[1] : a[3]]).tolist()) for a in
                  (row.aisle for row in rows))  # fmt: skip
        return joined and all(mouths & aisle for aisle in aisles)

    def _parts_near(
        self, parts: NDArray[np.int32], point: tuple[float, float], reach_m: float
    ) -> set[int]:
        """Labels of the free parts within a distance of a point."""
        at_x, at_y = self._frame.point_in(*point)
        x, y = self._frame.centres()
        i = np.flatnonzero(np.abs(x - at_x) <= reach_m)
        j = np.flatnonzero(np.abs(y - at_y) <= reach_m)
        if i.size == 0 or j.size == 0:
            return set()
        window = parts[i[0] : i[-1] + 1, j[0] : j[-1] + 1]
        near = np.hypot(x[i][:, None] - at_x, y[j][None, :] - at_y) <= reach_m
        return set(np.unique(window[near]).tolist()) - {0}


def mark_drivable(
    frame: Frame,
    parcel: Polygon,
    paving: BoolArray,
    driveways: Sequence[tuple[float, float]],
    values: Sheet = VALUES,
) -> BoolArray:
    """Mark what may be paved, with a throat at every driveway through the planted edge."""
    free = paving.copy()
    for x, y in driveways:
        reach = values.value("paving_setback_m") + values.value("lane_width_m")
        throat = Point(x, y).buffer(reach).intersection(parcel)
        free |= frame.cells_inside(throat.buffer(frame.cell_m)) & frame.cells_inside(parcel)
    return free


def _keep_wide(free: BoolArray, width: int) -> BoolArray:
    """Keep the cells that some free square of the given side covers."""
    size = (free.shape[0] - width + 1, free.shape[1] - width + 1)
    if min(size) < 1:
        return np.zeros_like(free)
    corner = fits_at(sum_areas(free), (0, 0, width, width), (0, 0), size)
    table = sum_areas(np.pad(corner, ((width - 1, width - 1), (width - 1, width - 1))))
    covered = table[width:, width:] - table[:-width, width:] - table[width:, :-width]
    covered += table[:-width, :-width]
    return np.asarray(covered[: free.shape[0], : free.shape[1]] > 0)


def place_vacuums(
    frame: Frame,
    paving: BoolArray,
    boxes: Mapping[str, Cells],
    needs: Needs,
    ways: Ways,
    values: Sheet = VALUES,
) -> list[Row]:
    """Put vacuum rows, each with its aisle, on what is left free, longest strips first.

    A row stands with its stalls away from the building, or else towards it, and only where
    its aisle, the lanes and the apron can still be reached.
    """
    free = paving.copy()
    for box in boxes.values():
        free[box[0] : box[2], box[1] : box[3]] = False
    wide = values.value("vacuum_width_m") / frame.cell_m
    depth = math.ceil(values.value("vacuum_depth_m") / frame.cell_m) + math.ceil(
        values.value("aisle_m") / frame.cell_m
    )
    rows: list[Row] = []
    left = needs.vacuum_bays
    passable = ways.reach([]) is not False
    for _ in range(_TRIED):
        strip = _best_strip(free, depth, math.ceil(min(left, _LEAST_ROW) * wide))
        if left <= 0 or strip is None:
            break
        options = _lay_rows(strip, frame, boxes["building"], left, values)
        kept = next((row for row in options if not passable or ways.reach([*rows, row]) is not
                     False), None)  # fmt: skip
        i0, j0, i1, j1 = options[0].both
        free[i0:i1, j0:j1] = False
        if kept is not None:
            rows.append(kept)
            left -= kept.bays
    return rows


def _lay_rows(
    strip: tuple[int, int, int, bool],
    frame: Frame,
    building: Cells,
    most: int,
    values: Sheet,
) -> list[Row]:
    """Both ways to stand a row on a strip, stalls away from the building first."""
    first, base, length, upright = strip
    stall = math.ceil(values.value("vacuum_depth_m") / frame.cell_m)
    depth = stall + math.ceil(values.value("aisle_m") / frame.cell_m)
    wide = values.value("vacuum_width_m") / frame.cell_m
    bays = min(most, int(length / wide + 1e-9))
    last = first + math.ceil(bays * wide)
    across = 0 if upright else 1
    middle = (building[across] + building[across + 2]) / 2
    high = (base + depth - stall, base + depth), (base, base + depth - stall)
    low = (base, base + stall), (base + stall, base + depth)
    sides = (high, low) if base + depth / 2 > middle else (low, high)
    return [
        Row(
            stalls=_cells(first, last, stalls, upright=upright),
            aisle=_cells(first, last, aisle, upright=upright),
            bays=bays,
        )
        for stalls, aisle in sides
    ]


def _cells(first: int, last: int, across: tuple[int, int], *, upright: bool) -> Cells:
    if upright:
        return across[0], first, across[1], last
    return first, across[0], last, across[1]


def _best_strip(free: BoolArray, depth: int, least: int) -> tuple[int, int, int, bool] | None:
    flat = longest_rows(free, depth, max(1, least))
    upright = longest_rows(free.T, depth, max(1, least))
    if max(flat[2], upright[2]) == 0:
        return None
    return (*flat, False) if flat[2] >= upright[2] else (*upright, True)

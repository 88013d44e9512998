"""Where can rectangles stand inside a polygon, in one turned frame?

The polygon is turned so that the rectangles' sides lie along the axes and cut into small
cells; summed areas then answer for every place at once. A cell counts as inside only when
all of it is, so nothing that fits on the cells sticks out of the polygon.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int32]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A turned grid over a parcel."""

    #: turn of the frame against east, radians
    angle: float
    #: point about which it is turned
    pivot: tuple[float, float]
    #: lower left corner of cell (0, 0) in the turned frame
    x0: float
    y0: float
    #: side of a cell, m
    cell_m: float
    #: cells across and up
    shape: tuple[int, int]

    def centres(self) -> tuple[FloatArray, FloatArray]:
        """Return the cells' centres along either axis of the frame."""
        across, up = (np.arange(cells, dtype=np.float64) + 0.5 for cells in self.shape)
        return np.asarray(self.x0 + self.cell_m * across), np.asarray(self.y0 + self.cell_m * up)

    def point_in(self, x: float, y: float) -> tuple[float, float]:
        """Turn a point of the map into the frame."""
        cos, sin = math.cos(self.angle), math.sin(self.angle)
        across, up = x - self.pivot[0], y - self.pivot[1]
        return (
            self.pivot[0] + cos * across + sin * up,
            self.pivot[1] - sin * across + cos * up,
        )

    def point_out(self, x: float, y: float) -> tuple[float, float]:
        """Turn a point of the frame back to the map."""
        cos, sin = math.cos(self.angle), math.sin(self.angle)
        across, up = x - self.pivot[0], y - self.pivot[1]
        return (
            self.pivot[0] + cos * across - sin * up,
            self.pivot[1] + sin * across + cos * up,
        )

    def turn_in(self, shape: BaseGeometry) -> BaseGeometry:
        """Turn a geometry into the frame."""
        return affinity.rotate(shape, -self.angle, origin=self.pivot, use_radians=True)

    def turn_out(self, shape: BaseGeometry) -> BaseGeometry:
        """Turn a geometry back to the map."""
        return affinity.rotate(shape, self.angle, origin=self.pivot, use_radians=True)

    def cells_inside(self, polygon: BaseGeometry) -> BoolArray:
        """Mark the cells that lie wholly in a polygon of the map, shape (across, up)."""
        turned = self.turn_in(polygon).buffer(-self.cell_m * math.sqrt(0.5), join_style="mitre")
        if turned.is_empty:
            return np.zeros(self.shape, dtype=bool)
        shapely.prepare(turned)
        across, up = np.meshgrid(*self.centres(), indexing="ij")
        return np.asarray(shapely.contains_xy(turned, across, up))

    def rectangle(self, i0: float, j0: float, i1: float, j1: float) -> Polygon:
        """Return a rectangle given in cells as a polygon of the map."""
        box = shapely.box(
            self.x0 + i0 * self.cell_m,
            self.y0 + j0 * self.cell_m,
            self.x0 + i1 * self.cell_m,
            self.y0 + j1 * self.cell_m,
        )
        turned = self.turn_out(box)
        assert isinstance(turned, Polygon)
        return turned


def make_frame(parcel: BaseGeometry, angle: float, cell_m: float) -> Frame:
    """Lay a turned grid over a parcel."""
    pivot = (float(parcel.centroid.x), float(parcel.centroid.y))
    turned = affinity.rotate(parcel, -angle, origin=pivot, use_radians=True)
    low_x, low_y, high_x, high_y = turned.bounds
    shape = (
        max(1, math.ceil((high_x - low_x) / cell_m)),
        max(1, math.ceil((high_y - low_y) / cell_m)),
    )
    return Frame(angle=angle, pivot=pivot, x0=low_x, y0=low_y, cell_m=cell_m, shape=shape)


def sum_areas(mask: BoolArray) -> IntArray:
    """Return the summed-area table of a mask, one row and column of zeros first."""
    table = np.zeros((mask.shape[0] + 1, mask.shape[1] + 1), dtype=np.int32)
    np.cumsum(np.cumsum(mask, axis=0, dtype=np.int32), axis=1, out=table[1:, 1:])
    return table


def fits_at(
    table: IntArray, box: tuple[int, int, int, int], low: tuple[int, int], size: tuple[int, int]
) -> BoolArray:
    """Tell for every offset whether a rectangle is wholly on marked cells.

    Parameters
    ----------
    table : ndarray
        Of :func:`sum_areas`.
    box : (i0, j0, i1, j1)
        Rectangle in cells, relative to the offset.
    low, size : (int, int)
        Offsets run from ``low`` for ``size`` steps in either direction.

    Returns
    -------
    ndarray of bool, shape ``size``
    """
    i0, j0, i1, j1 = box
    rows, columns = table.shape[0] - 1, table.shape[1] - 1
    first_i, first_j = low[0] + i0, low[1] + j0
    last_i, last_j = low[0] + i1, low[1] + j1
    if (
        min(first_i, first_j) >= 0
        and last_i + size[0] - 1 <= rows
        and last_j + size[1] - 1 <= columns
    ):
        high_i, low_i = slice(last_i, last_i + size[0]), slice(first_i, first_i + size[0])
        high_j, low_j = slice(last_j, last_j + size[1]), slice(first_j, first_j + size[1])
        held = table[high_i, high_j] - table[low_i, high_j]
        held -= table[high_i, low_j]
        held += table[low_i, low_j]
        return np.asarray(held == (i1 - i0) * (j1 - j0))
    at_i = low[0] + np.arange(size[0])
    at_j = low[1] + np.arange(size[1])
    inside = (
        ((at_i + i0 >= 0) & (at_i + i1 <= rows))[:, None]
        & ((at_j + j0 >= 0) & (at_j + j1 <= columns))[None, :]
    )  # fmt: skip
    a0, a1 = (np.clip(at_i + i, 0, rows)[:, None] for i in (i0, i1))
    b0, b1 = (np.clip(at_j + j, 0, columns)[None, :] for j in (j0, j1))
    held = table[a1, b1] - table[a0, b1] - table[a1, b0] + table[a0, b0]
    return np.asarray(inside & (held == (i1 - i0) * (j1 - j0)))


def longest_rows(free: BoolArray, depth: int, least: int) -> tuple[int, int, int]:
    """Find the longest straight strip of free cells, ``depth`` cells deep, along the first axis.

    Returns
    -------
    tuple of (int, int, int)
        First cell, lowest row and length in cells; length 0 when shorter than ``least``.
    """
    if depth > free.shape[1] or depth < 1:
        return 0, 0, 0
    up = np.cumsum(np.pad(free, ((0, 0), (1, 0))), axis=1)
    deep: BoolArray = (up[:, depth:] - up[:, :-depth]) == depth
    along = np.arange(1, deep.shape[0] + 1)[:, None]
    run = along - np.maximum.accumulate(np.where(deep, 0, along), axis=0)
    i, j = np.unravel_index(int(run.argmax()), run.shape)
    length = int(run[i, j])
    return (int(i) + 1 - length, int(j), length) if length >= max(least, 1) else (0, 0, 0)

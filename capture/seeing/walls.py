"""What can stand in the way of a view, and is a line from eye to target clear of it?

Everything that hides (building outlines, tree rows, hedges, walls, edges of woods, bridge
decks) is a *wall*: a straight line on the ground with a lower and an upper height. A ray
rises or falls evenly, so it is blocked by a prism just when it is blocked at the prism's
outline. Walls are found by a grid.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import Sheet
from capture.seeing.values import VALUES

if TYPE_CHECKING:
    from capture.place import Network, Place

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Ground = Callable[[FloatArray, FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Walls:
    """W straight obstacles and the grid that finds them."""

    #: ends, metres (W, 4): x, y, x, y
    ends: FloatArray
    #: lower and upper height, metres (W, 2)
    heights: FloatArray
    #: thing that the wall belongs to (W,): buildings, then screens, then bridge segments
    owner: IntArray
    #: how many owners are buildings and how many screens
    buildings: int
    screens: int
    #: south-west corner of the grid, cell size, cells east and north
    west: float
    south: float
    cell_m: float
    columns: int
    rows: int
    #: walls by cell: pointer (columns * rows + 1,), lines (M, 6) as x, y, east, north, lower
    #: and upper height, and their owners (M,)
    cell_indptr: IntArray
    cell_line: FloatArray
    cell_owner: IntArray

    @property
    def grid(self) -> tuple[Any, ...]:
        """What the compiled loops take."""
        return (
            self.cell_line, self.cell_owner, self.west, self.south, self.cell_m, self.columns,
            self.rows, self.cell_indptr,
        )  # fmt: skip

    def bridge_owner(self, segment: ArrayLike) -> IntArray:
        """Return the owner number of a bridge by its segment."""
        return np.asarray(segment, dtype=np.int64) + self.buildings + self.screens


def make_walls(
    ends: FloatArray,
    heights: FloatArray,
    owner: IntArray,
    *,
    cell_m: float,
    buildings: int = 0,
    screens: int = 0,
) -> Walls:
    """Make walls findable.

    Parameters
    ----------
    ends : ndarray of float, shape (W, 4)
        Metres.
    heights : ndarray of float, shape (W, 2)
        Lower and upper height, metres.
    owner : ndarray of int, shape (W,)
        Thing that each wall belongs to.
    cell_m : float
        Cell of the grid.
    buildings, screens : int
        How many things are buildings, and how many screens after them.
    """
    from capture.seeing.kernels import fill_grid

    ends = np.ascontiguousarray(ends, dtype=np.float64).reshape(-1, 4)
    if len(ends):
        west, south = ends[:, 0::2].min(), ends[:, 1::2].min()
        east, north = ends[:, 0::2].max(), ends[:, 1::2].max()
    else:
        west = south = east = north = 0.0
    west, south = float(west) - 1.0, float(south) - 1.0
    # a sparse area must not ask for more cells than a few per wall
    most = max(64, 16 * len(ends))
    cell = max(float(cell_m), float(np.sqrt((east - west + 2) * (north - south + 2) / most)))
    columns = int((east + 1.0 - west) // cell) + 1
    rows = int((north + 1.0 - south) // cell) + 1
    pointer, walls = fill_grid(ends, west, south, cell, columns, rows)
    heights = np.ascontiguousarray(heights, dtype=np.float64).reshape(-1, 2)
    owner = np.ascontiguousarray(owner, dtype=np.int64)
    lines = np.hstack([ends[:, :2], ends[:, 2:] - ends[:, :2], heights])
    return Walls(
        ends=ends,
        heights=heights,
        owner=owner,
        buildings=buildings,
        screens=screens,
        west=west,
        south=south,
        cell_m=cell,
        columns=columns,
        rows=rows,
        cell_indptr=pointer,
        cell_line=np.ascontiguousarray(lines[walls]),
        cell_owner=owner[walls],
    )


def _lines_to_ends(
    pointer: NDArray[np.int64], x: FloatArray, y: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Cut lines of many points into straight pieces, with the line of each piece."""
    if len(x) < 2:
        return np.zeros((0, 4)), np.zeros(0, dtype=np.int64)
    of = np.repeat(np.arange(len(pointer) - 1), np.diff(pointer))
    within = of[1:] == of[:-1]
    ends = np.column_stack([x[:-1], y[:-1], x[1:], y[1:]])[within]
    return ends, of[:-1][within].astype(np.int64)


def gather_walls(place: Place, *, ground: Ground | None = None, values: Sheet = VALUES) -> Walls:
    """Gather everything in a place that can hide a wash.

    Parameters
    ----------
    place : Place
        Its buildings, screens and bridges.
    ground : callable, optional
        Height of the ground at x, y; level ground where left out.
    """
    built, screens = place.buildings, place.screens
    b_ends, b_owner = _lines_to_ends(
        np.asarray(built.ring_indptr), np.asarray(built.ring_x), np.asarray(built.ring_y)
    )
    s_ends, s_owner = _lines_to_ends(
        np.asarray(screens.line_indptr), np.asarray(screens.line_x), np.asarray(screens.line_y)
    )
    d_ends, d_segment = _find_decks(place.network)
    ends = np.vstack([b_ends, s_ends, d_ends])
    low = np.concatenate(
        [
            np.full(len(b_ends) + len(s_ends), -np.inf),
            np.full(len(d_ends), values.value("clearance_m")),
        ]
    )
    high = np.concatenate(
        [
            np.asarray(built.height_m, dtype=np.float64)[b_owner],
            np.asarray(screens.height_m, dtype=np.float64)[s_owner],
            np.full(len(d_ends), values.value("clearance_m") + values.value("deck_m")),
        ]
    )
    if ground is not None:
        base = ground((ends[:, 0] + ends[:, 2]) / 2, (ends[:, 1] + ends[:, 3]) / 2)
        low, high = low + base, high + base
    count, more = len(built.height_m), len(screens.height_m)
    return make_walls(
        ends,
        np.column_stack([low, high]),
        np.concatenate([b_owner, count + s_owner, count + more + d_segment]),
        cell_m=values.value("cell_m"),
        buildings=count,
        screens=more,
    )


def _find_decks(network: Network) -> tuple[FloatArray, IntArray]:
    bridges = np.flatnonzero(np.asarray(network.segment_bridge))
    if not bridges.size:
        return np.zeros((0, 4)), np.zeros(0, dtype=np.int64)
    first, last = network.geom_indptr[bridges], network.geom_indptr[bridges + 1]
    sizes = np.asarray(last - first)
    pointer = np.concatenate([[0], np.cumsum(sizes)])
    at = np.repeat(first - pointer[:-1], sizes) + np.arange(pointer[-1])
    ends, of = _lines_to_ends(pointer, network.geom_x[at], network.geom_y[at])
    return ends, bridges[of].astype(np.int64)


def find_clear(
    walls: Walls,
    eyes: FloatArray,
    targets: FloatArray,
    *,
    own_indptr: IntArray | None = None,
    own: IntArray | None = None,
) -> NDArray[np.bool_]:
    """Find which rays are clear of every wall.

    Parameters
    ----------
    walls : Walls
        What may hide.
    eyes, targets : ndarray of float, shape (n, 3)
        x, y and height of both ends, metres.
    own_indptr, own : ndarray of int, optional
        Owners that each ray passes through, as a pointer (n+1,) and owners.

    Returns
    -------
    ndarray of bool, shape (n,)

    Examples
    --------
    >>> walls = make_walls(np.array([[0., 5., 10., 5.]]), np.array([[0., 3.]]), np.array([0]),
    ...                    cell_m=10.0)
    >>> find_clear(walls, np.array([[5., 0., 1.], [5., 0., 1.]]),
    ...            np.array([[5., 10., 1.], [5., 10., 9.]])).tolist()
    [False, True]
    """
    from capture.seeing.kernels import trace_rays

    eyes = np.ascontiguousarray(eyes, dtype=np.float64)
    if own_indptr is None or own is None:
        own_indptr, own = np.zeros(len(eyes) + 1, dtype=np.int64), np.zeros(0, dtype=np.int64)
    clear: NDArray[np.bool_] = trace_rays(
        eyes, np.ascontiguousarray(targets, dtype=np.float64), own_indptr, own, *walls.grid
    )
    return clear

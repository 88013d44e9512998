"""Where on which road is a point?

A uniform grid over the pieces of all road geometries answers nearest-edge queries; a
position is a segment and a fraction along it, never a node. Distances are straight lines in
metres; of roads equally near, the first in the network is taken.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import ArrayLike

from capture.basis import InputError
from capture.place.network import Bools, Bytes, Floats, Ints, Longs, Network


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Snap:
    """k positions along roads."""

    #: segment, -1 where no road was in reach, (k,)
    segment: Ints
    #: share of the segment's length from its start, 0-1, (k,)
    fraction: Floats
    #: straight distance from the point, inf where none, (k,)
    distance_m: Floats
    #: metres east of the position, (k,)
    x: Floats
    #: metres north of the position, (k,)
    y: Floats
    #: +1 when the point lies left of the segment's direction, -1 right, (k,)
    side: Bytes

    def __len__(self) -> int:
        return len(self.segment)

    def take(self, index: ArrayLike) -> Snap:
        """Return some of the positions, by index or mask."""
        at = np.arange(len(self))[as_index(index)]
        return Snap(
            segment=self.segment[at],
            fraction=self.fraction[at],
            distance_m=self.distance_m[at],
            x=self.x[at],
            y=self.y[at],
            side=self.side[at],
        )


def as_index(index: ArrayLike) -> Longs | Bools:
    """Turn an index, a list of indices (also an empty one) or a mask into an array."""
    at = np.atleast_1d(np.asarray(index))
    if at.dtype == bool:
        return at
    return at.astype(np.int64) if at.size == 0 else at


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoadGrid:
    """P straight pieces of road geometry, listed by the square cells that they cross."""

    #: segment of each piece, (P,)
    segment: Ints
    #: first point of each piece in the geometry, (P,)
    point: Longs
    #: metres from the segment's start to the piece's, (P,)
    along: Floats
    #: ends of each piece, (P,)
    ax: Floats
    ay: Floats
    bx: Floats
    by: Floats
    #: first entry of each cell, (cells+1,), and the pieces listed
    start: Longs
    pieces: Ints
    #: south-west corner, cell size in metres, cells east and north
    x0: float
    y0: float
    cell: float
    nx: int
    ny: int


#: a cell is about this much longer than a piece of geometry is on average
_CELL_FACTOR = 1.5
_LEAST_CELL_M = 20.0
_MOST_CELLS_PER_PIECE = 4
_GRIDS: WeakKeyDictionary[Network, RoadGrid] = WeakKeyDictionary()


def road_grid(network: Network) -> RoadGrid:
    """Return the grid over a network's geometry, made once."""
    grid = _GRIDS.get(network)
    if grid is None:
        grid = _GRIDS[network] = _make_grid(network)
    return grid


def _make_grid(network: Network) -> RoadGrid:
    from capture.place.grid_kernels import fill_grid

    counts = np.diff(network.geom_indptr) - 1
    segment = np.repeat(np.arange(network.segments, dtype=np.int32), counts)
    point = np.arange(len(segment)) + segment
    ax, ay = network.geom_x[point], network.geom_y[point]
    bx, by = network.geom_x[point + 1], network.geom_y[point + 1]
    length = np.hypot(bx - ax, by - ay)
    run = np.cumsum(length) - length
    first = np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.int64)
    x0, y0 = float(network.geom_x.min()), float(network.geom_y.min())
    wide, high = float(network.geom_x.max()) - x0, float(network.geom_y.max()) - y0
    cell = max(_LEAST_CELL_M, _CELL_FACTOR * float(length.mean()))
    while (wide / cell + 1) * (high / cell + 1) > _MOST_CELLS_PER_PIECE * len(segment) + 1000:
        cell *= 1.25
    nx, ny = int(wide / cell) + 1, int(high / cell) + 1
    start, pieces = fill_grid(ax, ay, bx, by, x0, y0, cell, nx, ny)
    return RoadGrid(
        segment=segment, point=point, along=run - run[first][segment], ax=ax, ay=ay, bx=bx, by=by,
        start=start, pieces=pieces, x0=x0, y0=y0, cell=cell, nx=nx, ny=ny,
    )  # fmt: skip


def snap(
    network: Network,
    x: ArrayLike,
    y: ArrayLike,
    *,
    classes: Iterable[int] | Bools | None = None,
    max_distance_m: float = np.inf,
) -> Snap:
    """Find the nearest position along a road for m points.

    Parameters
    ----------
    network : Network
        The roads.
    x, y : array_like, shape (m,)
        Metres in the network's projection.
    classes : iterable of int, or ndarray of bool, shape (G,), optional
        Only roads of these classes (indices into ROAD_CLASSES), or only these segments.
    max_distance_m : float
        Roads farther than this are not in reach.

    Returns
    -------
    Snap
        m positions; ``segment`` is -1 where no road is in reach.

    Raises
    ------
    InputError
        When x and y differ in shape or the distance is not positive.
    """
    from capture.place.grid_kernels import nearest_pieces

    px = np.atleast_1d(np.asarray(x, dtype=np.float64))
    py = np.atleast_1d(np.asarray(y, dtype=np.float64))
    if px.shape != py.shape or px.ndim != 1:
        raise InputError(f"snap: x and y must be alike, got shapes {px.shape} and {py.shape}")
    if not max_distance_m > 0:
        raise InputError(f"snap: max_distance_m must be more than 0 m, got {max_distance_m}")
    grid = road_grid(network)
    allowed = _allowed_segments(network, classes)[grid.segment]
    piece, share, distance = nearest_pieces(
        px, py, float(max_distance_m), grid.ax, grid.ay, grid.bx, grid.by, allowed, grid.start,
        grid.pieces, grid.x0, grid.y0, grid.cell, grid.nx, grid.ny,
    )  # fmt: skip
    return _read_pieces(network, grid, px, py, piece, share, distance)


def _allowed_segments(network: Network, classes: Iterable[int] | Bools | None) -> Bools:
    if classes is None:
        return np.ones(network.segments, dtype=bool)
    if isinstance(classes, np.ndarray) and classes.dtype == bool:
        return classes
    allowed: Bools = np.isin(network.segment_class, list(classes))
    return allowed


def _read_pieces(
    network: Network, grid: RoadGrid, px: Floats, py: Floats, piece: Longs, share: Floats,
    distance: Floats,
) -> Snap:  # fmt: skip
    good = piece >= 0
    at = np.where(good, piece, 0)
    dx, dy = grid.bx[at] - grid.ax[at], grid.by[at] - grid.ay[at]
    x = np.where(good, grid.ax[at] + share * dx, np.nan)
    y = np.where(good, grid.ay[at] + share * dy, np.nan)
    segment = grid.segment[at]
    metres = grid.along[at] + share * np.hypot(dx, dy)
    fraction = np.clip(metres / network.segment_length_m[segment], 0.0, 1.0)
    cross = dx * (py - grid.ay[at]) - dy * (px - grid.ax[at])
    return Snap(
        segment=np.where(good, segment, -1).astype(np.int32),
        fraction=np.where(good, fraction, np.nan),
        distance_m=distance,
        x=x,
        y=y,
        side=np.where(cross >= 0, 1, -1).astype(np.int8),
    )


def locate(network: Network, segment: ArrayLike, fraction: ArrayLike) -> Snap:
    """Make positions from segments and fractions along them.

    Parameters
    ----------
    segment : array_like of int, shape (k,)
    fraction : array_like of float, shape (k,)
        0-1 of the length from the segment's start.

    Returns
    -------
    Snap
        With distance 0 and side +1.
    """
    at = np.atleast_1d(np.asarray(segment, dtype=np.int32))
    share = np.atleast_1d(np.asarray(fraction, dtype=np.float64))
    if at.shape != share.shape or not ((share >= 0) & (share <= 1)).all():
        raise InputError("locate: fraction must be 0 to 1, one a segment; mend it")
    if len(at) and not (at.min() >= 0 and at.max() < network.segments):
        raise InputError(f"locate: segment must be 0 to {network.segments - 1}; mend it")
    grid = road_grid(network)
    metres = share * network.segment_length_m[at]
    first = np.asarray(network.geom_indptr[:-1])[at] - at
    last = np.asarray(network.geom_indptr[1:])[at] - at - 2
    piece = first.copy()
    for k in range(len(at)):
        part = grid.along[first[k] : last[k] + 1]
        piece[k] = first[k] + max(0, int(np.searchsorted(part, metres[k], side="right")) - 1)
    dx, dy = grid.bx[piece] - grid.ax[piece], grid.by[piece] - grid.ay[piece]
    t = (metres - grid.along[piece]) / np.maximum(np.hypot(dx, dy), 1e-9)
    t = np.clip(t, 0.0, 1.0)
    return Snap(
        segment=at,
        fraction=share,
        distance_m=np.zeros(len(at)),
        x=grid.ax[piece] + t * dx,
        y=grid.ay[piece] + t * dy,
        side=np.ones(len(at), dtype=np.int8),
    )

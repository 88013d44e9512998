"""Which roads' drivers pass a wash?

Those of the nearest road, of every other road close by, and, with a smaller weight, those on
the far carriageway of a divided road.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import Sheet
from capture.place import snap
from capture.place.network import Network

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Beside:
    """Washes beside edges, sorted by edge."""

    #: first entry of each edge, (E+1,)
    indptr: IntArray
    #: share of the edge driven when the wash is passed, 0-1
    fraction: FloatArray
    #: weight of the wash, 0-1
    weight: FloatArray


def find_beside(
    network: Network, x: ArrayLike, y: ArrayLike, weight: ArrayLike, *, values: Sheet
) -> Beside:
    """Find the edges whose drivers pass each wash.

    Parameters
    ----------
    network : Network
    x, y : array_like, shape (K,)
        Metres in the network's plane.
    weight : array_like, shape (K,)
        Likeness, 0 to 1.
    values : Sheet
        ``beside_m``: the nearest segment always counts, others within this distance too;
        ``across_share``: weight on the far carriageway of a divided road.
    """
    import shapely

    held_x, held_y = np.atleast_1d(np.asarray(x, float)), np.atleast_1d(np.asarray(y, float))
    nearest = snap(network, held_x, held_y).segment
    boxes, reach = _boxes(network), values.value("beside_m")
    rows: list[tuple[int, float, float]] = []
    for k, likeness in enumerate(np.atleast_1d(np.asarray(weight, float)).tolist()):
        point = shapely.Point(held_x[k], held_y[k])
        near = _box_distance(boxes, point.x, point.y) <= reach
        lines = {
            int(g): shapely.LineString(network.segment_line(int(g))) for g in np.flatnonzero(near)
        }
        away = {g: line.distance(point) for g, line in lines.items()}
        away = {g: d for g, d in away.items() if d <= reach or g == nearest[k]}
        if nearest[k] >= 0 and int(nearest[k]) not in away:
            away[int(nearest[k])] = 0.0
        for g, share in _weigh_sides(network, away, values.value("across_share")).items():
            line = lines.get(g) or shapely.LineString(network.segment_line(g))
            rows.append((g, float(line.project(point, normalized=True)), likeness * share))
    return _lay_beside(network, rows)


def _weigh_sides(network: Network, away: dict[int, float], across: float) -> dict[int, float]:
    """Give the far carriageway of a divided road its smaller weight."""
    shares = dict.fromkeys(away, 1.0)
    for g, distance in away.items():
        opposite = int(network.segment_opposite[g])
        if opposite < 0:
            continue
        if opposite not in away:
            shares[opposite] = across
        elif away[opposite] < distance:
            shares[g] = across
    return shares


def _boxes(network: Network) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Least x, least y, greatest x, greatest y of every segment."""
    at = np.asarray(network.geom_indptr[:-1], dtype=np.int64)
    x, y = np.asarray(network.geom_x), np.asarray(network.geom_y)
    return (
        np.minimum.reduceat(x, at),
        np.minimum.reduceat(y, at),
        np.maximum.reduceat(x, at),
        np.maximum.reduceat(y, at),
    )


def _box_distance(
    boxes: tuple[FloatArray, FloatArray, FloatArray, FloatArray], x: float, y: float
) -> FloatArray:
    low_x, low_y, high_x, high_y = boxes
    return np.hypot(
        np.maximum(np.maximum(low_x - x, x - high_x), 0.0),
        np.maximum(np.maximum(low_y - y, y - high_y), 0.0),
    )


def _lay_beside(network: Network, rows: Sequence[tuple[int, float, float]]) -> Beside:
    """Turn (segment, fraction, weight) into washes beside edges, both directions."""
    edges, fractions, weights = [], [], []
    for segment, fraction, weight in rows:
        for edge, driven in (
            (int(network.segment_edge_forward[segment]), fraction),
            (int(network.segment_edge_backward[segment]), 1.0 - fraction),
        ):
            if edge >= 0:
                edges.append(edge)
                fractions.append(driven)
                weights.append(weight)
    order = np.argsort(np.array(edges, dtype=np.int64), kind="stable")
    counts = np.bincount(np.array(edges, dtype=np.int64), minlength=network.edges)
    return Beside(
        indptr=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        fraction=np.array(fractions, dtype=np.float64)[order],
        weight=np.array(weights, dtype=np.float64)[order],
    )

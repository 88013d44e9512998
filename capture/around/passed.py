"""Which share of a stream has just driven past another wash?

The stream is followed upstream, against traffic, for a few minutes. At each junction it
splits over the roads that feed it, by their vehicles and by how many of those go straight
on. A branch that passes a wash counts with that wash's likeness, one that passes several
with the greatest. Assumes that drivers who turn spread as the roads' volumes do; where the
map ends the branch ends, so shares near the edge are at the low side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.around.passed_kernel import walk_branches
from capture.basis import InputError, Sheet
from capture.place.network import Network
from capture.place.snap import snap

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Feeders:
    """Which edges feed each edge, and with which share; E edges."""

    #: first entry of each edge, (E+1,)
    indptr: IntArray
    #: edge that feeds it
    edge: IntArray
    #: its share of what is fed, sums to 1 for each edge
    share: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Beside:
    """Washes beside edges, sorted by edge."""

    #: first entry of each edge, (E+1,)
    indptr: IntArray
    #: share of the edge driven when the wash is passed, 0-1
    fraction: FloatArray
    #: weight of the wash, 0-1
    weight: FloatArray


_FEEDERS: WeakKeyDictionary[Network, tuple[FloatArray, float, float, Feeders]] = WeakKeyDictionary()


def find_feeders(network: Network, vehicles: ArrayLike, *, values: Sheet) -> Feeders:
    """Split every edge's vehicles over the edges that feed it.

    Parameters
    ----------
    network : Network
    vehicles : array_like, shape (E,)
        Vehicles a day on each edge.
    values : Sheet
        ``straight_ratio`` and ``straight_deg``.

    Returns
    -------
    Feeders
        Turning back and forbidden turns feed nothing.
    """
    flow = np.maximum(np.nan_to_num(np.asarray(vehicles, dtype=np.float64)), 1.0)
    ratio, limit = values.value("straight_ratio"), values.value("straight_deg")
    kept = _FEEDERS.get(network)
    if kept and kept[1:3] == (ratio, limit) and np.array_equal(kept[0], flow):
        return kept[3]
    before, after = _pair_edges(network)
    straight = _turn_deg(network, before, after) <= limit
    onward = np.where(straight, ratio, 1.0) * flow[after]
    leaving = np.bincount(before, onward, minlength=network.edges)
    feed = flow[before] * onward / leaving[before]
    arriving = np.bincount(after, feed, minlength=network.edges)
    order = np.argsort(after, kind="stable")
    counts = np.bincount(after, minlength=network.edges)
    made = Feeders(
        indptr=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        edge=before[order],
        share=(feed / arriving[after])[order],
    )
    _FEEDERS[network] = (flow, ratio, limit, made)
    return made


def _pair_edges(network: Network) -> tuple[IntArray, IntArray]:
    """List all pairs of edges that may follow each other."""
    head = np.asarray(network.edge_head, dtype=np.int64)
    outs = np.asarray(network.indptr, dtype=np.int64)
    counts = outs[head + 1] - outs[head]
    before = np.repeat(np.arange(network.edges, dtype=np.int64), counts)
    first = np.concatenate([[0], np.cumsum(counts)])[:-1]
    after = np.repeat(outs[head] - first, counts) + np.arange(len(before))
    banned = np.asarray(network.banned_from, np.int64) * network.edges + network.banned_to
    allowed = np.asarray(network.edge_reverse)[before] != after
    allowed &= ~np.isin(before * network.edges + after, banned)
    return before[allowed], after[allowed]


def _turn_deg(network: Network, before: IntArray, after: IntArray) -> FloatArray:
    """Angle of turning from one edge into the next, degrees, 0 straight on to 180."""
    start, end = _bearings(network)
    turn = np.abs(start[after] - end[before]) % (2 * np.pi)
    return np.asarray(np.degrees(np.minimum(turn, 2 * np.pi - turn)))


def _bearings(network: Network) -> tuple[FloatArray, FloatArray]:
    """Bearing of each edge at its start and at its end, radians, in travel direction."""
    x, y = np.asarray(network.geom_x), np.asarray(network.geom_y)
    low = np.asarray(network.geom_indptr[:-1], dtype=np.int64)
    high = np.asarray(network.geom_indptr[1:], dtype=np.int64)
    first = np.arctan2(y[low + 1] - y[low], x[low + 1] - x[low])
    last = np.arctan2(y[high - 1] - y[high - 2], x[high - 1] - x[high - 2])
    segment, forward = np.asarray(network.edge_segment), np.asarray(network.edge_forward)
    start = np.where(forward, first[segment], last[segment] + np.pi)
    end = np.where(forward, last[segment], first[segment] + np.pi)
    return start, end


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


def compute_passed_first(
    network: Network,
    feeders: Feeders,
    beside: Beside,
    edge: ArrayLike,
    fraction: ArrayLike,
    *,
    values: Sheet,
) -> FloatArray:
    """Compute the share of each stream that has just driven past a rival.

    Parameters
    ----------
    network : Network
    feeders : Feeders
    beside : Beside
        Rivals only, not the site itself.
    edge : array_like of int, shape (R,)
        Edge of each stream at the site.
    fraction : array_like, shape (R,)
        Share of that edge driven when the site is reached.
    values : Sheet
        ``passed_window_s`` and ``branch_share``.

    Returns
    -------
    ndarray of float, shape (R,)
        0 to 1; likeness of the most alike rival passed, averaged over the stream.

    Raises
    ------
    InputError
        For an edge that the network does not have.
    """
    at = np.atleast_1d(np.asarray(edge, dtype=np.int64))
    along = np.atleast_1d(np.asarray(fraction, dtype=np.float64))
    if at.size and not ((at >= 0) & (at < network.edges)).all():
        raise InputError(f"streams must lie on edges 0 to {network.edges - 1}; snap them again")
    found: Any = walk_branches(
        at,
        along,
        np.asarray(network.edge_seconds, dtype=np.float64),
        feeders.indptr,
        feeders.edge,
        feeders.share,
        beside.indptr,
        beside.fraction,
        beside.weight,
        values.value("passed_window_s"),
        values.value("branch_share"),
    )
    return np.asarray(found, dtype=np.float64)

"""Which roads feed a road, and with which part of its traffic?

At each junction a road's vehicles come from the roads that lead there. A feeding road gives
by its own vehicles and by the part of them that take this way out: straight on several
times as often as a turn, and busy ways out more often than quiet ones. Assumes nothing
about who started a trip on the road itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import Sheet
from capture.place.network import Network

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
    #: sparse table (E, E) of seconds: from an edge into what it feeds
    onward: Any


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
    from scipy.sparse import csr_matrix

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
    seconds = np.asarray(network.edge_seconds, dtype=np.float64)
    shape = (network.edges, network.edges)
    made = Feeders(
        indptr=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        edge=before[order],
        share=(feed / arriving[after])[order],
        onward=csr_matrix((seconds[after], (before, after)), shape=shape),
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

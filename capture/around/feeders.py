"""Which roads feed a road, and with which part of its traffic?

At each junction a road's vehicles come from the roads that lead there. A feeding road gives
by its own vehicles and by the part of them that take this way out: straight on several
times as often as a turn, and busy ways out more often than quiet ones. Assumes nothing
about who started a trip on the road itself.

Where a turn restriction spans a whole road, who came over it from one road may not go where
others may. The road in the middle then counts as several, one for each such past.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import Sheet
from capture.place.network import Network
from capture.place.turns import TurnGraph, pair_numbers, turn_graph

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
#: passes that settle the vehicles of roads with a past: one for each road a restriction spans
_PASSES = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Feeders:
    """Which numbers feed each number, and with which share.

    Numbers 0..E-1 are the edges, each with all that feeds it. An edge in the middle of a turn
    restriction has further numbers, one for each past, and it is those that feed others.
    """

    #: the edge that each number stands for, (S,)
    base: IntArray
    #: first entry of each number, (S+1,)
    indptr: IntArray
    #: number that feeds it
    edge: IntArray
    #: its share of what is fed, sums to 1 for each number
    share: FloatArray
    #: sparse table (S, S) of seconds: from a number into what it feeds
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
    flow = np.maximum(np.nan_to_num(np.asarray(vehicles, dtype=np.float64)), 1.0)
    ratio, limit = values.value("straight_ratio"), values.value("straight_deg")
    kept = _FEEDERS.get(network)
    if kept and kept[1:3] == (ratio, limit) and np.array_equal(kept[0], flow):
        return kept[3]
    made = _split(network, flow, ratio, limit)
    _FEEDERS[network] = (flow, ratio, limit, made)
    return made


def _split(network: Network, flow: FloatArray, ratio: float, limit: float) -> Feeders:
    from scipy.sparse import csr_matrix

    turns = turn_graph(network)
    before, after = pair_numbers(network)
    straight = _turn_deg(network, turns.base[before], turns.base[after]) <= limit
    onward = np.where(straight, ratio, 1.0) * flow[turns.base[after]]
    part = onward / np.bincount(before, onward, minlength=turns.size)[before]
    base = turns.base
    if turns.twinned.size:
        feed = _settle(turns, flow, before, after, part)[before] * part
        base, before, after, feed = _set_apart(turns, before, after, feed)
    else:
        feed = flow[before] * part
    arriving = np.bincount(after, feed, minlength=len(base))
    order = np.argsort(after, kind="stable")
    counts = np.bincount(after, minlength=len(base))
    seconds = np.asarray(network.edge_seconds, dtype=np.float64)
    shape = (len(base), len(base))
    return Feeders(
        base=base,
        indptr=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        edge=before[order],
        share=(feed / np.where(arriving > 0, arriving, 1.0)[after])[order],
        onward=csr_matrix((seconds[base[after]], (before, after)), shape=shape),
    )


def _settle(
    turns: TurnGraph, flow: FloatArray, before: IntArray, after: IntArray, part: FloatArray
) -> FloatArray:
    """Share an edge's vehicles out over its numbers, by what comes into each, (S,)."""
    vehicles = flow[turns.base]
    vehicles[len(flow) :] = 0.0
    for _ in range(_PASSES):
        into = np.bincount(after, vehicles[before] * part, minlength=turns.size)
        whole = np.bincount(turns.base, into, minlength=len(flow))[turns.base]
        shared = flow[turns.base] * into / np.where(whole > 0, whole, 1.0)
        vehicles = np.where(whole > 0, shared, vehicles)
    return vehicles


def _set_apart(
    turns: TurnGraph, before: IntArray, after: IntArray, feed: FloatArray
) -> tuple[IntArray, IntArray, IntArray, FloatArray]:
    """Give those edges a number more that have a past, so that their own means all vehicles."""
    apart = np.arange(turns.size)
    apart[turns.twinned] = turns.size + np.arange(len(turns.twinned))
    held = np.isin(turns.base[after], turns.twinned)
    return (
        np.concatenate([turns.base, turns.twinned]),
        np.concatenate([apart[before], apart[before[held]]]),
        np.concatenate([apart[after], turns.base[after[held]]]),
        np.concatenate([feed, feed[held]]),
    )


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

"""How is a network laid out for searching, forward or backward in time?

A :class:`SearchGraph` holds what the inner loops need: edges by the node they leave (or, for
drive time *to* a place, by the node they enter), their times, the edge the other way, and
the forbidden pairs. It is made once per network and direction and kept beside it.

Times are counted in ticks, whole numbers. Each edge is off by at most the 2^32nd part of the
longest edge's time: where none takes more than five minutes, a path over a thousand edges is
off by less than a tenth of a millisecond.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError
from capture.place.long_bans import Twins, make_twins
from capture.place.network import Bools, Floats, Ints, Longs, Network

#: seconds a bucket of the queue spans: few enough empty ones to pass over, and few in each
BUCKET_SECONDS = 1.0
_MOST_BUCKETS = 1 << 16
_COST_BITS = 32
_FINEST_BITS = 30


class Roads(NamedTuple):
    """Edges as the inner loops walk them, renumbered by the node they leave in the search."""

    #: first edge of each node, (N+1,)
    start: Ints
    #: ticks and node it leads to, as paths see them that met no forbidden turn, ROAD records, (E,)
    road: NDArray[np.void]
    #: ticks, (E,)
    cost: NDArray[np.uint32]
    #: node it leads to, (E,)
    onto: Ints
    #: the edge the other way, -1 if none, (E,)
    opposite: Ints
    #: whether some edges may not follow, (E,)
    bans: Bools
    #: whether such an edge leaves the node, (N,)
    before_bans: Bools
    #: whether there is any such edge
    any_ban: bool
    #: first entry of each edge in ``ban_onto``, (E+1,)
    ban_start: Ints
    #: edges that may not follow, (bans,)
    ban_onto: Ints
    #: nodes with one way out only, where drivers may turn round, (N,)
    dead_end: Bools
    #: a bucket of the queue spans 2^shift ticks
    shift: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SearchGraph:
    """A network laid out for searching in one direction."""

    roads: Roads
    #: node that each edge leaves, (E,)
    leaves: Ints
    #: number in the network of each edge here, (E,)
    outside: Ints
    #: number here of each edge of the network
    inside: Ints
    #: further numbers here of edges of the network that a long turn restriction doubles
    twins: Mapping[int, Sequence[int]]
    #: number of buckets, a power of two
    buckets: int
    #: seconds of a tick
    tick_s: float
    #: ticks of the longest path that can be, at most
    most_ticks: int
    #: whether time runs backward
    reverse: bool
    #: working memories at hand for searches on this graph
    spare: list[Any] = field(default_factory=list)

    def limit_ticks(self, limit_s: float) -> int:
        """Ticks within a limit in seconds, inf for none."""
        return int(min(limit_s / self.tick_s, self.most_ticks))


_GRAPHS: WeakKeyDictionary[Network, dict[bool, SearchGraph]] = WeakKeyDictionary()


def search_graph(
    network: Network, *, reverse: bool = False, seconds: Floats | None = None
) -> SearchGraph:
    """Lay out a network for searching.

    Parameters
    ----------
    network : Network
        N nodes, E edges.
    reverse : bool
        Whether to search for who can reach a place instead of what it can reach.
    seconds : ndarray, shape (E,), optional
        Driving time of each edge, at some time of day; free-flow when left out.

    Returns
    -------
    SearchGraph

    Raises
    ------
    InputError
        When ``seconds`` has another shape, or is not positive.
    """
    if seconds is not None:
        return _lay_out(network, reverse, _check_seconds(network, seconds))
    kept = _GRAPHS.setdefault(network, {})
    if reverse not in kept:
        kept[reverse] = _lay_out(network, reverse, network.edge_seconds)
    return kept[reverse]


def _check_seconds(network: Network, seconds: Floats) -> Floats:
    given = np.ascontiguousarray(seconds, dtype=np.float64)
    if given.shape != (network.edges,) or not (np.isfinite(given).all() and (given > 0).all()):
        raise InputError(
            f"seconds must be {network.edges} positive numbers, one an edge, got shape "
            f"{given.shape} with least {given.min() if given.size else 'nothing'}; mend them"
        )
    return given


def _lay_out(network: Network, reverse: bool, seconds: Floats) -> SearchGraph:
    pairs = np.column_stack([network.banned_from, network.banned_to]).astype(np.int64)
    paths = network.banned_paths()
    ends = network.edge_tail, network.edge_head
    if reverse:
        pairs, paths, ends = pairs[:, ::-1], [path[::-1] for path in paths], ends[::-1]
    twins = make_twins(pairs, paths, *ends)
    base = np.concatenate([np.arange(network.edges), twins.base])
    order = np.argsort(ends[0][base], kind="stable")
    place = np.empty(len(base), dtype=np.int32)
    place[order] = np.arange(len(base), dtype=np.int32)
    outside = base[order].astype(np.int32)
    longest = float(seconds.max(initial=0.0)) or 1.0
    bits = min(_FINEST_BITS, int(np.floor(np.log2((2.0**_COST_BITS - 2) / longest))))
    cost = np.maximum(np.rint(seconds[outside] * 2.0**bits), 1.0).astype(np.uint32)
    buckets, shift = _size_queue(int(cost.max(initial=1)), bits)
    back = np.asarray(network.edge_reverse)[outside]
    opposite = np.where(back >= 0, place[back], -1).astype(np.int32)
    return SearchGraph(
        roads=_lay_roads(network, ends, outside, cost, opposite, _place_bans(twins, place), shift),
        leaves=np.ascontiguousarray(ends[0][outside]),
        outside=outside,
        inside=place[: network.edges],
        twins=_gather_twins(twins.base, place[network.edges :]),
        buckets=buckets,
        tick_s=2.0**-bits,
        most_ticks=int(cost.sum(dtype=np.int64)) + 1,
        reverse=reverse,
    )


def _place_bans(twins: Twins, place: Ints) -> tuple[Ints, Ints]:
    """Forbidden pairs as the graph numbers them, by the first: counts of each, the seconds."""
    banned, follows = place[twins.pairs[:, 0]], place[twins.pairs[:, 1]]
    counts = np.bincount(banned, minlength=len(place)).astype(np.int32)
    return counts, follows[np.argsort(banned, kind="stable")].astype(np.int32)


def _lay_roads(
    network: Network, ends: tuple[Ints, Ints], outside: Ints, cost: NDArray[np.uint32],
    opposite: Ints, banned: tuple[Ints, Ints], shift: int,
) -> Roads:  # fmt: skip
    from capture.place.kernels import ROAD

    leaves, onto = ends[0][outside], ends[1][outside]
    bans = banned[0] > 0
    road = np.zeros(len(outside), dtype=ROAD)
    road["cost"], road["onto"] = cost, np.where(bans, network.nodes, onto)
    before_bans = np.zeros(network.nodes, dtype=np.bool_)
    before_bans[leaves[bans]] = True
    counts = np.bincount(leaves, minlength=network.nodes)
    return Roads(
        start=np.concatenate([[0], np.cumsum(counts)]).astype(np.int32),
        road=road,
        cost=cost,
        onto=np.ascontiguousarray(onto),
        opposite=opposite,
        bans=bans,
        before_bans=before_bans,
        any_ban=bool(bans.any()),
        ban_start=np.concatenate([[0], np.cumsum(banned[0])]).astype(np.int32),
        ban_onto=banned[1],
        dead_end=np.diff(network.indptr) == 1,
        shift=shift,
    )


def _gather_twins(base: Longs, place: Ints) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for edge, number in zip(base.tolist(), place.tolist(), strict=True):
        found.setdefault(edge, []).append(number)
    return found


def _size_queue(longest: int, bits: int) -> tuple[int, int]:
    """Number of buckets such that the longest edge fits once round the ring, and their width."""
    shift = max(0, bits + int(np.log2(BUCKET_SECONDS)))
    while longest >> shift > _MOST_BUCKETS - 2:
        shift += 1
    buckets = 64
    while buckets < (longest >> shift) + 2:
        buckets *= 2
    return buckets, shift

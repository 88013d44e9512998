"""How is a network laid out for searching, forward or backward in time?

A :class:`SearchGraph` holds what the inner loops need: edges by the node they leave (or, for
drive time *to* a place, by the node they enter), their seconds, the edge the other way, and
the forbidden pairs. It is made once per network and direction and kept beside it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError
from capture.place.long_bans import make_twins
from capture.place.network import Bools, Floats, Ints, Longs, Network
from capture.place.snap import Snap

#: seconds a bucket of the queue spans: few items fall into one, so keeping them sorted is cheap
BUCKET_SECONDS = 0.0625
_MOST_BUCKETS = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SearchGraph:
    """Edges as the inner loops walk them, renumbered by the node they leave in the search."""

    #: first edge of each node, (N+1,)
    start: Ints
    #: seconds, (E,)
    cost: Floats
    #: node it leads to, ~node where some edges may not follow, (E,)
    onto: Ints
    #: both of these as paths see them that met no forbidden turn, ROAD records, (E,)
    road: NDArray[np.void]
    #: edges with some that may not follow
    banning: Ints
    #: the edge the other way, -1 if none, (E,)
    opposite: Ints
    #: node that each leaves, (E,)
    leaves: Ints
    #: number in the network of each edge here, (E,)
    outside: Ints
    #: number here of each edge of the network, (E,)
    inside: Ints
    #: further numbers here of edges of the network that a long turn restriction doubles
    twins: Mapping[int, Sequence[int]]
    #: first entry of each edge in ``ban_onto``, (E+1,)
    ban_start: Ints
    #: edges that may not follow, (bans,)
    ban_onto: Ints
    #: nodes with one way out only, where drivers may turn round, (N,)
    dead_end: Bools
    #: number of buckets, a power of two, and buckets a second
    buckets: int
    per_width: float
    #: whether time runs backward
    reverse: bool

    def empty_buckets(self) -> Ints:
        """Return an empty queue."""
        return np.full(self.buckets, -1, dtype=np.int32)


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


def _lay_out(network: Network, reverse: bool, cost: Floats) -> SearchGraph:
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
    banned, follows = place[twins.pairs[:, 0]], place[twins.pairs[:, 1]]
    by_edge = np.argsort(banned, kind="stable")
    per_edge = np.bincount(banned, minlength=len(base))
    leaves, onto = ends[0][outside], ends[1][outside]
    back = np.asarray(network.edge_reverse)[outside]
    buckets, width = _size_queue(float(cost.max()) if network.edges else 1.0)
    counts = np.bincount(leaves, minlength=network.nodes)
    return SearchGraph(
        start=np.concatenate([[0], np.cumsum(counts)]).astype(np.int32),
        cost=np.ascontiguousarray(cost[outside]),
        onto=np.where(per_edge > 0, ~onto, onto).astype(np.int32),
        road=_lay_road(cost[outside], onto, per_edge > 0),
        banning=np.flatnonzero(per_edge).astype(np.int32),
        opposite=np.where(back >= 0, place[back], -1).astype(np.int32),
        leaves=np.ascontiguousarray(leaves),
        outside=outside,
        inside=place[: network.edges],
        twins=_gather_twins(twins.base, place[network.edges :]),
        ban_start=np.concatenate([[0], np.cumsum(per_edge)]).astype(np.int32),
        ban_onto=follows[by_edge].astype(np.int32),
        dead_end=np.diff(network.indptr) == 1,
        buckets=buckets,
        per_width=1.0 / width,
        reverse=reverse,
    )


def _lay_road(cost: Floats, onto: Ints, bans: Bools) -> NDArray[np.void]:
    from capture.place.kernels import ROAD

    road = np.zeros(len(cost), dtype=ROAD)
    road["cost"] = np.where(bans, np.inf, cost)
    road["onto"] = onto
    return road


def _gather_twins(base: Longs, place: Ints) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for edge, number in zip(base.tolist(), place.tolist(), strict=True):
        found.setdefault(edge, []).append(number)
    return found


def _size_queue(longest_s: float) -> tuple[int, float]:
    """Number and width of buckets such that the longest edge fits once round the ring."""
    buckets, width = 64, BUCKET_SECONDS
    while buckets * width < longest_s + 2 * width:
        buckets, width = (buckets * 2, width) if buckets < _MOST_BUCKETS else (buckets, width * 2)
    return buckets, width


def start_edges(network: Network, graph: SearchGraph, at: Snap, k: int) -> tuple[Ints, Floats]:
    """Return the edges under way from position k, and the seconds to their ends."""
    edges, rest = position_edges(network, graph, at.take([k]))
    good = edges[0] >= 0
    return edges[0][good], rest[0][good]


def position_edges(
    network: Network, graph: SearchGraph, at: Snap, *, twins: bool = False
) -> tuple[Ints, Floats]:
    """Return the edges over m positions and the seconds from there to the edges' ends.

    "End" is where the direction of search leads to: the head, or the tail in reverse.

    Returns
    -------
    ndarray of int32, shape (m, 2)
        Forward and backward edge as the graph numbers them, -1 where there is none; with
        ``twins``, two more columns for each further number that one of the edges has.
    ndarray of float, shape (m, 2)
    """
    on = at.segment >= 0
    segment = np.where(on, at.segment, 0)
    outside = np.column_stack(
        [network.segment_edge_forward[segment], network.segment_edge_backward[segment]]
    )
    outside = np.where(on[:, None], outside, -1)
    edges = np.where(outside >= 0, graph.inside[outside], -1).astype(np.int32)
    left = np.column_stack([1.0 - at.fraction, at.fraction])
    if graph.reverse:
        left = 1.0 - left
    if twins and graph.twins:
        more = _twin_columns(graph, outside)
        edges, left = np.hstack([edges, more]), np.tile(left, (1, 1 + more.shape[1] // 2))
    cost = np.where(edges >= 0, graph.cost[edges], 0.0)
    return edges, cost * left


def _twin_columns(graph: SearchGraph, outside: Ints) -> Ints:
    most = max(len(numbers) for numbers in graph.twins.values())
    columns = np.full((len(outside), 2 * most), -1, dtype=np.int32)
    for edge, numbers in graph.twins.items():
        row, side = np.nonzero(outside == edge)
        for k, number in enumerate(numbers):
            columns[row, 2 * k + side] = number
    return columns

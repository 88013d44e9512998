"""How is a network laid out for searching, forward or backward in time?

A :class:`SearchGraph` holds what the inner loops need: edges by the node they leave (or, for
drive time *to* a place, by the node they enter), their seconds, the edge the other way, and
the forbidden pairs. It is made once per network and direction and kept beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from capture.basis import InputError
from capture.place.network import Bools, Floats, Ints, Longs, Network
from capture.place.snap import Snap

#: seconds a bucket of the queue spans: few items fall into one, so keeping them sorted is cheap
BUCKET_SECONDS = 0.0625
_MOST_BUCKETS = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SearchGraph:
    """Edges as the inner loops walk them."""

    #: first entry of each node in ``out``, (N+1,)
    start: Longs
    #: edges that leave a node in the direction of search, (E,)
    out: Ints
    #: node that an edge leads to, (E,)
    onto: Ints
    #: seconds, (E,)
    cost: Floats
    #: the edge the other way, -1 if none, (E,)
    opposite: Ints
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
    edges = network.edges
    if reverse:
        out = np.argsort(network.edge_head, kind="stable").astype(np.int32)
        counts = np.bincount(network.edge_head, minlength=network.nodes)
        start = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
        onto, banned, follows = network.edge_tail, network.banned_to, network.banned_from
    else:
        out = np.arange(edges, dtype=np.int32)
        start = np.asarray(network.indptr, dtype=np.int64)
        onto, banned, follows = network.edge_head, network.banned_from, network.banned_to
    order = np.argsort(banned, kind="stable")
    ban_start = np.concatenate([[0], np.cumsum(np.bincount(banned, minlength=edges))])
    longest = float(cost.max()) if edges else 1.0
    buckets, width = 64, BUCKET_SECONDS
    while buckets * width < longest + 2 * width:
        buckets, width = (buckets * 2, width) if buckets < _MOST_BUCKETS else (buckets, width * 2)
    return SearchGraph(
        start=start,
        out=out,
        onto=np.ascontiguousarray(onto),
        cost=np.ascontiguousarray(cost),
        opposite=np.ascontiguousarray(network.edge_reverse),
        ban_start=ban_start.astype(np.int32),
        ban_onto=np.ascontiguousarray(follows[order], dtype=np.int32),
        dead_end=np.diff(network.indptr) == 1,
        buckets=buckets,
        per_width=1.0 / width,
        reverse=reverse,
    )


class Sweeper:
    """The working memory of single-source searches on one graph; one per thread."""

    __slots__ = (
        "after", "bucket", "edge_mark", "edges", "graph", "keys", "node_key", "node_mark",
        "node_state", "nodes", "stamp", "taint",
    )  # fmt: skip

    def __init__(self, graph: SearchGraph) -> None:
        edges, nodes = len(graph.cost), len(graph.start) - 1
        self.graph = graph
        self.bucket = graph.empty_buckets()
        self.after = np.empty(edges, dtype=np.int32)
        self.keys = np.empty(edges)
        self.edge_mark = np.zeros(edges, dtype=np.int32)
        self.taint = np.zeros(edges, dtype=bool)
        self.node_mark = np.zeros(nodes, dtype=np.int32)
        self.node_key = np.empty(nodes)
        self.node_state = np.zeros(nodes, dtype=np.int8)
        self.nodes = np.empty(nodes, dtype=np.int32)
        self.edges = np.empty(edges, dtype=np.int32)
        self.stamp = 0

    def run(
        self, first_edge: Ints, first_key: Floats, limit_s: float, *, tainted: bool = False
    ) -> Swept:
        """Search from partly driven edges; the answer is valid until the next run.

        Parameters
        ----------
        first_edge, first_key : ndarray, shape (starts,)
            Edges that are under way and the seconds until their end.
        limit_s : float
            No farther than this.
        tainted : bool
            True when only one direction of a two-way stretch is under way, so that turning
            back at a dead end matters.
        """
        from capture.place.kernels import sweep

        graph = self.graph
        self.stamp += 1
        whole = np.empty(len(first_edge))
        nodes, edges = sweep(
            graph.start, graph.out, graph.onto, graph.cost, graph.opposite, graph.ban_start,
            graph.ban_onto, graph.dead_end, first_edge, first_key, tainted, limit_s,
            graph.per_width, self.bucket,
            self.after, self.keys, self.edge_mark, self.taint, self.node_mark,
            self.node_key, self.node_state, self.stamp, self.nodes, self.edges, whole,
        )  # fmt: skip
        return Swept(sweeper=self, first_edge=first_edge, whole=whole, nodes=nodes, edges=edges)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Swept:
    """What one search found; reads the working memory of its :class:`Sweeper`."""

    sweeper: Sweeper
    first_edge: Ints
    #: seconds at the end of each start edge when driven whole, inf if not reached
    whole: Floats
    #: how many nodes and edges were reached
    nodes: int
    edges: int

    def reached_nodes(self) -> tuple[Ints, Floats]:
        """Nodes within the limit and their seconds, in order of time."""
        at = self.sweeper.nodes[: self.nodes].copy()
        return at, self.sweeper.node_key[at]

    def whole_seconds(self, edge: Ints) -> Floats:
        """Seconds at the end of edges that are driven whole, inf where not reached; -1 too."""
        sweeper = self.sweeper
        good = (edge >= 0) & (sweeper.edge_mark[edge] == sweeper.stamp)
        seconds: Floats = np.where(good, sweeper.keys[edge], np.inf)
        for first, whole in zip(self.first_edge, self.whole, strict=True):
            seconds = np.where(edge == first, whole, seconds)
        return seconds


def start_edges(network: Network, graph: SearchGraph, at: Snap, k: int) -> tuple[Ints, Floats]:
    """Return the edges under way from position k, and the seconds to their ends."""
    edges, rest = position_edges(network, graph, at)
    good = edges[k] >= 0
    return edges[k][good], rest[k][good]


def position_edges(network: Network, graph: SearchGraph, at: Snap) -> tuple[Ints, Floats]:
    """Return the edges over m positions and the seconds from there to the edges' ends.

    "End" is where the direction of search leads to: the head, or the tail in reverse.

    Returns
    -------
    ndarray of int32, shape (m, 2)
        Forward and backward edge, -1 where there is none.
    ndarray of float, shape (m, 2)
    """
    on = at.segment >= 0
    segment = np.where(on, at.segment, 0)
    edges = np.column_stack(
        [network.segment_edge_forward[segment], network.segment_edge_backward[segment]]
    ).astype(np.int32)
    edges[~on] = -1
    cost = np.where(edges >= 0, graph.cost[edges], 0.0)
    left = np.column_stack([1.0 - at.fraction, at.fraction])
    if graph.reverse:
        left = 1.0 - left
    return edges, cost * left


def usable(positions: Snap) -> Bools:
    """Which positions lie on a road."""
    good: Bools = positions.segment >= 0
    return good

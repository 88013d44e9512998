"""How is one search run, and what does it answer?

A :class:`Sweeper` is the working memory of searches on one graph, used over and over; a
:class:`Swept` reads the answer of the latest out of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from capture.basis import InputError
from capture.place.network import Floats, Ints
from capture.place.search import SearchGraph

#: edges that may be under way at once
MOST_STARTS = 256


class Sweeper:
    """The working memory of single-source searches on one graph; one per thread."""

    __slots__ = (
        "arrival", "bucket", "edge_key", "edge_mark", "found", "graph", "item", "marked", "met",
        "node", "nodes", "stamp", "touched",
    )  # fmt: skip

    def __init__(self, graph: SearchGraph) -> None:
        from capture.place.kernels import ITEM, NODE

        edges, nodes = len(graph.cost), len(graph.start) - 1
        self.graph = graph
        self.bucket = graph.empty_buckets()
        self.item = np.empty(edges + 2 * MOST_STARTS, dtype=ITEM)
        self.node = np.zeros(nodes, dtype=NODE)
        self.node["key"] = np.inf
        self.arrival = np.full(nodes, np.inf)
        self.edge_key = np.empty(edges)
        self.edge_mark = np.zeros(edges, dtype=np.int32)
        self.nodes = np.empty(nodes, dtype=np.int32)
        self.met = np.empty(nodes, dtype=np.int32)
        self.marked = np.empty(edges, dtype=np.int32)
        self.stamp = 0
        self.found = self.touched = 0

    def run(
        self, first_edge: Ints, first_key: Floats, limit_s: float, *, tainted: bool = False
    ) -> Swept:
        """Search from partly driven edges; the answer is valid until the next run.

        Parameters
        ----------
        first_edge : ndarray of int32, shape (starts,)
            Edges under way, as the graph numbers them.
        first_key : ndarray, shape (starts,)
            Seconds until their ends.
        limit_s : float
            No farther than this.
        tainted : bool
            True when only one direction of a two-way stretch is under way, so that turning
            back at a dead end matters.
        """
        if len(first_edge) > MOST_STARTS:
            raise InputError(
                f"search: at most {MOST_STARTS} starts at once, got {len(first_edge)}; split them"
            )
        while (labelled := self._try(first_edge, first_key, limit_s, tainted)) < 0:
            self.item = np.empty(2 * len(self.item), dtype=self.item.dtype)
        return Swept(
            sweeper=self, first_edge=first_edge, first_key=first_key, nodes=self.found,
            marked=labelled,
        )  # fmt: skip

    def _try(self, first_edge: Ints, first_key: Floats, limit_s: float, tainted: bool) -> int:
        """Search once: how many edges were labelled behind forbidden turns, or no room (< 0)."""
        from capture.place.kernels import forget, sweep_edges, sweep_nodes

        graph = self.graph
        forget(
            self.node, self.bucket, self.nodes, self.found, self.arrival, self.met[: self.touched]
        )
        self.stamp += 1
        labelled = self.found = self.touched = 0
        if not tainted:
            self.found = sweep_nodes(
                graph.start, graph.road, graph.onto, first_edge, first_key, limit_s,
                graph.per_width, self.bucket, self.item, self.node, self.nodes,
            )  # fmt: skip
            if self.found < 0:
                return -1
        if tainted or len(graph.banning):
            self.touched, labelled = sweep_edges(
                graph.start, graph.cost, graph.onto, graph.opposite, graph.leaves, graph.banning,
                graph.ban_start, graph.ban_onto, graph.dead_end, first_edge, first_key, tainted,
                limit_s, graph.per_width, self.bucket, self.item, self.node, self.arrival,
                self.edge_key, self.edge_mark, self.stamp, self.met, self.marked,
            )  # fmt: skip
        if labelled < 0:
            self.found = -1
        return int(labelled)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Swept:
    """What one search found; reads the working memory of its :class:`Sweeper`."""

    sweeper: Sweeper
    #: edges that were under way at the start, and the seconds to their ends
    first_edge: Ints
    first_key: Floats
    #: how many nodes clean paths reach, how many edges were labelled behind forbidden turns
    nodes: int
    marked: int

    def reached_nodes(self) -> tuple[Ints, Floats]:
        """Nodes within the limit and their seconds, in order of time."""
        sweeper = self.sweeper
        at = sweeper.nodes[: self.nodes]
        met = sweeper.met[: sweeper.touched]
        if not len(met):
            return at.copy(), sweeper.node["key"][at]
        at = np.concatenate([at, met[sweeper.node["listed"][met] == 0]])
        seconds = np.minimum(sweeper.node["key"][at], sweeper.arrival[at])
        order = np.argsort(seconds, kind="stable")
        return at[order], seconds[order]

    def whole_seconds(self, edge: Ints) -> Floats:
        """Seconds at the end of edges that are driven whole, inf where not reached; -1 too.

        An edge back along the way that its node was reached gets a time too: driving it is
        never faster than having stopped on the way, so that no answer is spoilt.
        """
        sweeper = self.sweeper
        graph = sweeper.graph
        leaves = graph.leaves[edge]
        clean = (edge >= 0) & (sweeper.node["listed"][leaves] > 0)
        seconds = np.where(clean, sweeper.node["key"][leaves] + graph.cost[edge], np.inf)
        marked = (edge >= 0) & (sweeper.edge_mark[edge] == sweeper.stamp)
        both: Floats = np.where(marked, np.minimum(seconds, sweeper.edge_key[edge]), seconds)
        return both

    def driven_edges(self) -> tuple[Ints, Floats]:
        """Edges that are begun within the limit, and the seconds at which they are begun."""
        sweeper = self.sweeper
        graph = sweeper.graph
        nodes = sweeper.nodes[: self.nodes]
        counts = graph.start[nodes + 1].astype(np.int64) - graph.start[nodes]
        first = np.concatenate([[0], np.cumsum(counts)])
        edges = np.repeat(graph.start[nodes] - first[:-1], counts) + np.arange(first[-1])
        marked = sweeper.marked[: self.marked]
        begun = sweeper.edge_key[marked] - graph.cost[marked]
        return (
            np.concatenate([edges, marked]).astype(np.int32),
            np.concatenate([np.repeat(sweeper.node["key"][nodes], counts), begun]),
        )

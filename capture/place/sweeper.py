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
        "arrival", "bucket", "edge_mark", "entry", "found", "graph", "marked", "nodes", "stamp",
    )  # fmt: skip

    def __init__(self, graph: SearchGraph) -> None:
        from capture.place.kernels import ENTRY

        edges, nodes = len(graph.cost), len(graph.start) - 1
        self.graph = graph
        self.bucket = graph.empty_buckets()
        self.entry = np.empty(nodes + edges + MOST_STARTS, dtype=ENTRY)
        self.entry["key"][:nodes], self.entry["state"][:nodes] = np.inf, 0
        self.arrival = np.empty(nodes)
        self.edge_mark = np.zeros(edges, dtype=np.int32)
        self.nodes = np.empty(nodes, dtype=np.int32)
        self.marked = np.empty(edges, dtype=np.int32)
        self.stamp = 0
        self.found = 0

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
        from capture.place.kernels import forget, sweep

        if len(first_edge) > MOST_STARTS:
            raise InputError(
                f"search: at most {MOST_STARTS} starts at once, got {len(first_edge)}; split them"
            )
        graph = self.graph
        forget(self.entry, self.nodes, self.found)
        self.stamp += 1
        self.found, labelled = sweep(
            graph.start, graph.cost, graph.onto, graph.opposite, graph.ban_start, graph.ban_onto,
            graph.dead_end, first_edge, first_key, tainted, limit_s, graph.per_width, self.bucket,
            self.entry, self.arrival, self.edge_mark, self.stamp, self.nodes, self.marked,
        )  # fmt: skip
        return Swept(
            sweeper=self, first_edge=first_edge, first_key=first_key, nodes=self.found,
            marked=labelled,
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Swept:
    """What one search found; reads the working memory of its :class:`Sweeper`."""

    sweeper: Sweeper
    #: edges that were under way at the start, and the seconds to their ends
    first_edge: Ints
    first_key: Floats
    #: how many nodes were reached, how many edges were labelled behind forbidden turns
    nodes: int
    marked: int

    def reached_nodes(self) -> tuple[Ints, Floats]:
        """Nodes within the limit and their seconds, in order of time."""
        from capture.place.kernels import TAINTED

        sweeper = self.sweeper
        at = sweeper.nodes[: self.nodes].copy()
        entries = sweeper.entry[at]
        tainted_first = entries["state"] & TAINTED > 0
        return at, np.where(tainted_first, sweeper.arrival[at], entries["key"])

    def whole_seconds(self, edge: Ints) -> Floats:
        """Seconds at the end of edges that are driven whole, inf where not reached; -1 too.

        An edge back along the way that its node was reached gets a time too: driving it is
        never faster than having stopped on the way, so that no answer is spoilt.
        """
        from capture.place.kernels import SETTLED

        sweeper = self.sweeper
        graph = sweeper.graph
        leaves = graph.leaves[edge]
        clean = (edge >= 0) & (sweeper.entry["state"][leaves] & SETTLED > 0)
        seconds = np.where(clean, sweeper.entry["key"][leaves] + graph.cost[edge], np.inf)
        marked = (edge >= 0) & (sweeper.edge_mark[edge] == sweeper.stamp)
        keys = sweeper.entry["key"][len(graph.start) - 1 + edge]
        both: Floats = np.where(marked, np.minimum(seconds, keys), seconds)
        return both

    def driven_edges(self) -> tuple[Ints, Floats]:
        """Edges that are begun within the limit, and the seconds at which they are begun."""
        from capture.place.kernels import SETTLED

        sweeper = self.sweeper
        graph = sweeper.graph
        nodes = sweeper.nodes[: self.nodes]
        nodes = nodes[sweeper.entry["state"][nodes] & SETTLED > 0]
        counts = graph.start[nodes + 1].astype(np.int64) - graph.start[nodes]
        first = np.concatenate([[0], np.cumsum(counts)])
        edges = np.repeat(graph.start[nodes] - first[:-1], counts) + np.arange(first[-1])
        marked = sweeper.marked[: self.marked]
        begun = sweeper.entry["key"][len(graph.start) - 1 + marked] - graph.cost[marked]
        return (
            np.concatenate([edges, marked]).astype(np.int32),
            np.concatenate([np.repeat(sweeper.entry["key"][nodes], counts), begun]),
        )

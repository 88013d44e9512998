"""How is one search run, and what does it answer?

A :class:`Sweeper` is the working memory of searches on one graph, used over and over; a
:class:`Swept` reads the answer of the latest out of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError
from capture.place.network import Floats, Ints, Longs
from capture.place.search import SearchGraph

#: edges that may be under way at once
MOST_STARTS = 256
_LAST_STAMP = 2**31 - 1
#: room for nodes beyond as many as many places reached the last time
_LEAST_ROOM = 4096


class Work(NamedTuple):
    """What a search writes, as the inner loops take it."""

    #: first item of each bucket, -1 if none
    bucket: Ints
    #: NODE records with ticks of the clean arrival, -1 for the last, which nothing reaches, (N+1,)
    node: NDArray[np.void]
    #: nodes reached, (N+1,)
    nodes: Ints
    #: ticks of each node's arrival behind forbidden turns, (N,)
    arrival: Longs
    #: nodes with one, (N,)
    met: Ints
    #: ticks at the end of edges labelled behind forbidden turns, and by which search, (E,)
    edge_key: Longs
    edge_mark: Ints
    #: edges so labelled, (E,)
    marked: Ints


class Sweeper:
    """The working memory of single-source searches on one graph; one per thread."""

    __slots__ = ("found", "graph", "item", "limit", "room", "stamp", "touched", "work")

    def __init__(self, graph: SearchGraph) -> None:
        from capture.place.kernels import FAR, ITEM, NODE

        edges, nodes = len(graph.leaves), len(graph.roads.start) - 1
        node = np.zeros(nodes + 1, dtype=NODE)
        node["start"], node["count"][:-1] = graph.roads.start, np.diff(graph.roads.start)
        self.graph = graph
        self.item: NDArray[np.void] = np.empty(edges + 2 * MOST_STARTS, dtype=ITEM)
        self.work = Work(
            bucket=np.full(graph.buckets, -1, dtype=np.int32),
            node=node,
            nodes=np.empty(nodes + 1, dtype=np.int32),
            arrival=np.full(nodes, FAR, dtype=np.int64),
            met=np.empty(nodes, dtype=np.int32),
            edge_key=np.empty(edges, dtype=np.int64),
            edge_mark=np.zeros(edges, dtype=np.int32),
            marked=np.empty(edges, dtype=np.int32),
        )
        self.room = _LEAST_ROOM
        self.limit = -1
        self.stamp = self.found = self.touched = 0

    def run(self, first_edge: Ints, first_key: Longs, limit: int) -> Swept:
        """Search from partly driven edges; the answer is valid until the next run.

        Parameters
        ----------
        first_edge : ndarray of int32, shape (starts,)
            Edges under way, as the graph numbers them.
        first_key : ndarray of int64, shape (starts,)
            Ticks until their ends.
        limit : int
            No farther than this, ticks.
        """
        from capture.place.kernels import search

        self._prepare(len(first_edge), limit, 1)
        self.found, self.touched, marked, self.item = search(
            self.graph.roads, self.work, self.item, first_edge, first_key, limit, self.stamp
        )
        return Swept(sweeper=self, first_edge=first_edge, first_key=first_key, marked=marked)

    def run_rows(
        self, indptr: Longs, first_edge: Ints, first_key: Longs, limit: int
    ) -> tuple[Longs, Ints, Floats]:
        """Search from many places: how many nodes each reaches, nodes, seconds."""
        from capture.place.kernels import search_rows

        rows = len(indptr) - 1
        self._prepare(int(np.diff(indptr).max(initial=0)), limit, rows)
        counts, node, seconds, self.item = search_rows(
            self.graph.roads, self.work, self.item, indptr, first_edge, first_key, limit,
            self.stamp - rows + 1, self.room, self.graph.tick_s,
        )  # fmt: skip
        self.room = len(node) + _LEAST_ROOM
        return counts, node, seconds

    def _prepare(self, starts: int, limit: int, searches: int) -> None:
        """Forget the search before, and number those to come."""
        from capture.place.kernels import forget, renew

        if starts > MOST_STARTS:
            raise InputError(
                f"search: at most {MOST_STARTS} starts at once, got {starts}; split them"
            )
        forget(self.work, self.limit, self.found, self.touched)
        if limit != self.limit:
            renew(self.work, limit)
            self.limit = limit
        if self.stamp > _LAST_STAMP - searches:
            self.work.edge_mark[:] = 0
            self.stamp = 0
        self.stamp += searches
        self.found = self.touched = 0


@contextmanager
def borrow_sweeper(graph: SearchGraph) -> Iterator[Sweeper]:
    """Lend the working memory of an earlier search on a graph, or a new one."""
    try:
        sweeper: Sweeper = graph.spare.pop()
    except IndexError:
        sweeper = Sweeper(graph)
    yield sweeper
    # after an error it is in no known state and thrown away
    graph.spare.append(sweeper)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Swept:
    """What one search found; reads the working memory of its :class:`Sweeper`."""

    sweeper: Sweeper
    #: edges that were under way at the start, and the ticks to their ends
    first_edge: Ints
    first_key: Longs
    #: how many edges were labelled behind forbidden turns
    marked: int

    def whole_ticks(self, edge: Ints) -> Longs:
        """Ticks at the end of edges that are driven whole, FAR where not reached; -1 too.

        An edge back along the way that its node was reached gets a time too: driving it is
        never faster than having stopped on the way, so that no answer is spoilt.
        """
        from capture.place.kernels import FAR

        sweeper = self.sweeper
        work, roads = sweeper.work, sweeper.graph.roads
        key = work.node["key"][sweeper.graph.leaves[edge]]
        ticks: Longs = np.where((edge >= 0) & (key <= sweeper.limit), key + roads.cost[edge], FAR)
        marked = (edge >= 0) & (work.edge_mark[edge] == sweeper.stamp)
        both: Longs = np.where(marked, np.minimum(ticks, work.edge_key[edge]), ticks)
        return both

    def driven_edges(self) -> tuple[Ints, Longs]:
        """Edges that are begun within the limit, and the ticks at which they are begun."""
        sweeper = self.sweeper
        work, roads = sweeper.work, sweeper.graph.roads
        nodes = work.nodes[: sweeper.found]
        counts = roads.start[nodes + 1].astype(np.int64) - roads.start[nodes]
        first = np.concatenate([[0], np.cumsum(counts)])
        edges = np.repeat(roads.start[nodes] - first[:-1], counts) + np.arange(first[-1])
        marked = work.marked[: self.marked]
        begun = work.edge_key[marked] - roads.cost[marked]
        return (
            np.concatenate([edges, marked]).astype(np.int32),
            np.concatenate([np.repeat(work.node["key"][nodes], counts), begun]),
        )

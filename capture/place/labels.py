"""How are the nearest of many sources found for every road at once, and read off for positions?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError
from capture.place.network import Floats, Ints, Longs
from capture.place.search import SearchGraph

_LABEL_BITS = 62
#: the sweep's buckets are 2^3 times as wide as those of one search: it goes on for longer around
#: one source before it turns to the next, so that what it looked at is still at hand
_WIDER = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Labels:
    """Which sources come first to nodes, and to edges behind forbidden turns."""

    graph: SearchGraph
    #: sources kept
    most: int
    #: bits of a label that say the source; above them are ticks
    bits: int
    #: a label past the limit, for places that hold none
    beyond: int
    #: sorted labels of each node, ((N+1) * most,)
    clean: Longs
    #: how many labels each edge holds behind forbidden turns, (E,), and they, (E * most,)
    size: NDArray[np.int8]
    tainted: Longs

    def read(
        self, at: Ints, rest: Longs, same_start: Longs, same_source: Longs, same_ticks: Longs
    ) -> tuple[Longs, Floats]:
        """Read the nearest sources of m positions.

        Parameters
        ----------
        at, rest : ndarray, shape (m, c)
            Edges over each position, -1 if none, and ticks to their ends.
        same_start, same_source, same_ticks : ndarray
            Sources ahead on the same stretch: first of each position, source, ticks.

        Returns
        -------
        index : ndarray of int64, shape (m, most)
            -1 where there are fewer.
        seconds : ndarray of float, shape (m, most)
        """
        from capture.place.label_kernels import read_labels

        found = read_labels(
            self.graph.roads.cost, self.graph.leaves, self.clean, self.size, self.tainted, at,
            rest, same_start, same_source, same_ticks, self.most, self.bits, self.beyond,
        )  # fmt: skip
        missing = found >= self.beyond
        index = np.where(missing, -1, found & ((1 << self.bits) - 1))
        return index, np.where(missing, np.inf, (found >> self.bits) * self.graph.tick_s)


def sweep(
    graph: SearchGraph, edge: Ints, ticks: Longs, source: Longs, *, most: int, sources: int,
    limit_s: float,
) -> Labels:  # fmt: skip
    """Sweep outward from sources that are under way on edges.

    Parameters
    ----------
    graph : SearchGraph
        In which direction.
    edge, ticks, source : ndarray, shape (starts,)
        Edges under way, ticks to their ends, whose.
    most : int
        Sources kept.
    sources : int
        How many there are.
    limit_s : float
        No farther than this.

    Raises
    ------
    InputError
        When there are so many sources that times and sources do not fit one number.
    """
    from capture.place.label_kernels import LABEL_ITEM, sweep_labels, sweep_tainted

    roads = graph.roads
    bits = max(1, int(sources).bit_length())
    limit = graph.limit_ticks(limit_s)
    if limit.bit_length() + bits > _LABEL_BITS:
        fits = 2 ** (_LABEL_BITS - bits - 1) * graph.tick_s
        raise InputError(f"nearest: with {sources} targets limit_s must be at most {fits:.0f} s")
    beyond = (limit + 1) << bits
    edges = len(graph.leaves)
    size = np.zeros(edges, dtype=np.int8)
    tainted = np.empty(edges * most if roads.any_ban else 0, dtype=np.int64)
    first = (ticks << bits) + source
    room = len(roads.start) + 2 * len(edge)
    while True:
        clean = np.full(len(roads.start) * most, beyond)
        clean[-most:] = -1
        bucket = np.full(graph.buckets, -1, dtype=np.int32)
        item = np.empty(room, dtype=LABEL_ITEM)
        if sweep_labels(roads, bucket, item, edge, first, most, bits, _WIDER, clean):
            break
        room *= 2
    if roads.any_ban:
        sweep_tainted(roads, graph.leaves, edge, first, most, bits, beyond, clean, size, tainted)
    return Labels(
        graph=graph, most=most, bits=bits, beyond=beyond, clean=clean, size=size, tainted=tainted
    )

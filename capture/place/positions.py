"""Where do positions along roads lie in a search: on which edges, how long before their ends?"""

from __future__ import annotations

import numpy as np

from capture.place.network import Ints, Longs, Network
from capture.place.search import SearchGraph
from capture.place.snap import Snap


def start_edges(network: Network, graph: SearchGraph, at: Snap) -> tuple[Longs, Ints, Longs]:
    """List the edges under way from m positions: first entry of each (m+1,), edges, ticks left."""
    edges, rest = position_edges(network, graph, at)
    good = edges >= 0
    indptr = np.concatenate([[0], np.cumsum(good.sum(axis=1))]).astype(np.int64)
    return indptr, edges[good], rest[good]


def position_edges(
    network: Network, graph: SearchGraph, at: Snap, *, twins: bool = False
) -> tuple[Ints, Longs]:
    """Return the edges over m positions and the ticks from there to the edges' ends.

    "End" is where the direction of search leads to: the head, or the tail in reverse.

    Returns
    -------
    ndarray of int32, shape (m, 2)
        Forward and backward edge as the graph numbers them, -1 where there is none; with
        ``twins``, two more columns for each further number that one of the edges has.
    ndarray of int64, shape (m, 2)
    """
    on = at.segment >= 0
    segment = np.where(on, at.segment, 0)
    outside = np.column_stack(
        [network.segment_edge_forward[segment], network.segment_edge_backward[segment]]
    )
    outside = np.where(on[:, None], outside, -1)
    edges = np.where(outside >= 0, graph.inside[outside], -1).astype(np.int32)
    fraction = np.where(on, at.fraction, 0.0)
    left = np.column_stack([1.0 - fraction, fraction])
    if graph.reverse:
        left = 1.0 - left
    if twins and graph.twins:
        more = _twin_columns(graph, outside)
        edges, left = np.hstack([edges, more]), np.tile(left, (1, 1 + more.shape[1] // 2))
    cost = np.where(edges >= 0, graph.roads.cost[edges], 0)
    return edges, np.rint(cost * left).astype(np.int64)


def _twin_columns(graph: SearchGraph, outside: Ints) -> Ints:
    most = max(len(numbers) for numbers in graph.twins.values())
    columns = np.full((len(outside), 2 * most), -1, dtype=np.int32)
    for edge, numbers in graph.twins.items():
        row, side = np.nonzero(outside == edge)
        for k, number in enumerate(numbers):
            columns[row, 2 * k + side] = number
    return columns

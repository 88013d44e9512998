"""How far is anything, in seconds of driving?

Positions lie along roads, not at junctions; turn restrictions hold; nobody turns round except
at a dead end. Times are free-flow unless ``seconds`` gives others.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from capture.basis import InputError
from capture.place.labels import sweep
from capture.place.network import Floats, Ints, Longs, Network
from capture.place.positions import position_edges, start_edges
from capture.place.search import search_graph
from capture.place.snap import Snap
from capture.place.sweeper import borrow_sweeper

#: dense answers larger than this are refused; the sparse form has no such bound
MOST_DENSE = 200_000_000
#: most labels that a sweep for the k nearest may keep
MOST_LABELS = 200_000_000
#: positions searched in one go: enough that starting hardly counts, few enough that threads
#: end together
_PART_ROWS = 16
#: a position, the nodes that it reaches, and their seconds
_Row = tuple[int, Ints, Floats]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reach:
    """Which nodes k positions reach, as rows of a sparse table, each in no order."""

    #: first entry of each position, (k+1,)
    indptr: Longs
    #: nodes, (entries,)
    node: Ints
    #: seconds, (entries,)
    seconds: Floats


def compute_drive_seconds(
    network: Network,
    positions: Snap,
    *,
    limit_s: float = np.inf,
    reverse: bool = False,
    seconds: Floats | None = None,
) -> Floats:
    """Compute driving times from k positions to all nodes.

    Parameters
    ----------
    network : Network
        N nodes, E edges.
    positions : Snap
        k positions along roads.
    limit_s : float
        Nodes farther than this get inf.
    reverse : bool
        Times from the nodes to the positions instead.
    seconds : ndarray, shape (E,), optional
        Driving time of each edge; free-flow when left out.

    Returns
    -------
    ndarray of float, shape (k, N)

    Raises
    ------
    InputError
        When the limit is not positive, or k x N is too large; see :func:`compute_reach`.
    """
    if len(positions) * network.nodes > MOST_DENSE:
        raise InputError(
            f"drive times: {len(positions)} positions x {network.nodes} nodes is more than "
            f"{MOST_DENSE} numbers; use compute_reach with a limit"
        )
    reach = compute_reach(network, positions, limit_s=limit_s, reverse=reverse, seconds=seconds)
    table = np.full((len(positions), network.nodes), np.inf)
    row = np.repeat(np.arange(len(positions)), np.diff(reach.indptr))
    table[row, reach.node] = reach.seconds
    return table


def compute_reach(
    network: Network,
    positions: Snap,
    *,
    limit_s: float,
    reverse: bool = False,
    seconds: Floats | None = None,
    threads: int = 1,
) -> Reach:
    """Compute which nodes k positions reach within a limit, however many positions.

    Parameters are those of :func:`compute_drive_seconds`; ``threads`` share the positions.
    """
    _check_limit(limit_s)
    graph = search_graph(network, reverse=reverse, seconds=seconds)
    indptr, edges, keys = start_edges(network, graph, positions)
    # neighbours one after the other, so that what one search looked at is still at hand
    order = _order_by_nearness(indptr, graph.leaves[edges])
    limit = graph.limit_ticks(limit_s)

    def work(part: Longs) -> list[_Row]:
        starts, taken = _take_rows(indptr, part)
        with borrow_sweeper(graph) as sweeper:
            counts, node, took = sweeper.run_rows(starts, edges[taken], keys[taken], limit)
        ends = np.cumsum(counts)[:-1]
        return list(zip(part.tolist(), np.split(node, ends), np.split(took, ends), strict=True))

    rows = sorted(_share_out(work, order, threads), key=lambda row: row[0])
    counts = np.array([len(nodes) for _, nodes, _ in rows], dtype=np.int64)
    return Reach(
        indptr=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        node=np.concatenate([nodes for _, nodes, _ in rows] or [np.empty(0, np.int32)]),
        seconds=np.concatenate([took for _, _, took in rows] or [np.empty(0)]),
    )


def _order_by_nearness(indptr: Longs, node: Ints) -> Longs:
    """Rows in order of the node where their first edge begins; those of none first."""
    first = np.full(len(indptr) - 1, -1, dtype=np.int64)
    held = np.diff(indptr) > 0
    first[held] = node[indptr[:-1][held]]
    return np.argsort(first, kind="stable")


def _take_rows(indptr: Longs, rows: Longs) -> tuple[Longs, Longs]:
    """Take some rows of a table: first entry of each, and the entries."""
    counts = np.diff(indptr)[rows]
    starts = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    return starts, np.repeat(indptr[rows] - starts[:-1], counts) + np.arange(starts[-1])


def _share_out(work: Callable[[Longs], list[_Row]], order: Longs, threads: int) -> list[_Row]:
    parts = [order[k : k + _PART_ROWS] for k in range(0, len(order), _PART_ROWS)]
    if threads <= 1 or len(parts) <= 1:
        return [row for part in parts for row in work(part)]
    with ThreadPoolExecutor(threads) as pool:
        return [row for rows in pool.map(work, parts) for row in rows]


def _check_limit(limit_s: float) -> None:
    if not limit_s > 0:
        raise InputError(f"limit_s must be more than 0 s, got {limit_s}; give seconds, or inf")


def compute_pair_seconds(
    network: Network,
    origins: Snap,
    targets: Snap,
    *,
    limit_s: float = np.inf,
    reverse: bool = False,
    seconds: Floats | None = None,
) -> Floats:
    """Compute driving times from m origins to t targets.

    Parameters
    ----------
    network : Network
        The roads.
    origins, targets : Snap
        Positions along roads.
    limit_s : float
        Pairs farther apart than this get inf.
    reverse : bool
        Times from the targets to the origins instead.
    seconds : ndarray, shape (E,), optional
        Driving time of each edge; free-flow when left out.

    Returns
    -------
    ndarray of float, shape (m, t)
    """
    _check_limit(limit_s)
    if len(targets) < len(origins):
        turned = compute_pair_seconds(
            network, targets, origins, limit_s=limit_s, reverse=not reverse, seconds=seconds
        )
        return turned.T.copy()
    graph = search_graph(network, reverse=reverse, seconds=seconds)
    edges, rest = position_edges(network, graph, targets, twins=True)
    indptr, first, keys = start_edges(network, graph, origins)
    limit = graph.limit_ticks(limit_s)
    table = np.full((len(origins), len(targets)), np.inf)
    with borrow_sweeper(graph) as sweeper:
        for k in range(len(origins)):
            part = slice(indptr[k], indptr[k + 1])
            swept = sweeper.run(first[part], keys[part], limit)
            via = swept.whole_ticks(edges) - rest
            direct = _same_stretch_ticks(edges, rest, first[part], keys[part])
            best = np.minimum(via.min(axis=1), direct.min(axis=1))
            table[k] = np.where(best <= limit, np.maximum(best, 0) * graph.tick_s, np.inf)
    return table


def _same_stretch_ticks(edges: Ints, rest: Longs, first: Ints, keys: Longs) -> Longs:
    """Ticks to targets that lie ahead on a start edge itself, else FAR; shape as ``edges``."""
    from capture.place.kernels import FAR

    ticks = np.full(edges.shape, FAR, dtype=np.int64)
    for edge, key in zip(first, keys, strict=True):
        ticks = np.where((edges == edge) & (rest <= key), key - rest, ticks)
    return ticks


def nearest_k(
    network: Network,
    origins: Snap,
    targets: Snap,
    *,
    k: int = 3,
    limit_s: float = np.inf,
    reverse: bool = False,
    seconds: Floats | None = None,
) -> tuple[Longs, Floats]:
    """Find the k targets that take least time to drive to, for m origins at once.

    Parameters
    ----------
    network : Network
        The roads.
    origins, targets : Snap
        Positions along roads.
    k : int
        How many, 1 to 100.
    limit_s : float
        No farther than this.
    reverse : bool
        Driving from the targets to the origins instead.
    seconds : ndarray, shape (E,), optional
        Driving time of each edge; free-flow when left out.

    Returns
    -------
    index : ndarray of int64, shape (m, k)
        Into ``targets``, nearest first, -1 where there are fewer.
    seconds : ndarray of float, shape (m, k)
        inf where there are fewer.

    Notes
    -----
    One sweep outward from all targets keeps k labels an edge, so the cost hardly depends on
    the number of origins or targets.
    """
    _check_limit(limit_s)
    if not 1 <= k <= 100:
        raise InputError(f"k must be 1 to 100, got {k}; ask for fewer")
    graph = search_graph(network, reverse=not reverse, seconds=seconds)
    edges, rest = position_edges(network, graph, targets)
    who, side = np.nonzero(edges >= 0)
    most = min(k, max(len(targets), 1))
    held = len(graph.roads.start) + len(graph.leaves)
    if held * most > MOST_LABELS:
        raise InputError(
            f"nearest: k x (nodes + edges) must be at most {MOST_LABELS}, got k = {most} on "
            f"{held}; ask for fewer"
        )
    starts = edges[who, side], rest[who, side], who
    labels = sweep(graph, *starts, most=most, sources=len(targets), limit_s=limit_s)
    at, at_rest = position_edges(network, graph, origins, twins=True)
    index, found = labels.read(at, at_rest, *_same_sources(at[:, :2], at_rest[:, :2], *starts))
    if most == k:
        return index, found
    short = ((0, 0), (0, k - most))
    return (
        np.pad(index, short, constant_values=-1),
        np.pad(found, short, constant_values=np.inf),
    )


def _same_sources(
    at: Ints, at_rest: Longs, edge: Ints, key: Longs, who: Longs
) -> tuple[Longs, Longs, Longs]:
    """List per origin the sources ahead on its own edges: indptr, source, ticks."""
    order = np.argsort(edge, kind="stable")
    edge, key, who = edge[order], key[order], who[order]
    low = np.searchsorted(edge, at.ravel(), side="left")
    high = np.where(at.ravel() >= 0, np.searchsorted(edge, at.ravel(), side="right"), low)
    counts = high - low
    row = np.repeat(np.arange(at.size), counts)
    first = np.concatenate([[0], np.cumsum(counts)])
    taken = np.repeat(low - first[:-1], counts) + np.arange(first[-1])
    gap = key[taken] - at_rest.ravel()[row]
    ahead = gap >= 0
    origin = row[ahead] // 2
    indptr = np.concatenate([[0], np.cumsum(np.bincount(origin, minlength=len(at)))])
    return indptr.astype(np.int64), who[taken][ahead], gap[ahead]

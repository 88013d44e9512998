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
from capture.place.network import Floats, Ints, Longs, Network
from capture.place.search import SearchGraph, position_edges, search_graph, start_edges
from capture.place.snap import Snap
from capture.place.sweeper import Sweeper

#: dense answers larger than this are refused; the sparse form has no such bound
MOST_DENSE = 200_000_000
#: most labels that a sweep for the k nearest may keep
MOST_LABELS = 200_000_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reach:
    """Which nodes k positions reach, as rows of a sparse table in order of time."""

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

    def work(part: Longs) -> list[tuple[Ints, Floats]]:
        sweeper = Sweeper(graph)
        rows = []
        edges, keys = position_edges(network, graph, positions.take(part))
        for row in range(len(part)):
            good = edges[row] >= 0
            swept = sweeper.run(edges[row][good], keys[row][good], limit_s)
            rows.append(swept.reached_nodes())
        return rows

    rows = _share_out(work, len(positions), threads)
    counts = np.array([len(nodes) for nodes, _ in rows], dtype=np.int64)
    return Reach(
        indptr=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        node=np.concatenate([nodes for nodes, _ in rows] or [np.empty(0, np.int32)]),
        seconds=np.concatenate([keys for _, keys in rows] or [np.empty(0)]),
    )


def _share_out(
    work: Callable[[Longs], list[tuple[Ints, Floats]]], count: int, threads: int
) -> list[tuple[Ints, Floats]]:
    parts = [part for part in np.array_split(np.arange(count), max(1, threads)) if len(part)]
    if len(parts) <= 1:
        return work(np.arange(count))
    with ThreadPoolExecutor(len(parts)) as pool:
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
    sweeper = Sweeper(graph)
    edges, rest = position_edges(network, graph, targets, twins=True)
    table = np.full((len(origins), len(targets)), np.inf)
    for k in range(len(origins)):
        first, keys = start_edges(network, graph, origins, k)
        swept = sweeper.run(first, keys, limit_s)
        via = swept.whole_seconds(edges) - rest
        direct = _same_stretch_seconds(graph, edges, rest, first, keys)
        best = np.minimum(via.min(axis=1), direct.min(axis=1))
        table[k] = np.where(best <= limit_s, np.maximum(best, 0.0), np.inf)
    return table


def _same_stretch_seconds(
    graph: SearchGraph, edges: Ints, rest: Floats, first: Ints, keys: Floats
) -> Floats:
    """Seconds to targets that lie ahead on a start edge itself, else inf; shape as ``edges``."""
    seconds = np.full(edges.shape, np.inf)
    for edge, key in zip(first, keys, strict=True):
        ahead = (edges == edge) & (rest <= key + 1e-9)
        seconds = np.where(ahead, key - rest, seconds)
    return seconds


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
    from capture.place.kernels import ENTRY
    from capture.place.label_kernels import read_labels, sweep_labels

    _check_limit(limit_s)
    if not 1 <= k <= 100:
        raise InputError(f"k must be 1 to 100, got {k}; ask for fewer")
    graph = search_graph(network, reverse=not reverse, seconds=seconds)
    edges, rest = position_edges(network, graph, targets)
    who, side = np.nonzero(edges >= 0)
    most = min(k, max(len(targets), 1))
    count = len(graph.cost)
    if (network.nodes + count) * most > MOST_LABELS:
        raise InputError(
            f"nearest: k x (nodes + edges) must be at most {MOST_LABELS}, got k = {most} on "
            f"{network.nodes + count}; ask for fewer"
        )
    entry = np.empty((network.nodes + count) * most + len(who), dtype=ENTRY)
    held = np.zeros(network.nodes, np.int8)
    label, size = np.empty(count * most, np.int32), np.zeros(count, np.int8)
    sweep_labels(
        graph.start, graph.cost, graph.onto, graph.opposite, graph.ban_start, graph.ban_onto,
        graph.dead_end, edges[who, side], rest[who, side], who.astype(np.int32), most, limit_s,
        graph.per_width, graph.empty_buckets(), entry, held, size, label,
    )  # fmt: skip
    at, at_rest = position_edges(network, graph, origins, twins=True)
    same = _same_sources(at[:, :2], at_rest[:, :2], edges[who, side], rest[who, side], who)
    index, found = read_labels(
        graph.cost, graph.leaves, entry, held, size, label, at, at_rest, *same, limit_s,
        most,
    )  # fmt: skip
    if most == k:
        return index, found
    short = k - most
    return (
        np.pad(index, ((0, 0), (0, short)), constant_values=-1),
        np.pad(found, ((0, 0), (0, short)), constant_values=np.inf),
    )


def _same_sources(
    at: Ints, at_rest: Floats, edge: Ints, key: Floats, who: Longs
) -> tuple[Longs, Longs, Floats]:
    """List per origin the sources ahead on its own edges: indptr, source, seconds."""
    order = np.argsort(edge, kind="stable")
    edge, key, who = edge[order], key[order], who[order]
    low = np.searchsorted(edge, at.ravel(), side="left")
    high = np.where(at.ravel() >= 0, np.searchsorted(edge, at.ravel(), side="right"), low)
    counts = high - low
    row = np.repeat(np.arange(at.size), counts)
    first = np.concatenate([[0], np.cumsum(counts)])
    taken = np.repeat(low - first[:-1], counts) + np.arange(first[-1])
    gap = key[taken] - at_rest.ravel()[row]
    ahead = gap >= -1e-9
    origin = row[ahead] // 2
    indptr = np.concatenate([[0], np.cumsum(np.bincount(origin, minlength=len(at)))])
    return indptr.astype(np.int64), who[taken][ahead], np.maximum(gap[ahead], 0.0)

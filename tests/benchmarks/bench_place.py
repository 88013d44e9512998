"""Searching and snapping against named peers, each pair in one run, as ratios.

``python tests/benchmarks/bench_place.py [small] [big]``: medians of CPU seconds, since those
hold on a busy machine. The peers of a million edges run on fewer sources and are said per
source.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

from capture.place import Network, compute_reach, nearest_k, snap
from capture.place.search import search_graph, start_edges
from capture.place.snap import road_grid
from capture.place.sweeper import Sweeper

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))
from big_town import open_small, tile_network

LIMIT_S = 600.0
COPIES = 68


def measure(work: Callable[[], Any], times: int = 5, *, wall: bool = False) -> float:
    """Median seconds of some runs after one that warms up."""
    clock = time.perf_counter if wall else time.process_time
    work()
    spent = []
    for _ in range(times):
        start = clock()
        work()
        spent.append(clock() - start)
    return median(spent)


def say(
    what: str, ours: float, peers: dict[str, float], unit: str = "ms", scale: float = 1e3
) -> None:
    """Print one line: ours, and each peer as a ratio."""
    told = "; ".join(f"{name} {s * scale:.3g} ({s / ours:.1f}x)" for name, s in peers.items())
    print(f"{what}: ours {ours * scale:.3g} {unit}; {told}", flush=True)


def _graph(network: Network) -> Any:
    import networkx as nx

    graph = nx.DiGraph()
    graph.add_weighted_edges_from(
        zip(
            network.edge_tail.tolist(), network.edge_head.tolist(), network.edge_seconds.tolist(),
            strict=True,
        ),
        weight="seconds",
    )  # fmt: skip
    return graph


def bench_search(name: str, network: Network, *, peer_runs: int) -> None:
    """Bands, nearest rivals and snapping on one network."""
    import networkx as nx
    import scipy.sparse as sp
    import shapely
    from scipy.sparse.csgraph import dijkstra

    print(f"-- {name}: {network.nodes} nodes, {network.edges} edges, "
          f"{len(network.banned_from)} forbidden turns")  # fmt: skip
    rng = np.random.default_rng(0)
    nodes = rng.integers(0, network.nodes, 10_000)
    x = network.node_x[nodes] + rng.normal(0, 30, len(nodes))
    y = network.node_y[nodes] + rng.normal(0, 30, len(nodes))

    segments = [network.segment_line(g) for g in range(network.segments)]
    counts = np.array([len(s) for s in segments])
    lines = shapely.linestrings(
        np.concatenate(segments), indices=np.repeat(np.arange(len(segments)), counts)
    )
    points = shapely.points(x, y)

    def tree_snap(tree: Any) -> None:
        near = tree.nearest(points)
        shapely.line_locate_point(lines[near], points, normalized=True)

    tree = shapely.STRtree(lines)
    road_grid(network)
    say("snap 10,000 points, index ready", measure(lambda: snap(network, x, y)),
        {"STRtree + locate": measure(lambda: tree_snap(tree), 3)})  # fmt: skip
    at = snap(network, x, y)

    graph = search_graph(network)
    sweeper = Sweeper(graph)
    starts = [start_edges(network, graph, at, k) for k in range(200)]

    def bands() -> None:
        for edges, keys in starts:
            sweeper.run(edges, keys, LIMIT_S)

    reached = float(np.mean([sweeper.run(e, k, LIMIT_S).nodes for e, k in starts]))
    matrix = sp.csr_matrix(
        (network.edge_seconds, network.edge_head, network.indptr),
        shape=(network.nodes, network.nodes),
    )
    peer = _graph(network)
    few = nodes[:peer_runs].tolist()
    ours = measure(bands) / len(starts)
    say(
        f"10-minute band, {reached:.0f} nodes reached", ours,
        {
            "networkx cutoff": measure(
                lambda: [
                    nx.single_source_dijkstra_path_length(peer, n, LIMIT_S, weight="seconds")
                    for n in few
                ],
                1,
            ) / len(few),
            "scipy limit": measure(
                lambda: [dijkstra(matrix, indices=n, limit=LIMIT_S) for n in few], 3
            ) / len(few),
        },
    )  # fmt: skip
    many = at.take(np.arange(200))
    one = measure(lambda: compute_reach(network, many, limit_s=LIMIT_S), 3, wall=True)
    two = measure(lambda: compute_reach(network, many, limit_s=LIMIT_S, threads=2), 3, wall=True)
    say("200 sites, wall clock, two threads", two, {"one thread": one})

    rivals = at.take(np.arange(50))
    back = matrix.T.tocsr()

    def by_scipy(limit: float) -> None:
        table = dijkstra(back, indices=nodes[:50], limit=limit)
        np.argpartition(table[:, nodes], 3, axis=0)

    peers = {"scipy": measure(lambda: by_scipy(np.inf), 1)}
    turned = peer.reverse(copy=False)
    # so slow on a large network that a few sources stand for the 50, and the line says so
    taken = nodes[:50] if network.edges < 100_000 else nodes[:2]
    spent = measure(
        lambda: [
            nx.single_source_dijkstra_path_length(turned, n, weight="seconds")
            for n in taken.tolist()
        ],
        1,
    )
    peers[f"networkx, from {len(taken)} of 50"] = spent * 50 / len(taken)
    say("3 nearest of 50 for 10,000 points", measure(lambda: nearest_k(network, at, rivals), 3),
        peers)  # fmt: skip
    say("the same within 30 minutes",
        measure(lambda: nearest_k(network, at, rivals, limit_s=1800.0), 3),
        {"scipy limit": measure(lambda: by_scipy(1800.0), 1)})  # fmt: skip


def bench_osmnx_snap() -> None:
    """Snapping against OSMnx's nearest edges, on the small network."""
    import networkx as nx
    import osmnx as ox
    import shapely

    network = open_small().network
    graph = nx.MultiDiGraph(crs=network.projection.crs)
    for n in range(network.nodes):
        graph.add_node(n, x=network.node_x[n], y=network.node_y[n])
    for g in range(network.segments):
        line = shapely.LineString(network.segment_line(g))
        ends = int(network.segment_tail[g]), int(network.segment_head[g])
        graph.add_edge(*ends, geometry=line, osmid=g, length=line.length)
    rng = np.random.default_rng(0)
    nodes = rng.integers(0, network.nodes, 10_000)
    x = network.node_x[nodes] + rng.normal(0, 30, len(nodes))
    y = network.node_y[nodes] + rng.normal(0, 30, len(nodes))
    say("snap 10,000 points", measure(lambda: snap(network, x, y)),
        {"OSMnx nearest_edges": measure(lambda: ox.nearest_edges(graph, x, y), 1)})  # fmt: skip


def main(wanted: list[str]) -> None:
    """Run the parts named, or all."""
    parts = wanted or ["small", "big"]
    with tempfile.TemporaryDirectory() as folder:
        os.environ["CAPTURE_CACHE"] = folder
        if "small" in parts:
            bench_osmnx_snap()
            bench_search("small", open_small().network, peer_runs=20)
        if "big" in parts:
            bench_search("big", tile_network(open_small().network, COPIES), peer_runs=5)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory of this run, peers included: {peak:.0f} MB")


if __name__ == "__main__":
    main(sys.argv[1:])

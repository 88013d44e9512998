"""Searching, bands, nearest rivals and snapping against named peers, in one run, as ratios.

``python tests/benchmarks/bench_place.py [small] [big] [memory] [threads]``. Medians of CPU
seconds of all threads, peers' runs between ours, since those hold on a busy machine; only
threads are timed by the clock. Where a peer runs on fewer sources, seconds are for one.
"""

from __future__ import annotations

import ctypes
import gc
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

from capture.place import Network, Snap, compute_band, compute_reach, nearest_k, snap
from capture.place.search import search_graph
from capture.place.snap import road_grid

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parent))
from big_town import open_small, tile_network
from search_peers import PEERS, lay_networkx, lay_pandana, lay_scipy, make_peers

LIMIT_S = 600.0
#: more than a million directed edges
COPIES = 76
SITES = 200
Work = Callable[[], Any]


def race(
    works: dict[str, tuple[Work, int]],
    times: int,
    *,
    warm: bool = True,
    clock: Callable[[], float] = time.process_time,
    taken: Callable[[list[float]], float] = median,
) -> dict[str, float]:
    """Median seconds of each work, by its own divisor, taking turns; one run more to warm up."""
    spent: dict[str, list[float]] = {name: [] for name in works}
    for turn in range(0 if warm else 1, times + 1):
        for name, (work, parts) in works.items():
            start = clock()
            work()
            if turn:
                spent[name].append((clock() - start) / parts)
    return {name: taken(seconds) for name, seconds in spent.items()}


def say(what: str, took: dict[str, float], unit: str = "ms", scale: float = 1e3) -> None:
    """Print one line: ours, and each peer as a ratio; and how busy the machine is."""
    ours = took.pop("ours")
    told = "; ".join(f"{name} {s * scale:.3g} ({s / ours:.1f}x)" for name, s in took.items())
    load = os.getloadavg()[0]
    print(f"{what}: ours {ours * scale:.3g} {unit}; {told} [load {load:.1f}]", flush=True)


def draw_points(network: Network, count: int = 10_000) -> tuple[Any, Any, Any]:
    """Random nodes, and points some metres from them."""
    rng = np.random.default_rng(0)
    nodes = rng.integers(0, network.nodes, count)
    x = network.node_x[nodes] + rng.normal(0, 30, count)
    return nodes, x, network.node_y[nodes] + rng.normal(0, 30, count)


def bench_snap(network: Network, x: Any, y: Any) -> None:
    """Points to the nearest road and the place along it."""
    import shapely

    segments = [network.segment_line(g) for g in range(network.segments)]
    counts = np.array([len(s) for s in segments])
    lines = shapely.linestrings(
        np.concatenate(segments), indices=np.repeat(np.arange(len(segments)), counts)
    )
    points, tree = shapely.points(x, y), shapely.STRtree(lines)

    def by_tree() -> None:
        near = tree.nearest(points)
        shapely.line_locate_point(lines[near], points, normalized=True)

    works: dict[str, tuple[Work, int]] = {
        "ours": (lambda: snap(network, x, y), 1),
        "STRtree + locate": (by_tree, 1),
    }
    if network.edges < 100_000:
        import osmnx as ox

        graph = _osmnx_graph(network)
        works["OSMnx nearest_edges"] = (lambda: ox.nearest_edges(graph, x, y), 1)
    road_grid(network)
    say("snap 10,000 points, index ready", race(works, 5))


def _osmnx_graph(network: Network) -> Any:
    import networkx as nx
    import shapely

    graph = nx.MultiDiGraph(crs=network.projection.crs)
    for n in range(network.nodes):
        graph.add_node(n, x=network.node_x[n], y=network.node_y[n])
    for g in range(network.segments):
        line = shapely.LineString(network.segment_line(g))
        ends = int(network.segment_tail[g]), int(network.segment_head[g])
        graph.add_edge(*ends, geometry=line, osmid=g, length=line.length)
    return graph


def bench_search(network: Network, nodes: Any, at: Snap) -> None:
    """Which nodes lie within ten minutes, of 200 sites."""
    many = at.take(np.arange(SITES))
    reach = compute_reach(network, many, limit_s=LIMIT_S)
    works: dict[str, tuple[Work, int]] = {
        "ours": (lambda: compute_reach(network, many, limit_s=LIMIT_S), SITES)
    }
    for name, search in make_peers(network, LIMIT_S).items():
        few = nodes[: 2 if name.endswith("all") or "ego" in name else 20].tolist()
        works[name] = (lambda search=search, few=few: [search(n) for n in few], len(few))
    say(f"10-minute band, {len(reach.node) / SITES:.0f} nodes a site", race(works, 5))
    bench_threads(network, many)


def bench_threads(network: Network, many: Snap) -> None:
    """Two threads against one, by the clock: the fastest of many runs, as on a quiet machine."""
    works: dict[str, tuple[Work, int]] = {
        "ours": (lambda: compute_reach(network, many, limit_s=LIMIT_S, threads=2), 1),
        "one thread": (lambda: compute_reach(network, many, limit_s=LIMIT_S), 1),
    }
    say("200 sites, two threads, by the clock",
        race(works, 40, clock=time.perf_counter, taken=min))  # fmt: skip


def bench_polygons(network: Network, nodes: Any, at: Snap) -> None:
    """The ground within ten minutes, as usual notebooks draw it and as we do."""
    import networkx as nx
    import shapely

    graph = lay_networkx(network)
    peer_sites = nodes[:3].tolist()

    def hull(node: int) -> Any:
        near = list(nx.ego_graph(graph, node, radius=LIMIT_S, distance="seconds"))
        return shapely.convex_hull(
            shapely.multipoints(np.column_stack([network.node_x[near], network.node_y[near]]))
        )

    lines = [shapely.LineString(network.segment_line(g)) for g in range(network.segments)]
    segment = dict(
        zip(
            zip(network.edge_tail.tolist(), network.edge_head.tolist(), strict=True),
            network.edge_segment.tolist(),
            strict=True,
        )
    )

    def buffers(node: int) -> Any:
        near = nx.ego_graph(graph, node, radius=LIMIT_S, distance="seconds")
        taken = {segment[edge] for edge in near.edges}
        return shapely.union_all(shapely.buffer([lines[g] for g in taken], 150.0))

    ours = [at.take([k]) for k in range(20)]
    works: dict[str, tuple[Work, int]] = {
        "ours": (lambda: [compute_band(network, k, limit_s=LIMIT_S) for k in ours], len(ours)),
        "ego_graph + convex hull": (lambda: [hull(n) for n in peer_sites], len(peer_sites)),
        "ego_graph + buffered roads": (lambda: [buffers(n) for n in peer_sites], len(peer_sites)),
    }
    say("10-minute band as a polygon, a site", race(works, 1))


def bench_nearest(network: Network, nodes: Any, at: Snap) -> None:
    """The 3 nearest of 50 rivals for 10,000 points."""
    import networkx as nx
    from scipy.sparse.csgraph import dijkstra

    rivals = at.take(np.arange(50))
    back = lay_scipy(network).T.tocsr()

    def by_scipy(limit: float) -> None:
        table = dijkstra(back, indices=nodes[:50], limit=limit)
        np.argpartition(table[:, nodes], 3, axis=0)

    works: dict[str, tuple[Work, int]] = {
        "ours": (lambda: nearest_k(network, at, rivals), 1),
        "scipy": (lambda: by_scipy(np.inf), 1),
    }
    if find_spec("pandana"):
        laid = lay_pandana(network)
        laid.set_pois("rivals", 1e6, 3, network.node_x[nodes[:50]], network.node_y[nodes[:50]])
        works["pandana"] = (lambda: laid.nearest_pois(1e6, "rivals", num_pois=3), 1)
    took = race({name: work for name, work in works.items() if name != "pandana"}, 3)
    if "pandana" in works:
        took |= race({"pandana": works["pandana"]}, 1, warm=False)
    turned = lay_networkx(network).reverse(copy=False)
    # so slow on a large network that a few sources stand for the 50, and the line says so
    taken = nodes[:50] if network.edges < 100_000 else nodes[:2]
    from_each = race(
        {"": (lambda: [
            nx.single_source_dijkstra_path_length(turned, n, weight="seconds")
            for n in taken.tolist()
        ], len(taken))}, 1, warm=False,
    )  # fmt: skip
    took[f"networkx, from {len(taken)} of 50"] = 50 * from_each[""]
    say("3 nearest of 50 for 10,000 points", took)
    bounded: dict[str, tuple[Work, int]] = {
        "ours": (lambda: nearest_k(network, at, rivals, limit_s=1800.0), 1),
        "scipy limit": (lambda: by_scipy(1800.0), 1),
    }
    say("the same within 30 minutes", race(bounded, 3))


def open_network(name: str) -> Network:
    """Open the small network, or the big one made of it."""
    small = open_small().network
    return small if name == "small" else tile_network(small, COPIES)


def bench_all(name: str) -> None:
    """All parts on one network."""
    network = open_network(name)
    print(f"-- {name}: {network.nodes} nodes, {network.edges} edges, "
          f"{len(network.banned_from)} forbidden turns")  # fmt: skip
    nodes, x, y = draw_points(network)
    at = snap(network, x, y)
    bench_snap(network, x, y)
    bench_search(network, nodes, at)
    bench_nearest(network, nodes, at)
    bench_polygons(network, nodes, at)


def measure_memory(peer: str) -> None:
    """Print by how many MB one peer, or we, raise the peak of this process on the big network."""
    network = open_network("big")
    nodes, x, y = draw_points(network, 50)
    # what was used to make the network goes back first, else it would be used again unseen
    gc.collect()
    ctypes.CDLL(None).malloc_trim(0)
    Path("/proc/self/clear_refs").write_text("5")
    before = _peak_mb()
    if peer == "ours":
        search_graph(network)
        compute_reach(network, snap(network, x, y), limit_s=LIMIT_S)
    else:
        search = PEERS[peer][1](network, LIMIT_S)
        for node in nodes[:3].tolist():
            search(node)
    print(f"{_peak_mb() - before:.0f}")


def _peak_mb() -> float:
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024


def bench_memory() -> None:
    """Memory that laying out and searching the big network takes, each in its own process."""
    for name in ("ours", *(n for n, (module, _) in PEERS.items() if find_spec(module))):
        done = subprocess.run(
            [sys.executable, __file__, "peak", name], capture_output=True, text=True, check=False
        )
        told = done.stdout.strip().splitlines()[-1:] or [done.stderr.strip()[-200:]]
        print(f"peak memory over the network itself, {name}: {told[0]} MB", flush=True)


def main(wanted: list[str]) -> None:
    """Run the parts named, or all."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["CAPTURE_CACHE"] = folder
        if wanted[:1] == ["peak"]:
            measure_memory(wanted[1])
            return
        for part in wanted or ["small", "big", "memory"]:
            if part == "memory":
                bench_memory()
            elif part == "threads":
                network = open_network("big")
                bench_threads(network, snap(network, *draw_points(network, SITES)[1:]))
            else:
                bench_all(part)


if __name__ == "__main__":
    main(sys.argv[1:])

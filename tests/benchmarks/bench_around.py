"""How fast are rivals, people and passed-first against plain scripts of general libraries?

    python tests/benchmarks/bench_around.py

Prints medians and ratios of the same run on the demo town; the peers get the same roads,
zones and sites. Times include what each must do afresh for every site, not reading files.
"""

from __future__ import annotations

import statistics
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import geopandas
import networkx
import numpy as np
import shapely

from capture.area import open_area
from capture.around import VALUES, add_around, count_in_bands, load_rivals, load_zones
from capture.around.people import make_cells
from capture.basis import Offer
from capture.place import open_place, snap

DEMO = Path(__file__).parents[2] / "data_public" / "demo"
SITES = 40


def measure(call, times: int = 5) -> float:
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def scatter_sites(network, count: int):
    random = np.random.default_rng(1)
    pick = random.choice(network.segments, count)
    xy = np.array([network.segment_line(int(g)).mean(axis=0) for g in pick])
    return SimpleNamespace(x=xy[:, 0], y=xy[:, 1])


def make_streams(network, sites):
    at = snap(network, sites.x, sites.y)
    edge = network.segment_edge_forward[at.segment]
    return SimpleNamespace(edge=edge, fraction=at.fraction)


def plain_graph(network):
    graph = networkx.DiGraph()
    rows = zip(network.edge_tail, network.edge_head, network.edge_seconds, strict=True)
    for tail, head, seconds in rows:
        graph.add_edge(int(head), int(tail), s=float(seconds))
    return graph


def count_plainly(graph, zones, cells, nodes, starts, limit: float) -> list[float]:
    """One site: nodes within the limit, their ground united, laid over the zones."""
    counted = []
    for start in starts:
        reached = networkx.single_source_dijkstra_path_length(
            graph, int(start), cutoff=limit, weight="s"
        )
        band = shapely.union_all(cells[np.isin(nodes, list(reached))])
        cut = zones.overlay(geopandas.GeoDataFrame(geometry=[band]), how="intersection")
        counted.append(float((cut["people"] * cut.geometry.area / cut["ground"]).sum()))
    return counted


def main() -> int:
    area = open_area(DEMO)
    place = open_place(area)
    network = place.network
    rivals = load_rivals(area, place)
    sites = scatter_sites(network, SITES)
    few = SimpleNamespace(x=sites.x[:5], y=sites.y[:5])
    limit = 240.0
    count_in_bands(area, place, few, limits_s=[limit])
    ours = measure(lambda: count_in_bands(area, place, sites, limits_s=[limit])) / SITES
    read = load_zones(area, place)
    zones = geopandas.GeoDataFrame({"people": read.amounts["people"]}, geometry=read.geometry)
    zones["ground"] = zones.geometry.area
    nodes, cells = make_cells(network, margin_m=VALUES.value("margin_m"))
    graph = plain_graph(network)
    starts = network.segment_head[snap(network, few.x, few.y).segment]
    plain = measure(lambda: count_plainly(graph, zones, cells, nodes, starts, limit), 3) / 5
    print(f"people in a band, ms a site: ours {ours * 1e3:.3f}, networkx and geopandas "
          f"{plain * 1e3:.1f}, ratio {plain / ours:.0f}")  # fmt: skip

    flow = np.where(network.segment_class[network.edge_segment] < 5, 8000.0, 300.0)
    volumes = SimpleNamespace(edge_vehicles_per_day=flow)
    for count in (40, 400, 4000):
        many = scatter_sites(network, count)
        streams = make_streams(network, many)

        def look(many=many, streams=streams):
            add_around(area, place, volumes, streams, many, rivals, offer=Offer())

        look()
        taken = measure(look, 3)
        print(f"whole room, {count} sites: {taken:.3f} s, {taken / count * 1e3:.3f} ms a site")
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""How fast are ties, through trips and the gap-filling line against general libraries?

    python tests/benchmarks/bench_passing.py

Prints medians and ratios of the same run on the demo town; peers get the same roads, counts
and weights. Reading files is not timed but where said.
"""

from __future__ import annotations

import math
import statistics
import tempfile
import time
from pathlib import Path

import geopandas
import networkx
import numpy as np
import pandas as pd
import shapely
from sklearn.linear_model import BayesianRidge

from capture.area import open_area
from capture.passing import VALUES, add_volumes, load_counts, tie_counts
from capture.passing.fill import fit_fill, make_design
from capture.passing.through import compute_through, make_trip_ends
from capture.passing.tie import make_index
from capture.place import open_place

DEMO = Path(__file__).parents[2] / "data_public" / "demo"


def measure(call, times: int = 5) -> float:
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def say(what: str, ours: float, peer: str, theirs: float) -> None:
    print(f"{what}: {ours * 1000:.1f} ms, {peer} {theirs * 1000:.1f} ms, {theirs / ours:.1f} x")


def trips(place) -> None:
    """Same origins, same trees: networkx walks them one by one."""
    network = place.network
    origins, ends, _ = make_trip_ends(None, place)
    graph = networkx.DiGraph()
    for tail, head, seconds in zip(
        network.edge_tail.tolist(),
        network.edge_head.tolist(),
        network.edge_seconds.tolist(),
        strict=True,
    ):
        graph.add_edge(tail, head, weight=seconds)
    values = VALUES.override({"through_origins": 64})
    decay = values.value("through_decay_s")
    picked = np.searchsorted(np.cumsum(origins), (np.arange(64) + 0.5) / 64 * origins.sum())

    def peer():
        load: dict[tuple[int, int], float] = {}
        for origin in picked:
            before, reach = networkx.dijkstra_predecessor_and_distance(
                graph, int(origin), cutoff=values.value("through_limit_s")
            )
            carried = {v: ends[v] * math.exp(-t / decay) for v, t in reach.items()}
            for node in sorted(reach, key=reach.get, reverse=True):
                for parent in before[node][:1]:
                    load[parent, node] = load.get((parent, node), 0.0) + carried[node]
                    carried[parent] += carried[node]
        return load

    compute_through(network, origins, ends, values=values)
    say(
        "through trips of 64 origins",
        measure(lambda: compute_through(network, origins, ends, values=values)),
        "networkx",
        measure(peer, 3),
    )


def ties(area, place) -> None:
    """A nearest join looks at distance alone; ours scores name, bearing and class as well."""
    network = place.network
    counts = load_counts(DEMO / "counts.geojson", study_year=2026).counts
    many = pd.concat([counts] * 20, ignore_index=True)
    many["count_id"] = [f"c{k}" for k in range(len(many))]
    index = make_index(network)
    lines = geopandas.GeoDataFrame(geometry=index.lines, crs=network.projection.crs)
    x, y = network.projection.to_xy(many["lat"].to_numpy(), many["lon"].to_numpy())
    points = geopandas.GeoDataFrame(geometry=shapely.points(x, y), crs=lines.crs)
    ours = measure(lambda: tie_counts(network, many, index=index), 3)
    theirs = measure(lambda: points.sjoin_nearest(lines, max_distance=60), 3)
    say(f"tying {len(many)} counts", ours, "sjoin_nearest (distance only)", theirs)


def line(place, volumes) -> None:
    """The mixture with its held-out blocks against one fit of a ridge with its own spread."""
    design, names = make_design(place.network, volumes.through)
    counted = volumes.counts[volumes.counts["segment"] >= 0]
    rows = design[counted["segment"].to_numpy(dtype=int)]
    y = np.log(counted["aged_vehicles_per_day"].to_numpy(dtype=float))
    sd = np.full(len(y), 0.1)
    blocks = np.arange(len(y)) % 10
    ours = measure(lambda: fit_fill(rows, y, sd, names, blocks=blocks))

    def peer():
        for block in range(10):
            BayesianRidge().fit(rows[blocks != block], y[blocks != block])

    say(
        "fit with ten blocks held out",
        ours,
        "sklearn BayesianRidge on the same blocks",
        measure(peer),
    )


def files() -> None:
    """A year of hours of two directions, read, checked and summed up."""
    path = DEMO / "hourly_counts.csv"
    spot = {"road": "x", "lat": 43.6, "lon": -87.3}
    ours = measure(lambda: load_counts(path, study_year=2026, defaults=spot, hourly=True), 3)

    def peer():
        table = pd.read_csv(path, parse_dates=["date"])
        day = table.groupby("date")["vehicles"].sum()
        return day.groupby([day.index.month, day.index.day_of_week]).mean().mean()

    say(
        "a year of hours to its average day",
        ours,
        "pandas, no checks",
        measure(peer, 3),
    )


def main() -> None:
    area = open_area(DEMO)
    place = open_place(area)
    volumes = add_volumes(area, place)
    trips(place)
    ties(area, place)
    line(place, volumes)
    files()
    whole = measure(lambda: add_volumes(open_area(DEMO), place), 3)
    with tempfile.TemporaryDirectory() as folder:
        bare = Path(folder) / "roads.osm"
        bare.write_bytes((DEMO / "roads.osm").read_bytes())
        plain = open_area(bare)
        none = measure(lambda: add_volumes(plain, place), 3)
    print(f"volumes of the demo town: {whole * 1000:.0f} ms, without counts {none * 1000:.0f} ms")


if __name__ == "__main__":
    main()

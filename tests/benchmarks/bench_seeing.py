"""Rays a second: the grid of walls against shapely's STRtree and GeoPandas' sjoin, in one run.

    python tests/benchmarks/bench_seeing.py [AREA] [--sites 10000]

AREA is a folder or a roads file (the demo area if left out). Two comparisons: 10,000 sight
lines once over all buildings, and the sight of many sites (12 targets x 80 eye points each)
along real approaches, where the peers run on a sample of the same rays. All three answer the
same question: does a line from eye to target cross a building that is taller than the line
there? Medians of five runs; peers' index building is not counted, nor is the grid's.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from capture.area import open_area
from capture.place import open_place
from capture.seeing import find_clear, make_walls
from capture.seeing.approach import prepare_roads, walk_approach

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"
TARGETS, STEPS, PEER_SITES = 12, 80, 40


def clock(run: Callable[[], Any], times: int = 5) -> tuple[float, Any]:
    """Median seconds and the last answer."""
    took = []
    for _ in range(times):
        start = time.perf_counter()
        answer = run()
        took.append(time.perf_counter() - start)
    return statistics.median(took), answer


def blocked_by_height(eyes: Any, targets: Any, lines: Any, shapes: Any, heights: Any,
                      ray: Any, shape: Any) -> Any:  # fmt: skip
    """Which rays a crossed building really hides, by the lowest point over it."""
    clear = np.ones(len(eyes), dtype=bool)
    if not len(ray):
        return clear
    parts = shapely.intersection(lines[ray], shapes[shape])
    points, of = shapely.get_coordinates(parts, return_index=True)
    n = ray[of]
    along = targets[n, :2] - eyes[n, :2]
    share = ((points - eyes[n, :2]) * along).sum(axis=1) / np.maximum((along**2).sum(axis=1), 1e-9)
    low = eyes[n, 2] + share * (targets[n, 2] - eyes[n, 2]) < heights[shape[of]]
    clear[n[low]] = False
    return clear


def compare(name: str, walls: Any, shapes: Any, heights: Any, eyes: Any, targets: Any,
            sample: int) -> None:  # fmt: skip
    """Run the three on the same rays (peers on the first ``sample``) and print ratios."""
    tree = shapely.STRtree(shapes)
    frame = gpd.GeoDataFrame({"height": heights}, geometry=shapes)
    few_eyes, few_targets = eyes[:sample], targets[:sample]
    lines = shapely.linestrings(np.stack([few_eyes[:, :2], few_targets[:, :2]], axis=1))
    rays = gpd.GeoDataFrame(geometry=lines)

    def by_tree() -> Any:
        ray, shape = tree.query(lines, predicate="intersects")
        return blocked_by_height(few_eyes, few_targets, lines, shapes, heights, ray, shape)

    def by_tree_alone() -> Any:
        return tree.query(lines, predicate="intersects")

    def by_join() -> Any:
        met = gpd.sjoin(rays, frame, predicate="intersects", how="inner")
        return blocked_by_height(few_eyes, few_targets, lines, shapes, heights,
                                 met.index.to_numpy(), met["index_right"].to_numpy())  # fmt: skip

    find_clear(walls, eyes[:2], targets[:2])
    ours, got = clock(lambda: find_clear(walls, eyes, targets))
    tree_s, by_tree_clear = clock(by_tree, 3)
    alone_s, _ = clock(by_tree_alone, 3)
    join_s, by_join_clear = clock(by_join, 3)
    same = (got[:sample] == by_tree_clear).mean()
    rate, tree_rate, join_rate = len(eyes) / ours, sample / tree_s, sample / join_s
    print(f"{name}: {len(eyes):,} rays, {len(shapes):,} buildings, {100 * got.mean():.0f} % clear")
    print(f"  grid of walls {rate:14,.0f} rays/s   ({ours * 1e3:.1f} ms)")
    print(f"  STRtree       {tree_rate:14,.0f} rays/s   grid is {rate / tree_rate:.0f} x as fast")
    print(f"    crossing only, no heights: {sample / alone_s:,.0f} rays/s, "
          f"grid is {rate * alone_s / sample:.0f} x as fast")  # fmt: skip
    print(f"  sjoin         {join_rate:14,.0f} rays/s   grid is {rate / join_rate:.0f} x as fast")
    print(f"  same answer as STRtree on {100 * same:.2f} % of {sample:,}; "
          f"sjoin as STRtree: {(by_tree_clear == by_join_clear).all()}")  # fmt: skip


def main() -> None:
    """Read the area, make rays, compare."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("area", nargs="?", type=Path, default=DEMO)
    parser.add_argument("--sites", type=int, default=10_000)
    asked = parser.parse_args()
    place = open_place(open_area(asked.area))
    shapes, heights = place.buildings.polygons, np.asarray(place.buildings.height_m)
    pointer = np.asarray(place.buildings.ring_indptr)
    of = np.repeat(np.arange(len(shapes)), np.diff(pointer))
    x, y = np.asarray(place.buildings.ring_x), np.asarray(place.buildings.ring_y)
    within = of[1:] == of[:-1]
    ends = np.column_stack([x[:-1], y[:-1], x[1:], y[1:]])[within]
    owner = of[:-1][within]
    high = np.column_stack([np.full(len(ends), -np.inf), heights[owner]])
    make_walls(ends[:2], high[:2], owner[:2], cell_m=32.0)
    build_s, walls = clock(lambda: make_walls(ends, high, owner, cell_m=32.0))
    tree_s, _ = clock(lambda: shapely.STRtree(shapes).query(shapely.Point(0, 0)))
    print(f"index of {len(ends):,} walls: grid {build_s * 1e3:.1f} ms, STRtree of "
          f"{len(shapes):,} outlines {tree_s * 1e3:.1f} ms")  # fmt: skip
    rng = np.random.default_rng(1)
    low, high_xy = (np.array([f(x), f(y)]) for f in (np.min, np.max))
    spots = rng.uniform(low, high_xy, (20_000, 2))
    angle, far = rng.uniform(0, 2 * np.pi, 20_000), rng.uniform(50, 400, 20_000)
    others = spots + far[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    tree = shapely.STRtree(shapes)
    inside = [tree.query(shapely.points(p), predicate="within")[0] for p in (spots, others)]
    free = np.setdiff1d(np.arange(20_000), np.concatenate(inside))[:10_000]
    eyes = np.column_stack([spots[free], np.full(10_000, 1.07)])
    targets = np.column_stack([others[free], np.full(10_000, 6.0)])
    compare("sight lines", walls, shapes, heights, eyes, targets, 10_000)

    network = place.network
    edge = rng.integers(0, network.edges, asked.sites)
    walked = walk_approach(prepare_roads(network), edge, np.full(asked.sites, 0.5),
                           distance_m=np.full(asked.sites, STEPS * 5.0),
                           driving_side="right")  # fmt: skip
    row, k = np.nonzero(np.arange(STEPS)[None, :] < walked.count[:, None])
    seen_from = walked.eyes[row, k]
    at = walked.eyes[np.arange(asked.sites), 0]
    beside = at[:, None, :] + rng.uniform(-30, 30, (asked.sites, TARGETS, 2))
    eyes = np.column_stack(
        [np.repeat(seen_from, TARGETS, axis=0), np.full(len(row) * TARGETS, 1.07)]
    )
    spots = beside[row].reshape(-1, 2)
    targets = np.column_stack([spots, np.tile(np.linspace(0.6, 8.0, TARGETS), len(row))])
    sample = int((row < PEER_SITES).sum() * TARGETS)
    compare(f"sight of {asked.sites:,} sites", walls, shapes, heights, eyes, targets, sample)


if __name__ == "__main__":
    main()

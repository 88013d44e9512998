"""Where do the invented roads meet, and what is left when stubs and islands are dropped?

Roads are cut into ways at junctions with collectors and bigger roads, and into segments at
every junction; only what can be reached from everywhere is kept.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from shapely import LineString, Point, STRtree

if TYPE_CHECKING:
    from demo_roads import Road

#: from the quietest to the busiest
RANK = {"service": 0, "residential": 1, "tertiary": 2, "secondary": 3, "primary": 4, "trunk": 5}


@dataclass(kw_only=True)
class Streets:
    """The street network: nodes, ways as runs of nodes, segments between junctions."""

    xy: np.ndarray
    ways: list[tuple[Road, list[int]]]
    #: way, first node, last node, run of nodes
    segments: list[tuple[int, int, int, list[int]]]
    #: how many ways use each node as a junction
    degree: np.ndarray

    def line(self, segment: int) -> LineString:
        return LineString(self.xy[self.segments[segment][3]])

    def road(self, segment: int) -> Road:
        return self.ways[self.segments[segment][0]][0]


def join_streets(roads: list[Road]) -> Streets:
    """Find where roads meet, cut them into ways and segments, keep what is connected."""
    cuts = _find_meetings(roads)
    nodes: dict[tuple[float, float], int] = {}
    runs = [_run_of_nodes(road, cut, nodes) for road, cut in zip(roads, cuts, strict=True)]
    uses: dict[int, set[int]] = defaultdict(set)
    for k, run in enumerate(runs):
        for node in run:
            uses[node].add(k)
    xy = np.array(list(nodes))
    runs = [_trim(run, uses, xy, road) for run, road in zip(runs, roads, strict=True)]
    keep = _largest(runs, roads, len(xy))
    kept = [(road, run) for k, (road, run) in enumerate(zip(roads, runs, strict=True)) if keep[k]]
    return _cut(kept, xy)


def _find_meetings(roads: list[Road]) -> list[list[Point]]:
    """List the points at which each road meets others."""
    lines = [road.line for road in roads]
    tree = STRtree(lines)
    cuts: list[list[Point]] = [[] for _ in roads]
    for a, b in tree.query(lines, predicate="dwithin", distance=0.3).T:
        if a >= b or _passes_over(roads[a], roads[b]):
            continue
        for point in _meeting_points(lines[a], lines[b]):
            cuts[a].append(point)
            cuts[b].append(point)
    return cuts


def _passes_over(a: Road, b: Road) -> bool:
    """The bypass meets arterials only; collectors bridge it."""
    return (a.bridges or b.bridges) and min(RANK[a.highway], RANK[b.highway]) < RANK["secondary"]


def _meeting_points(a: LineString, b: LineString) -> list[Point]:
    met = a.intersection(b)
    points = [p for p in getattr(met, "geoms", [met]) if p.geom_type == "Point" and not p.is_empty]
    for one, two in ((a, b), (b, a)):
        for end in (one.coords[0], one.coords[-1]):
            tip = Point(end)
            if tip.distance(two) < 0.3 and all(tip.distance(p) > 1.0 for p in points):
                points.append(tip)
    return points


def _run_of_nodes(road: Road, cut: list[Point], nodes: dict[tuple[float, float], int]) -> list[int]:
    line = road.line
    places = [(line.project(Point(c)), c[0], c[1]) for c in line.coords]
    places += [(line.project(p), p.x, p.y) for p in cut]
    run: list[int] = []
    for _, x, y in sorted(places):
        key = (round(x, 1), round(y, 1))
        node = nodes.setdefault(key, len(nodes))
        if not run or run[-1] != node:
            run.append(node)
    return run


def _trim(run: list[int], uses: dict[int, set[int]], xy: np.ndarray, road: Road) -> list[int]:
    """Drop stubs shorter than 45 m beyond a street's last junction."""
    if road.highway != "residential":
        return run
    for _ in range(2):
        meets = [k for k, node in enumerate(run) if len(uses[node]) > 1]
        if not meets:
            return []
        tail = xy[run[meets[-1] :]]
        if np.hypot(*np.diff(tail, axis=0).T).sum() < 45:
            run = run[: meets[-1] + 1]
        run = run[::-1]
    return run if len(run) > 1 else []


def _largest(runs: list[list[int]], roads: list[Road], size: int) -> list[bool]:
    """Keep the ways of the largest part in which every place reaches every other."""
    tails, heads = [], []
    for run, road in zip(runs, roads, strict=True):
        for a, b in pairwise(run):
            tails += [a] if road.oneway else [a, b]
            heads += [b] if road.oneway else [b, a]
    graph = coo_matrix((np.ones(len(tails)), (tails, heads)), shape=(size, size))
    _, label = connected_components(graph, directed=True, connection="strong")
    biggest = np.bincount(label).argmax()
    return [len(run) > 1 and (label[run] == biggest).sum() > len(run) / 2 for run in runs]


def _cut(kept: list[tuple[Road, list[int]]], xy: np.ndarray) -> Streets:
    """Cut ways at junctions with collectors and bigger; segments at every junction."""
    uses: dict[int, int] = defaultdict(int)
    rank: dict[int, list[int]] = defaultdict(list)
    for road, run in kept:
        for k, node in enumerate(run):
            uses[node] += 1 if k in (0, len(run) - 1) else 2
            rank[node].append(RANK[road.highway])
    major = {n for n, ranks in rank.items() if len(ranks) > 1 and max(ranks) >= RANK["tertiary"]}
    ways: list[tuple[Road, list[int]]] = []
    segments: list[tuple[int, int, int, list[int]]] = []
    for road, run in kept:
        for part in _split(run, major):
            ways.append((road, part))
            junctions = {n for n in part if len(rank[n]) > 1}
            for piece in _split(part, junctions):
                segments.append((len(ways) - 1, piece[0], piece[-1], piece))
    degree = np.zeros(len(xy), dtype=int)
    for node, count in uses.items():
        degree[node] = count
    return Streets(xy=xy, ways=ways, segments=segments, degree=degree)


def _split(run: list[int], at: set[int]) -> list[list[int]]:
    parts, start = [], 0
    for k in range(1, len(run)):
        if k == len(run) - 1 or run[k] in at:
            parts.append(run[start : k + 1])
            start = k
    return parts

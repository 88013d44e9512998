"""A few straight roads, buildings and streams made by hand, for tests of turning and seeing."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from capture.basis import LocalProjection
from capture.place.frontage import Frontage
from capture.place.network import Labels, Network
from capture.place.place import Buildings, Place, Screens

Point = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Road:
    """One segment from junction to junction."""

    points: tuple[Point, ...]
    name: str = "Main Street"
    oneway: bool = False
    lanes: float = 2.0
    mps: float = 15.0
    road_class: int = 3
    separation: int = 0
    bridge: bool = False
    turn_bay: bool = False


@dataclass(frozen=True, kw_only=True)
class Pass:
    """One stream past one driveway."""

    segment: int
    fraction: float
    forward: bool = True
    near: bool = True
    site: int = 0
    driveway: int = 0
    vehicles: float = 10_000.0
    lanes: float = 1.0
    mps: float = 15.0
    separation: int = 0
    turn_bay: bool = False
    heavy: float = 0.0


def mirror(points: tuple[Point, ...], *, by: float = -1.0) -> tuple[Point, ...]:
    """Swap east and west."""
    return tuple((by * x, y) for x, y in points)


def build_network(
    roads: list[Road],
    *,
    signals: tuple[Point, ...] = (),
    bans: tuple[tuple[int, bool, int, bool], ...] = (),
    long_bans: tuple[tuple[tuple[int, bool], ...], ...] = (),
    driving_side: str = "right",
) -> Network:
    """Build a network; ends that coincide are one junction.

    ``long_bans`` forbid paths of three and more (segment, along it).
    """
    nodes: dict[Point, int] = {}
    for road in roads:
        for point in (road.points[0], road.points[-1]):
            nodes.setdefault((round(point[0], 3), round(point[1], 3)), len(nodes))
    ends = [
        tuple(nodes[(round(p[0], 3), round(p[1], 3))] for p in (road.points[0], road.points[-1]))
        for road in roads
    ]
    directed = []
    for g, road in enumerate(roads):
        directed.append((ends[g][0], ends[g][1], g, True))
        if not road.oneway:
            directed.append((ends[g][1], ends[g][0], g, False))
    directed.sort(key=lambda item: item[0])
    where = {(g, forward): e for e, (_, _, g, forward) in enumerate(directed)}
    lengths = np.array(
        [np.hypot(*np.diff(np.asarray(road.points), axis=0).T).sum() for road in roads]
    )
    edge_segment = np.array([d[2] for d in directed], np.int32)
    edge_mps = np.array([roads[g].mps for g in edge_segment])
    tails = np.array([d[0] for d in directed], np.int32)
    places = np.array(list(nodes), dtype=float)
    plane = LocalProjection(centre_lat=40.0, centre_lon=-90.0)
    lat, lon = plane.to_latlon(places[:, 0], places[:, 1])
    n, g_count = len(nodes), len(roads)
    lit = np.zeros(n, bool)
    for point in signals:
        lit[nodes[(round(point[0], 3), round(point[1], 3))]] = True
    oneway = np.array([road.oneway for road in roads])
    lanes = np.array([road.lanes for road in roads])
    geometry = np.concatenate([np.asarray(road.points, float) for road in roads])
    sizes = [len(road.points) for road in roads]
    return Network(
        projection=plane,
        driving_side=driving_side,
        node_x=places[:, 0],
        node_y=places[:, 1],
        node_lat=lat,
        node_lon=lon,
        node_id=np.arange(n, dtype=np.int64),
        node_signal=lit,
        node_stop=np.zeros(n, bool),
        node_crossing=np.zeros(n, bool),
        indptr=np.concatenate([[0], np.cumsum(np.bincount(tails, minlength=n))]).astype(np.int64),
        edge_tail=tails,
        edge_head=np.array([d[1] for d in directed], np.int32),
        edge_segment=edge_segment,
        edge_forward=np.array([d[3] for d in directed]),
        edge_reverse=np.array([where.get((d[2], not d[3]), -1) for d in directed], np.int32),
        edge_length_m=lengths[edge_segment],
        edge_speed_mps=edge_mps,
        edge_seconds=lengths[edge_segment] / edge_mps,
        segment_tail=np.array([e[0] for e in ends], np.int32),
        segment_head=np.array([e[1] for e in ends], np.int32),
        segment_way=np.arange(g_count, dtype=np.int64),
        segment_name=Labels.of([road.name for road in roads]),
        segment_ref=Labels.of([""] * g_count),
        segment_class=np.array([road.road_class for road in roads], np.int8),
        segment_link=np.zeros(g_count, bool),
        segment_lanes=lanes,
        segment_lanes_forward=np.where(oneway, lanes, lanes / 2),
        segment_lanes_backward=np.where(oneway, 0.0, lanes / 2),
        segment_oneway=oneway,
        segment_roundabout=np.zeros(g_count, bool),
        segment_bridge=np.array([road.bridge for road in roads]),
        segment_tunnel=np.zeros(g_count, bool),
        segment_speed_given=np.ones(g_count, bool),
        segment_lanes_given=np.ones(g_count, bool),
        segment_separation=np.array([road.separation for road in roads], np.int8),
        segment_opposite=np.full(g_count, -1, np.int32),
        segment_turn_bay=np.array([road.turn_bay for road in roads]),
        segment_length_m=lengths,
        segment_edge_forward=np.array([where[(g, True)] for g in range(g_count)], np.int32),
        segment_edge_backward=np.array(
            [where.get((g, False), -1) for g in range(g_count)], np.int32
        ),
        geom_indptr=np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64),
        geom_x=geometry[:, 0],
        geom_y=geometry[:, 1],
        banned_from=np.array([where[(b[0], b[1])] for b in bans], np.int32),
        banned_to=np.array([where[(b[2], b[3])] for b in bans], np.int32),
        banned_path_indptr=np.cumsum([0, *map(len, long_bans)]).astype(np.int64),
        banned_path_edge=np.array([where[step] for path in long_bans for step in path], np.int32),
    )


def _flat(lines: list[tuple[Point, ...]]) -> tuple[Any, Any, Any]:
    points = np.concatenate([np.asarray(line, float) for line in lines] or [np.zeros((0, 2))])
    pointer = np.concatenate([[0], np.cumsum([len(line) for line in lines])]).astype(np.int64)
    return pointer, points[:, 0].copy(), points[:, 1].copy()


def box(x: float, y: float, wide: float, deep: float) -> tuple[Point, ...]:
    """Corners of a rectangle with its south-west corner at x, y; closed."""
    return ((x, y), (x + wide, y), (x + wide, y + deep), (x, y + deep), (x, y))


@dataclass(frozen=True, kw_only=True)
class Toy:
    """Roads with what stands beside them."""

    network: Network
    buildings: list[tuple[tuple[Point, ...], float]] = field(default_factory=list)
    screens: list[tuple[str, tuple[Point, ...], float]] = field(default_factory=list)

    @property
    def place(self) -> Place:
        """What is made, as a Place."""
        pointer, x, y = _flat([ring for ring, _ in self.buildings])
        count = len(self.buildings)
        buildings = Buildings(
            osm_id=np.arange(count, dtype=np.int64),
            ring_indptr=pointer,
            ring_x=x,
            ring_y=y,
            height_m=np.array([height for _, height in self.buildings], float),
            height_known=np.ones(count, bool),
        )
        pointer, x, y = _flat([line for _, line, _ in self.screens])
        screens = Screens(
            osm_id=np.arange(len(self.screens), dtype=np.int64),
            kind=Labels.of([kind for kind, _, _ in self.screens]),
            line_indptr=pointer,
            line_x=x,
            line_y=y,
            height_m=np.array([height for _, _, height in self.screens], float),
            height_known=np.ones(len(self.screens), bool),
        )
        return Place(
            network=self.network,
            buildings=buildings,
            screens=screens,
            features=pd.DataFrame(),
            source="made by hand",
            sha256="",
            extent=(0.0, 0.0, 0.0, 0.0),
        )


def build_streams(network: Network, passes: list[Pass]) -> Any:
    """Streams with an even day."""
    edge = [
        int(
            (network.segment_edge_forward if p.forward else network.segment_edge_backward)[
                p.segment
            ]
        )
        for p in passes
    ]
    fraction = [p.fraction if p.forward else 1 - p.fraction for p in passes]
    return SimpleNamespace(
        site=np.array([p.site for p in passes], np.int32),
        driveway=np.array([p.driveway for p in passes], np.int32),
        edge=np.array(edge, np.int32),
        fraction=np.array(fraction, float),
        road=[network.segment_name[p.segment] for p in passes],
        direction_deg=np.zeros(len(passes)),
        lanes=np.array([p.lanes for p in passes], float),
        speed_mps=np.array([p.mps for p in passes], float),
        near_side=np.array([p.near for p in passes], bool),
        separation=np.array([p.separation for p in passes], np.int8),
        turn_bay=np.array([p.turn_bay for p in passes], bool),
        vehicles_per_day=np.array([p.vehicles for p in passes], float),
        log_sd=np.full(len(passes), 0.1),
        heavy_share=np.array([p.heavy for p in passes], float),
        hour_share=np.full((len(passes), 24), 1 / 24),
        corner_share=np.zeros(len(passes)),
    )


def build_frontage(network: Network, mouths: list[tuple[int, float, float, float]]) -> Frontage:
    """Driveways from (segment, fraction, mouth x, mouth y)."""
    lines = [network.segment_line(m[0]) for m in mouths]
    spots = []
    for line, (_, fraction, _, _) in zip(lines, mouths, strict=True):
        steps = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
        at = fraction * steps[-1]
        spots.append((np.interp(at, steps, line[:, 0]), np.interp(at, steps, line[:, 1])))
    line_x, line_y = np.array(spots).T
    x, y = np.array([m[2] for m in mouths]), np.array([m[3] for m in mouths])
    side = []
    for (g, fraction, *_), xi, yi, lx, ly in zip(mouths, x, y, line_x, line_y, strict=True):
        line = network.segment_line(g)
        k = min(int(fraction * (len(line) - 1)), len(line) - 2)
        ahead = line[k + 1] - line[k]
        side.append(1 if ahead[0] * (yi - ly) - ahead[1] * (xi - lx) > 0 else -1)
    return Frontage(
        site=np.zeros(len(mouths), np.int32),
        driveway=tuple(f"D{i}" for i in range(len(mouths))),
        x=x,
        y=y,
        segment=np.array([m[0] for m in mouths], np.int32),
        fraction=np.array([m[1] for m in mouths], float),
        line_x=line_x,
        line_y=line_y,
        distance_m=np.hypot(x - line_x, y - line_y),
        side=np.array(side, np.int8),
        proposed=np.ones(len(mouths), bool),
    )


def build_volumes(network: Network, vehicles: float = 20_000.0) -> Any:
    """The same traffic everywhere."""
    return SimpleNamespace(
        vehicles_per_day=np.full(network.segments, vehicles),
        heavy_share=np.zeros(network.segments),
        edge_vehicles_per_day=np.full(network.edges, vehicles / 2),
    )

"""Who drives past each driveway: one stream per direction and frontage.

Heavy vehicles are taken out, since they are not washed here. The opposite carriageway of a
dual road is a stream of its own, on the far side of a raised median. At a corner, vehicles
that turn from one frontage road into the other are counted once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from capture.basis import Sheet, Worlds
from capture.passing.carry import Touching, make_touching
from capture.passing.corners import apply_notes, count_corners_once, share_one_road
from capture.passing.directions import turn_between
from capture.passing.shapes import SHAPE_SOURCE, make_hour_share
from capture.passing.values import VALUES
from capture.passing.works import RoadNote, find_notes

if TYPE_CHECKING:
    from capture.area import Area
    from capture.passing.volumes import Volumes
    from capture.place import Frontage, Network, Place

FloatArray = NDArray[np.float64]
RAISED_MEDIAN = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Streams:
    """Washable vehicles by direction past the driveways of sites; R rows."""

    #: site, (R,)
    site: NDArray[np.int32]
    #: row of the frontage, (R,)
    driveway: NDArray[np.int32]
    #: directed edge, (R,)
    edge: NDArray[np.int32]
    #: where along the edge, in the direction of travel, 0-1, (R,)
    fraction: FloatArray
    #: road name, (R,)
    road: list[str]
    #: bearing of travel at the driveway, (R,)
    direction_deg: FloatArray
    #: lanes this way, (R,)
    lanes: FloatArray
    #: free speed, (R,)
    speed_mps: FloatArray
    #: whether the driveway lies on the side that people drive on, or the road is one-way, (R,)
    near_side: NDArray[np.bool_]
    #: what parts the stream from the other direction, (R,)
    separation: NDArray[np.int8]
    #: whether a turn bay is marked, (R,)
    turn_bay: NDArray[np.bool_]
    #: washable vehicles a day this way, median, (R,)
    vehicles_per_day: FloatArray
    #: standard deviation of its logarithm, all causes, (R,)
    log_sd: FloatArray
    #: part of it from the split between directions, (R,)
    split_log_sd: FloatArray
    #: part of it that all estimated roads share, (R,)
    shared_log_sd: FloatArray
    #: heavy vehicles taken out, share of all, (R,)
    heavy_share: FloatArray
    #: whether a count holds here, (R,)
    measured: NDArray[np.bool_]
    #: year of the count, NaN where estimated, (R,)
    year: FloatArray
    #: where the figure comes from, (R,)
    source: list[str]
    #: share of the day's vehicles in each hour, (R, 24)
    hour_share: FloatArray
    #: where the hours come from, (R,)
    hour_source: list[str]
    #: streams of one site in one group may hold the same vehicles; -1 for none, (R,)
    corner_group: NDArray[np.int32]
    #: share taken out since those vehicles are counted at another driveway of the site, (R,)
    corner_share: FloatArray
    #: roads that share one error, (R,)
    road_key: list[str]
    #: dated notes that apply, one sentence each, (R,)
    notes: list[str]

    def __len__(self) -> int:
        return len(self.site)

    def take(self, mask: Any) -> Streams:
        """Return the streams that a mask or index picks."""
        at = np.arange(len(self))[np.asarray(mask)]
        changes: dict[str, Any] = {}
        for one in fields(self):
            held = getattr(self, one.name)
            changes[one.name] = [held[k] for k in at] if isinstance(held, list) else held[at]
        return replace(self, **changes)


def add_streams(
    area: Area | None,
    place: Place,
    volumes: Volumes,
    frontage: Frontage,
    *,
    notes: Sequence[RoadNote] = (),
    values: Sheet = VALUES,
) -> Streams:
    """Find the streams past every driveway.

    Parameters
    ----------
    area : Area or None
        Its roads layer may hold dated notes, ``[[layers.roads.notes]]``.
    place : Place
        Roads.
    volumes : Volumes
        From :func:`~capture.passing.volumes.add_volumes`.
    frontage : Frontage
        Driveways, F rows.
    notes : sequence of RoadNote
        Further dated notes, such as road works.
    values : Sheet
        Heavy shares, corner share, reaches.

    Returns
    -------
    Streams
        Rows in the order of the frontage, along the piece's geometry first.
    """
    network = place.network
    touching = make_touching(network)
    rows: list[dict[str, Any]] = []
    for f in range(len(frontage.segment)):
        rows += _streams_of(network, touching, frontage, f)
    streams = _to_streams(network, volumes, rows, values)
    streams = apply_notes(network, streams, [*find_notes(area), *notes], volumes.study_year)
    return count_corners_once(network, share_one_road(network, streams), values)


def _streams_of(
    network: Network, touching: Touching, frontage: Frontage, f: int
) -> list[dict[str, Any]]:
    g = int(frontage.segment[f])
    at = float(frontage.fraction[f])
    side = int(frontage.side[f])
    right = network.driving_side == "right"
    oneway = bool(network.segment_oneway[g])
    opposite = int(network.segment_opposite[g]) if oneway else -1
    base = {"site": int(frontage.site[f]), "driveway": f}
    rows = []
    forward, backward = int(network.segment_edge_forward[g]), int(network.segment_edge_backward[g])
    if forward >= 0:
        near = (side < 0) == right or (oneway and opposite < 0)
        rows.append(
            {**base, "edge": forward, "fraction": at, "near_side": near, "dual": opposite >= 0}
        )
    if backward >= 0:
        near = (side > 0) == right
        rows.append(
            {**base, "edge": backward, "fraction": 1 - at, "near_side": near, "dual": False}
        )
    if opposite >= 0:
        rows[0]["near_side"] = True
        found, where = _along_opposite(network, touching, opposite, frontage, f)
        edge = int(network.segment_edge_forward[found])
        rows.append({**base, "edge": edge, "fraction": where, "near_side": False, "dual": True})
    return rows


def _along_opposite(
    network: Network, touching: Touching, opposite: int, frontage: Frontage, f: int
) -> tuple[int, float]:
    """Find the place on the other carriageway that lies across from a driveway."""
    import shapely

    point = shapely.Point(float(frontage.line_x[f]), float(frontage.line_y[f]))
    best = (math.inf, opposite, 0.5)
    for g in [opposite, *_same_carriageway(network, touching, opposite)]:
        line = shapely.LineString(network.segment_line(g))
        distance = float(line.distance(point))
        if distance < best[0] - 1e-9:
            best = (distance, g, float(line.project(point, normalized=True)))
    return best[1], best[2]


def _same_carriageway(network: Network, touching: Touching, g: int) -> list[int]:
    """List the pieces that lead onto or off a one-way piece along the same carriageway."""
    name = network.segment_name[g]
    found = []
    for node, ends in (
        (int(network.segment_tail[g]), network.segment_head),
        (int(network.segment_head[g]), network.segment_tail),
    ):
        part = slice(int(touching.indptr[node]), int(touching.indptr[node + 1]))
        away = dict(zip(touching.segment[part].tolist(), touching.away_deg[part], strict=True))
        for other, bearing in away.items():
            alike = network.segment_name[other] == name and bool(network.segment_oneway[other])
            on = other != g and alike and int(ends[other]) == node
            if on and turn_between(bearing, away[g]) > 90:
                found.append(int(other))
    return found


def _to_streams(
    network: Network, volumes: Volumes, rows: Sequence[dict[str, Any]], values: Sheet
) -> Streams:
    edge = np.array([r["edge"] for r in rows], dtype=np.int32)
    owner = np.asarray(network.edge_segment)[edge].astype(np.int64)
    fraction = np.array([r["fraction"] for r in rows], dtype=np.float64)
    forward = np.asarray(network.edge_forward)[edge]
    oneway = np.asarray(network.segment_oneway)[owner]
    dual = np.array([r["dual"] for r in rows], dtype=bool)
    lanes = np.where(
        forward, network.segment_lanes_forward[owner], network.segment_lanes_backward[owner]
    )
    lanes = np.where(oneway, network.segment_lanes[owner], lanes)
    heavy = volumes.heavy_share[owner]
    split_log = volumes.split_log_sd[owner]
    heavy_log = 0.5 * heavy / np.maximum(1 - heavy, 0.05)
    direction = np.array(
        [bearing_at(network, int(e), float(a)) for e, a in zip(edge, fraction, strict=True)],
        dtype=np.float64,
    )
    shares, told = _hours(network, volumes, edge, direction, values)
    return Streams(
        site=np.array([r["site"] for r in rows], dtype=np.int32),
        driveway=np.array([r["driveway"] for r in rows], dtype=np.int32),
        edge=edge,
        fraction=np.clip(fraction, 0.0, 1.0),
        road=[network.segment_name[g] or network.segment_ref[g] for g in owner],
        direction_deg=direction,
        lanes=np.maximum(np.asarray(lanes, dtype=np.float64), 1.0),
        speed_mps=np.asarray(network.edge_speed_mps[edge], dtype=np.float64),
        near_side=np.array([r["near_side"] for r in rows], dtype=bool),
        separation=np.where(dual, RAISED_MEDIAN, network.segment_separation[owner]).astype(np.int8),
        turn_bay=np.asarray(network.segment_turn_bay[owner], dtype=bool),
        vehicles_per_day=volumes.edge_vehicles_per_day[edge] * (1 - heavy),
        log_sd=np.sqrt(volumes.log_sd[owner] ** 2 + split_log**2 + heavy_log**2),
        split_log_sd=split_log,
        shared_log_sd=volumes.shared_log_sd[owner],
        heavy_share=heavy,
        measured=volumes.measured[owner],
        year=volumes.year[owner],
        source=[volumes.source[g] for g in owner],
        hour_share=shares,
        hour_source=told,
        corner_group=np.full(len(rows), -1, dtype=np.int32),
        corner_share=np.zeros(len(rows)),
        road_key=[volumes.key[g] for g in owner],
        notes=[""] * len(rows),
    )


def bearing_at(network: Network, edge: int, fraction: float) -> float:
    """Return the bearing of travel at a place on an edge, degrees."""
    line = network.edge_line(edge)
    step = np.diff(line, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    along = np.cumsum(length)
    k = int(np.searchsorted(along, np.clip(fraction, 0, 1) * along[-1]))
    k = min(k, len(step) - 1)
    return math.degrees(math.atan2(step[k, 0], step[k, 1])) % 360


def _hours(
    network: Network,
    volumes: Volumes,
    edge: NDArray[np.int32],
    direction_deg: FloatArray,
    values: Sheet,
) -> tuple[FloatArray, list[str]]:
    """Take the nearest counted station of a like class on the same road, else the default."""
    shares = np.zeros((len(edge), 24))
    told = []
    known: dict[tuple[str, int], tuple[Any, bool] | None] = {}
    for k, e in enumerate(edge):
        g = int(network.edge_segment[e])
        own = int(network.segment_class[g])
        key = (network.segment_name[g], own)
        if key not in known:
            known[key] = _best_shape(network, volumes, g, own)
        shares[k], how = _share_of(known[key], own, float(direction_deg[k]), values)
        told.append(how)
    return shares, told


def _share_of(
    best: tuple[Any, bool] | None, own: int, direction_deg: float, values: Sheet
) -> tuple[FloatArray, str]:
    if best is None:
        return make_hour_share(own, values=values), SHAPE_SOURCE
    shape, same = best
    said = f"hours of station {shape.station}, {shape.days} day(s)"
    if len(shape.share) == 2 and math.isfinite(shape.direction_deg) and same:
        row = 0 if turn_between(direction_deg, shape.direction_deg) < 90 else 1
        return shape.share[row], f"{said}, by direction"
    return shape.share.mean(axis=0), f"{said}, both directions together"


def _best_shape(network: Network, volumes: Volumes, g: int, own: int) -> tuple[Any, bool] | None:
    name = network.segment_name[g]
    on_road = [s for s, at in volumes.shapes if name and network.segment_name[at] == name]
    if on_road:
        return max(on_road, key=lambda s: s.days), True
    alike = [
        s
        for s, at in volumes.shapes
        if s.days >= 28 and abs(int(network.segment_class[at]) - own) <= 1
    ]
    return (max(alike, key=lambda s: s.days), False) if alike else None


def draw_vehicles(streams: Streams, worlds: Worlds, site_ids: Sequence[str] = ()) -> FloatArray:
    """Draw washable vehicles a day of each stream in every world.

    Parameters
    ----------
    streams : Streams
        R rows.
    worlds : Worlds
        Seed and number of draws.
    site_ids : sequence of str
        Not looked at: the error belongs to the road, so sites on one road share it.

    Returns
    -------
    ndarray of float, shape (R, draws)

    Notes
    -----
    ln v = ln median + shared + road + split: one shared part for all estimated roads of the
    area, one part per road (keyed by the count or the road's name), one for the split
    between directions, equal and opposite both ways.
    """
    keys = sorted(set(streams.road_key))
    at = np.array([keys.index(k) for k in streams.road_key], dtype=np.int64)
    if len(keys) == 0:
        return np.zeros((0, worlds.draws))
    road = worlds.normal("road vehicles", keys)[at]
    split = worlds.normal("road direction split", keys)[at]
    level = worlds.normal("area vehicles level")[0]
    sign = np.where(streams.direction_deg < 180, 1.0, -1.0)
    rest = streams.log_sd**2 - streams.shared_log_sd**2 - streams.split_log_sd**2
    rest = np.sqrt(np.maximum(rest, 0.0))
    log = (
        rest[:, None] * road
        + streams.shared_log_sd[:, None] * level
        + (sign * streams.split_log_sd)[:, None] * split
    )
    return np.asarray(streams.vehicles_per_day[:, None] * np.exp(log))

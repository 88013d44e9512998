"""How do ways become a network: cut at junctions, directed, measured in metres?

Ways are cut where another way (or the same one again) meets them, at their ends, and at
signals that stand by themselves between junctions. A signal, stop sign or crossing mapped
beside a junction is carried to it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from capture.basis import DataError, LocalProjection, Sheet
from capture.place.dual import find_opposites
from capture.place.network import Bools, Floats, Ints, Labels, Longs, Network
from capture.place.raw import Raw, number_values
from capture.place.restrictions import resolve_restrictions
from capture.place.tags import parse_direction
from capture.place.values import PAINT, RAISED_MEDIAN, VALUES
from capture.place.ways import WayTable, read_ways

MOST_SEGMENTS = 20_000_000
#: grid of the curve along which nodes are numbered: 0.25 m, up to 500 km
_CURVE_CELL_M = 0.25
_CURVE_BITS = 21
#: beyond this the local projection fails
MOST_LATITUDE = 85.0
#: an area wider than this stretches lengths by more than 0.01 % near its edge
MOST_WIDTH_DEGREES = 1.6


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pieces:
    """Segments as slices of the reference array, after cutting."""

    #: way of each segment, first and last reference, (G,)
    way: Longs
    first: Longs
    last: Longs


def build_network(
    raw: Raw, *, driving_side: str = "right", values: Sheet = VALUES, name: str = "roads"
) -> tuple[Network, list[str]]:
    """Turn what a reader found into a network.

    Parameters
    ----------
    raw : Raw
        Ways open to cars.
    driving_side : {"right", "left"}
        Decides on which side the opposite carriageway lies.
    values : Sheet
        Class speeds and lanes, reaches.
    name : str
        File name for messages.

    Returns
    -------
    Network
    list of str
        What a reader should know.

    Raises
    ------
    DataError
        When there is no drivable road.
    """
    if len(raw.way_id) == 0:
        raise DataError(
            f"{name}: holds no road that cars may drive on; check that the extract covers the "
            "place and was not filtered"
        )
    _check_places(raw, name)
    raw = _turn_backward_ways(raw)
    ways = read_ways(raw, values)
    projection = LocalProjection(
        centre_lat=round(float(raw.ref_lat.min() + raw.ref_lat.max()) / 2, 6),
        centre_lon=round(float(raw.ref_lon.min() + raw.ref_lon.max()) / 2, 6),
    )
    ids, at, inverse = np.unique(raw.ref_id, return_index=True, return_inverse=True)
    x, y = projection.to_xy(raw.ref_lat[at], raw.ref_lon[at])
    along = _measure_along(x[inverse], y[inverse], raw.ref_indptr)
    is_node = _find_junctions(raw, inverse, len(ids))
    controls, is_node = _carry_controls(raw, ids, inverse, along, is_node, values)
    pieces = _cut(raw, inverse, is_node, along)
    kept = np.flatnonzero(is_node)
    kept = kept[order_by_nearness(x[kept], y[kept])]
    node_of = np.full(len(ids), -1, dtype=np.int64)
    node_of[kept] = np.arange(len(kept))
    nodes: dict[str, Any] = {
        "node_x": x[kept],
        "node_y": y[kept],
        "node_lat": raw.ref_lat[at][kept],
        "node_lon": raw.ref_lon[at][kept],
        "node_id": ids[kept],
        **{key: flag[kept] for key, flag in controls.items()},
    }
    segments = _lay_segments(raw, ways, pieces, inverse, node_of, x, y, along)
    edges = _direct(segments, ways, pieces, len(kept))
    opposite = find_opposites(segments, driving_side=driving_side, values=values)
    divided = (opposite >= 0) & (segments["segment_separation"] <= PAINT)
    segments["segment_separation"] = np.where(
        divided, RAISED_MEDIAN, segments["segment_separation"]
    ).astype(np.int8)
    bans = resolve_restrictions(raw, nodes["node_id"], edges, segments["segment_way"])
    network = Network(
        projection=projection,
        driving_side=driving_side,
        segment_opposite=opposite,
        banned_from=bans.banned_from,
        banned_to=bans.banned_to,
        banned_path_indptr=np.cumsum([0, *map(len, bans.paths)]).astype(np.int64),
        banned_path_edge=np.array([e for path in bans.paths for e in path], dtype=np.int32),
        **nodes,
        **segments,
        **edges,
    )
    return network, [*raw.notes, *bans.notes]


def order_by_nearness(x: Floats, y: Floats) -> Longs:
    """Order places along a Z-shaped curve, so that neighbours lie close in memory.

    Parameters
    ----------
    x, y : ndarray, shape (N,)
        Metres.

    Returns
    -------
    ndarray of int64, shape (N,)
        Indices.

    Examples
    --------
    >>> order_by_nearness(np.array([0.0, 900.0, 1.0]), np.array([0.0, 900.0, 1.0])).tolist()
    [0, 2, 1]
    """
    code = np.zeros(len(x), dtype=np.uint64)
    for shift, axis in enumerate((x, y)):
        cell = ((axis - axis.min()) / _CURVE_CELL_M).astype(np.uint64)
        for bit in range(_CURVE_BITS):
            code |= ((cell >> np.uint64(bit)) & np.uint64(1)) << np.uint64(2 * bit + shift)
    return np.argsort(code, kind="stable")


def _check_places(raw: Raw, name: str) -> None:
    lat, lon = raw.ref_lat, raw.ref_lon
    bad = ~((np.abs(lat) <= MOST_LATITUDE) & (np.abs(lon) <= 180.0))
    if bad.any():
        k = int(np.argmax(bad))
        raise DataError(
            f"{name}: roads must lie within {MOST_LATITUDE:g} degrees of the equator, got latitude "
            f"{lat[k]:g}, longitude {lon[k]:g} at node {raw.ref_id[k]}; mend or cut the extract"
        )
    wide = max(float(np.ptp(lat)), float(np.ptp(lon) * np.cos(np.radians(lat.mean()))))
    if wide > MOST_WIDTH_DEGREES:
        raise DataError(
            f"{name}: roads must lie within {MOST_WIDTH_DEGREES:g} degrees of each other so that "
            f"lengths hold, got {wide:.1f}; cut the extract to the area or give a bbox"
        )


def _turn_backward_ways(raw: Raw) -> Raw:
    """Reverse ways that are one-way against their direction, so that all run forward."""
    oneway = raw.way_tags.column("oneway")
    first, number = number_values(oneway)
    words = (raw.way_tags.words[code] for code in oneway[first].tolist())
    against = np.array([parse_direction(word, None, "") < 0 for word in words], dtype=bool)
    back = np.flatnonzero(against[number]).tolist()
    if not back:
        return raw
    order = np.arange(len(raw.ref_id))
    for k in back:
        part = slice(int(raw.ref_indptr[k]), int(raw.ref_indptr[k + 1]))
        order[part] = order[part][::-1]
    return replace(
        raw, ref_id=raw.ref_id[order], ref_lat=raw.ref_lat[order], ref_lon=raw.ref_lon[order]
    )


def _measure_along(x: Floats, y: Floats, indptr: Longs) -> Floats:
    """Length in metres from a way's start to each of its references, never falling."""
    step = np.zeros(len(x))
    np.hypot(np.diff(x), np.diff(y), out=step[1:])
    step[indptr[:-1]] = 0.0
    return np.cumsum(step)


def _find_junctions(raw: Raw, inverse: Longs, count: int) -> Bools:
    used = np.bincount(inverse, minlength=count)
    is_node: Bools = used > 1
    is_node[inverse[raw.ref_indptr[:-1]]] = True
    is_node[inverse[raw.ref_indptr[1:] - 1]] = True
    return is_node


def _carry_controls(
    raw: Raw, ids: Longs, inverse: Longs, along: Floats, is_node: Bools, values: Sheet
) -> tuple[dict[str, Bools], Bools]:
    reach = values.value("control_reach_m")
    flags: dict[str, Bools] = {}
    is_node = is_node.copy()
    for key, found in (
        ("node_signal", raw.signal_id),
        ("node_stop", raw.stop_id),
        ("node_crossing", raw.crossing_id),
    ):
        flag = np.zeros(len(ids), dtype=bool)
        flag[np.flatnonzero(np.isin(ids, found))] = True
        at = np.flatnonzero(flag[inverse] & ~is_node[inverse])
        marks = np.flatnonzero(is_node[inverse])
        after = np.searchsorted(marks, at)
        before_gap = along[at] - along[marks[after - 1]]
        after_gap = along[marks[after]] - along[at]
        nearest = np.where(before_gap < after_gap, marks[after - 1], marks[after])
        near = np.minimum(before_gap, after_gap) <= reach
        flag[inverse[at]] = False
        flag[inverse[nearest[near]]] = True
        if key == "node_signal":
            alone = inverse[at[~near]]
            is_node[alone] = True
            flag[alone] = True
        flags[key] = flag
    return flags, is_node


def _cut(raw: Raw, inverse: Longs, is_node: Bools, along: Floats) -> _Pieces:
    marks = np.flatnonzero(is_node[inverse])
    way_of_mark = np.searchsorted(raw.ref_indptr, marks, side="right") - 1
    same = way_of_mark[1:] == way_of_mark[:-1]
    first, last, way = marks[:-1][same], marks[1:][same], way_of_mark[:-1][same]
    real = along[last] > along[first]
    if len(way) > MOST_SEGMENTS:
        raise DataError(f"roads: more than {MOST_SEGMENTS} pieces of road; cut the extract")
    return _Pieces(way=way[real], first=first[real], last=last[real])


def _lay_segments(
    raw: Raw, ways: WayTable, pieces: _Pieces, inverse: Longs, node_of: Longs, x: Floats,
    y: Floats, along: Floats,
) -> dict[str, Any]:  # fmt: skip
    counts = pieces.last - pieces.first + 1
    indptr = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    taken = np.repeat(pieces.first - indptr[:-1], counts) + np.arange(indptr[-1])
    points = inverse[taken]
    way = pieces.way

    def named(texts: Labels) -> Labels:
        return Labels(texts.codes[way], texts.words)

    return {
        "segment_tail": node_of[inverse[pieces.first]].astype(np.int32),
        "segment_head": node_of[inverse[pieces.last]].astype(np.int32),
        "segment_way": raw.way_id[way],
        "segment_name": named(ways.name),
        "segment_ref": named(ways.ref),
        "segment_class": ways.road_class[way],
        "segment_link": ways.link[way],
        "segment_lanes": ways.lanes[way],
        "segment_lanes_forward": ways.lanes_forward[way],
        "segment_lanes_backward": ways.lanes_backward[way],
        "segment_oneway": ways.oneway[way],
        "segment_roundabout": ways.roundabout[way],
        "segment_bridge": ways.bridge[way],
        "segment_tunnel": ways.tunnel[way],
        "segment_speed_given": ways.speed_given[way],
        "segment_lanes_given": ways.lanes_given[way],
        "segment_separation": ways.separation[way],
        "segment_turn_bay": ways.turn_bay[way],
        "segment_length_m": along[pieces.last] - along[pieces.first],
        "geom_indptr": indptr,
        "geom_x": x[points],
        "geom_y": y[points],
    }


def _direct(
    segments: dict[str, Any], ways: WayTable, pieces: _Pieces, nodes: int
) -> dict[str, Any]:
    """Make one edge per permitted direction, sorted by tail; adds the edges of each segment."""
    tail, head = segments["segment_tail"], segments["segment_head"]
    count = len(tail)
    both = np.flatnonzero(~segments["segment_oneway"])
    segment = np.concatenate([np.arange(count), both]).astype(np.int32)
    forward = np.concatenate([np.ones(count, dtype=bool), np.zeros(len(both), dtype=bool)])
    edge_tail = np.concatenate([tail, head[both]])
    order = np.argsort((edge_tail.astype(np.int64) * count + segment) * 2 + ~forward)
    segment, forward, edge_tail = segment[order], forward[order], edge_tail[order]
    place = np.full((2, count), -1, dtype=np.int32)
    place[forward.astype(np.int64), segment] = np.arange(len(order))
    segments["segment_edge_forward"], segments["segment_edge_backward"] = place[1], place[0]
    way = pieces.way[segment]
    speed = np.where(forward, ways.speed_forward[way], ways.speed_backward[way])
    length = segments["segment_length_m"][segment]
    counts = np.bincount(edge_tail, minlength=nodes)
    reverse: Ints = np.where(forward, place[0][segment], place[1][segment]).astype(np.int32)
    return {
        "indptr": np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        "edge_tail": edge_tail.astype(np.int32),
        "edge_head": np.where(forward, head[segment], tail[segment]).astype(np.int32),
        "edge_segment": segment,
        "edge_forward": forward,
        "edge_reverse": reverse,
        "edge_length_m": length,
        "edge_speed_mps": speed,
        "edge_seconds": length / speed,
    }

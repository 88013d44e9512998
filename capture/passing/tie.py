"""Which road does each count belong to, and how sure is that?

Every road piece near a count gets a score from distance, bearing, name and class, each 0 to
1 and shown; the product of their powers is the score. Two pieces of different roads that
score alike are said to be ambiguous. A user's own decision wins over every score.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import Sheet, plain_text
from capture.passing.decisions import check_decisions, make_key
from capture.passing.directions import turn_between
from capture.passing.ledger import list_rows
from capture.passing.names import compute_likeness, split_refs
from capture.passing.values import CLASSES, VALUES

if TYPE_CHECKING:
    from capture.place import Network

FloatArray = NDArray[np.float64]
#: how much each part weighs, as powers; ours
WEIGHTS: Final = {"distance": 0.25, "name": 0.45, "bearing": 0.15, "class": 0.15}
#: how likely a count lies on a road of each class when the file does not say
_COUNTED: Final = (1.0, 1.0, 1.0, 1.0, 0.95, 0.8, 0.65, 0.4, 0.3)
#: with a name that fits, the road may be this much farther than the usual reach
NAMED_REACH: Final = 4.0
#: names at least this alike are the same
SAME_NAME: Final = 0.8
#: score of a road that only the name speaks for
FAR_NAMESAKE_SCORE: Final = 0.45
TIE_COLUMNS: Final = (
    "count_id", "key", "segment", "tied_to", "score", "distance_m", "distance_score", "name_score",
    "bearing_score", "class_score", "ambiguous", "rival_segment", "decided", "why",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Index:
    """Road pieces ready to be looked up by place; made by :func:`make_index`."""

    #: shapely STRtree over the lines
    tree: Any
    #: shapely LineStrings, (G,)
    lines: NDArray[np.object_]


def make_index(network: Network) -> Index:
    """Make the look-up of road pieces by place."""
    import shapely

    coords = np.column_stack([network.geom_x, network.geom_y])
    lines = shapely.from_ragged_array(
        shapely.GeometryType.LINESTRING, coords, (np.asarray(network.geom_indptr),)
    )
    return Index(tree=shapely.STRtree(lines), lines=lines)


def tie_counts(
    network: Network,
    counts: pd.DataFrame,
    *,
    decisions: Mapping[str, Mapping[str, float]] | None = None,
    index: Index | None = None,
    values: Sheet = VALUES,
) -> pd.DataFrame:
    """Tie each count to a road piece.

    Parameters
    ----------
    network : Network
        Roads.
    counts : DataFrame
        Columns of ``COUNT_COLUMNS``.
    decisions : mapping, optional
        Key of a count (:func:`make_key`) -> ``{"lat": .., "lon": ..}`` where the user put
        it, or ``{}`` to leave it untied.
    index : Index, optional
        From :func:`make_index`, when several files are tied.

    Returns
    -------
    DataFrame
        One row per count with ``TIE_COLUMNS``; segment -1 where nothing fits.

    Raises
    ------
    InputError
        When a decision is no position on Earth.
    """
    index = index or make_index(network)
    done = check_decisions(decisions or {})
    rows = [
        _tie_one(network, index, count, done.get(make_key(count)), values)
        for count in list_rows(counts)
    ]
    return pd.DataFrame(rows, columns=list(TIE_COLUMNS))


def _tie_one(
    network: Network,
    index: Index,
    count: Mapping[str, Any],
    decision: Mapping[str, float] | None,
    values: Sheet,
) -> dict[str, Any]:
    base = {
        "count_id": count["count_id"],
        "key": make_key(count),
        "segment": -1,
        "tied_to": "",
        "score": 0.0,
        "distance_m": math.inf,
        "ambiguous": False,
        "rival_segment": -1,
        "decided": decision is not None,
    }
    if decision is not None:
        return _decided(network, index, base, decision)
    if not (math.isfinite(count["lat"]) and math.isfinite(count["lon"])):
        return {**base, "why": "no position is given; put it on its road by hand"}
    x, y = network.projection.to_xy(count["lat"], count["lon"])
    near = _candidates(network, index, float(x), float(y), count, values)
    if count["road"] and max((c["name_score"] for c in near), default=0.0) < SAME_NAME:
        near += _far_namesake(network, index, float(x), float(y), count, values)
    if not near:
        reach = values.value("tie_reach_m")
        return {**base, "why": f"no road that fits within {reach:.0f} m"}
    near.sort(key=lambda c: (-c["score"], c["segment"]))
    best = near[0]
    if best["score"] < values.value("tie_least_score"):
        return {**base, "why": f"best road scores {best['score']:.2f} only: {best['why']}"}
    both = count["two_way"] is not False
    others = [c for c in near[1:] if _other_road(network, best["segment"], c["segment"], both)]
    rival = others[0] if others else None
    gap = values.value("tie_clear_gap")
    close = rival is not None and best["score"] - rival["score"] < gap
    row = {**base, **best, "ambiguous": close}
    row["tied_to"] = _road_name(network, best["segment"])
    if rival is not None and close:
        row["rival_segment"] = rival["segment"]
        row["why"] += (
            f"; ambiguous with {_road_name(network, rival['segment'])} ({rival['score']:.2f})"
        )
    return row


def _decided(
    network: Network, index: Index, base: dict[str, Any], decision: Mapping[str, float]
) -> dict[str, Any]:
    if not decision:
        return {**base, "why": "left untied by you"}
    import shapely

    x, y = network.projection.to_xy(decision["lat"], decision["lon"])
    found, distance = index.tree.query_nearest(
        shapely.Point(float(x), float(y)), return_distance=True, all_matches=False
    )
    segment = int(found[0])
    name = _road_name(network, segment)
    return {
        **base,
        "segment": segment,
        "tied_to": name,
        "score": 1.0,
        "distance_m": float(distance[0]),
        "why": f"tied to {name} by you",
    }


def _candidates(
    network: Network, index: Index, x: float, y: float, count: Mapping[str, Any], values: Sheet
) -> list[dict[str, Any]]:
    import shapely

    point = shapely.Point(x, y)
    reach = values.value("tie_reach_m")
    far = reach * (NAMED_REACH if count["road"] else 1.0)
    found = np.sort(index.tree.query(point, predicate="dwithin", distance=far))
    near = shapely.distance(index.lines[found], point) <= reach
    bearing = _line_bearing(network, count)
    return [
        _score(network, index, int(segment), point, count, bearing, values)
        for segment, close in zip(found, near, strict=True)
        if close or _name_score(network, int(segment), count) >= SAME_NAME
    ]


def _far_namesake(
    network: Network, index: Index, x: float, y: float, count: Mapping[str, Any], values: Sheet
) -> list[dict[str, Any]]:
    """Find the road that a count names where its position must be wrong; said as such."""
    import shapely

    point: Any = shapely.Point(x, y)
    far = values.value("tie_named_reach_m")
    found = np.sort(index.tree.query(point, predicate="dwithin", distance=far))
    alike = [int(g) for g in found if _name_score(network, int(g), count) >= SAME_NAME]
    if not alike:
        return []
    nearest = min(alike, key=lambda g: (shapely.distance(index.lines[g], point), g))
    row = _score(network, index, nearest, point, count, math.nan, values)
    row["score"] = FAR_NAMESAKE_SCORE
    row["why"] += "; the name was followed against the position, which is on another road"
    return [row]


def _score(
    network: Network,
    index: Index,
    segment: int,
    point: Any,
    count: Mapping[str, Any],
    bearing: float,
    values: Sheet,
) -> dict[str, Any]:
    line = index.lines[segment]
    distance = float(line.distance(point))
    at = float(line.project(point))
    parts = {
        "distance": math.exp(-distance / values.value("tie_scale_m")),
        "name": _name_score(network, segment, count),
        "bearing": 1.0,
        "class": _class_score(network, segment, count),
    }
    told = [f"{distance:.0f} m off ({parts['distance']:.2f})"]
    road = network.segment_oneway[segment]
    along = _bearing_at(line, at)
    wanted = float(count["direction_deg"])
    if road and math.isfinite(wanted):
        off = turn_between(along, wanted)
        parts["bearing"] = math.exp(-((off / values.value("tie_bearing_deg")) ** 2) / 4)
        told.append(f"{off:.0f} degrees from the counted direction ({parts['bearing']:.2f})")
    else:
        axis = bearing if math.isfinite(bearing) else wanted
        if math.isfinite(axis):
            off = min(turn_between(along, axis), turn_between(along, axis + 180))
            parts["bearing"] = math.exp(-((off / values.value("tie_bearing_deg")) ** 2) / 4)
            told.append(f"{off:.0f} degrees from its line ({parts['bearing']:.2f})")
    told.append(f"name {_road_name(network, segment)} ({parts['name']:.2f})")
    told.append(f"{CLASSES[int(network.segment_class[segment])]} ({parts['class']:.2f})")
    score = math.prod(max(part, 1e-6) ** WEIGHTS[name] for name, part in parts.items())
    crowding = _crowding(network, segment, count, values)
    if crowding > 1:
        score /= crowding**2
        told.append(f"{crowding:.1f} times what its lanes carry")
    return {"segment": segment, "score": round(score, 4), "distance_m": distance,
            **{f"{k}_score": round(v, 3) for k, v in parts.items()},
            "why": ", ".join(told)}  # fmt: skip


def _name_score(network: Network, segment: int, count: Mapping[str, Any]) -> float:
    refs = split_refs(f"{count['ref']};{count['road']}")
    mine = split_refs(network.segment_ref[segment])
    if refs & mine:
        return 1.0
    if not count["road"]:
        return 0.6
    name = network.segment_name[segment]
    if not name:
        return 0.3
    return max(compute_likeness(str(count["road"]), name) ** 2, 0.05)


def _class_score(network: Network, segment: int, count: Mapping[str, Any]) -> float:
    own = int(network.segment_class[segment])
    said = str(count["road_class"]).lower().replace(" ", "_").removesuffix("_link")
    score = _COUNTED[own]
    if said in CLASSES:
        score = math.exp(-abs(CLASSES.index(said) - own) / 2)
    ramp = "ramp" in str(count["road"]).lower()
    if bool(network.segment_link[segment]) != ramp:
        score *= 0.4
    return score


def _crowding(network: Network, segment: int, count: Mapping[str, Any], values: Sheet) -> float:
    """Return vehicles counted over what a road's lanes carry in a day at most."""
    lanes = float(network.segment_lanes[segment])
    opposite = int(network.segment_opposite[segment])
    if opposite >= 0 and count["two_way"] is not False:
        lanes += float(network.segment_lanes[opposite])
    most = values.value("most_lane_veh_day") * max(lanes, 1.0)
    return float(count["vehicles_per_day"]) / most


def _line_bearing(network: Network, count: Mapping[str, Any]) -> float:
    line = count.get("line")
    if line is None or isinstance(line, float):
        return math.nan
    x, y = network.projection.to_xy(line[[0, -1], 1], line[[0, -1], 0])
    return math.degrees(math.atan2(x[1] - x[0], y[1] - y[0])) % 360


def _bearing_at(line: Any, at: float) -> float:
    a = line.interpolate(max(at - 5.0, 0.0))
    b = line.interpolate(min(at + 5.0, line.length))
    return math.degrees(math.atan2(b.x - a.x, b.y - a.y)) % 360


def _road_name(network: Network, segment: int) -> str:
    name = network.segment_name[segment] or network.segment_ref[segment]
    return plain_text(name, most=60) if name else "a road without a name"


def _other_road(network: Network, a: int, b: int, both: bool) -> bool:
    """Whether two pieces are different roads, or carriageways that a one-way count parts."""
    if bool(network.segment_oneway[a]) and int(network.segment_opposite[a]) == b:
        return not both
    same = network.segment_name[a] and network.segment_name[a] == network.segment_name[b]
    return not same and network.segment_way[a] != network.segment_way[b]

"""Which class, speed, lanes and direction does each way have, said or taken by class?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from capture.basis import Sheet
from capture.place.network import Bools, Bytes, Floats, Labels
from capture.place.raw import WAY_TAGS, Raw, TagRows, number_rows, number_values
from capture.place.tags import (
    HIGHWAYS,
    has_turn_bay,
    parse_direction,
    parse_lanes,
    parse_separation,
    parse_speed_mps,
)
from capture.place.values import ROAD_CLASSES

_AT = {name: k for k, name in enumerate(WAY_TAGS)}
_MOST_NAME = 200
#: what parse_way makes of everything but name and ref
_Parsed = tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WayTable:
    """Attributes of W ways; speeds in m/s."""

    name: Labels
    ref: Labels
    road_class: Bytes
    link: Bools
    oneway: Bools
    roundabout: Bools
    bridge: Bools
    tunnel: Bools
    turn_bay: Bools
    separation: Bytes
    lanes: Floats
    lanes_forward: Floats
    lanes_backward: Floats
    lanes_given: Bools
    speed_forward: Floats
    speed_backward: Floats
    speed_given: Bools


def read_ways(raw: Raw, values: Sheet) -> WayTable:
    """Turn the tags of all ways into columns; classes fill what the map leaves out.

    Parameters
    ----------
    raw : Raw
        Ways with their tags.
    values : Sheet
        Class speeds and lanes.
    """
    speeds = tuple(values.value(f"speed_{name}_mps") for name in ROAD_CLASSES)
    lanes = tuple(values.value(f"lanes_{name}_count") for name in ROAD_CLASSES)
    walk, link = values.value("walk_speed_mps"), values.value("link_speed_share")

    rest = raw.way_tags.codes.copy()
    rest[:, [_AT["name"], _AT["ref"]]] = 0
    first, inverse = number_rows(rest)
    parsed = [_parse_way(raw.way_tags.row(k), speeds, lanes, walk, link) for k in first.tolist()]
    table = np.array(parsed, dtype=np.float64).reshape(len(first), 15)[inverse].T
    flags = table.astype(np.int8)
    return WayTable(
        name=_label(raw.way_tags, "name"),
        ref=_label(raw.way_tags, "ref"),
        road_class=flags[0],
        link=flags[1].astype(bool),
        oneway=flags[2].astype(bool),
        roundabout=flags[3].astype(bool),
        bridge=flags[4].astype(bool),
        tunnel=flags[5].astype(bool),
        turn_bay=flags[6].astype(bool),
        separation=flags[7],
        lanes=table[8],
        lanes_forward=table[9],
        lanes_backward=table[10],
        lanes_given=flags[11].astype(bool),
        speed_forward=table[12],
        speed_backward=table[13],
        speed_given=flags[14].astype(bool),
    )


def _label(rows: TagRows, key: str) -> Labels:
    """Texts of one tag, cut short, in the order that they appear."""
    column = rows.column(key)
    first, number = number_values(column)
    small = Labels.of([(rows.words[code] or "")[:_MOST_NAME] for code in column[first].tolist()])
    return Labels(small.codes[number], small.words)


def _parse_way(
    tags: tuple[str | None, ...],
    speeds: tuple[float, ...],
    lanes: tuple[float, ...],
    walk: float,
    link_share: float,
) -> _Parsed:
    def get(name: str) -> str | None:
        return tags[_AT[name]]

    road_class, link = HIGHWAYS[get("highway") or "road"]
    oneway = parse_direction(get("oneway"), get("junction"), get("highway") or "") != 0
    middle = parse_lanes(get("lanes:both_ways")) or 0.0
    centre = (
        middle > 0
        or "left" in (get("turn:lanes:both_ways") or "")
        or get("centre_turn_lane") == "yes"
    )
    total, forward, backward, given = _split_lanes(
        oneway,
        parse_lanes(get("lanes")),
        parse_lanes(get("lanes:forward")),
        parse_lanes(get("lanes:backward")),
        max(middle, 1.0) if centre else 0.0,
        1.0 if link else lanes[road_class],
    )
    bay = any(has_turn_bay(get(f"turn:lanes{end}")) for end in ("", ":forward", ":backward"))
    both = parse_speed_mps(get("maxspeed"), walk)
    ahead = parse_speed_mps(get("maxspeed:forward"), walk) or both
    back = parse_speed_mps(get("maxspeed:backward"), walk) or both
    default = speeds[road_class] * (link_share if link else 1.0)
    if get("oneway") in ("-1", "reverse"):
        ahead, back = back, ahead
    return (
        road_class,
        link,
        oneway,
        get("junction") in ("roundabout", "circular"),
        (get("bridge") or "no") != "no",
        (get("tunnel") or "no") != "no",
        bay,
        parse_separation(get("divider"), centre, get("overtaking"), get("lane_markings")),
        total,
        forward,
        backward,
        given,
        ahead or default,
        back or default,
        ahead is not None,
    )


def _split_lanes(
    oneway: bool,
    total: float | None,
    forward: float | None,
    backward: float | None,
    middle: float,
    each: float,
) -> tuple[float, float, float, bool]:
    """Return lanes in all, forward, backward, and whether the map gives any of them."""
    given = total is not None or forward is not None or backward is not None
    if oneway:
        known = total if total is not None else forward
        count = known if known is not None else each
        return count, count, 0.0, known is not None
    if total is None:
        ahead = forward if forward is not None else (backward if backward is not None else each)
        back = backward if backward is not None else ahead
        return ahead + back + middle, ahead, back, given
    through = max(total - middle, 0.0)
    if forward is None and backward is None:
        forward = backward = through / 2
    elif forward is None:
        forward = max(through - (backward or 0.0), 0.0)
    elif backward is None:
        backward = max(through - forward, 0.0)
    return total, forward, backward or 0.0, given

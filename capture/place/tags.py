"""What do the map's tags say about access, direction, speed, lanes and separation?

Formulas on text; each answers None or a plain value when the tag says nothing usable.
A bare number is km/h, as the map's own rules have it.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

from capture.basis.units import MPS_PER_KMH, MPS_PER_MPH
from capture.place.values import (
    NO_SEPARATION,
    PAINT,
    RAISED_MEDIAN,
    ROAD_CLASSES,
    TWO_WAY_LEFT_TURN_LANE,
)

#: highway value -> (index into ROAD_CLASSES, whether it is a link)
HIGHWAYS: Final[dict[str, tuple[int, bool]]] = {
    **{name: (k, False) for k, name in enumerate(ROAD_CLASSES)},
    **{f"{name}_link": (k, True) for k, name in enumerate(ROAD_CLASSES[:5])},
    "road": (ROAD_CLASSES.index("unclassified"), False),
}
_MODE_KEYS: Final = ("motorcar", "motor_vehicle", "vehicle", "access")
_CLOSED: Final = frozenset(
    {"no", "private", "agricultural", "forestry", "emergency", "military", "bus", "psv", "delivery"}
)
_ONE_WAY: Final = frozenset({"yes", "true", "1"})
_AGAINST: Final = frozenset({"-1", "reverse"})
_SPEED: Final = re.compile(r"^(\d+(?:\.\d+)?)\s*(mph|km/h|kmh|kph|knots)?$")
#: speeds that a national or zone value stands for, km/h (map wiki, default speed limits)
_ZONES_KMH: Final = {
    "urban": 50.0,
    "rural": 90.0,
    "trunk": 100.0,
    "motorway": 120.0,
    "living_street": 10.0,
    "bicycle_road": 30.0,
    "school": 30.0,
}
_NO_LIMIT_KMH: Final = 130.0
_FASTEST_MPS: Final = 60.0
_SLOWEST_MPS: Final = 1.0
_MOST_LANES: Final = 16
_RAISED: Final = frozenset(
    {
        "median",
        "barrier",
        "guard_rail",
        "kerb",
        "jersey_barrier",
        "island",
        "raised",
        "yes",
        "grass",
    }
)
_PAINTED: Final = frozenset({"line", "solid_line", "dashed_line", "double_solid_line", "paint"})


def is_open_to_cars(access: dict[str, str | None]) -> bool:
    """Say whether cars may use a way: the most particular access tag wins.

    Examples
    --------
    >>> is_open_to_cars({"access": "private", "motor_vehicle": "yes"})
    True
    """
    for key in _MODE_KEYS:
        value = access.get(key)
        if value:
            return value not in _CLOSED
    return True


@lru_cache(maxsize=4096)
def parse_direction(oneway: str | None, junction: str | None, highway: str) -> int:
    """Return 1 for one-way along the way, -1 against it, 0 for both ways.

    Examples
    --------
    >>> parse_direction("-1", None, "primary"), parse_direction(None, "roundabout", "primary")
    (-1, 1)
    """
    if oneway in _ONE_WAY:
        return 1
    if oneway in _AGAINST:
        return -1
    if oneway is None and (junction in ("roundabout", "circular") or highway == "motorway"):
        return 1
    return 0


@lru_cache(maxsize=4096)
def parse_speed_mps(text: str | None, walk_mps: float) -> float | None:
    """Return a posted speed in m/s, None when the tag gives none.

    Parameters
    ----------
    text : str or None
        Value of ``maxspeed``: a number with or without unit, ``walk``, ``none`` or a zone
        such as ``DE:urban``; of several, the first.
    walk_mps : float
        What ``walk`` stands for.

    Examples
    --------
    >>> parse_speed_mps("36", 1.4), parse_speed_mps("signals", 1.4)
    (10.0, None)
    >>> round(parse_speed_mps("45 mph", 1.4), 4)
    20.1168
    """
    if not text:
        return None
    first = re.split(r"[;|,]", text, maxsplit=1)[0].strip().lower()
    if first == "walk" or first.endswith(":walk"):
        return walk_mps
    if first == "none":
        return _NO_LIMIT_KMH * MPS_PER_KMH
    found = _SPEED.match(first)
    if found is None:
        return _parse_zone_mps(first)
    factor = MPS_PER_MPH if found[2] == "mph" else MPS_PER_KMH
    speed = float(found[1][:8]) * factor
    return speed if _SLOWEST_MPS <= speed <= _FASTEST_MPS else None


def _parse_zone_mps(text: str) -> float | None:
    zone = text.rpartition(":")[2]
    digits = zone.removeprefix("zone")
    if digits.isdigit() and len(digits) <= 3:
        return _parse_range(float(digits) * MPS_PER_KMH)
    known = _ZONES_KMH.get(zone)
    return None if known is None else known * MPS_PER_KMH


def _parse_range(speed: float) -> float | None:
    return speed if _SLOWEST_MPS <= speed <= _FASTEST_MPS else None


@lru_cache(maxsize=4096)
def parse_lanes(text: str | None) -> float | None:
    """Return a number of lanes, None when the tag gives none usable.

    Examples
    --------
    >>> parse_lanes("3"), parse_lanes("2;3"), parse_lanes("two")
    (3.0, 2.0, None)
    """
    if not text:
        return None
    try:
        lanes = float(text.split(";", 1)[0])
    except ValueError:
        return None
    return lanes if 0 < lanes <= _MOST_LANES else None


@lru_cache(maxsize=4096)
def has_turn_bay(turn_lanes: str | None) -> bool:
    """Say whether a lane is for turning only.

    Examples
    --------
    >>> has_turn_bay("left|through|through;right"), has_turn_bay("through;left|through")
    (True, False)
    """
    if not turn_lanes:
        return False
    return any(
        lane and all(part.endswith(("left", "right")) for part in lane.split(";"))
        for lane in turn_lanes.split("|")
    )


@lru_cache(maxsize=4096)
def parse_separation(
    divider: str | None,
    centre_lane: bool,
    overtaking: str | None,
    markings: str | None,
) -> int:
    """Return what separates the directions of one carriageway, an index into SEPARATIONS.

    Examples
    --------
    >>> parse_separation("median", False, None, None), parse_separation(None, True, None, None)
    (3, 2)
    """
    if divider in _RAISED:
        return RAISED_MEDIAN
    if centre_lane:
        return TWO_WAY_LEFT_TURN_LANE
    if divider in _PAINTED or overtaking == "no" or markings == "yes":
        return PAINT
    return NO_SEPARATION


@lru_cache(maxsize=4096)
def parse_height_m(height: str | None, levels: str | None, storey_m: float) -> float | None:
    """Return a height in metres from ``height`` or ``building:levels``, None without either.

    Examples
    --------
    >>> parse_height_m("12 m", None, 3.2), parse_height_m(None, "2", 3.2)
    (12.0, 6.4)
    """
    found = re.match(r"^\s*(\d{1,4}(?:\.\d{1,6})?)\s*(m|ft|')?\s*$", height or "")
    if found and float(found[1]) > 0:
        return float(found[1]) * (0.3048 if found[2] in ("ft", "'") else 1.0)
    found = re.match(r"^\s*(\d{1,3}(?:\.\d{1,6})?)\s*$", levels or "")
    if found and float(found[1]) > 0:
        return float(found[1]) * storey_m
    return None

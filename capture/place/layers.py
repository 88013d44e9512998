"""Which tags make a building, something that hides, or a place that draws trips?

Each question can be asked of one tag alone, or of all tags of an object: an object is what
any of its tags makes it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

#: flags of what a tag makes of an object
HIGHWAY: Final = 1
BUILDING: Final = 2
FEATURE: Final = 4
SCREEN: Final = 8
KEYS: Final = (
    "highway",
    "building",
    "amenity",
    "shop",
    "leisure",
    "tourism",
    "natural",
    "landuse",
    "barrier",
)
_FEATURE_KEYS: Final = ("amenity", "shop", "leisure", "tourism")
#: street furniture and the like: draws no trips
_FURNITURE: Final = frozenset(
    {
        "artwork",
        "atm",
        "bbq",
        "bench",
        "bicycle_parking",
        "bicycle_rental",
        "bleachers",
        "charging_station",
        "clock",
        "compressed_air",
        "dog_toilet",
        "drinking_water",
        "firepit",
        "fountain",
        "garden",
        "grit_bin",
        "hunting_stand",
        "information",
        "letter_box",
        "loading_dock",
        "lounger",
        "motorcycle_parking",
        "outdoor_seating",
        "parking",
        "parking_entrance",
        "parking_space",
        "picnic_site",
        "picnic_table",
        "pitch",
        "post_box",
        "public_bookcase",
        "recycling",
        "shelter",
        "slipway",
        "smoking_area",
        "swimming_pool",
        "telephone",
        "toilets",
        "track",
        "vacant",
        "vending_machine",
        "viewpoint",
        "waste_basket",
        "waste_disposal",
        "water_point",
        "watering_place",
    }
)
Get = Callable[[str], str | None]


def is_building(get: Get) -> bool:
    """Say whether it stands as a building."""
    return (get("building") or "no") != "no"


def is_feature(get: Get) -> bool:
    """Say whether it washes cars, sells fuel or draws trips.

    Examples
    --------
    >>> is_feature({"amenity": "bench"}.get), is_feature({"amenity": "cinema"}.get)
    (False, True)
    """
    for key in _FEATURE_KEYS:
        value = get(key)
        if value and value not in _FURNITURE:
            return True
    return get("building") == "car_wash"


def is_screen(get: Get) -> bool:
    """Say whether it hides what lies behind without being a building."""
    return (
        get("natural") in ("tree_row", "wood")
        or get("landuse") == "forest"
        or get("barrier") in ("hedge", "wall", "retaining_wall", "city_wall")
    )


def mark_tag(key: str, value: str) -> int:
    """Return the flags of what one tag makes of an object.

    Examples
    --------
    >>> mark_tag("building", "car_wash") == BUILDING | FEATURE
    True
    """
    if key not in KEYS:
        return 0
    if key == "highway":
        return HIGHWAY
    get = {key: value}.get
    return BUILDING * is_building(get) + FEATURE * is_feature(get) + SCREEN * is_screen(get)

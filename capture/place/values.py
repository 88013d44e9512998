"""Which constants does the place room stand on, and where does each come from?

Class speeds and lanes apply only where the map says nothing; whatever the map says wins.
"""

from __future__ import annotations

from typing import Final

from capture.basis import Sheet, Sourced, practice

#: highway classes of the network; the ``*_link`` classes map to their main class
ROAD_CLASSES: Final = (
    "motorway",
    "trunk",
    "primary",
    "secondary",
    "tertiary",
    "unclassified",
    "residential",
    "living_street",
    "service",
)
#: class of the least road that fronts a site by itself
TERTIARY: Final = ROAD_CLASSES.index("tertiary")
SERVICE: Final = ROAD_CLASSES.index("service")
MOTORWAY: Final = ROAD_CLASSES.index("motorway")
#: what keeps the two directions of a road apart, least first
SEPARATIONS: Final = ("none or unknown", "paint", "two_way_left_turn_lane", "raised_median")
NO_SEPARATION, PAINT, TWO_WAY_LEFT_TURN_LANE, RAISED_MEDIAN = range(4)

_MPH: Final = 0.44704
_SPEEDS_MPH: Final = (62.0, 50.0, 40.0, 35.0, 32.0, 28.0, 25.0, 10.0, 12.0)
_LANES: Final = (2.0, 2.0, 2.0, 1.5, 1.0, 1.0, 1.0, 1.0, 1.0)


def _class_constants() -> list[Sourced]:
    rows = []
    for name, mph, lanes in zip(ROAD_CLASSES, _SPEEDS_MPH, _LANES, strict=True):
        speed = mph * _MPH
        rows.append(
            practice(
                f"speed_{name}_mps",
                0.75 * speed,
                speed,
                1.25 * speed,
                "m/s",
                f"free speed on a {name} road where the map gives no limit",
            )
        )
        rows.append(
            practice(
                f"lanes_{name}_count",
                max(1.0, lanes - 0.5),
                lanes,
                lanes + 1,
                "count",
                f"lanes each way on a {name} road where the map gives none",
            )
        )
    return rows


def _exactly(name: str, value: float, unit: str, meaning: str) -> Sourced:
    return practice(name, value, value, value, unit, meaning)


VALUES: Final = Sheet(
    "place",
    [
        *_class_constants(),
        _exactly("walk_speed_mps", 5 / 3.6, "m/s", "what maxspeed=walk is taken as"),
        _exactly("link_speed_share", 0.7, "share", "class speed that a ramp keeps, no limit given"),
        _exactly(
            "control_reach_m",
            40.0,
            "m",
            "a signal, stop sign or crossing this near a junction along the road belongs to it",
        ),
        _exactly(
            "opposite_reach_m",
            50.0,
            "m",
            "two one-way carriageways of one name are one dual road up to this gap",
        ),
        _exactly(
            "opposite_sample_m",
            40.0,
            "m",
            "spacing of the points at which the opposite carriageway is looked for",
        ),
        _exactly("frontage_reach_m", 60.0, "m", "a road this near the parcel's edge fronts it"),
        _exactly(
            "frontage_last_reach_m",
            250.0,
            "m",
            "farther than this from any public road a site is refused",
        ),
        _exactly("storey_m", 3.2, "m", "height of one building level"),
        _exactly("tree_m", 8.0, "m", "height of a tree row or wood where the map gives none"),
        _exactly("hedge_m", 1.8, "m", "height of a hedge where the map gives none"),
        _exactly("wall_m", 2.0, "m", "height of a wall where the map gives none"),
        _exactly("band_reach_m", 60.0, "m", "ground this near a reached road lies in the band"),
        _exactly("band_cell_m", 30.0, "m", "grid on which a band is drawn"),
        _exactly("band_hole_m2", 40_000.0, "m2", "holes in a band smaller than this are filled"),
    ],
    permitted={
        "link_speed_share": (0.05, 1.0),
        **{f"lanes_{name}_count": (1.0, 8.0) for name in ROAD_CLASSES},
        **{f"speed_{name}_mps": (1.0, 70.0) for name in ROAD_CLASSES},
    },
)

"""Which built-in numbers does the passing room stand on, and where is each from?

Volumes are vehicles of all kinds a day, both directions of what the carriageway carries,
at a reference of two lanes; they serve only where no count is known.
"""

from __future__ import annotations

from typing import Final

from capture.basis import Sheet, Sourced, chosen, practice
from capture.passing.usual import PERMITTED_WEIGHT, list_usual

#: road classes in the order in which a network numbers them
CLASSES: Final[tuple[str, ...]] = (
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

#: class -> (5th percentile, typical, 95th percentile) vehicles a day on two lanes
_VOLUMES: Final = {
    "motorway": (9_000, 26_000, 60_000),
    "trunk": (5_000, 14_000, 32_000),
    "primary": (4_000, 11_000, 26_000),
    "secondary": (2_500, 7_000, 17_000),
    "tertiary": (1_000, 3_200, 9_000),
    "unclassified": (250, 1_000, 4_000),
    "residential": (150, 600, 2_400),
    "living_street": (40, 200, 900),
    "service": (30, 200, 1_300),
}
#: class -> (low, typical, high) share of heavy trucks and buses
_HEAVY: Final = {
    "motorway": (0.05, 0.10, 0.22),
    "trunk": (0.04, 0.08, 0.16),
    "primary": (0.025, 0.05, 0.10),
    "secondary": (0.02, 0.04, 0.08),
    "tertiary": (0.015, 0.035, 0.07),
    "unclassified": (0.01, 0.03, 0.08),
    "residential": (0.005, 0.02, 0.05),
    "living_street": (0.005, 0.02, 0.05),
    "service": (0.005, 0.03, 0.10),
}


def _by_class() -> list[Sourced]:
    rows = [
        practice(
            f"class_{name}_veh_day",
            low,
            value,
            high,
            "veh/day",
            f"vehicles a day on a two-lane {name} carriageway without a count",
        )
        for name, (low, value, high) in _VOLUMES.items()
    ]
    rows += [
        practice(
            f"heavy_{name}_share",
            low,
            value,
            high,
            "share",
            f"heavy trucks and buses among all vehicles on a {name} road",
        )
        for name, (low, value, high) in _HEAVY.items()
    ]
    return rows


def _counting() -> list[Sourced]:
    return [
        Sourced(
            name="direction_split_share",
            value=0.5,
            unit="share",
            low=0.48,
            high=0.52,
            source="common practice, no source (from memory)",
            grade="practice",
            meaning="share of a day's two-way vehicles that go one way, when not counted apart",
        ),
        practice(
            "axle_factor", 0.88, 0.95, 0.99, "1", "vehicles per pair of axles on a tube counter"
        ),
        practice(
            "growth_per_year", -0.01, 0.01, 0.03, "1/year", "yearly growth of traffic, unmeasured"
        ),
        practice(
            "age_walk_log", 0.02, 0.03, 0.05, "1", "spread a road's count gains per root of a year"
        ),
        practice("sd_continuous_log", 0.02, 0.03, 0.05, "1", "spread of a full year's own average"),
        practice(
            "sd_published_log", 0.06, 0.10, 0.15, "1", "spread of an average day as published"
        ),
        practice(
            "sd_48h_log", 0.08, 0.12, 0.18, "1", "spread of a two-day count after its factors"
        ),
        practice(
            "sd_24h_log", 0.10, 0.15, 0.22, "1", "spread of a one-day count after its factors"
        ),
        practice(
            "sd_undated_log",
            0.06,
            0.10,
            0.15,
            "1",
            "more spread when a short count tells no month or weekday",
        ),
        practice(
            "sd_part_day_log",
            0.08,
            0.15,
            0.25,
            "1",
            "more spread when not all 24 hours were counted",
        ),
        practice(
            "sd_default_season_log",
            0.04,
            0.07,
            0.12,
            "1",
            "more spread when month and weekday factors are the built-in ones",
        ),
        practice(
            "weekday_over_average",
            1.02,
            1.06,
            1.12,
            "1",
            "an ordinary weekday over the average day",
        ),
    ]


def _tying() -> list[Sourced]:
    return [
        practice(
            "most_lane_veh_day",
            20_000,
            26_000,
            30_000,
            "veh/day",
            "the most that a lane carries a day",
        ),
        chosen(
            "tie_reach_m", 60, 60, 60, "m", "how far a count may lie from the road it is tied to"
        ),
        chosen(
            "tie_named_reach_m",
            500,
            500,
            500,
            "m",
            "how far the road that a count names may lie when its position is wrong",
        ),
        chosen("tie_scale_m", 20, 20, 20, "m", "distance at which the distance score falls to 1/e"),
        chosen(
            "tie_bearing_deg", 30, 30, 30, "deg", "bearing difference at which its score is 1/e"
        ),
        chosen("tie_least_score", 0.3, 0.3, 0.3, "1", "a tie under this score is not made"),
        chosen("tie_clear_gap", 0.1, 0.1, 0.1, "1", "two roads closer than this are ambiguous"),
        chosen(
            "conflict_log", 0.4, 0.4, 0.4, "1", "two counts on one road differing by more conflict"
        ),
        chosen(
            "carry_log_per_junction",
            0.02,
            0.03,
            0.05,
            "1",
            "spread gained at each lesser junction while a count is carried",
        ),
        chosen(
            "carry_log_per_equal",
            0.15,
            0.25,
            0.35,
            "1",
            "spread gained at each junction with an equal or higher road",
        ),
        chosen("carry_log_per_km", 0.07, 0.14, 0.25, "1", "spread gained per root of a km carried"),
        chosen(
            "carry_most_log", 0.6, 0.6, 0.6, "1", "a count is carried no further than this spread"
        ),
    ]


def _filling() -> list[Sourced]:
    return [
        practice(
            "residual_log", 0.25, 0.45, 0.8, "1", "spread of a road's volume about the estimate"
        ),
        practice(
            "level_log_sd", 0.35, 0.35, 0.35, "1", "spread of one area's level about the table"
        ),
        practice("class_log_sd", 0.3, 0.3, 0.3, "1", "spread of one class's level in an area"),
        practice("lanes_power", 0.3, 0.8, 1.3, "1", "power of lanes in vehicles a day"),
        practice("speed_power", -0.4, 0.4, 1.2, "1", "power of speed in vehicles a day"),
        practice(
            "through_power",
            -0.1,
            0.25,
            0.6,
            "1",
            "effect of one standard deviation of through trips",
        ),
        practice("link_log", -1.5, -0.9, -0.3, "1", "log effect of being a ramp or slip road"),
        practice("oneway_log", -0.6, -0.1, 0.4, "1", "log effect of one-way at equal lanes"),
        chosen("through_origins", 256, 256, 256, "count", "origins sampled for through trips"),
        chosen("through_decay_s", 600, 600, 600, "s", "time over which trips fall to 1/e"),
        chosen("through_limit_s", 1800, 1800, 1800, "s", "longest trip looked at"),
    ]


def _streams() -> list[Sourced]:
    return [
        practice(
            "corner_turn_share",
            0.05,
            0.15,
            0.30,
            "share",
            "share of the lesser stream that turns between two frontage roads of a corner",
        ),
        chosen("corner_reach_m", 150, 150, 150, "m", "roads that meet this near make a corner"),
        chosen(
            "twin_reach_m", 45, 45, 45, "m", "how far apart two carriageways of one road may be"
        ),
        chosen("twin_angle_deg", 30, 30, 30, "deg", "how far from opposite they may point"),
    ]


#: least and most that an own value may be, where unit and spread do not say it
_PERMITTED: Final = {
    "direction_split_share": (0.01, 0.99),
    "axle_factor": (0.1, 2.0),
    "growth_per_year": (-0.5, 0.5),
    "tie_least_score": (0.0, 1.0),
    "tie_clear_gap": (0.0, 1.0),
    "through_origins": (1.0, 4096.0),
    "tie_bearing_deg": (1.0, 180.0),
    "residual_log": (0.01, 3.0),
    "level_log_sd": (0.01, 3.0),
    "class_log_sd": (0.01, 3.0),
    **dict.fromkeys([number.name for number in list_usual()], PERMITTED_WEIGHT),
}

VALUES: Final = Sheet(
    "passing",
    [*_by_class(), *_counting(), *_tying(), *_filling(), *_streams(), *list_usual()],
    permitted=_PERMITTED,
)

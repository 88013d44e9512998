"""Which built-in numbers does the room of rivals and people stand on?

Minutes are named as the trade says them; formulas turn them into seconds.
"""

from __future__ import annotations

from typing import Final

from capture.basis import Sheet, Sourced, practice


def _ours(
    name: str, value: float, unit: str, meaning: str, *, low: float = 0, high: float = 0
) -> Sourced:
    return Sourced(
        name=name,
        value=value,
        unit=unit,
        low=low or value,
        high=high or value,
        source="a modelling choice of this library",
        grade="invented",
        meaning=meaning,
    )


#: least and most that an own value may be: outside of it the formulas lose their meaning
_PERMITTED: Final = {
    "tau_s": (10.0, 7200.0),
    "rival_limit_s": (60.0, 14_400.0),
    "rival_reach_m": (10.0, 20_000.0),
    "like_share": (0.01, 1.0),
    "passed_window_s": (5.0, 1800.0),
    "passed_step_s": (0.5, 30.0),
    "straight_ratio": (0.1, 100.0),
    "straight_deg": (1.0, 90.0),
    "beside_m": (1.0, 1000.0),
    "across_share": (0.01, 1.0),
    "merge_m": (1.0, 1000.0),
    "merge_unnamed_m": (1.0, 1000.0),
    "band_s": (30.0, 7200.0),
    "huff_power": (0.1, 10.0),
    "huff_floor_s": (1.0, 1800.0),
    "huff_limit_s": (60.0, 14_400.0),
    "attraction_m": (1.0, 20_000.0),
    "price_limit_s": (10.0, 14_400.0),
    "price_like_share": (0.01, 1.0),
    "price_least_count": (1.0, 100.0),
    "margin_m": (1.0, 20_000.0),
}

VALUES: Final = Sheet(
    "around",
    [
        _ours("tau_s", 300.0, "s", "driving time over which a rival's pull falls to 1/e"),
        _ours("rival_limit_s", 2400.0, "s", "rivals farther than this do not pull"),
        _ours("rival_reach_m", 1000.0, "m", "a rival farther than this from any road pulls nobody"),
        _ours("like_share", 0.5, "share", "likeness from which on a rival counts as a like one"),
        _ours("passed_window_s", 300.0, "s", "how long before a site a passed rival still counts"),
        _ours(
            "straight_ratio",
            6.0,
            "1",
            "how many times likelier a driver goes straight on than into one equal side road",
            low=3.0,
            high=10.0,
        ),
        _ours("straight_deg", 40.0, "deg", "turns sharper than this are not straight on"),
        _ours("passed_step_s", 3.0, "s", "step of time in which the drive past rivals is followed"),
        _ours("beside_m", 60.0, "m", "a wash this near a road is passed by that road's drivers"),
        _ours("across_share", 0.5, "share", "weight of a passed rival across a raised median"),
        _ours("merge_m", 120.0, "m", "two entries of one name this near are one wash"),
        _ours(
            "merge_unnamed_m", 40.0, "m", "two entries this near are one wash, unless named apart"
        ),
        practice(
            "band_s", 300.0, 600.0, 900.0, "s", "driving time within which people are counted"
        ),
        practice("huff_power", 1.5, 2.0, 2.5, "1", "power of driving time in the gravity model"),
        practice("huff_floor_s", 30.0, 60.0, 120.0, "s", "least driving time in the gravity model"),
        _ours("huff_limit_s", 1800.0, "s", "washes farther from home than this draw nobody"),
        _ours("attraction_m", 800.0, "m", "straight distance within which attractions count"),
        _ours("price_limit_s", 900.0, "s", "rivals within this set the area's price"),
        _ours("price_like_share", 0.85, "share", "likeness from which a rival's price compares"),
        _ours(
            "price_least_count", 2.0, "count", "like rivals with a price needed for an area price"
        ),
        _ours("margin_m", 300.0, "m", "people farther than this outside the roads are not counted"),
    ],
    permitted=_PERMITTED,
)

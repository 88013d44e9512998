"""Which lengths, widths and distances must a site layout keep?

Trade and design values; a local code's own setbacks, fire lanes and landscape rules come
before them.
"""

from __future__ import annotations

from typing import Final

from capture.basis import Sheet, fixed, practice
from capture.basis.units import M_PER_FT

_AASHTO: Final = "AASHTO, A Policy on Geometric Design of Highways and Streets"

#: least and most that an own value may be, where unit and spread do not say it
_PERMITTED: Final = {
    "vacuum_bays": (0.0, 200.0),
    "vacuum_bays_least": (0.0, 200.0),
}

VALUES: Final = Sheet(
    "ground",
    [
        fixed(
            "turn_outer_m",
            7.3,
            "m",
            "least design turning radius of a passenger car",
            _AASHTO,
            "design vehicle P, minimum turning path",
        ),
        fixed(
            "turn_inner_m",
            4.4,
            "m",
            "inner radius of the same path",
            _AASHTO,
            "design vehicle P, minimum turning path",
        ),
        fixed("car_length_m", 5.8, "m", "length of a passenger car", _AASHTO, "design vehicle P"),
        fixed("car_width_m", 2.1, "m", "width of a passenger car", _AASHTO, "design vehicle P"),
        practice(
            "building_setback_m",
            10 * M_PER_FT,
            15 * M_PER_FT,
            30 * M_PER_FT,
            "m",
            "building to parcel edge",
        ),
        practice(
            "paving_setback_m",
            3 * M_PER_FT,
            5 * M_PER_FT,
            15 * M_PER_FT,
            "m",
            "paving to parcel edge, planted",
        ),
        practice(
            "building_width_m",
            30 * M_PER_FT,
            36 * M_PER_FT,
            42 * M_PER_FT,
            "m",
            "one-line building with its equipment room, when the line does not give it",
        ),
        practice(
            "line_width_m",
            16 * M_PER_FT,
            18 * M_PER_FT,
            22 * M_PER_FT,
            "m",
            "each further line beside the first",
        ),
        practice(
            "bay_width_m", 15 * M_PER_FT, 16 * M_PER_FT, 18 * M_PER_FT, "m", "width of a wash bay"
        ),
        practice(
            "equipment_room_m",
            10 * M_PER_FT,
            14 * M_PER_FT,
            20 * M_PER_FT,
            "m",
            "equipment room beside bays",
        ),
        practice(
            "lane_width_m",
            10 * M_PER_FT,
            11 * M_PER_FT,
            12 * M_PER_FT,
            "m",
            "one lane of stacking or pay",
        ),
        practice(
            "lane_gap_m",
            1 * M_PER_FT,
            3 * M_PER_FT,
            6 * M_PER_FT,
            "m",
            "kerb or island between lanes and building",
        ),
        practice(
            "car_space_m",
            20 * M_PER_FT,
            22 * M_PER_FT,
            25 * M_PER_FT,
            "m",
            "stacking length of one car",
        ),
        practice("pay_length_m", 6.0, 8.0, 11.0, "m", "pay lane with its machine and canopy"),
        practice("entry_straight_m", 4.0, 5.0, 8.0, "m", "straight run into the entry door"),
        practice(
            "exit_apron_m",
            20 * M_PER_FT,
            25 * M_PER_FT,
            50 * M_PER_FT,
            "m",
            "clear paving beyond the exit door",
        ),
        practice(
            "vacuum_width_m",
            10 * M_PER_FT,
            12 * M_PER_FT,
            14 * M_PER_FT,
            "m",
            "width of a vacuum bay",
        ),
        practice(
            "vacuum_depth_m",
            18 * M_PER_FT,
            19 * M_PER_FT,
            20 * M_PER_FT,
            "m",
            "depth of a vacuum bay",
        ),
        practice(
            "aisle_m",
            20 * M_PER_FT,
            24 * M_PER_FT,
            26 * M_PER_FT,
            "m",
            "aisle in front of vacuum bays",
        ),
        practice("vacuum_bays", 12.0, 18.0, 28.0, "count", "vacuum bays of a conveyor site"),
        practice("vacuum_bays_least", 4.0, 6.0, 10.0, "count", "fewest that still serve"),
        practice("stacking_cars", 14.0, 24.0, 40.0, "count", "cars of stacking, when not sized"),
        practice(
            "layout_share",
            0.55,
            0.68,
            0.8,
            "share",
            "of a parcel that a layout can use, edges and corners lost",
        ),
    ],
    permitted=_PERMITTED,
)

"""Which numbers size a line, and where does each come from?

All are common practice from memory or our own choice, none is a maker's figure; station
data stand apart in ``stations.toml``.
"""

from __future__ import annotations

from typing import Final

from capture.basis import Sheet, chosen, practice, remembered
from capture.basis.units import M_PER_FT, MPS_PER_FT_PER_MIN

_STEP: Final = 0.25 * MPS_PER_FT_PER_MIN

#: least and most that an own value may be, where unit and spread do not say it
_PERMITTED: Final = {
    # a camera at the gate takes no time
    "pay_ticket_s": (0.01, 900.0),
    "pay_member_s": (0.01, 900.0),
    "loading_guided_share": (0.05, 1.0),
    "loading_unattended_share": (0.05, 1.0),
}

VALUES: Final = Sheet(
    "line",
    [
        practice(
            "pitch_m", 18 * M_PER_FT, 22 * M_PER_FT, 28 * M_PER_FT, "m",
            "from one car's nose to the next one's on a full chain",
        ),
        practice(
            "loading_guided_share", 0.70, 0.82, 0.92, "share",
            "share of the chain's places that are filled when cars wait and a guide loads",
        ),
        practice(
            "loading_unattended_share", 0.50, 0.68, 0.80, "share",
            "share of the chain's places that are filled when cars load themselves",
        ),
        chosen(
            "speed_step_mps", _STEP, _STEP, _STEP, "m/s",
            "steps in which chain speeds are looked at",
        ),
        practice(
            "car_length_m", 4.2, 4.8, 5.6, "m", "length of a car, nose to tail"
        ),
        chosen("conveyor_beyond_m", 0.6, 1.5, 3.0, "m", "chain and pits beyond the last roller"),
        chosen("building_margin_m", 1.2, 1.8, 3.0, "m", "doors and walls beyond the line, in all"),
        chosen("building_width_m", 9.0, 11.0, 14.0, "m", "line and equipment room side by side"),
        chosen("second_line_width_m", 4.5, 5.5, 7.0, "m", "what each further line adds in width"),
        chosen("plant_usd_m", 2500, 5400, 9000, "USD/m", "pumps, air, pipes and panels per length"),
        chosen("controls_usd", 40e3, 80e3, 150e3, "USD", "controls and pay points of one line"),
        practice("pay_ticket_s", 25, 40, 75, "s", "time at the pay point, single ticket"),
        practice("pay_member_s", 6, 10, 18, "s", "time at the pay point, plan member"),
        practice("member_share", 0.45, 0.68, 0.82, "share", "share of washes on a plan"),
        practice("stacking_cars", 14, 24, 40, "cars", "places for waiting cars before the street"),
        practice("stacking_car_m", 20 * M_PER_FT, 22 * M_PER_FT, 25 * M_PER_FT, "m",
                 "length that a waiting car takes"),
        practice("balk_cars", 6, 10, 16, "cars", "waiting cars from which drivers turn away"),
        practice("come_back_share", 0.30, 0.55, 0.75, "share", "who turned away but comes back"),
        practice("vacuum_bays", 12, 18, 28, "bays", "vacuum bays of a long line"),
        practice("vacuum_use_share", 0.25, 0.40, 0.60, "share", "cars that use a vacuum bay"),
        practice("vacuum_stay_s", 360, 600, 960, "s", "stay in a vacuum bay"),
        remembered("in_bay_s", 330, 450, 600, "s", "time a car holds an in-bay automatic"),
        remembered("self_service_s", 480, 720, 1000, "s", "time a car holds a self-service bay"),
        remembered("in_bay_length_m", 9.1, 10.7, 13.0, "m", "length of an in-bay automatic's bay"),
        remembered("self_service_length_m", 7.0, 7.6, 9.1, "m", "length of a self-service bay"),
        remembered("bay_width_m", 4.6, 4.9, 5.5, "m", "width of a bay"),
        remembered(
            "in_bay_usd", 140e3, 220e3, 350e3, "USD", "installed equipment of an in-bay bay"
        ),
        remembered(
            "self_service_usd", 25e3, 45e3, 80e3, "USD", "installed equipment of a self-service bay"
        ),
        chosen("bay_blocked_share", 0.1, 0.2, 0.3, "share",
              "share of the design hour's cars that may find all bays taken"),
    ],
    permitted=_PERMITTED,
)  # fmt: skip

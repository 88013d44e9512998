"""Which constants does being seen stand on, and where do they come from?"""

from __future__ import annotations

from typing import Final

from capture.basis import Sheet, fixed, practice
from capture.basis.units import M_PER_FT, MPS_PER_MPH

_DESIGN: Final = "AASHTO, A Policy on Geometric Design of Highways and Streets (Green Book)"
_TEXAS: Final = "Texas DOT, Roadway Design Manual, decision sight distance"
#: design speed in mph -> decision sight distance in ft, manoeuvre E
DECISION_FT: Final = {
    30: 620, 35: 725, 40: 825, 45: 930, 50: 1030, 55: 1135, 60: 1280, 65: 1365, 70: 1445,
    75: 1545, 80: 1650,
}  # fmt: skip


def decision_name(mph: int) -> str:
    """Name the constant that holds the decision sight distance of one design speed.

    Examples
    --------
    >>> decision_name(45)
    'decision_45_mph_m'
    """
    return f"decision_{mph}_mph_m"


_DECISIONS: Final = [
    fixed(
        decision_name(mph), feet * M_PER_FT, "m",
        f"decision sight distance at {mph} mph, urban speed, path or direction change",
        _TEXAS, "Table 4-25, avoidance manoeuvre E", "published",
    )
    for mph, feet in DECISION_FT.items()
]  # fmt: skip

_PUBLISHED: Final = (
    ("eye_m", 3.5 * M_PER_FT, "m", "driver's eye above the lane", "height of eye"),
    ("object_m", 2.0 * M_PER_FT, "m", "object seen at the driveway mouth", "height of object"),
    ("reaction_s", 2.5, "s", "time before braking", "stopping sight distance"),
    ("braking_mps2", 11.2 * M_PER_FT, "m/s2", "deceleration", "stopping sight distance"),
    ("leave_across_s", 7.5, "s", "gap a passenger car takes turning out across",
     "intersection sight distance, case B1"),
    ("leave_near_s", 6.5, "s", "gap a passenger car takes turning out to the near side",
     "intersection sight distance, case B2"),
    ("enter_across_s", 5.5, "s", "gap a passenger car takes turning in across",
     "intersection sight distance, case F"),
    ("extra_lane_s", 0.5, "s", "added per further lane crossed", "intersection sight distance"),
    ("waiting_eye_m", 14.5 * M_PER_FT, "m", "leaving driver's eye behind the edge of the road",
     "decision point of the sight triangle"),
)  # fmt: skip

_OWN: Final = (
    ("step_m", 5.0, "m", "spacing of eye points along the approach"),
    ("least_walk_m", 400.0, "m", "shortest approach that is walked"),
    ("walk_over_needed", 1.1, "1", "approach walked over the distance needed"),
    ("near_slack_m", 25.0, "m", "a view lost this near the driveway no longer matters"),
    ("straight_degrees", 60.0, "degrees", "largest bend at a junction that is still one road"),
    ("cell_m", 32.0, "m", "cell of the grid on which obstacles are looked up"),
    ("clearance_m", 4.9, "m", "open height under a bridge"),
    ("deck_m", 2.2, "m", "height of a bridge's deck and parapet"),
    ("sun_high_degrees", 20.0, "degrees", "sun below this height dazzles"),
    ("sun_aside_degrees", 20.0, "degrees", "sun within this angle of the heading dazzles"),
)

_PRACTICE: Final = (
    ("lane_m", 3.0, 3.6, 3.7, "m", "width of a lane"),
    ("aside_degrees", 15, 20, 30, "degrees", "angle off the heading beyond which a view counts "
     "less"),
    ("aside_weight", 0.3, 0.5, 0.7, "1", "what a view beyond that angle counts"),
    ("sign_setback_m", 1.5, 3.0, 6.0, "m", "sign behind the mouth of the driveway"),
    ("sign_aside_m", 4.0, 6.0, 10.0, "m", "sign beside the driveway's axis"),
    ("front_setback_m", 8.0, 15.0, 30.0, "m", "building front behind the mouth of the driveway"),
    ("front_m", 2.5, 3.0, 4.5, "m", "middle of the building front above ground"),
    ("letter_m", 0.2, 0.3, 0.45, "m", "height of the sign's main letters"),
)  # fmt: skip

#: every constant of the room
VALUES: Final = Sheet(
    "seeing",
    [
        *_DECISIONS,
        *(
            fixed(name, value, unit, meaning, _DESIGN, locator, "published")
            for name, value, unit, meaning, locator in _PUBLISHED
        ),
        fixed(
            "legibility_m_per_m", 30 * M_PER_FT / (M_PER_FT / 12), "1",
            "reading distance over letter height: 30 ft per inch",
            "FHWA, Manual on Uniform Traffic Control Devices 2009", "Section 2A.13", "memory",
        ),
        *(
            fixed(name, value, unit, meaning, "modelling choice of this library", "", "invented")
            for name, value, unit, meaning in _OWN
        ),
        *(practice(*row) for row in _PRACTICE),
    ],
    permitted={
        "legibility_m_per_m": (10.0, 2000.0),
        "step_m": (0.5, 50.0),
        "least_walk_m": (20.0, 5000.0),
        "walk_over_needed": (1.0, 10.0),
        "sun_high_degrees": (0.0, 90.0),
    },
)  # fmt: skip

#: design speeds of the decision table, m/s
DECISION_MPS: Final = tuple(mph * MPS_PER_MPH for mph in DECISION_FT)

"""Which constants does turning in and out stand on, and where do they come from?

Movements are named by what they do, so that one table serves both driving sides:
``cross_in`` crosses oncoming traffic into the driveway (a left turn where traffic keeps
right), ``near_out`` leaves to the near side, ``cross_out`` leaves across, ``u_turn`` turns
back on the major road. Columns are the major road's through lanes in both directions.
"""

from __future__ import annotations

from typing import Final

from capture.basis import Sheet, Sourced, fixed, practice

_HCM: Final = "Highway Capacity Manual 2010, two-way stop-controlled intersections (from memory)"
LANE_COLUMNS: Final = (2, 4, 6)
#: movement -> (critical headway by column, follow-up headway by column, what it is)
_HEADWAYS: Final = {
    "cross_in": ((4.1, 4.1, 5.3), (2.2, 2.2, 3.1), "turn in across oncoming traffic"),
    "near_out": ((6.2, 6.9, 7.1), (3.3, 3.3, 3.9), "turn out to the near side"),
    "cross_out": ((7.1, 7.5, 6.4), (3.5, 3.5, 3.8), "turn out across traffic in one go"),
    "first_stage": ((6.1, 6.5, 7.3), (3.5, 3.5, 3.8), "turn out across, to the middle"),
    "second_stage": ((6.1, 6.5, 6.7), (3.5, 3.5, 3.8), "turn out across, from the middle"),
    "u_turn": ((6.9, 6.4, 5.6), (3.1, 2.5, 2.3), "turn back on the major road"),
}
#: share of a day's wash arrivals by hour: fewer at the ends, most from 11 to 16
_WASH_HOURS: Final = {
    7: 0.02, 8: 0.045, 9: 0.07, 10: 0.09, 11: 0.1, 12: 0.105, 13: 0.11, 14: 0.11,
    15: 0.1, 16: 0.09, 17: 0.07, 18: 0.05, 19: 0.03, 20: 0.01,
}  # fmt: skip


def _headways() -> list[Sourced]:
    table = "base critical and follow-up headways, exhibits 19-10 and 19-11"
    made = []
    for movement, (critical, follow_up, words) in _HEADWAYS.items():
        for lanes, first, second in zip(LANE_COLUMNS, critical, follow_up, strict=True):
            where = f"{words}, {lanes} through lanes in both directions"
            made.append(
                fixed(
                    f"{movement}_critical_{lanes}_s", first, "s",
                    f"least gap taken: {where}", _HCM, table, "memory",
                )
            )  # fmt: skip
            made.append(
                fixed(
                    f"{movement}_follow_up_{lanes}_s", second, "s",
                    f"headway of cars using one gap: {where}", _HCM, table, "memory",
                )
            )  # fmt: skip
    return made


_ADJUSTMENTS: Final = (
    ("three_leg_less_s", 0.7, "s", "taken off a turn out across where no fourth leg faces it"),
    ("heavy_critical_two_lane_s", 1.0, "s", "added to the least gap, times the heavy share"),
    ("heavy_critical_multilane_s", 2.0, "s", "the same with more than one lane each way"),
    ("heavy_follow_up_two_lane_s", 0.9, "s", "added to the follow-up, times the heavy share"),
    ("heavy_follow_up_multilane_s", 1.0, "s", "the same with more than one lane each way"),
    ("grade_near_out_s_per_percent", 0.1, "s", "added per percent of upgrade, turn out near side"),
    ("grade_cross_out_s_per_percent", 0.2, "s", "added per percent of upgrade, turn out across"),
    ("analysis_hours", 0.25, "h", "period over which a queue may grow"),
    ("stop_and_go_s", 5.0, "s", "slowing to a stop and picking up speed, in control delay"),
    ("cross_in_weight_count", 2.0, "count", "how often turns in across count against turns out"),
    ("platoon_flow_factor", 1.5, "1", "platoon flow as a multiple of the least flow"),
    ("platoon_flow_veh_h_lane", 1000.0, "veh/h", "least flow in a platoon per through lane"),
    ("saturation_flow_veh_h", 1800.0, "veh/h", "flow of a lane that never stops, per lane"),
)

_OWN: Final = (
    ("entering_veh_h", 20.0, "veh/h", "wash cars assumed to turn, fixed so that the share of "
     "traffic that is washed never feeds its own input"),
    ("delay_cap_s", 120.0, "s", "longest cost of turning in and out that is told apart"),
    ("route_limit_s", 300.0, "s", "longest way round that is looked for"),
    ("route_lead_m", 250.0, "m", "how far before and after the driveway a way round may start"),
    ("straight_degrees", 45.0, "degrees", "largest bend that still counts as going straight on"),
    ("blocked_share", 0.05, "share", "chance of a blocked through lane from which it is said"),
    ("signal_reach_m", 400.0, "m", "distance within which a signal's platoons are cautioned"),
    ("queue_reach_m", 120.0, "m", "distance within which a signal's queue is cautioned"),
    ("corner_reach_m", 60.0, "m", "distance to a junction within which a driveway is cautioned"),
    ("opening_reach_m", 12.0, "m", "largest distance of a median opening that serves a driveway"),
    ("candidate_step_m", 5.0, "m", "spacing of driveways that are tried"),
    ("lot_reach_m", 80.0, "m", "how far from the road's line a lot may begin"),
    ("median_link_m", 45.0, "m", "longest link through a median that lets a car turn back"),
    ("median_storage_count", 1.0, "count", "cars that wait in a median opening or centre lane"),
)  # fmt: skip

_PRACTICE: Final = (
    ("turning_speed_mps", 3.0, 4.5, 6.5, "m/s", "speed at which a car turns into a driveway"),
    ("slowing_mps2", 2.0, 3.0, 3.4, "m/s2", "deceleration before a near-side turn"),
    ("junction_near_turn_s", 2, 4, 8, "s", "time lost in a near-side turn on a way round"),
    ("junction_cross_turn_s", 5, 10, 25, "s", "time lost in a turn across on a way round"),
    ("junction_signal_s", 8, 15, 35, "s", "further time lost where that turn is at a signal"),
    ("u_turn_manoeuvre_s", 4, 8, 15, "s", "time to turn back, besides waiting for a gap"),
    ("join_hour_share", 0.05, 0.06, 0.075, "share", "an average washing hour's share of a "
     "day's traffic, for waits where a way round turns back"),
    ("patience_s", 60, 90, 140, "s", "cost of turning at which e-fold fewer drivers turn in; "
     "for choosing among driveways only"),
    ("sight_weight", 0.0, 0.5, 1.0, "1", "what full sight adds to the log of the share; for "
     "choosing among driveways only"),
    ("frontage_m", 30.0, 46.0, 67.0, "m", "frontage of a site whose outline is not known"),
    ("driveway_m", 7.0, 9.0, 12.0, "m", "width of a driveway"),
    ("entering_heavy_share", 0.0, 0.0, 0.03, "share", "trucks and buses among wash customers"),
)  # fmt: skip


def wash_hour_name(hour: int) -> str:
    """Name the constant that holds one hour's share of wash arrivals.

    Examples
    --------
    >>> wash_hour_name(9)
    'wash_hour_09_share'
    """
    return f"wash_hour_{hour:02d}_share"


def _wash_hours() -> list[Sourced]:
    made = []
    for hour in range(24):
        share = _WASH_HOURS.get(hour, 0.0)
        meaning = f"share of a day's wash arrivals from {hour}:00, where no sales file says it"
        made.append(
            practice(wash_hour_name(hour), 0.5 * share, share, 1.5 * share, "share", meaning)
        )
    return made


#: every constant of the room
VALUES: Final = Sheet(
    "turning",
    [
        *_headways(),
        *(
            fixed(name, value, unit, meaning, _HCM, "adjustments", "memory")
            for name, value, unit, meaning in _ADJUSTMENTS
        ),
        *(
            fixed(name, value, unit, meaning, "modelling choice of this library", "", "invented")
            for name, value, unit, meaning in _OWN
        ),
        *(practice(*row) for row in _PRACTICE),
        *_wash_hours(),
    ],
    # a long time of analysis tells the wait in a queue that has settled
    permitted={"analysis_hours": (0.05, 1000.0)},
)

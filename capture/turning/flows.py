"""How much traffic must each movement at a driveway give way to, hour by hour?

Assumes that one driveway meets one road: its near side stream(s) pass the driveway's own
kerb, its far side stream(s) the other. Conflicting traffic counts all vehicles, trucks too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from capture.basis import Sheet
from capture.turning.gaps import compute_platoon_capacity, compute_two_stage_capacity
from capture.turning.headways import Movement, compute_headways

if TYPE_CHECKING:
    from capture.passing import Streams

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Flows:
    """Traffic past each of D driveways."""

    #: all vehicles an hour in the near direction (D, 24)
    near_veh_h: FloatArray
    #: all vehicles an hour in the far direction (D, 24)
    far_veh_h: FloatArray
    #: through lanes of either direction (D,), 0 where there is none
    near_lanes: FloatArray
    far_lanes: FloatArray
    #: share of the time blocked by platoons, either direction (D,)
    near_blocked: FloatArray
    far_blocked: FloatArray

    @property
    def lanes(self) -> FloatArray:
        """Through lanes in both directions; a one-way road counts as half of a two-way one."""
        one_way = (self.near_lanes == 0) | (self.far_lanes == 0)
        total = self.near_lanes + self.far_lanes
        return np.where(one_way, 2.0 * total, total)


def sum_flows(streams: Streams, drives: int, blocked_share: FloatArray) -> Flows:
    """Sum the streams past each driveway, shape (drives, 24).

    Trucks, and vehicles of a corner site that are counted on its other road, are put back:
    they are in the way all the same.
    """
    heavy = np.clip(np.nan_to_num(streams.heavy_share), 0.0, 0.95)
    elsewhere = np.clip(np.asarray(streams.corner_share), 0.0, 0.95)
    total = np.asarray(streams.vehicles_per_day) / ((1.0 - heavy) * (1.0 - elsewhere))
    hourly = total[:, None] * np.asarray(streams.hour_share)
    driveway = np.asarray(streams.driveway)
    near = np.asarray(streams.near_side, dtype=bool)
    lanes = np.maximum(np.asarray(streams.lanes, dtype=np.float64), 1.0)

    def gather(rows: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray, FloatArray]:
        flow, most, blocked = np.zeros((drives, 24)), np.zeros(drives), np.zeros(drives)
        np.add.at(flow, driveway[rows], hourly[rows])
        np.maximum.at(most, driveway[rows], lanes[rows])
        np.maximum.at(blocked, driveway[rows], blocked_share[rows])
        return flow, most, blocked

    near_flow, near_lanes, near_blocked = gather(near)
    far_flow, far_lanes, far_blocked = gather(~near)
    return Flows(
        near_veh_h=near_flow,
        far_veh_h=far_flow,
        near_lanes=near_lanes,
        far_lanes=far_lanes,
        near_blocked=near_blocked,
        far_blocked=far_blocked,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Capacities:
    """Capacity of each movement at each driveway by hour, veh/h, (D, 24)."""

    #: turn in across oncoming traffic
    cross_in: FloatArray
    #: turn out to the near side
    near_out: FloatArray
    #: turn out across in one go
    cross_out: FloatArray
    #: turn out across in two, waiting in the middle
    cross_out_staged: FloatArray


def compute_capacities(flows: Flows, grade_percent: FloatArray, *, values: Sheet) -> Capacities:
    """Compute the capacities of the movements that give way at each driveway.

    Parameters
    ----------
    flows : Flows
        Traffic past D driveways.
    grade_percent : ndarray of float, shape (D,)
        Upgrade of the driveway towards the road.

    Notes
    -----
    Conflicting flow: turning in across, the oncoming through traffic and its turns in;
    turning out to the near side, near through traffic by lane; turning out across, both
    directions and twice the turns in across.
    """
    entering = values.value("entering_veh_h")
    twice = values.value("cross_in_weight_count") * entering
    near, far = flows.near_veh_h, flows.far_veh_h
    near_turns = np.where(flows.near_lanes > 0, entering, 0.0)[:, None]
    far_turns = np.where(flows.far_lanes > 0, twice, 0.0)[:, None]
    both = 1.0 - (1.0 - flows.near_blocked) * (1.0 - flows.far_blocked)

    def capacity(movement: Movement, flow: FloatArray, blocked: FloatArray, lanes: FloatArray
                 ) -> FloatArray:  # fmt: skip
        critical, follow_up = compute_headways(
            movement, lanes=flows.lanes, heavy_share=values.value("entering_heavy_share"),
            grade_percent=grade_percent, values=values,
        )  # fmt: skip
        return compute_platoon_capacity(
            flow, blocked_share=blocked[:, None], lanes=np.maximum(lanes, 1.0)[:, None],
            critical_s=critical[:, None], follow_up_s=follow_up[:, None], values=values,
        )  # fmt: skip

    one = capacity("cross_out", near + far + far_turns, both, flows.near_lanes + flows.far_lanes)
    staged = compute_two_stage_capacity(
        one,
        first_veh_h=capacity("first_stage", near, flows.near_blocked, flows.near_lanes),
        second_veh_h=capacity("second_stage", far + far_turns, flows.far_blocked, flows.far_lanes),
        crossing_veh_h=np.where(flows.far_lanes > 0, entering, 0.0)[:, None],
        storage_count=values.value("median_storage_count"),
    )
    return Capacities(
        cross_in=capacity("cross_in", near + near_turns, flows.near_blocked, flows.near_lanes),
        near_out=capacity(
            "near_out",
            near / np.maximum(flows.near_lanes, 1.0)[:, None],
            flows.near_blocked,
            np.ones_like(flows.near_lanes),
        ),
        cross_out=one,
        cross_out_staged=staged,
    )

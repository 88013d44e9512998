"""Capacity, wait and queue against simulation, limits and each other."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.basis import InputError
from capture.turning import (
    VALUES,
    compute_blocked_share,
    compute_capacity,
    compute_delay,
    compute_headways,
    compute_platoon_capacity,
    compute_queue95,
    compute_two_stage_capacity,
    find_letter,
)

flows = st.floats(0, 2500)


def simulate_capacity(flow: float, critical: float, follow_up: float, gaps: int) -> float:
    """Let a queue that never ends use the gaps of random traffic, veh/h."""
    rng = np.random.default_rng(20260101)
    gap = rng.exponential(3600 / flow, gaps)
    used = np.where(gap >= critical, np.floor((gap - critical) / follow_up) + 1, 0)
    return float(used.sum() / gap.sum() * 3600)


@pytest.mark.parametrize("movement", ["cross_in", "near_out", "cross_out", "first_stage"])
@pytest.mark.parametrize("lanes", [2, 4, 6])
@pytest.mark.parametrize("flow", [150.0, 500.0, 900.0])
def test_capacity_is_what_random_gaps_give(movement: str, lanes: int, flow: float) -> None:
    critical, follow_up = compute_headways(movement, lanes=lanes)
    expected = simulate_capacity(flow, float(critical), float(follow_up), 400_000)
    got = float(compute_capacity(flow, critical_s=critical, follow_up_s=follow_up))
    assert got == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize(("use", "capacity"), [(0.2, 300.0), (0.5, 600.0), (0.7, 900.0)])
def test_wait_tends_to_the_steady_queue(use: float, capacity: float) -> None:
    """Over a long period the wait is that of random arrivals and service: 1 / (c - v)."""
    long = VALUES.override({"analysis_hours": 200.0})
    flow = use * capacity
    got = float(compute_delay(flow, capacity, values=long)) - VALUES.value("stop_and_go_s")
    assert got == pytest.approx(3600 / (capacity - flow), rel=0.01)


@pytest.mark.property
@given(flow=flows, more=st.floats(1, 500))
def test_more_conflict_never_helps(flow: float, more: float) -> None:
    critical, follow_up = compute_headways("cross_out", lanes=4)
    less = compute_capacity(flow + more, critical_s=critical, follow_up_s=follow_up)
    assert less <= compute_capacity(flow, critical_s=critical, follow_up_s=follow_up)
    free = compute_capacity(0, critical_s=critical, follow_up_s=follow_up)
    assert free == pytest.approx(3600 / float(follow_up))


@pytest.mark.property
@given(demand=st.floats(0, 400), capacity=st.floats(1, 1500), more=st.floats(1, 300))
def test_more_capacity_never_waits_longer(demand: float, capacity: float, more: float) -> None:
    assert compute_delay(demand, capacity + more) <= compute_delay(demand, capacity) + 1e-9
    if demand <= 0.95 * capacity:  # beyond it the period, not the capacity, bounds the queue
        queue = compute_queue95(demand, capacity)
        assert compute_queue95(demand, capacity + more) <= queue + 1e-9
    assert compute_delay(0, capacity) == pytest.approx(3600 / capacity + 5)


@pytest.mark.property
@given(near=flows, far=flows, storage=st.integers(0, 6))
def test_room_in_the_middle_never_hurts(near: float, far: float, storage: int) -> None:
    one_tc, one_tf = compute_headways("cross_out", lanes=4)
    tc, tf = compute_headways("first_stage", lanes=4)
    one = compute_capacity(near + far, critical_s=one_tc, follow_up_s=one_tf)
    made = compute_two_stage_capacity(
        one,
        first_veh_h=compute_capacity(near, critical_s=tc, follow_up_s=tf),
        second_veh_h=compute_capacity(far, critical_s=tc, follow_up_s=tf),
        crossing_veh_h=20,
        storage_count=storage,
    )
    assert np.isfinite(made)
    assert made >= one - 1e-9
    assert (
        made
        <= max(float(one), float(compute_capacity(min(near, far), critical_s=tc, follow_up_s=tf)))
        + 1e-6
    )


def test_equal_stages_are_the_limit_of_unequal_ones() -> None:
    def stage(second: float) -> float:
        return float(
            compute_two_stage_capacity(
                100, first_veh_h=300, second_veh_h=second, crossing_veh_h=0, storage_count=2
            )
        )

    assert stage(300.0) == pytest.approx(0.5 * (stage(299.99) + stage(300.01)), rel=1e-5)


def test_no_platoon_is_no_change() -> None:
    plain = compute_capacity([100, 900], critical_s=6.9, follow_up_s=3.3)
    none = compute_platoon_capacity(
        [100, 900], blocked_share=0.0, lanes=2, critical_s=6.9, follow_up_s=3.3
    )
    assert np.allclose(plain, none)
    some = compute_platoon_capacity(
        600, blocked_share=0.3, lanes=1, critical_s=6.9, follow_up_s=3.3
    )
    # all the traffic passes in platoons: the rest of the time the road is nearly free
    assert some > compute_capacity(600, critical_s=6.9, follow_up_s=3.3)


def test_adjustments_of_headways() -> None:
    base, follow = compute_headways("cross_out", lanes=2, legs=4)
    assert (float(base), float(follow)) == (7.1, 3.5)
    heavy, heavy_follow = compute_headways("cross_out", lanes=2, heavy_share=0.1, legs=4)
    assert float(heavy - base) == pytest.approx(0.1)
    assert float(heavy_follow - follow) == pytest.approx(0.09)
    steep, _ = compute_headways("cross_out", lanes=2, grade_percent=5, legs=4)
    assert float(steep - base) == pytest.approx(1.0)
    near, _ = compute_headways("near_out", lanes=2, grade_percent=5)
    assert float(near) == pytest.approx(6.2 + 0.5)
    level, _ = compute_headways("cross_in", lanes=2, grade_percent=5)
    assert float(level) == pytest.approx(4.1)


def test_letters() -> None:
    assert [find_letter(d) for d in (0, 10, 10.1, 15.1, 25.1, 35.1, 50.1)] == list("AABCDEF")
    assert find_letter(5.0, 1.01) == "F"


def test_a_lane_blocks_more_with_a_slower_turn() -> None:
    quick = compute_blocked_share(20, 900, through_veh_h=400)
    slow = compute_blocked_share(20, 100, through_veh_h=400)
    assert 0 < quick < slow <= 1
    assert compute_blocked_share(20, 1, through_veh_h=1790) == 1


@pytest.mark.parametrize("bad", [-1.0, float("nan")])
def test_refuses_flows_that_cannot_be(bad: float) -> None:
    with pytest.raises(InputError, match="0 or more veh/h"):
        compute_capacity(bad, critical_s=4.1, follow_up_s=2.2)
    with pytest.raises(InputError, match="entering flow"):
        compute_delay(bad, 100)


def test_refuses_unknown_movements_and_grades() -> None:
    with pytest.raises(InputError, match="movement must be one of"):
        compute_headways("sideways", lanes=2)
    with pytest.raises(InputError, match="3 or 4 legs"):
        compute_headways("cross_in", lanes=2, legs=5)
    with pytest.raises(InputError, match="heavy share must be 0 to 1"):
        compute_headways("cross_in", lanes=2, heavy_share=30)
    with pytest.raises(InputError, match="within 20 percent"):
        compute_headways("cross_out", lanes=2, grade_percent=50)
    with pytest.raises(InputError, match="below 1"):
        compute_platoon_capacity(100, blocked_share=1.0, lanes=1, critical_s=6.9, follow_up_s=3.3)

"""Handbook formulas of water, heat, power and sound: refusals, limits and shapes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.basis import CaptureWarning, InputError
from capture.basis.units import M3S_PER_GPM, W_PER_HP
from capture.utilities import (
    FULL_LOAD_A,
    SERVICE_STEPS_A,
    Motor,
    add_levels,
    compute_apparent_power,
    compute_compressor_power,
    compute_feeder_amps,
    compute_full_load_amps,
    compute_heater_power,
    compute_noise_level,
    compute_nozzle_flow,
    compute_phase_amps,
    compute_pump_power,
    compute_quiet_distance,
    compute_reject_flow,
    compute_reynolds,
    compute_settling_speed,
    compute_tank_area,
    pick_meter,
    round_up_motor,
    size_compressor,
    size_service,
)


def test_settling_and_heat_worked_by_hand() -> None:
    by_hand = 9.80665 * (2648 - 998.2) * (50e-6) ** 2 / (18 * 1.002e-3)
    assert float(compute_settling_speed(50e-6)) == pytest.approx(by_hand)
    assert round(1000 * by_hand, 2) == 2.24
    kilowatts = 10 * 8.34 * 60 * 60 / 3412 / 0.85
    got = compute_heater_power(10 * M3S_PER_GPM, 60 / 1.8, 0.85)
    assert float(got) / 1000 == pytest.approx(kilowatts, rel=2e-3)


def test_stokes_speed_is_within_its_range_and_warns_beyond() -> None:
    speed = compute_settling_speed(50e-6)
    assert float(compute_reynolds(speed, 50e-6)) < 1
    with pytest.warns(CaptureWarning, match="Reynolds"):
        compute_settling_speed(200e-6)


def test_stokes_speed_grows_with_the_square_of_the_grain() -> None:
    small, twice = compute_settling_speed([20e-6, 40e-6])
    assert twice / small == pytest.approx(4.0)


def test_grains_that_float_are_refused() -> None:
    with pytest.raises(InputError, match="float"):
        compute_settling_speed(50e-6, particle_kgm3=900.0)
    with pytest.raises(InputError, match="grain diameter"):
        compute_settling_speed(0.0)


@pytest.mark.property
@given(flow=st.floats(0, 0.1), p1=st.floats(1e3, 1e7), p2=st.floats(1e3, 1e7))
def test_nozzle_law_goes_there_and_back(flow: float, p1: float, p2: float) -> None:
    there = compute_nozzle_flow(flow, p1, p2)
    assert float(compute_nozzle_flow(there, p2, p1)) == pytest.approx(flow, abs=1e-15)


@pytest.mark.property
@given(permeate=st.floats(0, 100), share=st.floats(0, 0.95))
def test_reject_is_its_share_of_the_feed(permeate: float, share: float) -> None:
    reject = float(compute_reject_flow(permeate, share))
    assert reject == pytest.approx(share * (permeate + reject), abs=1e-9)


def test_tank_area_and_heat_scale() -> None:
    assert float(compute_tank_area(0.01, 0.002)) == pytest.approx(5.0)
    one, lossy = compute_heater_power(0.001, 20.0, [1.0, 0.8])
    assert lossy / one == pytest.approx(1.25)


@pytest.mark.parametrize(
    "call",
    [
        lambda: compute_pump_power(-1.0, 1e5, 0.7),
        lambda: compute_pump_power(1.0, math.nan, 0.7),
        lambda: compute_pump_power(1.0, 1e5, 0.0),
        lambda: compute_pump_power(1.0, 1e5, 1.1),
        lambda: compute_nozzle_flow(1.0, 0.0, 1e5),
        lambda: compute_tank_area(1.0, 0.0),
        lambda: compute_heater_power(1.0, -5.0, 0.9),
        lambda: compute_reject_flow(1.0, 1.0),
        lambda: compute_noise_level(80.0, 0.0, reference_m=3.0),
        lambda: add_levels([]),
        lambda: pick_meter(-1.0),
        lambda: pick_meter(math.inf),
        lambda: size_compressor([-0.1]),
        lambda: compute_compressor_power(0.1, -1.0),
        lambda: round_up_motor(0.0),
        lambda: round_up_motor(1e6),
        lambda: compute_full_load_amps(7e3, volts=400),
        lambda: compute_phase_amps(1e3, volts=12),
        lambda: size_service(math.nan),
        lambda: size_service(-1.0),
    ],
)
def test_values_without_sense_are_refused(call: object) -> None:
    with pytest.raises(InputError):
        call()  # type: ignore[operator]


@pytest.mark.property
def test_full_load_amps_rise_with_size_and_fall_with_voltage() -> None:
    rows = np.array(list(FULL_LOAD_A.values()))
    assert (np.diff(rows, axis=0) > 0).all()
    assert (np.diff(rows, axis=1) < 0).all()
    assert np.allclose(rows[:, 1] / rows[:, 2], 2.0, rtol=0.06)


def test_motor_sizes_round_up_once() -> None:
    for hp in FULL_LOAD_A:
        assert round_up_motor(hp * W_PER_HP) == pytest.approx(hp * W_PER_HP)
        assert compute_full_load_amps(hp * W_PER_HP, volts=480) == FULL_LOAD_A[hp][2]
    assert round_up_motor(11 * W_PER_HP) == pytest.approx(15 * W_PER_HP)


def test_feeder_counts_drives_and_other_loads() -> None:
    plain = Motor(name="a", count=2, power_w=1.0, full_load_a=20.0)
    driven = Motor(name="b", count=1, power_w=1.0, full_load_a=20.0, on_drive=True)
    assert compute_feeder_amps([plain]) == pytest.approx(45.0)
    assert compute_feeder_amps([plain, driven]) == pytest.approx(40 + 25 + 6.25)
    assert compute_feeder_amps([], continuous_a=10.0, short_a=4.0) == pytest.approx(16.5)


@pytest.mark.property
@given(amps=st.floats(0, 20_000))
def test_service_carries_the_load_in_a_usual_step(amps: float) -> None:
    rating, number = size_service(amps)
    assert rating in SERVICE_STEPS_A
    assert rating * number >= amps
    smaller = [step for step in SERVICE_STEPS_A if step < rating]
    assert not smaller or smaller[-1] * number < amps


def test_three_phase_power_goes_there_and_back() -> None:
    assert compute_phase_amps(compute_apparent_power(123.0, volts=208), volts=208) == (
        pytest.approx(123.0)
    )


def test_compression_worked_by_hand_and_by_integral() -> None:
    """Work of an ideal stage is the integral of volume over pressure along p v^1.4."""
    low, high = 101_325.0, 101_325.0 + 7e5
    pressure = np.linspace(low, high, 200_001)
    volume = 0.01 * (low / pressure) ** (1 / 1.4)
    by_integral = np.trapezoid(volume, pressure) if hasattr(np, "trapezoid") else np.trapz(
        volume, pressure
    )  # fmt: skip
    got = float(compute_compressor_power(0.01, 7e5)) * 0.70
    assert got == pytest.approx(by_integral, rel=1e-6)
    assert float(size_compressor(0.01)) > float(compute_compressor_power(0.01, 6.9e5))


def test_quiet_distance_is_where_the_level_meets_the_limit() -> None:
    far = float(compute_quiet_distance(93.0, 55.0, reference_m=3.0))
    assert float(compute_noise_level(93.0, far, reference_m=3.0)) == pytest.approx(55.0)


def test_a_flow_beyond_all_meters_is_said() -> None:
    assert pick_meter(1.0).beyond

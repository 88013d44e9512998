"""Pipes and wires of whole lines."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from capture.basis import InputError, Offer, Worlds
from capture.basis.units import M3_PER_GALLON, M3S_PER_GPM, W_PER_HP
from capture.line import size_line
from capture.utilities import CAUTIONS, VALUES, Utilities, size_utilities

WORLDS = Worlds(draws=400)


def size(hour: float, offer: Offer | None = None, cars: float | None = None) -> Utilities:
    offer = offer or Offer()
    line = size_line(hour, offer)
    return size_utilities(line, 1000.0 * hour if cars is None else cars, hour / 1.2, offer, WORLDS)


@pytest.mark.practice
def test_fresh_water_a_car_is_what_washes_use() -> None:
    with_reclaim = size(98.0)["fresh_per_car_m3"].value / M3_PER_GALLON
    without = size(98.0, Offer(reclaim=False))["fresh_per_car_m3"].value / M3_PER_GALLON
    assert 15 <= with_reclaim <= 45
    assert 50 <= without <= 120


@pytest.mark.practice
@pytest.mark.parametrize("hour", [45.0, 98.0, 160.0])
def test_electricity_a_car_is_what_washes_use(hour: float) -> None:
    assert 0.9 <= size(hour)["energy_per_car_j"].value / 3.6e6 <= 3.0


@pytest.mark.practice
def test_dryers_power_for_cars_an_hour() -> None:
    line = size_line(98.0, Offer())
    used = size(98.0)
    dryers = (
        sum(motor.power_w * motor.count for motor in used.motors if "dryer" in motor.name)
        / W_PER_HP
    )
    assert 0.8 <= dryers / line.cars_per_hour <= 1.7


@pytest.mark.property
@pytest.mark.parametrize("hour", [30.0, 70.0, 110.0])
def test_the_peak_is_never_more_than_everything_at_once(hour: float) -> None:
    used = size(hour)
    assert used["peak_flow_m3s"].value <= used["all_on_flow_m3s"].value * (1 + 1e-9)
    assert used.usage.minute_m3s["all"] <= used["peak_flow_m3s"].value * (1 + 1e-9)
    parts = sum(used.usage.per_car_m3.values())
    assert parts == pytest.approx(used.usage.timeline.total / _cars(used, hour), rel=1e-6)


def _cars(used: Utilities, hour: float) -> float:
    line = size_line(hour, Offer())
    return round(3 * line.cars_per_hour / line.lines)


@pytest.mark.property
def test_water_goes_somewhere() -> None:
    """What comes in fresh leaves by the sewer or is carried off, on average over a car."""
    used = size(98.0)
    per_day = 98_000 / 365
    fresh, sewer = used["fresh_per_day_m3"], used["discharge_per_day_m3"]
    carried = WORLDS.constant(VALUES["carry_off_share"]) * used["water_per_car_m3"].value
    assert sewer.mean < fresh.mean
    assert fresh.mean - sewer.mean == pytest.approx(carried.mean() * per_day, rel=0.1)


@pytest.mark.property
def test_reclaim_saves_fresh_water_and_spot_free_makes_reject() -> None:
    reclaim, fresh_only = size(98.0), size(98.0, Offer(reclaim=False))
    assert reclaim["fresh_per_car_m3"].value < fresh_only["fresh_per_car_m3"].value
    assert reclaim["water_per_car_m3"].value == pytest.approx(fresh_only["water_per_car_m3"].value)
    assert fresh_only["reclaimed_per_car_m3"].value == 0
    assert reclaim["reject_per_car_m3"].value > 0


def test_more_cars_need_more_water_and_a_faster_line_more_power() -> None:
    small, large = size(45.0), size(98.0)
    assert large["fresh_per_day_m3"].value > small["fresh_per_day_m3"].value
    assert large["demand_w"].value > small["demand_w"].value
    assert large.service.service_a >= small.service.service_a


def test_width_of_the_cars_reaches_the_water_and_the_demand_has_its_own() -> None:
    offer, line = Offer(), size_line(98.0, Offer())
    wide = 95_000 * np.exp(0.4 * WORLDS.normal("cars")[0])
    used = size_utilities(line, wide, 80.0, offer, WORLDS)
    narrow = size_utilities(line, 95_000.0, 80.0, offer, WORLDS)
    wide_range, narrow_range = used["fresh_per_day_m3"], narrow["fresh_per_day_m3"]
    assert wide_range.high / wide_range.low > narrow_range.high / narrow_range.low
    assert used["demand_w"].high > used["demand_w"].low


def test_feeder_is_the_rule_worked_by_hand() -> None:
    used = size(98.0)
    amps = [m.full_load_a for m in used.motors for _ in range(m.count)]
    other = 1.25 * VALUES.value("other_continuous_w") + VALUES.value("other_short_w")
    by_hand = sum(amps) + 0.25 * max(amps) + other / (np.sqrt(3) * 480)
    assert used.service.feeder_a == pytest.approx(by_hand)
    assert used.service.service_a * used.service.services >= used.service.wanted_a
    assert used["apparent_va"].value == pytest.approx(np.sqrt(3) * 480 * by_hand)


def test_motors_on_drives_count_by_their_input() -> None:
    line, offer = size_line(98.0, Offer()), Offer()
    plain, driven = (
        size_utilities(line, 95_000.0, 80.0, offer, WORLDS, drives=roles)
        for roles in ((), ("dryer",))
    )
    assert driven.service.feeder_a > 1.1 * plain.service.feeder_a
    assert {m.on_drive for m in driven.motors if "dryer" in m.name} == {True}
    with pytest.raises(InputError, match="no station has the role 'steam'"):
        size_utilities(line, 95_000.0, 80.0, offer, WORLDS, drives=("steam",))


def test_lower_voltage_needs_a_larger_service() -> None:
    line, offer = size_line(98.0, Offer()), Offer()
    high, low = (
        size_utilities(line, 95_000.0, 80.0, offer, WORLDS, volts=volts) for volts in (480, 208)
    )
    assert low.service.service_a > high.service.service_a


def test_every_figure_has_a_caution_and_a_source() -> None:
    used = size(98.0)
    for row in used.to_rows():
        assert row["caution"] in CAUTIONS.values()
        assert len(row["source"]) > 5
        assert row["low"] <= row["value"] <= row["high"]
    assert set(CAUTIONS.values()) <= set(used.cautions)
    json.dumps(used.to_rows(), allow_nan=False)


def test_noise_falls_with_distance() -> None:
    line, offer = size_line(98.0, Offer()), Offer()
    near, far = (
        size_utilities(line, 95_000.0, 80.0, offer, WORLDS, home_distance_m=d) for d in (15.0, 60.0)
    )
    assert near["noise_db"].value - far["noise_db"].value == pytest.approx(12.04, abs=0.01)
    assert near["quiet_distance_m"].value == pytest.approx(far["quiet_distance_m"].value)


def test_two_lines_use_twice_the_water_at_once() -> None:
    line, offer = size_line(98.0, Offer()), Offer()
    pair = replace(line, lines=2, cars_per_hour=2 * line.cars_per_hour)
    one, two = (size_utilities(x, 95_000.0, 80.0, offer, WORLDS) for x in (line, pair))
    assert two["peak_flow_m3s"].value == pytest.approx(2 * one["peak_flow_m3s"].value)
    assert two["water_per_car_m3"].value == pytest.approx(one["water_per_car_m3"].value)


@pytest.mark.practice
@pytest.mark.parametrize(("kind", "low", "high"), [("in_bay", 30, 90), ("self_service", 8, 30)])
def test_bays_use_what_bays_use(kind: str, low: float, high: float) -> None:
    offer = Offer(format=kind, bays=3)  # type: ignore[arg-type]
    used = size_utilities(size_line(15.0, offer), 25_000.0, 12.0, offer, WORLDS)
    assert low <= used["fresh_per_car_m3"].value / M3_PER_GALLON <= high
    assert "noise_db" not in used.figures
    assert any("bay" in caution for caution in used.cautions)


def test_the_busiest_days_water_is_told_when_its_cars_are_known() -> None:
    line, offer = size_line(98.0, Offer()), Offer()
    used = size_utilities(line, 98_000.0, 80.0, offer, WORLDS, busiest_day_cars=700.0)
    assert used["fresh_busiest_day_m3"].value == pytest.approx(used["fresh_per_car_m3"].value * 700)
    assert used["discharge_busiest_day_m3"].value > used["discharge_per_day_m3"].value
    assert "fresh_busiest_day_m3" not in size(98.0).figures
    with pytest.raises(InputError, match="busiest day"):
        size_utilities(line, 98_000.0, 80.0, offer, WORLDS, busiest_day_cars=-1.0)


def test_no_cars_still_give_figures() -> None:
    used = size(98.0, cars=0.0)
    assert used["fresh_per_day_m3"].value == 0
    assert np.isfinite(used["energy_per_car_j"].value)
    json.dumps(used.to_rows(), allow_nan=False)


def test_meter_carries_the_busiest_minute() -> None:
    used = size(98.0)
    assert used.meter.most_m3s >= used["supply_peak_m3s"].high
    assert used["supply_peak_m3s"].value < 100 * M3S_PER_GPM


@pytest.mark.parametrize("cars", [-1.0, float("nan"), float("inf"), [1.0, 2.0]])
def test_cars_without_sense_are_refused(cars: object) -> None:
    line = size_line(98.0, Offer())
    with pytest.raises(InputError, match="cars a year"):
        size_utilities(line, cars, 80.0, Offer(), WORLDS)  # type: ignore[arg-type]


def test_lines_without_sense_are_refused() -> None:
    line = size_line(98.0, Offer())
    with pytest.raises(InputError, match="at least one station"):
        size_utilities(replace(line, stations=()), 1.0, 1.0, Offer(), WORLDS)
    broken = replace(line.stations[0], power_w=float("nan"))
    with pytest.raises(InputError, match="power_w"):
        size_utilities(
            replace(line, stations=(broken, *line.stations[1:])), 1.0, 1.0, Offer(), WORLDS
        )
    with pytest.raises(InputError, match="vacuum_bays"):
        size_utilities(line, 1.0, 1.0, Offer(), WORLDS, vacuum_bays=-3)
    with pytest.raises(InputError, match="no figure"):
        size(98.0)["steam"]

"""Cars along the line and what they switch on."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.basis import InputError
from capture.utilities import compute_timeline, spread_entries


def brute(
    entries: np.ndarray, start: np.ndarray, wet: np.ndarray, amount: np.ndarray,
    car: float, speed: float, times: np.ndarray,
) -> np.ndarray:  # fmt: skip
    """What is on at given times, looked at car by car and station by station."""
    nose = (times[:, None] - entries) * speed
    total = np.zeros(times.size)
    for s, w, a in zip(start, wet, amount, strict=True):
        total += a * ((nose >= s) & (nose < s + car + w)).any(axis=1)
    return total


@pytest.mark.property
@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), cars=st.integers(1, 12), stations=st.integers(1, 6))
def test_timeline_agrees_with_looking_at_every_moment(seed: int, cars: int, stations: int) -> None:
    rng = np.random.default_rng(seed)
    entries = np.cumsum(rng.uniform(5, 60, cars))
    start, wet = rng.uniform(0, 30, stations), rng.uniform(0, 3, stations)
    amount = rng.uniform(0, 5, stations)
    got = compute_timeline(
        entries, start_m=start, wetted_m=wet, amount=amount, car_length_m=4.9, chain_speed_mps=0.2
    )
    times = rng.uniform(0, got.time_s[-1] + 10, 400)
    at = np.searchsorted(got.time_s, times, side="right") - 1
    held = np.where(at >= 0, got.amount[np.maximum(at, 0)], 0.0)
    want = brute(entries, start, wet, amount, 4.9, 0.2, times)
    assert np.allclose(held, want, atol=1e-9)
    assert got.peak <= amount.sum() + 1e-9
    assert got.total == pytest.approx(float(got.on_s @ amount))
    steps = np.diff(np.append(got.time_s, got.time_s[-1]))
    assert got.total == pytest.approx(float(steps @ got.amount), abs=1e-6)


def test_close_cars_keep_a_station_on() -> None:
    line = compute_timeline(
        [0.0, 10.0, 20.0], start_m=[0.0], wetted_m=[0.0], amount=[1.0],
        car_length_m=5.0, chain_speed_mps=0.25,
    )  # fmt: skip
    assert float(line.on_s[0]) == pytest.approx(40.0)
    assert line.peak == 1.0


def test_stations_apart_in_time_do_not_add_up() -> None:
    line = compute_timeline(
        [0.0], start_m=[0.0, 20.0], wetted_m=[0.0, 0.0], amount=[3.0, 4.0],
        car_length_m=5.0, chain_speed_mps=0.25,
    )  # fmt: skip
    assert line.peak == 4.0
    assert line.highest_mean(1000.0) == pytest.approx(140 / 1000)


@pytest.mark.property
def test_mean_over_a_window_is_between_mean_and_peak() -> None:
    rng = np.random.default_rng(3)
    line = compute_timeline(
        np.cumsum(rng.uniform(20, 60, 40)), start_m=[0, 5, 12], wetted_m=[1, 1, 1],
        amount=[1.0, 2.0, 3.0], car_length_m=5.0, chain_speed_mps=0.2,
    )  # fmt: skip
    means = [line.highest_mean(w) for w in (0.01, 10, 60, 600, 3000)]
    assert means[0] == pytest.approx(line.peak)
    assert means == sorted(means, reverse=True)


def test_no_cars_or_stations_use_nothing() -> None:
    for entries, stations in (([], [1.0]), ([0.0], [])):
        line = compute_timeline(
            entries, start_m=stations, wetted_m=stations, amount=stations,
            car_length_m=5.0, chain_speed_mps=0.2,
        )  # fmt: skip
        assert line.peak == line.total == line.highest_mean(60) == 0.0


@pytest.mark.parametrize(
    "wrong", [{"chain_speed_mps": 0.0}, {"car_length_m": -1.0}, {"amount": [1.0, 2.0]}]
)
def test_lines_without_sense_are_refused(wrong: dict[str, object]) -> None:
    usual: dict[str, object] = {
        "start_m": [0.0], "wetted_m": [1.0], "amount": [1.0], "car_length_m": 5.0,
        "chain_speed_mps": 0.2,
    }  # fmt: skip
    with pytest.raises(InputError):
        compute_timeline([0.0], **(usual | wrong))  # type: ignore[arg-type]


@pytest.mark.property
@settings(max_examples=30)
@given(rate=st.floats(5, 120), room=st.floats(0.3, 1.0), seed=st.integers(0, 99))
def test_entries_keep_their_headway_and_rate(rate: float, room: float, seed: int) -> None:
    least = room * 3600 / rate
    draws = np.random.default_rng(seed).random(4000)
    entries = spread_entries(rate, least_headway_s=least, hours=40, draws=draws)
    gaps = np.diff(entries)
    assert gaps.min() >= least - 1e-9
    spare = 3600 / rate - least
    assert gaps.mean() == pytest.approx(3600 / rate, abs=6 * spare / np.sqrt(gaps.size) + 1e-9)


@pytest.mark.parametrize(("rate", "least"), [(0.0, 1.0), (100.0, 40.0), (float("nan"), 1.0)])
def test_rates_without_sense_are_refused(rate: float, least: float) -> None:
    with pytest.raises(InputError):
        spread_entries(rate, least_headway_s=least, hours=1, draws=[0.5])


def test_a_window_must_be_positive() -> None:
    line = compute_timeline(
        [0.0], start_m=[0], wetted_m=[0], amount=[1], car_length_m=5, chain_speed_mps=1
    )
    with pytest.raises(InputError, match="window"):
        line.highest_mean(0.0)

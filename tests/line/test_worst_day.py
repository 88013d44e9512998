"""Does the worst day say what a count of the same cars, minute by minute, says?"""

from __future__ import annotations

import numpy as np
import pytest

from capture.basis import Offer, Worlds
from capture.hours import make_year_shape
from capture.line import compute_over_s, find_peak_s, find_worst, simulate_queue, size_line
from capture.line.queueing import Passages, draw_arrivals, find_most_waiting, pass_line


def pass_some(days: int = 6) -> Passages:
    rng = np.random.default_rng(4)
    arrives = draw_arrivals(np.full((days, 24), 30.0) * (np.arange(24) > 9), rng)
    return pass_line(
        arrives, np.full(arrives.shape, 30.0), headway_s=125.0, lanes=2, balk_cars=12.0,
        chance=rng.random(arrives.shape),
    )  # fmt: skip


def count_waiting(passages: Passages, day: int, at_s: np.ndarray) -> np.ndarray:
    """Count cars that have come, joined and not yet entered, at each moment."""
    here = passages.joined[day]
    came, gone = passages.arrives_s[day][here], passages.enters_s[day][here]
    return ((came <= at_s[:, None]) & (gone > at_s[:, None])).sum(axis=1)


@pytest.mark.property
@pytest.mark.parametrize("places", [0, 3, 8, 500])
def test_time_over_the_places_is_what_a_count_by_the_second_gives(places):
    passages = pass_some()
    over = compute_over_s(passages, places)
    moments = np.arange(0, 40 * 3600, 1.0) + 0.5
    for day in range(len(over)):
        counted = float((count_waiting(passages, day, moments) > places).sum())
        assert over[day] == pytest.approx(counted, abs=40)
    if places == 3:
        assert over.min() > 600
    if places == 500:
        assert over.max() == 0


@pytest.mark.property
def test_the_peak_is_when_the_most_wait():
    passages = pass_some()
    peak, most = find_peak_s(passages), find_most_waiting(passages)
    for day in range(len(most)):
        assert count_waiting(passages, day, peak[day : day + 1] + 0.001)[0] == most[day]


def test_the_worst_of_a_weekday_is_picked_and_none_is_made_up():
    weekday, day = np.array([5, 4, 5, 5]), np.array([3, 2, 10, 17])
    most, over = np.array([7.0, 30.0, 9.0, 9.0]), np.array([0.0, 99.0, 10.0, 60.0])
    found = find_worst(weekday, day, most, np.arange(4.0), over, places=8)
    assert found is not None
    assert (found.day, found.cars, found.at_s, found.over_s) == (17, 9, 3.0, 60.0)
    assert (found.days, found.days_over) == (3, 2)
    assert find_worst(weekday, day, most, most, over, places=8, which=0) is None


def test_a_queue_tells_its_worst_saturday_and_bays_have_none():
    offer, worlds = Offer(), Worlds(draws=100)
    shape = make_year_shape(offer)
    cars, line = np.full(100, 120_000.0), size_line(60.0, offer)
    queue = simulate_queue(cars, shape, line, offer, worlds, days=700, stacking_places=6)
    worst = queue.worst_saturday
    assert worst is not None
    assert shape.weekday[worst.day] == worst.weekday == 5
    assert worst.cars <= queue.most_waiting.max()
    assert 90 <= worst.days <= 110
    assert worst.over_s > 0
    assert 0 < worst.days_over <= worst.days
    assert 0 <= worst.at_s < 86_400
    bays = Offer(format="self_service")
    held = simulate_queue(
        cars, make_year_shape(bays), size_line(20.0, bays), bays, worlds, days=100
    )
    assert held.worst_saturday is None

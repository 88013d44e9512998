"""The duration curve and the busy hour are one number told twice: they must agree."""

from __future__ import annotations

import numpy as np
import pytest

from capture.basis import Offer, Worlds
from capture.hours import compute_duration_curve, estimate_busy_hour, make_year_shape


@pytest.mark.property
def test_curve_at_the_rank_is_the_busy_hour() -> None:
    worlds = Worlds(draws=4000)
    cars = 90_000.0 * np.exp(0.45 * worlds.normal("cars of a test")[0])
    shape = make_year_shape(Offer())
    busy = estimate_busy_hour(cars[None, :], shape, worlds, ["A"], rank=30)
    (row,) = compute_duration_curve(cars, shape, worlds, "A", ranks=[30])
    told = [row.cars.low, row.cars.value, row.cars.high]
    assert told == pytest.approx(np.quantile(busy.cars[0], [0.05, 0.5, 0.95]), rel=0.03)

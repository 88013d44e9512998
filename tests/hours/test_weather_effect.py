"""Is what weather does at a wash found in its sales, and a month that it does not explain?"""

import numpy as np
import pandas as pd
import pytest

from capture.basis import DataError, Offer
from capture.hours import VALUES, estimate_weather_effect, make_year_shape
from capture.hours.weather import classify_days, read_weather


def make_case(*, wet=0.4, rebound=1.5, thaw=1.9, rival_from=None, days=365, seed=2):
    rng = np.random.default_rng(seed)
    dates = pd.date_range("2025-01-01", periods=days)
    weather = pd.DataFrame(
        {
            "date": dates,
            "prcp": np.where(rng.random(days) < 0.25, 9.0, 0.0),
            "tmax": 12 - 14 * np.cos(2 * np.pi * np.arange(days) / 365) + rng.normal(0, 4, days),
            "snow": 0.0,
        }
    )
    flags = classify_days(read_weather(weather))
    factor = np.ones(days)
    factor[flags["rebound"]] = rebound
    factor[flags["thaw"]] = thaw
    factor[flags["wet"]] = wet
    factor[flags["shut"]] = 0
    shape = make_year_shape(Offer(), year=2025)
    means = 120_000 * shape.day_hours[np.arange(days) % 365] * factor[:, None]
    means *= rng.gamma(1 / 0.15**2, 0.15**2, days)[:, None]
    if rival_from is not None:
        means[rival_from:] *= 0.7
    counts = rng.poisson(means)[:, 8:20]
    time = pd.date_range("2025-01-01", periods=days * 24, freq="h")
    time = time[(time.hour >= 8) & (time.hour < 20)]
    return pd.DataFrame({"time": time, "cars": counts.ravel()}), weather, shape


def test_the_effect_of_rain_rebound_and_thaw_is_found():
    sales, weather, prior = make_case()
    effect = estimate_weather_effect(sales, weather, prior=prior)
    for one, true in zip(effect.kinds, (0.4, 1.5, 1.9), strict=True):
        assert one.days >= 4
        assert one.factor == pytest.approx(true, rel=0.12)
        assert one.low < one.factor < one.high
    assert effect.day_cv == pytest.approx(0.15, abs=0.03)
    own = VALUES.override(effect.to_values())
    assert own.value("wet_day_change_share") == pytest.approx(-0.6, abs=0.05)
    assert own["rebound_factor"].grade == "yours"


def test_a_rival_is_told_from_the_weather():
    sales, weather, prior = make_case(rival_from=273)
    months = estimate_weather_effect(sales, weather, prior=prior).months
    assert len(months) == 12
    left = np.array([one.left_over_share for one in months])
    assert left[9:].mean() / 1 < left[:9].mean() - 0.2
    assert all(one.stands_out and one.left_over_share < 0 for one in months[9:])


def test_a_plain_year_has_few_months_that_stand_out():
    sales, weather, prior = make_case()
    months = estimate_weather_effect(sales, weather, prior=prior).months
    assert sum(one.stands_out for one in months) <= 2
    assert sum(one.cars for one in months) == pytest.approx(float(sales["cars"].sum()))
    wettest = max(months, key=lambda one: -one.weather_share)
    assert wettest.weather_share < 0


def test_weather_of_other_dates_is_refused():
    sales, weather, prior = make_case()
    later = weather.assign(date=weather["date"] + pd.Timedelta(days=4000))
    with pytest.raises(DataError, match="needs at least 60 days with both, got 0"):
        estimate_weather_effect(sales, later, prior=prior)

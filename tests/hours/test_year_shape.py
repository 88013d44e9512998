"""Does a year of hours keep its sum, its open hours, its weekdays and its weather?"""

import datetime
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.basis import DataError, InputError, Offer
from capture.hours import (
    VALUES,
    YearShape,
    compute_expected_hours,
    holiday_days,
    make_year_shape,
    read_weather,
)
from capture.hours.normals import make_usual_days
from capture.hours.weather import add_weather_factor, compute_weather_factor
from capture.hours.year import normalise_shares


def daily(year=2023, *, rain=None, high=15.0, snow=None):
    dates = pd.date_range(f"{year}-01-01", f"{year}-12-31")
    table = pd.DataFrame({"DATE": dates, "PRCP": 0.0, "TMAX": high, "TMIN": high - 8, "SNOW": 0.0})
    for day in rain or ():
        table.loc[day, "PRCP"] = 12.0
    for day in snow or ():
        table.loc[day, "SNOW"] = 40.0
    return table


@pytest.mark.property
@settings(max_examples=25, deadline=None)
@given(
    opens=st.integers(0, 22),
    length=st.integers(1, 24),
    cars=st.floats(0, 1e6),
    year=st.sampled_from([2023, 2024, 2025, 2026]),
)
def test_hours_sum_to_the_year_and_stay_open(opens, length, cars, year):
    closes = min(24, opens + length)
    shape = make_year_shape(Offer(opens_hour=opens, closes_hour=closes), year=year)
    assert math.fsum(shape.share) == 1.0
    hours = compute_expected_hours([cars, 2 * cars], shape)
    assert hours.shape == (2, 8760)
    assert math.fsum(hours[0]) == pytest.approx(cars, rel=1e-12, abs=1e-9)
    by_hour = shape.hour_share
    assert (by_hour[:opens] == 0).all()
    assert (by_hour[closes:] == 0).all()
    assert (by_hour[opens:closes] > 0).all()


@pytest.mark.property
@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0, 1e9), min_size=1, max_size=400).filter(lambda w: sum(w) > 1e-3))
def test_any_weights_are_scaled_to_exactly_one(weights):
    shares = normalise_shares(weights)
    assert math.fsum(shares) == pytest.approx(1.0, abs=2e-16)
    assert (shares >= 0).all()


def test_the_year_starts_on_its_own_weekday_and_saturday_is_busiest():
    shape = make_year_shape(Offer(), year=2026)  # 1 January 2026 is a Thursday
    assert shape.first_weekday == datetime.date(2026, 1, 1).weekday() == 3
    assert int(np.argmax(shape.weekday_share)) == 5


@pytest.mark.practice
def test_peaks_fall_between_eleven_and_sixteen():
    shape = make_year_shape(Offer())
    busiest = np.argsort(shape.hour_share)[-5:]
    assert set(busiest) <= {11, 12, 13, 14, 15, 16}


@pytest.mark.practice
def test_salted_places_peak_more_than_sunny_ones():
    sunny = make_year_shape(Offer(), weather=daily())
    salted = make_year_shape(Offer(), weather=daily(snow=range(0, 60, 2), high=8.0))
    peak = [float(12 * shape.month_share.max()) for shape in (sunny, salted)]
    assert 1.1 <= peak[0] <= 1.35
    assert 1.25 <= peak[1] <= 2.0


def test_southern_seasons_are_half_a_year_away():
    north, south = make_year_shape(Offer()), make_year_shape(Offer(), southern=True)
    assert (int(north.month_share.argmax()) - int(south.month_share.argmax())) % 12 == 6


def test_road_hours_are_blended_in():
    road = np.where(np.arange(24) < 11, 2.0, 1.0)
    plain, blended = (
        make_year_shape(Offer(), road_hour_share=share) for share in (None, road / road.sum())
    )
    assert blended.hour_share[8:11].sum() > plain.hour_share[8:11].sum()
    flat = make_year_shape(Offer(), road_hour_share=np.full(24, 1 / 24))
    # a flat road flattens
    assert flat.hour_share[8:20].max() < plain.hour_share[8:20].max()


def test_rain_keeps_cars_away_and_the_day_after_brings_some():
    factor, counts = compute_weather_factor(
        daily(rain=[100]).rename(
            columns={"PRCP": "precipitation_mm", "TMAX": "high_c", "SNOW": "snow_mm"}
        )
    )
    change = VALUES.value("wet_day_change_share")
    assert counts == (1, 1, 0, 0)
    assert factor[100] / factor[99] == pytest.approx(1 + change)
    assert factor[101] / factor[99] == pytest.approx(VALUES.value("rebound_factor"))


def test_first_thaw_brings_many_and_hard_frost_shuts():
    table = daily(high=-2.0, snow=[10, 11])
    table.loc[14:, "TMAX"] = 9.0
    table.loc[200, "TMAX"] = -15.0
    days = add_weather_factor(table)
    assert (days.thaw_days, days.shut_days) == (2, 1)  # the frost ends in a thaw as well
    assert days.factor[14] == days.factor[:31].max()
    assert days.factor[200] == 0
    shape = make_year_shape(Offer(), weather=table)
    assert shape.day_share[200] == 0


def test_weather_moves_cars_within_a_month_only():
    dry, wet = daily(), daily(rain=range(0, 365, 3))
    shares = [make_year_shape(Offer(), weather=table).month_share for table in (dry, wet)]
    # up to which weekdays the wet days fall on
    assert shares[0] == pytest.approx(shares[1], rel=0.05)


def test_a_leap_day_is_left_out():
    shape = make_year_shape(Offer(), weather=daily(2024))
    assert shape.year == 2024
    assert shape.share.size == 8760


def test_monthly_normals_make_a_usual_year():
    normals = pd.DataFrame({"month": range(1, 13), "wet_days": [12] * 12, "high_c": [10.0] * 12})
    days = add_weather_factor(normals)
    assert days.wet_days == 144
    with pytest.raises(DataError, match="months 1 to 12"):
        make_usual_days(normals.head(11), year=2025)
    with pytest.raises(DataError, match="wet_days must be 0 to 28"):
        make_usual_days(normals.assign(wet_days=40), year=2025)


def test_holidays_come_from_the_library_and_lower_their_day():
    days = holiday_days(2025, country="US")
    assert days[0] == "New Year's Day"
    plain = make_year_shape(Offer(), year=2025)
    held = make_year_shape(Offer(), year=2025, country="US")
    assert held.day_share[0] < plain.day_share[0]
    with pytest.raises(InputError, match="ISO codes"):
        holiday_days(2025, country="ZZ")


def test_closed_days_have_no_cars():
    shape = make_year_shape(Offer(), closed_days=[datetime.date(2025, 12, 25)])
    assert shape.day_share[358] == 0
    assert math.fsum(shape.share) == 1.0


def test_faults_in_a_weather_table_are_all_named():
    table = pd.DataFrame(
        {"date": ["2025-01-01", "x", "2025-01-01"], "prcp": [-1, 2, 3], "tmax": [5, 250, 4]}
    )
    with pytest.raises(DataError, match="row 2: date is not readable") as caught:
        read_weather(table)
    assert "prcp is -1" in str(caught.value)
    assert "tmax is 250" in str(caught.value)
    assert "stands twice" in str(caught.value)
    with pytest.raises(DataError, match="needs a column date"):
        read_weather(pd.DataFrame({"a": [1]}))
    with pytest.raises(DataError, match="one calendar year"):
        add_weather_factor(daily().head(100))
    with pytest.raises(InputError, match="year 1999"):
        add_weather_factor(daily(), year=1999)


def test_gaps_in_the_weather_are_said():
    table = daily()
    table.loc[5:9, "PRCP"] = np.nan
    assert any("5 days" in said for said in add_weather_factor(table).cautions)


def test_what_cannot_be_a_shape_is_refused():
    good = make_year_shape(Offer())
    changes = {
        "share": np.full(8760, 1.0),
        "first_weekday": 7,
        "day_noise_cv": -0.1,
    }
    for name, wrong in changes.items():
        fields = {key: getattr(good, key) for key in YearShape.__slots__} | {name: wrong}
        with pytest.raises(InputError):
            YearShape(**fields)
    for cars in (-1.0, math.nan, math.inf):
        with pytest.raises(InputError, match="cars_per_year"):
            compute_expected_hours([cars], good)
    with pytest.raises(InputError, match="road_hour_share"):
        make_year_shape(Offer(), road_hour_share=[1, 2])
    with pytest.raises(InputError, match="no hour of the year"):
        normalise_shares([0.0, 0.0])


@pytest.mark.property
@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10_000), middle=st.floats(-25, 40), gaps=st.floats(0, 0.5))
def test_any_weather_gives_a_whole_year_or_says_why_not(seed, middle, gaps):
    rng = np.random.default_rng(seed)
    table = daily()
    table["TMAX"] = np.clip(middle + rng.normal(0, 12, 365), -80, 60)
    table["PRCP"] = rng.gamma(0.3, 12, 365)
    table["SNOW"] = np.where(rng.random(365) < 0.1, 30.0, 0.0)
    for name in ("TMAX", "PRCP", "SNOW"):
        table.loc[rng.random(365) < gaps, name] = np.nan
    try:
        shape = make_year_shape(Offer(), weather=table)
    except InputError as error:
        assert "no hour of the year is open" in str(error)  # noqa: PT017
        return
    assert math.fsum(shape.share) == 1.0
    assert (shape.share >= 0).all()
    assert shape.day_share.max() * 365 < 40

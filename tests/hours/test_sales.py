"""Does a fit to hourly sales find the shape that made them, and say how far off it is?"""

import numpy as np
import pandas as pd
import pytest

from capture.basis import DataError, Offer
from capture.hours import VALUES, fit_sales, load_sales_table, make_year_shape

#: a wash unlike the defaults: Sundays and mornings, peak in July
OTHER = VALUES.override(
    {"weekday_sun": 2.0, "weekday_sat": 0.8, "workday_hour_09": 2.5, "month_sun_jul": 2.2,
     "month_salt_jul": 2.2, "day_cv_no_weather": 0.3}
)  # fmt: skip


def make_sales(days=365, cars=120_000, seed=4):
    shape = make_year_shape(Offer(), values=OTHER)
    rng = np.random.default_rng(seed)
    k = 1 / shape.day_noise_cv**2
    means = cars * shape.day_hours * rng.gamma(k, 1 / k, 365)[:, None]
    counts = rng.poisson(means)[:days, 8:20]
    time = pd.date_range("2025-01-01", periods=days * 24, freq="h")
    time = time[(time.hour >= 8) & (time.hour < 20)]
    return shape, pd.DataFrame({"time": time, "cars": counts.ravel()})


def test_a_year_of_sales_gives_its_shape_back():
    true, table = make_sales()
    prior = make_year_shape(Offer())
    fit = fit_sales(table, prior=prior)
    # a weekday has 52 days and a month 30 of unlike weight: three standard errors
    for name, near in (("weekday_share", 0.13), ("hour_share", 0.05), ("month_share", 0.22)):
        got, meant = getattr(fit.shape, name), getattr(true, name)
        assert got[meant > 0] == pytest.approx(meant[meant > 0], rel=near)
    assert fit.day_cv == pytest.approx(0.3, abs=0.04)
    assert fit.day_error_share < fit.default_day_error_share
    assert fit.hour_error_share < 0.05
    assert 0.1 < fit.held_out_error_share < 0.4
    assert fit.shape.peak_log_sd < prior.peak_log_sd
    assert make_year_shape(Offer(), sales=table).share == pytest.approx(fit.shape.share)


def test_a_few_weeks_move_only_what_they_have_seen():
    _, table = make_sales(days=28)
    prior = make_year_shape(Offer())
    fit = fit_sales(table, prior=prior)
    assert fit.shape.weekday_share[6] > prior.weekday_share[6]
    later = fit.shape.month_share[3:] / fit.shape.month_share[3:].sum()
    assert later == pytest.approx(prior.month_share[3:] / prior.month_share[3:].sum(), rel=0.05)


def test_dates_with_hours_are_read_and_half_hours_summed():
    table = pd.DataFrame(
        {"date": ["2025-03-01"] * 3, "hour": [9, 9, 10], "washes": [3, 4, 5], "row": [2, 3, 4]}
    )
    assert load_sales_table(table)["cars"].tolist() == [7, 5]


def test_faults_of_a_sales_file_are_named():
    with pytest.raises(DataError, match="needs a column time"):
        load_sales_table(pd.DataFrame({"a": [1]}))
    bad = pd.DataFrame({"time": ["2025-01-01 10:00", "never"], "cars": [-3, 2]})
    with pytest.raises(DataError, match="row 2: its date or hour") as caught:
        load_sales_table(bad)
    assert "cars is -3" in str(caught.value)
    short = make_sales(days=5)[1]
    with pytest.raises(DataError, match="at least 14 days"):
        fit_sales(short, prior=make_year_shape(Offer()))

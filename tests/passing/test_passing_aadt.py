"""The average day of a year, short counts, factors, design hours."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.basis import DataError, InputError
from capture.passing.aadt import (
    compute_average_day,
    compute_average_day_by_hour,
    compute_design_hours,
)
from capture.passing.expand import age_count, expand_short_count
from capture.passing.load import load_counts
from capture.passing.shapes import make_hour_share, make_season_factors
from capture.passing.values import VALUES

DAYS = pd.date_range("2023-01-01", "2023-12-31").to_numpy()


def _loop(volumes, days):
    """The same by the book: a list for each of the 84 cells."""
    cells = {}
    for volume, day in zip(volumes, pd.DatetimeIndex(days), strict=True):
        if math.isfinite(volume):
            cells.setdefault((day.month, day.day_of_week), []).append(volume)
    return sum(sum(c) / len(c) for c in cells.values()) / len(cells)


@pytest.mark.property
@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), gone=st.floats(0, 0.4))
def test_the_average_of_averages_is_the_books(seed, gone):
    rng = np.random.default_rng(seed)
    volumes = rng.uniform(100, 20_000, 365)
    volumes[rng.random(365) < gone] = np.nan
    found = compute_average_day(volumes, DAYS)
    assert found.aadt == pytest.approx(_loop(volumes, DAYS), rel=1e-12)
    assert found.plain_mean == pytest.approx(np.nanmean(volumes))
    assert found.days.sum() + found.incomplete_days == 365
    assert len(found.table()) == 84


def test_an_empty_cell_is_said_and_never_filled():
    volumes = np.full(365, 900.0)
    stamp = pd.DatetimeIndex(DAYS)
    volumes[(stamp.month == 2) & (stamp.day_of_week == 6)] = np.nan
    found = compute_average_day(volumes, DAYS)
    assert not found.complete
    assert found.empty_cells == ["Feb Sun"]
    assert math.isnan(found.cells[1, 6])
    assert "incomplete: 1 of 84" in found.describe()
    assert np.isfinite(found.season_factors()).all()


def test_bad_days_are_refused():
    with pytest.raises(DataError, match="no day has all its hours"):
        compute_average_day(np.full(3, np.nan), DAYS[:3])
    with pytest.raises(DataError, match="must be 0 or more"):
        compute_average_day(np.array([5.0, -1.0]), DAYS[:2])
    with pytest.raises(DataError, match="a day stands twice"):
        compute_average_day(np.array([5.0, 1.0]), DAYS[[0, 0]])


def test_hours_and_days_agree_on_a_full_year_and_missing_hours_do_not_bias():
    hours = pd.date_range("2023-01-01", "2023-12-31 23:00", freq="h")
    season = 1 / make_season_factors()
    volume = 10_000 * season[hours.month - 1, hours.day_of_week] * make_hour_share(2)[hours.hour]
    whole = compute_average_day_by_hour(volume.copy(), hours.to_numpy())
    assert whole == pytest.approx(volume.sum() / 365, rel=0.005)
    holed = volume.copy()
    holed[np.random.default_rng(1).random(len(holed)) < 0.1] = np.nan
    assert compute_average_day_by_hour(holed, hours.to_numpy()) == pytest.approx(whole, rel=1e-9)
    with pytest.raises(DataError, match="all 24 hours at least once"):
        compute_average_day_by_hour(volume[:20], hours[:20].to_numpy())


def test_design_hours_by_sorting():
    rng = np.random.default_rng(4)
    hours = rng.gamma(2, 300, (8760, 2))
    found = compute_design_hours(hours, 9_000)
    ordered = np.sort(hours.sum(axis=1))[::-1]
    for rank, share in found.k.items():
        assert share == pytest.approx(ordered[rank - 1] / 9_000)
    at = np.argsort(-hours.sum(axis=1), kind="stable")[29]
    assert found.d[30] == pytest.approx(hours[at].max() / hours[at].sum())
    assert all(0.5 <= d <= 1 for d in found.d.values())
    with pytest.raises(InputError, match="must be above 0"):
        compute_design_hours(hours, 0)


def test_short_counts_factor_by_factor():
    flat = np.ones((12, 7))
    day = expand_short_count(10_000, hours=24, month=5, weekday=2, season=flat)
    two = expand_short_count(20_000, hours=48, month=5, weekday=2, season=flat)
    assert day.aadt == two.aadt == 10_000
    assert two.log_sd < day.log_sd
    tube = expand_short_count(20_000, hours=24, month=5, weekday=2, season=flat, axles=True)
    assert tube.aadt == pytest.approx(20_000 * VALUES.value("axle_factor") / 2)
    assert "axle factor 0.95" in tube.story
    built_in = expand_short_count(10_000, hours=24, month=5, weekday=2)
    assert built_in.log_sd > day.log_sd
    assert built_in.aadt == pytest.approx(10_000 * make_season_factors()[4, 2])
    undated = expand_short_count(10_000, hours=24)
    assert undated.log_sd > built_in.log_sd
    part = expand_short_count(
        4_000, hours=8, month=5, weekday=2, season=flat, hour_share=make_hour_share(2)[7:15]
    )
    assert part.aadt == pytest.approx(4_000 / make_hour_share(2)[7:15].sum())
    assert part.log_sd > day.log_sd
    with pytest.raises(InputError, match="short count: vehicles must be"):
        expand_short_count(-1, hours=24)


@pytest.mark.property
@settings(max_examples=30, deadline=None)
@given(age=st.integers(0, 40), older=st.integers(1, 10))
def test_an_older_count_is_never_surer(age, older):
    _, young = age_count(9_000, 0.1, year=2026 - age, study_year=2026)
    _, old = age_count(9_000, 0.1, year=2026 - age - older, study_year=2026)
    assert 0.1 <= young < old


def test_factors_of_the_areas_own_station_are_used(tmp_path):
    """A year of days and a short count made by one rule give the same average day back."""
    months, weekdays = np.linspace(0.7, 1.3, 12), np.array([0.9, 1, 1, 1, 1.2, 1.1, 0.8])
    rows = ["station,date,hour,volume,lat,lon"]
    for day in pd.date_range("2023-01-01", "2023-12-31"):
        total = 8_000 * months[day.month - 1] * weekdays[day.day_of_week]
        rows += [f"C,{day.date()},{h},{total / 24:.6f},40.0,-75.0" for h in range(24)]
    (tmp_path / "year.csv").write_text("\n".join(rows))
    year = load_counts(tmp_path / "year.csv", study_year=2026)
    factors = year.hourly.average_days["C"].season_factors()
    day = expand_short_count(
        5_000 * months[9] * weekdays[1], hours=24, month=10, weekday=1, season=factors
    )
    mean = np.outer(months, weekdays).mean()
    assert day.aadt == pytest.approx(5_000 * mean, rel=1e-6)
    assert year.counts["kind"].tolist() == ["continuous"]
    assert year.hourly.design_hours["C"].k[1] == pytest.approx(1.3 * 1.2 / mean / 24, rel=1e-6)


def test_quarters_and_hours_side_by_side_give_one_day(tmp_path):
    quarters = ["station,lat,lon,time,volume,date"] + [
        f"A,40,-75,{h:02d}:{q:02d},10,2024-05-14" for h in range(24) for q in (0, 15, 30, 45)
    ]
    wide = ["station,lat,lon,date," + ",".join(f"h{h:02d}" for h in range(24))]
    wide.append("A,40,-75,2024-05-14," + ",".join(["40"] * 24))
    (tmp_path / "q.csv").write_text("\n".join(quarters))
    (tmp_path / "w.csv").write_text("\n".join(wide))
    a = load_counts(tmp_path / "q.csv", study_year=2026).counts.iloc[0]
    b = load_counts(tmp_path / "w.csv", study_year=2026).counts.iloc[0]
    assert a["vehicles_per_day"] == pytest.approx(b["vehicles_per_day"])
    assert a["vehicles_per_day"] == pytest.approx(960 * make_season_factors()[4, 1])


def test_part_of_a_day_is_said_to_be_less_sure(tmp_path):
    rows = ["station,lat,lon,hour,volume,date"]
    rows += [f"A,40,-75,{h},100,2024-05-14" for h in range(7, 19)]
    (tmp_path / "p.csv").write_text("\n".join(rows))
    count = load_counts(tmp_path / "p.csv", study_year=2026).counts.iloc[0]
    assert (
        count["log_sd"]
        > math.hypot(VALUES.value("sd_24h_log"), VALUES.value("sd_part_day_log")) - 1e-9
    )
    assert "in 12 h" in count["story"]
    share = make_hour_share(2)[7:19].sum()
    assert count["vehicles_per_day"] == pytest.approx(
        1200 / share * make_season_factors()[4, 1], rel=0.02
    )

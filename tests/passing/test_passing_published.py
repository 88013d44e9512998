"""Figures printed elsewhere, or worked by hand from a published formulation."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from published import assert_printed, load_rows, name_row

from capture.passing.aadt import compute_average_day, compute_design_hours
from capture.passing.expand import age_count, expand_short_count

ROWS = load_rows("passing")


def _design(given: dict[str, Any]):
    rank = given["rank"]
    hours = np.r_[np.linspace(given["hour"] + 5 * rank, given["hour"] + 1, rank - 1), given["hour"]]
    return compute_design_hours(np.r_[hours, np.zeros(100)], given["aadt"], ranks=(rank,)).k[rank]


def _average(given: dict[str, Any]):
    days = pd.date_range("2023-01-01", "2023-12-31")
    volume = np.array(given["week"], dtype=float)[days.day_of_week]
    volume *= np.where(days.month > 6, given["second_half_over_first"], 1.0)
    gone = days.isin(pd.to_datetime(given["missing"]))
    assert gone.sum() == len(given["missing"])
    volume[gone] = np.nan
    return compute_average_day(volume, days.to_numpy())


def compute(check: str, given: dict[str, Any]) -> float:
    if check == "k":
        return _design(given)
    if check == "ddhv":
        peak = given["aadt"] * given["k"]
        hour = np.array([[peak * given["d"], peak * (1 - given["d"])]])
        read = compute_design_hours(hour, given["aadt"], ranks=(1,))
        return given["aadt"] * read.k[1] * read.d[1]
    if check == "short":
        season = np.full((12, 7), given["daily"] * given["monthly"])
        return expand_short_count(
            given["vehicles"], hours=given["hours"], month=1, weekday=0, season=season
        ).aadt
    if check == "growth":
        rate = (given["later"] / given["aadt"]) ** (1 / given["years"]) - 1
        grown, _ = age_count(
            given["aadt"], 0.1, year=2000, study_year=2000 + given["years"], growth=(rate, 0.0)
        )
        assert grown == pytest.approx(given["later"])
        return 100 * rate
    average = _average(given)
    return average.plain_mean if check == "plain_mean" else average.aadt


@pytest.mark.published
@pytest.mark.parametrize("row", ROWS, ids=name_row)
def test_printed_figure(row):
    assert_printed(row, compute(row["check"], row["inputs"]))

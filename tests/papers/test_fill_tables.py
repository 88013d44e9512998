"""Do the tables on roads without a count say what the fit holds?"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from capture.papers.fill_tables import (
    make_cell_table,
    make_check_table,
    make_class_table,
    make_design_table,
    make_effect_table,
    make_held_table,
    say_model,
)
from capture.passing.aadt import compute_average_day
from capture.passing.fill import EXTRA, fit_fill, make_blocks
from capture.passing.values import CLASSES

NAMES = ("level", *CLASSES, *EXTRA)
PRIMARY, LANES = NAMES.index("primary"), NAMES.index("lanes")


@pytest.fixture(scope="module")
def fitted():
    """Fit 60 primary roads that carry 10,000 per two lanes, scattered by a tenth."""
    random = np.random.default_rng(5)
    design = np.zeros((60, len(NAMES)))
    design[:, 0] = design[:, PRIMARY] = 1.0
    design[:, LANES] = np.log(random.integers(1, 4, 60))
    log_counts = math.log(10_000) + design[:, LANES] + random.normal(0, 0.1, 60)
    blocks = make_blocks(random.uniform(0, 1e4, 60), random.uniform(0, 1e4, 60))
    return fit_fill(design, log_counts, np.full(60, 0.05), NAMES, blocks=blocks)


def test_effects_are_the_lines_own(fitted) -> None:
    table = make_effect_table(fitted).set_index("trait")
    lanes = float(fitted.table().set_index("term").at["lanes", "mean"])
    assert table.at["twice the lanes", "factor"] == pytest.approx(2**lanes)
    assert table.at["twice the lanes", "factor"] == pytest.approx(2.0, rel=0.1)
    assert (table["low"] < table["factor"]).all()
    assert (table["factor"] < table["high"]).all()


def test_class_volume_is_what_is_predicted_for_such_a_road(fitted) -> None:
    table = make_class_table(fitted).set_index("road_class")
    assert table.at["primary", "vehicles_per_day"] == pytest.approx(10_000, rel=0.1)
    assert len(table) == len(CLASSES)


def test_checks_count_who_lies_inside(fitted) -> None:
    held = make_held_table(fitted)
    checks = make_check_table(fitted).set_index("group")
    assert checks.at["all roads", "counts"] == len(held) == 60
    inside = ((held["low"] <= held["counted"]) & (held["counted"] <= held["high"])).sum()
    assert checks.at["all roads", "inside"] == inside
    assert checks.at["all roads", "coverage"] == pytest.approx(
        float((np.abs(fitted.misses()) <= 1.6448536269514722).mean())
    )
    assert 1.05 < checks.at["all roads", "typical_miss"] < 1.25
    assert f"{inside} of 60" in say_model(fitted)


def test_no_count_says_so_and_checks_nothing() -> None:
    empty = fit_fill(np.zeros((0, len(NAMES))), np.zeros(0), np.zeros(0), NAMES)
    assert "No count stands" in say_model(empty)
    assert len(make_check_table(empty)) == 0
    few = np.zeros((2, len(NAMES)))
    few[:, 0] = few[:, PRIMARY] = 1.0
    told = fit_fill(few, np.log([9e3, 8e3]), np.full(2, 0.1), NAMES, blocks=np.arange(2))
    assert "too few counts" in say_model(told)


def test_cells_are_hundredths_of_the_average_day() -> None:
    days = np.arange("2023-01-01", "2024-01-01", dtype="datetime64[D]")
    sunday = pd.DatetimeIndex(days).day_of_week == 6
    volumes = np.where(sunday, 400.0, 1100.0)
    volumes[pd.DatetimeIndex(days).month == 2] = np.nan
    table = make_cell_table(compute_average_day(volumes, days)).set_index(["month", "weekday"])
    assert table.at[("Jan", "Sun"), "label"] == "40"
    assert table.at[("Jan", "Mon"), "label"] == "110"
    assert table.at[("Feb", "Mon"), "label"] == "none"


def test_design_hours_leave_out_ranks_that_are_not_there() -> None:
    stations = pd.DataFrame(
        [{"station": "A", "k1": 0.1, "k10": 0.09, "k30": math.nan,
          "d1": 0.6, "d10": 0.55, "d30": math.nan}]
    )  # fmt: skip
    table = make_design_table(stations)
    assert table["rank"].tolist() == [1, 10]
    assert table["k"].tolist() == [0.1, 0.09]

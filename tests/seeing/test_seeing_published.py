"""Figures printed elsewhere for sight distances, letters and the sun."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest
from published import assert_printed, load_rows, name_row

from capture.basis.units import M_PER_FT, MPS_PER_MPH
from capture.seeing import compute_gap_distance, compute_needed, compute_readable, compute_stopping
from capture.seeing.sun import compute_sun

ROWS = load_rows("seeing")


def compute(check: str, given: dict[str, Any]) -> float:
    if check.startswith("sun"):
        times = pd.DatetimeIndex([given["time"]])
        azimuth, height = compute_sun(times, lat=given["lat"], lon=given["lon"])
        return float((azimuth if check == "sun_azimuth" else height)[0])
    if check == "readable_ft":
        return float(compute_readable(given["inches"] * M_PER_FT / 12)) / M_PER_FT
    speed = given["mph"] * MPS_PER_MPH
    if check == "gap_ft":
        made = compute_gap_distance(
            speed, manoeuvre=given["manoeuvre"], lanes_crossed=given["lanes"]
        )
        return float(made) / M_PER_FT
    one = {"needed_ft": compute_needed, "stopping_ft": compute_stopping}[check]
    return float(one(speed)) / M_PER_FT


@pytest.mark.published
@pytest.mark.parametrize("row", ROWS, ids=name_row)
def test_printed(row: dict[str, Any]) -> None:
    assert_printed(row, compute(row["check"], row["inputs"]))

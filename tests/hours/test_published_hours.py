"""Do the year's calendar and counting formulas give the figures printed for them?"""

import csv
import json
from pathlib import Path

import pytest

from capture.basis import Offer
from capture.hours import holiday_days, make_year_shape
from capture.hours.noise import compute_fewer_chance

ROWS = list(
    csv.DictReader(
        (Path(__file__).parents[1] / "published" / "hours.csv").read_text("utf-8").splitlines()
    )
)


def holiday_day(name, year):
    return next(day for day, said in holiday_days(year, country="US").items() if said == name)


CHECKS = {
    "fewer_chance": compute_fewer_chance,
    "holiday_day": holiday_day,
    "weekday": lambda year, day: int(make_year_shape(Offer(), year=year).weekday[day]),
}


@pytest.mark.published
@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['check']} {row['locator'][:40]}")
def test_printed_figure(row):
    got = CHECKS[row["check"]](**json.loads(row["inputs"]))
    assert got == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))

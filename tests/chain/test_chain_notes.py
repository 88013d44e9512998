"""Does a dated note given with a study reach its streams, its ranking and its remembered steps?"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from capture.area import open_area
from capture.chain import Memo, many, study
from capture.passing import RoadNote
from capture.place import find_sites, open_place

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"
HALVED = RoadNote(road="Tillman Road", starts=date(2020, 1, 1), factor=0.5, why="one lane shut")
DRAWS = 200


@pytest.fixture(scope="module")
def memo():
    return Memo()


@pytest.fixture(scope="module")
def demo():
    return open_area(DEMO)


def test_note_halves_its_road_and_leaves_the_others(demo, memo) -> None:
    asked = {"draws": DRAWS, "year": 2026, "memo": memo}
    plain = study(demo, "parcel:P01", **asked)
    noted = study(demo, "parcel:P01", notes=[HALVED], **asked)
    fresh = study(demo, "parcel:P01", notes=[HALVED], **{**asked, "memo": Memo()})
    on = np.array([road == "Tillman Road" for road in plain.streams.road])
    assert on.any()
    assert (~on).any()
    was, now = plain.streams.vehicles_per_day, noted.streams.vehicles_per_day
    # who passes two driveways is counted once, on the busier road, which moves a few per cent
    np.testing.assert_allclose(now[on], was[on] / 2, rtol=0.05)
    np.testing.assert_allclose(now[~on], was[~on], rtol=0.05)
    assert (noted.streams.log_sd[on] > plain.streams.log_sd[on]).all()
    assert all("one lane shut" in told for told in np.array(noted.streams.notes)[on])
    assert np.asarray(noted.cars_per_year).sum() < np.asarray(plain.cars_per_year).sum()
    np.testing.assert_array_equal(noted.cars_per_year, fresh.cars_per_year)
    again = study(demo, "parcel:P01", **asked)
    np.testing.assert_array_equal(again.cars_per_year, plain.cars_per_year)


def test_note_reaches_a_ranking_as_it_does_a_study(demo, memo) -> None:
    sites = find_sites(demo, open_place(demo), "parcel:P01")
    asked = {"draws": DRAWS, "year": 2026, "memo": memo, "notes": [HALVED]}
    row = many(demo, sites, **asked).ranking.iloc[0]
    one = study(demo, "parcel:P01", **asked)
    assert row["vehicles_per_day"] == pytest.approx(np.median(one.passing), rel=1e-9)

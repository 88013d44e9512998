"""What a notebook or a damaged file may pass to the chain: an answer or one sentence."""

from __future__ import annotations

import dataclasses
import datetime

import numpy as np
import pandas as pd
import pytest

from capture.basis import CaptureError, InputError, Offer, Worlds
from capture.chain import LineChoice, Works, YearChoice, study
from capture.chain.year_choice import MonthNormal

AT = ("P01", "D1")
ODD = {
    "seed text": (lambda: Worlds(seed="x"), "seed must be"),
    "seed nothing": (lambda: Worlds(seed=None), "seed must be"),
    "seed half": (lambda: Worlds(seed=1.5), "seed must be a whole number"),
    "draws text": (lambda: Worlds(draws="x"), "draws must be"),
    "draws half": (lambda: Worlds(draws=2.5), "draws must be a whole number"),
    "places text": (lambda: LineChoice(stacking_places="3"), "stacking_places must be"),
    "places beyond a lane": (lambda: LineChoice(stacking_places=400), "stacking_places must be"),
    "confidence text": (lambda: LineChoice(confidence_share="x"), "confidence_share must be"),
    "confidence nothing": (lambda: LineChoice(confidence_share=None), "confidence_share must be"),
    "package list": (lambda: LineChoice(package=["a"]), "package must be"),
    "country number": (lambda: YearChoice(country=3), "must be ISO codes"),
    "country tuple": (lambda: YearChoice(country=("US",)), "must be ISO codes"),
    "day as text": (lambda: YearChoice(closed_days=("2024-01-01",)), "must be a date"),
    "month text": (lambda: YearChoice(normals=(MonthNormal(wet_days="3"),) * 12), "wet_days must"),
    "grade text": (lambda: Works(grade_percent={AT: "x"}), "grade_percent must be"),
    "grade beyond turning's": (lambda: Works(grade_percent={AT: 25}), "grade_percent must be"),
    "spot text": (lambda: Works(front_xy={AT: "ab"}), "front_xy must be"),
    "spot nothing": (lambda: Works(sign_xy={AT: None}), "sign_xy must be"),
    "driveway without site": (lambda: Works(openings=["P01"]), "openings must name"),
    "driveway text": (lambda: Works(openings="P01"), "openings must name"),
    "driveways number": (lambda: Works(near_side_only=5), "near_side_only must name"),
    "plan perhaps": (lambda: Offer(plan_offered="yes"), "plan_offered must be true or false"),
}  # fmt: skip


@pytest.mark.regression
@pytest.mark.parametrize("name", ODD)
def test_odd_choice_gets_one_sentence(name):
    make, said = ODD[name]
    with pytest.raises(CaptureError, match=said):
        make()


_DAYS = pd.date_range("2025-01-01", periods=40)
REQUESTS = {
    "year none": ({"year": 0}, "year must be 1950 to 2100"),
    "year half": ({"year": 2026.5}, "year must be a whole number"),
    "year text": ({"year": "2026"}, "year must be"),
    "ties list": ({"ties": [1]}, "ties: must name"),
    "tie to nothing": ({"ties": {"x": None}}, "ties: must name"),
    "columns text": ({"columns": "x"}, "columns: must name"),
    "heading number": ({"columns": {5: 5}}, "columns: must name"),
    "sales no table": ({"sales": {"time": [1]}}, "sales: must be a table"),
    "sales of lists": (
        {"sales": pd.DataFrame({"time": _DAYS, "cars": [[1]] * 40})},
        "sales: row 1: cars",
    ),
    "sales with two times": (
        {"sales": pd.DataFrame([[_DAYS[0], _DAYS[0], 4]] * 30, columns=["time", "time", "cars"])},
        "'time' stands twice",
    ),
    "driveways no table": ({"driveways": [1]}, "driveways: must be a table"),
}  # fmt: skip


@pytest.mark.regression
@pytest.mark.parametrize("name", REQUESTS)
def test_odd_request_gets_one_sentence(demo, memo, name):
    given, said = REQUESTS[name]
    with pytest.raises(InputError if "sales" not in given else CaptureError, match=said):
        study(demo, "parcel:P01", draws=20, memo=memo, **given)


@pytest.mark.regression
def test_numbers_of_other_kinds_are_numbers():
    offer = Offer(ticket_price_usd=np.float32(9), bays=np.int64(2))
    assert type(offer.ticket_price_usd) is float
    assert type(offer.bays) is int
    assert YearChoice(country=" us").lay_year(None)["country"] == " us"
    assert Worlds(seed=np.int64(3)) == Worlds(seed=3)


@pytest.mark.regression
def test_lower_case_country_has_the_same_holidays():
    from capture.hours import holiday_days

    assert holiday_days(2025, country=" us ") == holiday_days(2025, country="US") != {}
    assert datetime.date(2025, 7, 4).timetuple().tm_yday - 1 in holiday_days(2025, country="us")


@pytest.mark.regression
def test_nearly_free_washes_are_not_more_than_the_cars(demo, memo):
    made = study(demo, "parcel:P01", Offer(ticket_price_usd=0.5), draws=200, memo=memo)
    assert made.share.rate.max() <= 1


@pytest.mark.regression
@pytest.mark.parametrize("price", ["=1+cmd", "-5", "1e300", "inf", "1.2.3 USD"])
def test_asking_price_that_is_none_names_its_parcel(demo, memo, p01, price):
    with pytest.raises(CaptureError, match="P01: asking_price_usd must be 0 to 1e"):
        study(demo, _price(p01, price), draws=20, memo=memo)


@pytest.mark.regression
@pytest.mark.parametrize(("price", "usd"), [("$ 1,200,000", 1.2e6), ("on request", np.nan)])
def test_asking_price_is_read_as_people_write_it(demo, memo, p01, price, usd):
    from capture.chain.joints import find_land_prices

    made = study(demo, _price(p01, price), draws=20, memo=memo)
    assert find_land_prices(made.chain.request) == pytest.approx([usd], nan_ok=True)


def _price(made, price):
    attributes = made.sites.attributes.assign(asking_price_usd=[price])
    return dataclasses.replace(made.sites, attributes=attributes)

"""Do holidays, closed days and monthly weather reach the chain, and is none forgotten?"""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from capture.basis import CaptureError
from capture.chain import LineChoice, MonthNormal, YearChoice, many, study
from capture.papers import render_study

DRAWS = 400
CHRISTMAS = datetime.date(2024, 12, 25)
WET = (MonthNormal(wet_days=14.0, snow_days=6.0, high_c=8.0),) * 12
CHOICES = {
    "country": YearChoice(country="US"),
    "subdivision": YearChoice(country="US", subdivision="TX"),
    "closed_days": YearChoice(closed_days=(CHRISTMAS,)),
    "normals": YearChoice(normals=WET),
}


def _start_afresh(memo):
    """A memory that knows the ground and nothing of the year."""
    ground = {"place", "frontage", "volumes", "streams", "terrain", "walls", "rivals", "fit"}
    return memo.start_from(ground)


@pytest.mark.parametrize("name", list(CHOICES))
def test_no_choice_of_the_year_is_forgotten_by_the_memo(demo, memo, p01, name):
    asked = {"draws": DRAWS, "year_choice": CHOICES[name]}
    changed = study(demo, "parcel:P01", memo=memo, **asked)
    fresh = study(demo, "parcel:P01", memo=_start_afresh(memo), **asked)
    assert render_study(changed) == render_study(fresh)
    assert not np.array_equal(changed.shape.share, p01.shape.share)


def test_an_undone_choice_finds_its_old_year_and_a_state_is_not_its_country(demo, memo, p01):
    shapes = {
        name: study(demo, "parcel:P01", draws=DRAWS, memo=memo, year_choice=one).shape
        for name, one in CHOICES.items()
    }
    assert not np.array_equal(shapes["country"].share, shapes["subdivision"].share)
    assert study(demo, "parcel:P01", draws=DRAWS, memo=memo).shape is p01.shape
    assert not any("no country is given" in text for text in shapes["country"].cautions)
    assert shapes["closed_days"].day_share[358] == 0
    assert any("monthly normals" in text for text in shapes["normals"].sources)


def test_one_row_of_many_is_the_study_in_a_chosen_year(demo, memo, ranked):
    chosen = YearChoice(country="US", closed_days=(CHRISTMAS,), normals=WET)
    sites = ranked.sites.take(np.array([ranked.sites.ids.index("P01"), 1]))
    row = many(demo, sites, draws=DRAWS, memo=memo, year_choice=chosen)
    one = study(demo, "parcel:P01", draws=DRAWS, memo=memo, year_choice=chosen)
    plain = many(demo, sites, draws=DRAWS, memo=memo)
    at = row.ranking.set_index("id").loc["P01"]
    assert row.npv_usd[0] == pytest.approx(one.money.npv_usd[0], rel=1e-4, abs=50)
    assert at["design_hour_cars"] == pytest.approx(one.design_hour_cars)
    assert at["design_hour_cars"] != plain.ranking.set_index("id").loc["P01", "design_hour_cars"]


@pytest.mark.parametrize(
    ("said", "asked"),
    [
        ("ISO codes", {"country": "ZZ"}),
        ("ISO codes", {"country": "US", "subdivision": "QQ"}),
        ("needs its country", {"subdivision": "TX"}),
        ("at most 364", {"closed_days": (CHRISTMAS,) * 365}),
        ("must be 12", {"normals": WET[:11]}),
        ("month 2: wet_days", {"normals": (WET[0], MonthNormal(wet_days=40.0), *WET[2:])}),
        ("high_c must be", {"normals": (MonthNormal(wet_days=1.0, high_c=float("nan")),) * 12}),
    ],
)
def test_a_year_that_cannot_be_is_refused_in_words(said, asked):
    with pytest.raises(CaptureError, match=said):
        YearChoice(**asked)


def test_mud_roads_excuse_preparing_by_hand(demo, memo, p01):
    from capture.line import usual_catalog

    catalog = usual_catalog()
    by_hand = [name for name, one in catalog.stations.items() if one.role == "manual_prep"]
    listed = [*by_hand, *(one.id for one in catalog.pick("complete"))]
    own = catalog.save_package("own", list(dict.fromkeys(listed)))
    breaks = {
        told: {
            one.rule
            for one in study(
                demo, "parcel:P01", draws=DRAWS, memo=memo,
                line=LineChoice(catalog=own, package="own", circumstances=told),
            ).line.rule_breaks
        }
        for told in ((), ("mud_roads",))
    }  # fmt: skip
    assert breaks[()] - breaks[("mud_roads",)] == {"no_manual_prep"}
    with pytest.raises(CaptureError, match="circumstances must be of mud_roads"):
        LineChoice(circumstances=("snow",))

"""Does a ranking agree with each parcel's own study when something is built or laid by hand?"""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from capture.basis import InputError
from capture.chain import Works, many, study
from capture.chain.together import choose_parcels
from capture.place import load_parcels

DRAWS = 200


@pytest.fixture(scope="module")
def few(demo, p01):
    """Six parcels of the demo, P01 first."""
    return load_parcels(demo, p01.place, None).take(np.arange(6))


def _rank(demo, few, memo, **given):
    made = many(demo, few, draws=DRAWS, memo=memo, **given)
    return made, made.ranking.set_index("id")


def _assert_agrees(row, made):
    day = np.quantile(made.cars_per_year / 365, [0.5, 0.05, 0.95])
    told = row[["cars_per_day", "cars_per_day_low", "cars_per_day_high"]].to_list()
    assert told == pytest.approx(day, rel=1e-6)
    assert row["npv_usd"] == pytest.approx(made.money.npv_usd.mean(), rel=1e-6)


@pytest.mark.regression
def test_ranked_with_its_works_as_its_own_study(demo, memo, p01, few):
    works = Works(near_side_only=[("P01", "D1"), ("P01", "D2")], grade_percent={("P01", "D1"): 6})
    screen = int(np.asarray(p01.place.screens.osm_id)[0])
    cut = Works(cut_screens={screen: 0.0})
    _, plain = _rank(demo, few, memo)
    made, ranked = _rank(demo, few, memo, works={"P01": works, "P02": cut, "P99": works})
    own = study(demo, "parcel:P01", draws=DRAWS, works=works, memo=memo)
    _assert_agrees(ranked.loc["P01"], own)
    _assert_agrees(ranked.loc["P02"], study(demo, "parcel:P02", draws=DRAWS, works=cut, memo=memo))
    assert ranked.loc["P01", "cars_per_day"] < plain.loc["P01", "cars_per_day"]
    others = ["P03", "P04", "P05", "P06"]
    told = ["cars_per_day", "npv_usd", "struck", "reason"]
    pd.testing.assert_frame_equal(ranked.loc[others, told], plain.loc[others, told])
    assert "nobody turns across at driveway D1 of P01" in ranked.loc["P01", "taken_as_built"]
    assert set(made.works) == {"P01", "P02"}
    assert "taken_as_built" not in plain


@pytest.mark.regression
def test_ranked_with_driveways_laid_by_hand(demo, memo, p01, few):
    one = p01.frontage.take([0])
    _, ranked = _rank(demo, few, memo, frontages={"P01": one})
    own = study(demo, "parcel:P01", draws=DRAWS, frontage=one, memo=memo)
    _assert_agrees(ranked.loc["P01"], own)
    assert own.passing.mean() < p01.passing.mean()


@pytest.mark.regression
def test_works_at_a_driveway_that_is_gone_strike_only_their_parcel(demo, memo, few):
    gone = Works(openings=[("P03", "D9")])
    _, ranked = _rank(demo, few, memo, works={"P03": gone})
    assert ranked.loc["P03", "struck"]
    assert "no driveway 'D9' at site 'P03'" in ranked.loc["P03", "reason"]
    assert not ranked.drop("P03")["reason"].str.contains("D9").any()


def test_works_of_another_site_are_refused(demo, memo, few):
    with pytest.raises(InputError, match="works: those of site P02 name a driveway of P01"):
        _rank(demo, few, memo, works={"P02": Works(openings=[("P01", "D1")])})


@pytest.mark.regression
def test_choosing_together_takes_what_the_ranking_took(demo, memo, few):
    works = {"P01": Works(near_side_only=[("P01", "D1"), ("P01", "D2")])}
    made, ranked = _rank(demo, few, memo, works=works)
    alone = made.ranking.assign(struck=made.ranking["id"] != "P01")
    made = dataclasses.replace(made, ranking=alone)
    chosen = choose_parcels(made, 1, exactly=True, memo=memo)
    assert chosen["alone_usd"][0] == pytest.approx(ranked.loc["P01", "npv_usd"], rel=1e-3)

"""Do the tables behind the screens on rivals and on the share add up to what the rooms say?"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from capture.basis import InputError
from capture.papers.operator_tables import (
    judge_second,
    make_member_table,
    make_two_streams_table,
    say_second,
)
from capture.papers.rival_tables import (
    find_near,
    make_home_table,
    make_passed_table,
    make_people_table,
    make_pull_table,
)
from capture.papers.share_tables import (
    make_by_stream_table,
    make_check_table,
    make_coverage_table,
    make_fit_ladder,
    make_influence_table,
    make_learning_table,
    make_step_table,
    say_ladder,
)
from capture.papers.words import say_number
from capture.share import check_left_out, leave_out
from siteapp import engine
from siteapp.workspace import Inputs

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"


@pytest.fixture(scope="module")
def study():
    return engine.get_brief(Inputs(area=str(DEMO), site="parcel:P07", draws=800))


def test_pull_adds_up_and_shut_washes_add_nothing(study) -> None:
    table = make_pull_table(study)
    assert table["pull"].sum() == pytest.approx(study.around.pull[0], rel=1e-12)
    assert table["pull_share"].sum() == pytest.approx(1)
    assert (table.loc[table["status"] != "open", "pull"] == 0).all()


def test_home_shares_are_those_of_the_room(study) -> None:
    table = make_home_table(study)
    assert table["share"].sum() == pytest.approx(1, rel=1e-9)
    assert table["share"].iloc[0] == pytest.approx(study.around.huff_share[0], rel=1e-9)


def test_people_by_band_rise_and_meet_the_factor(study) -> None:
    table = make_people_table(study).set_index("within_min")
    assert (table["people"].diff().dropna() >= 0).all()
    assert table.loc[10.0, "people"] == pytest.approx(study.around.people_10min[0], rel=1e-9)


def test_passed_names_the_rivals(study) -> None:
    table = make_passed_table(study)
    np.testing.assert_allclose(table["passed_share"], study.around.passed_first_share)
    seen = table[table["passed_share"] > 0.1]
    assert len(seen)
    assert seen["why"].str.contains("come past").all()


def test_near_wash_is_found_and_far_one_is_not(study) -> None:
    lat, lon = float(study.rivals.lat[0]), float(study.rivals.lon[0])
    assert find_near(study.rivals, study.place, lat, lon, within_m=50) == study.rivals.ids[0]
    assert find_near(study.rivals, study.place, lat + 0.005, lon, within_m=50) == ""


def test_steps_multiply_up_to_the_typical_share(study) -> None:
    table = make_step_table(study)
    steps = table[table["key"] != "rate"]
    typical = np.exp(np.log(study.share.rate[0]).mean())
    assert np.prod(steps["factor"]) == pytest.approx(typical, rel=1e-9)
    assert steps["to_share"].iloc[-1] == pytest.approx(typical, rel=1e-9)
    assert (steps["why"] != "").all()


def test_streams_share_out_all_cars(study) -> None:
    table = make_by_stream_table(study)
    assert table["part"].sum() == pytest.approx(1)
    typical = np.exp(np.log(study.share.rate[0]).mean())
    whole = typical * float(np.asarray(study.streams.vehicles_per_day).sum())
    assert table["cars_per_day"].sum() == pytest.approx(whole, rel=1e-9)


def test_learning_narrows_and_influence_names_the_far_row(study) -> None:
    table = make_learning_table(study.fit, study.worlds)
    width = np.log(table["high"] / table["low"]) / np.log(table["prior_high"] / table["prior_low"])
    assert (width < 1.05).all()
    assert width.mean() < 0.8
    rows = make_influence_table(study.fit, own=["K36"])
    assert rows.loc[rows["outlier"], "id"].tolist() == ["K36"]
    assert rows.set_index("id").loc["K36", "whose"] == "yours"
    without = leave_out(study.fit, ["K08"])
    assert without.known_count == study.fit.known_count - 1


def test_checks_and_coverage_agree(study) -> None:
    checks = [check_left_out(study.fit, unit) for unit in ("site", "town")]
    cover = make_coverage_table(checks).set_index(["told_from", "width"])["inside_share"]
    table = make_check_table(checks[0])
    inside = (table["place"] == "inside its range").mean()
    assert cover["the other sites", 0.9] == pytest.approx(inside)
    held = (table["share"] >= table["low"]) & (table["share"] <= table["high"])
    assert held.mean() == pytest.approx(inside)


def test_ladder_ends_at_the_fit_in_use(study) -> None:
    known = study.fit.known
    ladder = make_fit_ladder(study, known, known, [])
    assert next(words for words, _ in ladder) == "starting values alone"
    assert ladder[-1][1].value == pytest.approx(float(np.median(study.share.rate[0])), rel=0.01)
    widths = [number.high / number.low for _, number in ladder]
    assert widths[1] < widths[0]
    assert "instead of" in say_ladder(ladder)


def test_members_grow_towards_the_long_run(study) -> None:
    table, said = make_two_streams_table(study)
    assert "trade practice" in said
    grown = make_member_table(study)
    long_run = float(table.set_index("what").loc["members in the long run", "value"])
    assert grown["members"].iloc[0] < 0.3 * long_run
    assert grown["members"].iloc[-1] == pytest.approx(long_run, rel=0.25)


def test_second_site_takes_from_a_near_first_more_than_from_a_far_one(study) -> None:
    near = {"lat": float(study.sites.lat[0]), "lon": float(study.sites.lon[0])}
    apart = np.hypot(study.rivals.x - study.sites.x[0], study.rivals.y - study.sites.y[0])
    far = int(np.argmax(apart))
    told = [
        judge_second(study, **spot, cars_per_year=90_000.0, line_cars_per_hour=40.0)
        for spot in (
            near,
            {"lat": float(study.rivals.lat[far]), "lon": float(study.rivals.lon[far])},
        )
    ]
    assert told[0].shared_share > told[1].shared_share
    assert told[0].second.moved.value > told[1].second.moved.value
    for each in told:
        assert each.second.gross.mean == pytest.approx(
            each.second.net.mean + each.second.moved.mean, rel=1e-6
        )
        assert each.lengthening is not None
        assert each.lengthening.gain.value > 0


def test_second_site_in_cars_and_money_agrees_with_the_strip(study) -> None:
    near = {"lat": float(study.sites.lat[0]), "lon": float(study.sites.lon[0])}
    told = judge_second(study, **near, cars_per_year=90_000.0)
    assert told.second.gross.value == pytest.approx(float(np.median(study.cars_per_year)))
    cash = told.cash.set_index("what")["value"]
    worth = np.asarray(study.money.npv_usd)[0]
    assert cash["value today of the second alone"] == pytest.approx(np.median(worth), rel=1e-6)
    both = cash["value today of what both bring over the first alone"]
    assert both < cash["value today of the second alone"]
    assert 0 <= cash["chance that the second adds value"] <= 1
    said = say_second(told.second)
    assert say_number(told.second.gross.value) in said
    assert not re.search(r"\d{2},\d[1-9]\d", said)


def test_a_first_site_far_off_takes_nothing_from_the_second_s_money(study) -> None:
    from capture.papers.operator_tables import price_second_cash
    from capture.share import Moved, judge_second_site

    none = np.zeros(study.worlds.draws)
    second = judge_second_site(
        study.cars_per_year,
        90_000.0,
        Moved(
            member_cars=none,
            tickets=none,
            nearer_share=0.0,
            zone_share=np.zeros(1),
            living_share=np.ones(1),
        ),
    )
    cash = dict(price_second_cash(study, second, np.ones(study.worlds.draws)))
    assert cash["value today of the cars that move from the first"].value == 0.0


def test_second_site_needs_cars_at_the_first(study) -> None:
    with pytest.raises(InputError, match="above 0"):
        judge_second(study, lat=43.6, lon=-87.3, cars_per_year=0.0)

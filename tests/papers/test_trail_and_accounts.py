"""Does the trail hold every input, the weakest first, and is every number accounted for?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from capture.basis import InputError, Offer
from capture.papers.accounts import (
    SCREEN_STEPS,
    account_for_row,
    choose_step,
    list_accounts,
)
from capture.papers.pictures import make_money_table
from capture.papers.sources import TRAIL_ORDER
from capture.papers.steps import STEPS
from capture.papers.study_json import make_source_book
from capture.papers.trail import COLUMNS, count_grades, make_trail
from capture.papers.why import explain, find_movers, measure_inputs


@pytest.fixture(scope="module")
def trail(demo_study: Any) -> Any:
    return make_trail(demo_study, make_source_book(demo_study))


def test_every_number_choice_file_and_stream_stands_on_the_trail_once(trail, demo_study) -> None:
    ids = list(trail["id"])
    assert len(ids) == len(set(ids))
    numbers = {f"{room}.{n.name}" for room, s in demo_study.numbers.items() for n in s.values()}
    assert numbers <= set(ids)
    assert {f"offer.{name}" for name in Offer().to_dict()} <= set(ids)
    assert {f"data.{kind}" for kind in demo_study.area.layers} <= set(ids)
    assert {f"stream.{r + 1}" for r in range(len(demo_study.streams.edge))} <= set(ids)
    assert not any(name.startswith("step.") for name in ids)
    assert list(trail.columns) == list(COLUMNS)


def test_the_weakest_stand_first_and_within_a_grade_what_moves_most(trail) -> None:
    places = [TRAIL_ORDER.index(grade) for grade in trail["grade"]]
    assert places == sorted(places)
    for _, rows in trail.groupby("grade"):
        parts = rows["part"].fillna(-1).to_list()
        assert parts == sorted(parts, reverse=True)


def test_how_far_an_input_moves_the_value_is_read_from_the_same_draws(trail, demo_study) -> None:
    worth = np.asarray(demo_study.money.npv_usd)[0]
    first = find_movers(demo_study, worth, "money", most=1)[0]
    row = trail[trail["id"] == first.source]
    if len(row):
        assert float(row["part"].iloc[0]) == pytest.approx(first.part)
    moved = trail[trail["part"] > 0]
    assert len(moved) > 3
    assert moved["npv_if_low_usd"].notna().all()
    assert trail[~(trail["part"] > 0)]["npv_if_low_usd"].isna().all()


def test_an_input_that_is_the_number_itself_explains_all_of_it(demo_study) -> None:
    number = demo_study.numbers["money"]["staff_exterior"]
    draws = demo_study.worlds.constant(number)
    found = measure_inputs(demo_study, draws, "money")["money.staff_exterior"]
    assert found.part == pytest.approx(1.0)
    assert found.at_low < found.at_high


def test_answers_and_what_was_given_by_hand_stand_on_the_trail(demo_study) -> None:
    from capture.ground import Answer
    from capture.ground.breakers import judge_parcel

    told = judge_parcel({"sewer": Answer(status="ask", who="Ann", date="2024-01-02")})
    ground = replace(demo_study.ground, table=told)
    request = replace(demo_study.chain.request, known=demo_study.fit.known)
    made = replace(demo_study, chain=replace(demo_study.chain, request=request, ground=(ground,)))
    table = make_trail(made, make_source_book(made)).set_index("id")
    assert table.loc["answer.sewer", "value"] == "ask"
    assert table.loc["answer.sewer", "changed_by"] == "Ann, 2024-01-02"
    assert table.loc["given.known", "value"] == f"{len(demo_study.fit.known)} rows"
    changed = make_trail(made, make_source_book(made), changed={"given.known": "you, yesterday"})
    assert changed.set_index("id").loc["given.known", "changed_by"] == "you, yesterday"


def test_grades_are_counted_whole(trail) -> None:
    counted = count_grades(trail)
    assert int(counted["inputs"].sum()) == len(trail)


@pytest.mark.parametrize("screen", SCREEN_STEPS)
def test_every_number_of_a_screen_has_equation_inputs_and_sources(screen, demo_study) -> None:
    book = make_source_book(demo_study)
    accounts = list_accounts(demo_study, screen)
    assert len({account.label for account in accounts}) == len(accounts)
    for account in accounts:
        why = explain(demo_study, account.claim, book)
        assert why.step.equation
        assert why.trail
        assert why.inputs or account.claim.step == "ground"


def test_each_row_of_the_money_table_is_told_by_its_own_draws(demo_study) -> None:
    for row in make_money_table(demo_study).to_dict("records"):
        account = account_for_row(demo_study, "Money", "What the site is worth", row["what"], "")
        assert account.instead == ""
        draws = np.asarray(getattr(demo_study.money, row["key"]))[0]
        np.testing.assert_array_equal(account.claim.draws, draws)


@pytest.mark.parametrize(
    ("screen", "caption", "step"),
    [
        ("Line", "How many cars wait, by hour", "queue"),
        ("Line", "Water, by what it is for", "utilities"),
        ("Line", "Stations in order", "line"),
        ("Turning in & seeing", "How far off the sign is seen", "seeing"),
        ("Turning in & seeing", "Ways in and out", "turning"),
        ("Money", "What the site is worth", "money"),
        ("no such screen", "anything", "money"),
    ],
)
def test_a_table_s_caption_tells_which_step_made_it(screen, caption, step) -> None:
    assert choose_step(screen, caption) == step
    assert step in STEPS


def test_a_row_without_draws_is_told_by_its_step_and_the_nearest_claim(demo_study) -> None:
    account = account_for_row(demo_study, "Line", "How long they wait", "at noon", "40 s")
    assert account.claim.step == "queue"
    assert "design hour" in account.instead
    why = explain(demo_study, account.claim, make_source_book(demo_study))
    assert why.inputs[0][0] == "cars in the design hour"


def test_a_screen_that_is_not_there_is_refused(demo_study) -> None:
    with pytest.raises(InputError, match="screen must be one of"):
        list_accounts(demo_study, "Cellar")

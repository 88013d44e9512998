"""Does the short list say what a parcel may cost, whom to call next, and why some are out?"""

from __future__ import annotations

from typing import Any

import pytest

from capture.ground import Answer, AnswerBook
from capture.papers.html_table import say_table
from capture.papers.shortlist import (
    SHORT,
    make_parcel_table,
    make_short_table,
    make_struck_table,
    say_call,
)
from capture.papers.withheld import WITHHELD


def test_next_call_is_the_first_that_nobody_has_answered() -> None:
    book = AnswerBook(by_parcel={"P": {"zoning": Answer(status="pass")}})
    assert say_call("P", book).startswith("road authority: driveway permit")
    assert say_call("Q", book).startswith("planning office")


def test_once_all_is_answered_what_must_be_dealt_with_is_next() -> None:
    from capture.ground.breakers import BY_KEY

    told = {key: Answer(status="pass") for key in BY_KEY} | {"sewer": Answer(status="ask")}
    book = AnswerBook(by_parcel={"P": told})
    assert say_call("P", book).startswith("sewer authority")
    cleared = AnswerBook(by_parcel={"P": {**told, "sewer": Answer(status="pass")}})
    assert say_call("P", cleared).startswith("nobody")


def test_short_list_holds_every_parcel_that_stands_and_no_other(demo_many: Any) -> None:
    ranking = demo_many.ranking
    table = make_short_table(ranking, None)
    assert len(table) == int((~ranking["struck"]).sum())
    assert len(make_struck_table(ranking, "us")) == int(ranking["struck"].sum())
    said = say_table(table, SHORT)
    assert len(said.headings) == len(SHORT)
    assert table["asking"].str.startswith("$").all()


def test_paybacks_that_no_plan_looks_ahead_to_are_not_told_apart(demo_many: Any) -> None:
    ranking = demo_many.ranking.assign(payback_years=640.0)
    assert set(make_short_table(ranking, None)["payback"]) == {"over 100 years"}
    some = str(ranking["id"].iloc[0])
    said = make_parcel_table(ranking, some, "us").set_index("what")["said"]
    assert said["pays back in"] == "over 100 years"


def test_struck_out_parcels_say_why_in_the_reader_s_units(demo_many: Any) -> None:
    ranking = demo_many.ranking
    ranking = ranking.assign(struck=True, reason="the building is too long by 10.0 m")
    assert "32.8 ft" in make_struck_table(ranking, "us")["reason"].iloc[0]
    assert "10.0 m" in make_struck_table(ranking, "metric")["reason"].iloc[0]


@pytest.mark.parametrize("hidden", [True, False])
def test_the_next_call_is_withheld_with_the_answers(demo_many: Any, hidden: bool) -> None:
    calls = set(make_short_table(demo_many.ranking, None, hidden=hidden)["call"])
    assert (calls == {WITHHELD}) is hidden


def test_a_price_as_an_office_writes_it_is_the_one_that_the_money_takes(demo_many: Any) -> None:
    given = demo_many.ranking.drop(columns="asking_price_usd")
    given["Asking Price ($)"] = "$929,000"
    assert set(make_short_table(given, None)["asking"]) == {"$929,000"}

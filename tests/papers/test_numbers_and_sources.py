"""Are numbers written the same way each time, and does each lead to its source?"""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from capture.basis import InputError, Range, Sheet, Worlds, practice
from capture.papers.numbers import make_plain, render_json, round_digits, sum_draws, write_number
from capture.papers.sources import GRADE_WORDS, TRAIL_ORDER, Entry, SourceBook, weakest_grade
from capture.papers.steps import STEPS
from capture.papers.words import say_amount, say_money, say_number, say_spread


@pytest.mark.property
@pytest.mark.parametrize("value", [1.0, -3.14159265, 1e-12, 6.02214076e23, 0.1 + 0.2, 0.0])
def test_rounding_twice_changes_nothing(value) -> None:
    once = round_digits(value)
    assert round_digits(once) == once
    assert math.isclose(once, value, rel_tol=5.1e-6)


def test_endless_draws_are_null_with_words() -> None:
    draws = np.array([5.0] * 90 + [np.inf] * 10)
    written = write_number(sum_draws(draws, "years"), "step.money")
    assert written["value"] == 5
    assert written["high"] is None
    assert written["mean"] is None
    assert written["words"] == "without end in 10 % of draws"
    json.loads(render_json(written))


def test_undefined_draws_are_counted_not_hidden() -> None:
    draws = np.array([0.1] * 98 + [np.nan] * 2)
    written = write_number(sum_draws(draws, "share"), "step.money")
    assert written["value"] == 0.1
    assert written["words"] == "undefined in 2.0 % of draws"
    nothing = write_number(sum_draws([np.nan], "share"), "step.money")
    assert nothing["value"] is None
    assert nothing["words"]


def test_summing_nothing_is_refused() -> None:
    with pytest.raises(InputError, match="got none"):
        sum_draws([], "m")


def test_summed_draws_equal_the_range_of_them() -> None:
    draws = Worlds(seed=1, draws=500).normal("x")[0]
    assert sum_draws(draws, "m").range == Range.of(draws, "m")


@pytest.mark.parametrize("bad", [math.nan, math.inf, {"a": -math.inf}, [float("nan")]])
def test_no_number_without_end_gets_into_a_file(bad) -> None:
    with pytest.raises(InputError, match="finite numbers"):
        make_plain(bad)


def test_unknown_things_are_refused() -> None:
    with pytest.raises(InputError, match="no form for set"):
        make_plain({1, 2})


def test_book_refuses_two_meanings_of_one_id() -> None:
    book = SourceBook()
    book.add(Entry(id="a", title="t", locator="", grade="published"))
    book.add(Entry(id="a", title="t", locator="", grade="published"))
    with pytest.raises(InputError, match="stands twice"):
        book.add(Entry(id="a", title="u", locator="", grade="published"))
    with pytest.raises(InputError, match="grade 'good'"):
        book.add(Entry(id="b", title="u", locator="", grade="good"))


def test_trail_starts_with_the_weakest() -> None:
    book = SourceBook()
    for grade in ("exact", "invented", "practice", "measured"):
        book.add(Entry(id=grade, title="t", locator="", grade=grade))
    assert [entry.grade for entry in book.trail()] == ["invented", "practice", "measured", "exact"]
    assert weakest_grade(book.entries()) == "invented"


def test_walk_reaches_every_constant_below_a_result() -> None:
    book = SourceBook()
    book.add_sheet(Sheet("line", [practice("pitch_m", 5.5, 6.7, 8.5, "m", "car and gap")]))
    book.add(
        Entry(id="x", title="t", locator="", grade="computed", made_from=book.room_ids("line"))
    )
    book.add(Entry(id="y", title="t", locator="", grade="computed", made_from=("x", "gone")))
    assert [entry.id for entry in book.walk("y")] == ["y", "x", "line.pitch_m"]
    assert book.unresolved() == ["gone"]


def test_every_grade_has_words_and_a_place_in_the_trail() -> None:
    assert set(TRAIL_ORDER) == set(GRADE_WORDS)


@pytest.mark.property
def test_steps_only_stand_on_earlier_steps() -> None:
    seen: set[str] = set()
    for step in STEPS.values():
        assert set(step.after) <= seen, step.key
        seen.add(step.key)


@pytest.mark.parametrize(
    ("value", "unit", "system", "said"),
    [
        (1234567.0, "USD", "us", "$1.23 M"),
        (30.48, "m", "us", "100 ft"),
        (0.2286, "chain_mps", "us", "45 ft/min"),
        (math.inf, "years", "us", "never"),
        (math.nan, "share", "us", "not known"),
        (0.0, "share", "us", "0 %"),
        (999.6, "cars/day", "us", "1,000 cars a day"),
    ],
)
def test_amounts_are_said_plainly(value, unit, system, said) -> None:
    assert say_amount(value, unit, system) == said


def test_spread_keeps_units_where_ends_differ() -> None:
    low_high = Range(value=1, low=-2e5, high=1.2e6, mean=1, unit="USD")
    assert say_spread(low_high) == "-$200,000 to $1.2 M"
    assert say_number(0.000123, digits=2) == "0.00012"
    assert say_money(-0.5) == "-$0.5"

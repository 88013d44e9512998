"""Are the usual hours, weekdays and months numbers that are listed, and that can be replaced?"""

from __future__ import annotations

import numpy as np
import pytest

from capture.basis import InputError, Sheet
from capture.chain import load_numbers
from capture.papers.usual_tables import make_usual_days, make_usual_hours
from capture.passing import VALUES
from capture.passing.expand import expand_short_count
from capture.passing.shapes import make_hour_share, make_season_factors
from capture.passing.usual import MONTHS, SHAPES, WEEKDAYS, list_usual


def test_every_usual_number_is_listed_with_its_grade_and_range() -> None:
    names = {number.name for number in list_usual()}
    assert len(names) == len(SHAPES) * 24 + len(MONTHS) + len(WEEKDAYS)
    assert names <= set(VALUES)
    for name in names:
        number = VALUES[name]
        assert number.grade == "memory"
        assert number.low < number.value < number.high


def test_weights_of_a_day_and_of_a_year_are_consistent() -> None:
    for shape in SHAPES:
        day = [VALUES.value(f"{shape}_hour_{hour:02d}") for hour in range(24)]
        assert sum(day) == pytest.approx(1000, rel=0.01)
    assert np.mean([VALUES.value(f"month_{m}") for m in MONTHS]) == pytest.approx(1, abs=0.01)
    assert np.mean([VALUES.value(f"weekday_{d}") for d in WEEKDAYS]) == pytest.approx(1, abs=0.01)


def test_replaced_hour_moves_the_day_and_keeps_its_sum() -> None:
    own = VALUES.override({"arterial_hour_07": 2 * VALUES.value("arterial_hour_07")})
    usual, moved = make_hour_share(2), make_hour_share(2, values=own)
    assert moved.sum() == pytest.approx(1)
    assert moved[7] / moved[8] == pytest.approx(2 * usual[7] / usual[8])
    np.testing.assert_array_equal(make_hour_share(6, values=own), make_hour_share(6))


def test_replaced_month_changes_a_short_count_of_that_month_alone() -> None:
    own = VALUES.override({"month_jul": 2.0})
    ask = {"hours": 48, "weekday": 1}
    july, may = (expand_short_count(20_000, month=m, **ask).aadt for m in (7, 5))
    july_own, may_own = (
        expand_short_count(20_000, month=m, values=own, **ask).aadt for m in (7, 5)
    )
    assert may_own / may == pytest.approx(make_rise(own), rel=1e-9)
    assert july_own / july == pytest.approx(make_rise(own) * VALUES.value("month_jul") / 2)
    assert (1 / make_season_factors(values=own)).mean() == pytest.approx(1)


def make_rise(own: Sheet) -> float:
    """How the average of the year moves against an unchanged month."""
    sums = [sum(sheet.value(f"month_{m}") for m in MONTHS) for sheet in (own, VALUES)]
    return float(sums[0] / sums[1])


def test_a_weight_of_nothing_is_refused_in_a_sentence() -> None:
    with pytest.raises(InputError, match="month_jan"):
        load_numbers({"passing.month_jan": 0.0})


def test_usual_tables_say_what_the_rooms_numbers_say() -> None:
    own = VALUES.override({"month_jul": 2.0})
    days, hours = make_usual_days(own), make_usual_hours(own)
    july = days.set_index("what").loc["July"]
    assert (july["over_average"], july["grade"]) == (2.0, "yours")
    assert len(days) == 19
    assert hours.drop(columns="hour").sum().tolist() == pytest.approx([1, 1, 1])

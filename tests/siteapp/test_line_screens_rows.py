"""Do stations, sales and answers of a study reach the chain as they were meant, and back?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from capture.basis import CaptureError, InputError, Offer
from capture.line import size_line, usual_catalog
from capture.papers import line_tables, works_tables
from siteapp import own_line
from siteapp.workspace import Inputs


def test_old_answers_of_a_status_alone_and_full_ones_are_both_read() -> None:
    told = {"zoning": "fail", "sewer": {"status": "ask", "cost_low_usd": 1e4, "who": "city"}}
    found = own_line.get_answers(told, "P01").of("P01")
    assert found["zoning"].status == "fail"
    assert (found["sewer"].status, found["sewer"].cost_low_usd, found["sewer"].who) == (
        "ask", 1e4, "city",
    )  # fmt: skip
    assert own_line.get_answers({}, "P01") is None


@pytest.mark.parametrize(
    "told", [{"zoning": 3}, {"zoning": {"state": "ask"}}, {"zoning": {"status": "maybe"}}]
)
def test_a_damaged_answer_is_said_and_not_taken(told) -> None:
    with pytest.raises(CaptureError):
        own_line.get_answers(told, "P01")


def test_answers_survive_the_workspace() -> None:
    kept = {"zoning": "pass", "sewer": {"status": "ask", "months_high": 4.0}}
    again = Inputs.from_dict(Inputs(answers=kept).to_dict())
    assert again.answers == kept


def test_removed_and_moved_stations_make_another_line() -> None:
    usual = usual_catalog().pick("complete")
    before = line_tables.make_edit_table(usual, "us")
    after = before.drop(index="dressing")
    after.loc["rinse", "place"] = 15.5
    order, changed = line_tables.read_edit_table(before, after, "us")
    assert changed == {}
    assert "dressing" not in order
    assert order.index("rinse") == order.index("spot_free") + 1
    choice = own_line.get_choice({"stations": order, "from": "complete"})
    line = size_line(90.0, Offer(), package=choice.package, catalog=choice.catalog)
    assert [one.id for one in line.stations if not one.is_over_another] == [
        name for name in order if not usual_catalog().stations[name].with_station
    ]


@pytest.mark.parametrize("system", ["us", "metric"])
def test_a_changed_amount_comes_back_in_si_and_nothing_else_moves(system) -> None:
    usual = usual_catalog().pick("complete")
    before = line_tables.make_edit_table(usual, system)
    heading = line_tables.list_edit_columns(system)["power_w"]
    after = before.copy()
    after.loc["dryers", heading] = 2 * before.loc["dryers", heading]
    _, changed = line_tables.read_edit_table(before, after, system)
    assert list(changed) == ["dryers"]
    assert list(changed["dryers"]) == ["power_w"]
    power = next(one for one in usual if one.id == "dryers").power_w
    assert changed["dryers"]["power_w"] == pytest.approx(2 * power, rel=0.01)


def test_an_emptied_cell_is_refused() -> None:
    before = line_tables.make_edit_table(usual_catalog().pick("essential"), "us")
    after = before.astype({"contact, s": float})
    after.loc["dryers", "contact, s"] = np.nan
    with pytest.raises(InputError, match="dryers"):
        line_tables.read_edit_table(before, after, "us")


def test_own_stations_and_kept_packages_serve() -> None:
    base = list(usual_catalog().packages["essential"].stations)
    added = {"own_1": {"name": "my arch", "role": "own", "purpose": "mine", "body_m": 3.0}}
    listed = [*base[:-1], "own_1", base[-1]]
    choice = own_line.get_choice({"stations": listed, "added": added, "from": "essential"})
    own = size_line(50.0, Offer(), package=choice.package, catalog=choice.catalog)
    usual = size_line(50.0, Offer(), package="essential")
    assert own.length_m == pytest.approx(usual.length_m + 3.0)
    kept = own_line.get_choice(
        {"packages": {"mine": {"stations": base[:-2] + base[-1:], "from": "essential"}},
         "package": "mine"}
    )  # fmt: skip
    assert kept.catalog.packages["mine"].fastest_mps == pytest.approx(
        usual_catalog().packages["essential"].fastest_mps
    )
    short = size_line(50.0, Offer(), package="mine", catalog=kept.catalog)
    assert short.length_m < usual.length_m


@pytest.mark.parametrize(
    "line",
    [
        {"stations": ["load", "no such"]},
        {"changed": {"dryers": {"power_w": -1.0}}},
        {"changed": {"dryers": 3}},
        {"added": {"x": {"colour": "red"}}},
        {"confidence": 2.0},
    ],
)
def test_damaged_stations_are_said_and_not_taken(line) -> None:
    with pytest.raises(CaptureError):
        own_line.get_choice(line)


def test_sales_come_back_from_a_study_hour_by_hour() -> None:
    times = pd.date_range("2025-03-01 08:00", periods=6, freq="h")
    table = pd.DataFrame({"time": times, "cars": [3.0, 0.0, 5.0, 7.0, 1.0, 2.0]})
    table = table.drop(index=1)
    packed = own_line.pack_sales(table)
    assert packed == [["2025-03-01", 8, 3.0, 0.0, 5.0, 7.0, 1.0, 2.0]]
    again = own_line.get_sales(packed)
    assert again["cars"].sum() == table["cars"].sum()
    assert again.loc[again["cars"] > 0, "time"].tolist() == table["time"].tolist()
    assert own_line.get_sales([]) is None


def test_answers_edited_on_screen_come_back_as_typed() -> None:
    from capture.ground import check_ground

    line = size_line(60.0, Offer())
    before = works_tables.make_answer_table(check_ground(None, line, Offer()))
    after = before.copy()
    after.loc["sewer", "answer"] = "ask"
    after.loc["sewer", "least cost, $"] = 5_000.0
    after.loc["sewer", "when"] = "2025-02-03"
    told = works_tables.read_answer_table(before, after)
    assert told == {"sewer": {"status": "ask", "cost_low_usd": 5_000.0, "date": "2025-02-03"}}
    found = own_line.get_answers(told, "P").of("P")
    ground = check_ground(None, line, Offer(), answers=found)
    assert ground.cost_low_usd == 5_000.0

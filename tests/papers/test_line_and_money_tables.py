"""Do the tables behind busy hour, line, works and money say what the study holds?"""

from __future__ import annotations

import io
import zipfile

import numpy as np
import pytest

from capture.papers import hour_tables, line_tables, money_tables, works_tables


def test_the_year_adds_up_over_days_months_and_hours(demo_study) -> None:
    cars = float(np.mean(demo_study.cars_per_year))
    days = hour_tables.make_day_table(demo_study)
    assert days["cars"].sum() == pytest.approx(cars)
    assert days["day"].is_unique
    assert len(days) == 365
    by_month = hour_tables.make_month_hour_table(demo_study)
    lengths = {m: (days["month"] == m).sum() for m in by_month["month"].unique()}
    total = sum(lengths[row.month] * row.cars_per_hour for row in by_month.itertuples())
    assert total == pytest.approx(cars)


def test_fullest_hours_fall_and_hold_the_chosen_one(demo_study) -> None:
    table = hour_tables.make_range_table(demo_study)
    assert demo_study.offer.busy_rank in set(table["rank"])
    for name in ("cars", "low", "high"):
        assert np.all(np.diff(table[name]) <= 1e-9)
    chosen = table.set_index("rank").loc[demo_study.offer.busy_rank, "cars"]
    assert chosen == pytest.approx(np.median(demo_study.busy.cars[0]), rel=0.12)


def test_each_answer_to_how_often_leads_to_a_line_and_one_is_chosen(demo_study) -> None:
    table = hour_tables.make_full_table(demo_study)
    assert (table["chosen"] == "chosen").sum() == 1
    assert np.all(np.diff(table["line_cars_per_hour"]) <= 1e-9)
    assert (table["line_cars_per_hour"] >= table["design_cars_per_hour"] - 1e-6).all()
    assert np.all(np.diff(table["lost_share"]) >= 0)


def test_two_lines_share_the_hour(demo_study) -> None:
    table = line_tables.make_parallel_table(demo_study)
    needed = demo_study.line.needed_cars_per_hour
    assert (table["cars_per_hour"] >= needed - 1e-6).all()
    assert table["length_m"].is_monotonic_decreasing


def test_the_chosen_line_lies_on_the_frontier(demo_study) -> None:
    table, own = line_tables.make_frontier_table(demo_study)
    off = np.abs(table["length_m"] - own["length_m"]) + np.abs(
        table["cars_per_hour"] - own["cars_per_hour"]
    )
    assert off.min() < 1e-6
    best = line_tables.find_most_cars(demo_study, own["length_m"])
    assert best.cars_per_hour == pytest.approx(own["cars_per_hour"])


def test_every_utility_figure_stands_in_one_group_with_a_caution(demo_study) -> None:
    groups = works_tables.make_group_tables(demo_study.utilities)
    shown = [what for table, _ in groups.values() for what in table["what"]]
    assert sorted(shown) == sorted(one.label for one in demo_study.utilities.figures.values())
    assert all(cautions for _, cautions in groups.values())


def test_share_of_days_falls_and_meets_the_queue(demo_study) -> None:
    table = line_tables.make_most_waiting_table(demo_study.queue).set_index("cars")
    assert table["share_of_days"].is_monotonic_decreasing
    places = int(demo_study.queue.stacking_places)
    over = table["share_of_days"].get(places + 1, 0.0)
    assert over == pytest.approx(demo_study.queue.share_of_days_over_stacking)


def test_schedule_is_a_workbook_with_every_sheet(demo_study) -> None:
    sheets = works_tables.make_schedule_tables(demo_study)
    with zipfile.ZipFile(io.BytesIO(works_tables.render_schedule(demo_study))) as book:
        text = book.read("xl/workbook.xml").decode()
    assert all(f'name="{name}"' in text for name in sheets)
    assert len(sheets["Schedule"]) == len(demo_study.line.stations) + 1


def test_movers_and_land_agree_with_the_money(demo_study) -> None:
    movers = money_tables.make_tornado_table(demo_study)
    assert len(movers) >= 5
    assert movers["index_share"].is_monotonic_decreasing
    land = money_tables.make_land_table(demo_study).set_index("chance_share")["land_usd"]
    assert land[0.5] == pytest.approx(np.median(demo_study.money.land_ceiling_usd[0]))
    assert land.is_monotonic_decreasing


def test_loan_and_cash_stand_in_order(demo_study) -> None:
    table = money_tables.make_debt_table(demo_study)
    assert (table["low"] <= table["value"]).all()
    assert (table["value"] <= table["high"]).all()


def test_nothing_is_worth_more_than_knowing_all(demo_study) -> None:
    with pytest.warns(UserWarning, match="draws are few"):
        table, whole = money_tables.make_knowing_table(
            demo_study, money_tables.make_measure_table()
        )
    assert (table["value_usd"] <= whole["perfect_usd"] + 1e-6).all()
    assert table["net_usd"].is_monotonic_decreasing


def test_an_own_car_is_priced_at_its_margin(demo_study) -> None:
    margin = np.asarray(demo_study.money.terms.margin_usd)
    assert line_tables.price_car(demo_study) == pytest.approx(
        np.median(margin[:, -12:].sum(axis=1))
    )

"""Does a workbook open elsewhere, hold what the study says, and never a formula?"""

from __future__ import annotations

import io

import numpy as np
import openpyxl
import pytest

from capture.papers.workbook import make_sheets, render_ranking_workbook, render_workbook
from capture.papers.workbook_tables import make_year_table

STARTS = ("=", "+", "-", "@")


def open_book(content: bytes) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(content))


def read_rows(book: openpyxl.Workbook, name: str) -> list[dict[str, object]]:
    rows = list(book[name].iter_rows(values_only=True))
    return [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]


@pytest.fixture(scope="module")
def book(demo_study) -> openpyxl.Workbook:
    return open_book(render_workbook(demo_study, date="1 May 2024"))


def test_workbook_has_every_sheet(book, demo_study) -> None:
    assert book.sheetnames == ["About", *make_sheets(demo_study)]
    assert {
        "Argument", "Passing", "Rivals", "Share", "Line schedule", "Water and power",
        "Money by year", "Deal-breakers", "Sources", "Cautions", "Data", "Steps",
    } <= set(book.sheetnames)  # fmt: skip


def test_values_not_formulas(book, demo_study) -> None:
    assert {cell.data_type for sheet in book for row in sheet for cell in row} <= {"n", "s"}
    argument = {row["what"]: row for row in read_rows(book, "Argument")}
    cars = argument["washed a day"]
    assert cars["value"] == pytest.approx(np.median(demo_study.cars_per_year) / 365, rel=1e-5)
    assert cars["source"] == "step.year"
    assert cars["known by"] == "estimated"
    assert argument["pass a day"]["known by"] == "invented demo data"


def test_sources_named_in_sheets_are_in_the_book_of_sources(book) -> None:
    known = {row["id"] for row in read_rows(book, "Sources")}
    for name in ("Argument", "Share", "Months", "Line", "Queue", "Money", "Money by year"):
        named = {row["source"] for row in read_rows(book, name)}
        assert named <= known, name


def test_every_table_of_numbers_says_where_they_come_from(book) -> None:
    for sheet in book:
        if sheet.title not in {"About", "Cautions", "Steps"}:
            assert "source" in [cell.value for cell in sheet[1]], sheet.title


def test_about_tells_program_data_and_licence(book) -> None:
    about = {row[0].value: row[1].value for row in book["About"].iter_rows()}
    assert about["data"] == "invented demo data"
    assert about["date"] == "1 May 2024"
    assert "site-to-line" in about["program"]
    assert {row["licence"] for row in read_rows(book, "Data")} >= {"CC0 1.0, invented data"}


def test_schedule_sums_to_the_line(book, demo_study) -> None:
    rows = read_rows(book, "Line schedule")
    assert len(rows) == len(demo_study.line.stations) + 1
    length = next(name for name in rows[0] if name.startswith("length"))
    total = sum(row[length] for row in rows[:-1])
    assert total == pytest.approx(rows[-1][length], abs=1.0)
    assert total * 0.3048 == pytest.approx(demo_study.line.length_m, rel=0.01)


def test_years_add_up_to_the_months(demo_study) -> None:
    years = make_year_table(demo_study)
    schedule = demo_study.money.schedule(0)
    total = float(np.asarray(schedule.before_debt).mean(axis=0).sum())
    assert years["before_debt_usd"].sum() == pytest.approx(total, rel=1e-9)
    parts = years[["spent_usd", "operating_usd", "sold_at_end_usd"]].sum(axis=1)
    assert parts.to_numpy() == pytest.approx(years["before_debt_usd"].to_numpy(), rel=1e-9)
    assert (years["before_debt_low_usd"] <= years["before_debt_high_usd"]).all()


@pytest.mark.property
def test_same_workbook_same_bytes(demo_study, demo_many) -> None:
    assert render_workbook(demo_study) == render_workbook(demo_study)
    assert render_ranking_workbook(demo_many) == render_ranking_workbook(demo_many)


@pytest.mark.regression
def test_hostile_names_are_text_that_starts_no_formula(hostile_study) -> None:
    book = open_book(render_workbook(hostile_study))
    told = [cell.value for sheet in book for row in sheet for cell in row
            if isinstance(cell.value, str)]  # fmt: skip
    assert {cell.data_type for sheet in book for row in sheet for cell in row} <= {"n", "s"}
    assert [value for value in told if value.startswith(STARTS)] == []
    assert any("{{7*191}}" in value and value.startswith("'=1+1") for value in told)
    assert not any("1337" in value for value in told)


def test_ranking_keeps_struck_parcels_with_their_reason(demo_many) -> None:
    rows = read_rows(open_book(render_ranking_workbook(demo_many)), "Ranking")
    assert [row["id"] for row in rows] == demo_many.ranking["id"].tolist()
    for row, struck in zip(rows, demo_many.ranking["struck"], strict=True):
        assert row["struck out"] == ("yes" if struck else "no")
        assert (row["rank"] is None) == bool(struck)
        if struck:
            assert row["reason"]
    first = demo_many.ranking.iloc[0]
    assert rows[0]["value today (USD)"] == pytest.approx(first["npv_usd"], rel=1e-5)

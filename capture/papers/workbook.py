"""How does a study become a workbook: values with their unit, range and source, no formulas?

One sheet per question. Text is written as text, so that no cell is ever run; numbers stay
numbers in SI with the unit in the heading, so that they can be worked with.
"""

from __future__ import annotations

import datetime
import io
import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import pandas as pd

import capture
from capture.basis import plain_text
from capture.papers import pictures
from capture.papers.argument import make_argument
from capture.papers.folder import list_credits
from capture.papers.look import INK, SAND
from capture.papers.numbers import round_digits
from capture.papers.sources import GRADE_WORDS
from capture.papers.study_json import make_source_book

#: written into the file as its date of making, so that the same study gives the same bytes
FIXED_DATE: Final = datetime.datetime(2000, 1, 1)
MOST_TEXT: Final = 2000
WIDEST: Final = 60


def make_sheets(study: Any) -> dict[str, pd.DataFrame]:
    """Make the tables of a workbook, by the name of their sheet."""
    sheets = {
        "Argument": _argument_table(study),
        "Passing": pictures.make_stream_table(study),
        "Rivals": pictures.make_rival_table(study),
        "Share": pictures.make_share_table(study),
        "Months": pictures.make_month_table(study),
        "Week": pictures.make_week_table(study),
        "Line": pictures.make_station_table(study),
        "Queue": pictures.make_queue_table(study),
        "Water and power": pictures.make_utility_table(study),
        "Money": pictures.make_money_table(study),
        "Cash": pictures.make_cash_table(study),
        "Deal-breakers": pd.DataFrame(study.ground.to_rows()),
        "Cautions": pd.DataFrame({"caution": list(study.cautions)}),
        "Sources": _source_table(study),
    }
    return {name: table for name, table in sheets.items() if len(table)}


def _argument_table(study: Any) -> pd.DataFrame:
    rows = []
    for claim in make_argument(study):
        found = claim.summed.range
        rows.append(
            {
                "what": claim.words,
                "value": found.value,
                "low (5th percentile)": found.low,
                "high (95th percentile)": found.high,
                "mean": found.mean,
                "unit": claim.unit,
                "source": f"step.{claim.step}",
                "note": claim.summed.words,
            }
        )
    return pd.DataFrame(rows)


def _source_table(study: Any) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "id": entry.id,
                "what": entry.meaning,
                "value used": entry.value,
                "low": entry.low,
                "high": entry.high,
                "unit": entry.unit,
                "how sure": GRADE_WORDS[entry.grade],
                "source": entry.title,
                "where in it": entry.locator,
            }
            for entry in make_source_book(study).trail()
        ]
    )


def render_workbook(study: Any, *, date: str = "") -> bytes:
    """Render a study as an XLSX workbook; the same study gives the same bytes.

    Parameters
    ----------
    study : Study
    date : str
        As it is to be written on the first sheet; left out when empty.
    """
    import xlsxwriter

    buffer = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    book = xlsxwriter.Workbook(buffer, options)
    book.set_properties({"title": "Site study", "created": FIXED_DATE})
    head = book.add_format(
        {"bold": True, "font_color": INK, "bg_color": SAND, "bottom": 2, "text_wrap": True,
         "valign": "top"}
    )  # fmt: skip
    wrap = book.add_format({"text_wrap": True, "valign": "top"})
    _write_about(book, study, head, wrap, date)
    for name, table in make_sheets(study).items():
        _write_sheet(book.add_worksheet(name), table, head, wrap)
    book.close()
    return buffer.getvalue()


def _write_about(book: Any, study: Any, head: Any, wrap: Any, date: str) -> None:
    sheet = book.add_worksheet("About")
    sites = study.sites
    rows = [
        ("site", f"{sites.names[0]} ({float(sites.lat[0]):.6f}, {float(sites.lon[0]):.6f})"),
        ("area", study.area.name),
        ("data", "invented demo data" if study.area.invented else "as delivered; see Sources"),
        ("date", date),
        ("program", f"site-to-line {capture.__version__}"),
        ("draws, seed", f"{study.worlds.draws}, {study.worlds.seed}"),
        ("units", "SI, the unit stands in the heading or in a column of its own"),
        ("values", "middle of the draws; low and high hold nine times out of ten"),
        *(("data of", credit) for credit in list_credits(study.area)),
    ]
    sheet.set_column(0, 0, 16)
    sheet.set_column(1, 1, 90)
    for at, (name, said) in enumerate(row for row in rows if row[1]):
        sheet.write_string(at, 0, name, head)
        sheet.write_string(at, 1, plain_text(said, most=MOST_TEXT), wrap)


def _write_sheet(sheet: Any, table: pd.DataFrame, head: Any, wrap: Any) -> None:
    sheet.freeze_panes(1, 1)
    for column, name in enumerate(table.columns):
        sheet.write_string(0, column, plain_text(name), head)
        wide = len(str(name))
        for row, value in enumerate(table[name].to_list(), start=1):
            wide = max(wide, _write_cell(sheet, row, column, value, wrap))
        sheet.set_column(column, column, min(wide + 2, WIDEST))


def _write_cell(sheet: Any, row: int, column: int, value: Any, wrap: Any) -> int:
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return 0
    if isinstance(value, bool | np.bool_):
        sheet.write_string(row, column, "yes" if value else "no")
        return 3
    if isinstance(value, int | float | np.integer | np.floating):
        number = float(value)
        if math.isinf(number):
            sheet.write_string(row, column, "never" if number > 0 else "less than any")
            return 13
        sheet.write_number(row, column, round_digits(number))
        return 10
    if isinstance(value, Mapping | list | tuple):
        value = "; ".join(map(str, value))
    said = plain_text(value, most=MOST_TEXT)
    sheet.write_string(row, column, said, wrap)
    return len(said)

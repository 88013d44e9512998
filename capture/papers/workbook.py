"""How does a study or a ranking become a workbook: values with unit, range and source?

One sheet per question and no formulas. Text is written as text that never starts a
formula, not even once it has been saved as CSV; numbers stay numbers, so that they can be
worked with. The same content gives the same bytes.
"""

from __future__ import annotations

import datetime
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

import capture
from capture.basis import UnitSystem, cell_text
from capture.papers.folder import list_credits
from capture.papers.look import FAINT_INK, INK, SAND, WATER
from capture.papers.numbers import round_digits
from capture.papers.report_parts import list_layers
from capture.papers.workbook_looks import (
    FORMATS,
    WIDEST,
    choose_format,
    count_lines,
    say_heading,
    set_page,
    set_rows,
)
from capture.papers.workbook_tables import list_ranking_columns, make_sheets

__all__ = ["make_sheets", "render_ranking_workbook", "render_workbook"]

#: written into the file as its date of making, so that the same study gives the same bytes
FIXED_DATE: Final = datetime.datetime(2000, 1, 1)
MOST_TEXT: Final = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class _Looks:
    """Formats of a workbook."""

    head: Any
    text: Any
    faint: Any
    numbers: Mapping[str, Any]


def render_workbook(study: Any, *, date: str = "", system: UnitSystem | None = None) -> bytes:
    """Render a study as an XLSX workbook; the same study gives the same bytes.

    Parameters
    ----------
    study : Study
    date : str
        As it is to be written on the first sheet; left out when empty.
    system : {"us", "metric"}, optional
        Units of the line's schedule; the area's own when left out.
    """
    sites = study.sites
    about = [
        ("site", f"{sites.names[0]} ({float(sites.lat[0]):.6f}, {float(sites.lon[0]):.6f})"),
        *_list_about(study, date),
        ("sheets", "Line schedule stands in the reader's units, every other sheet in SI"),
    ]
    return _render(about, make_sheets(study, system=system), charts=True)


def render_sheets(study: Any, sheets: Mapping[str, pd.DataFrame], *, date: str = "") -> bytes:
    """Render some tables of a study as an XLSX workbook of their own, by name of the sheet."""
    return _render(_list_about(study, date, alone=True), sheets, charts=False)


def render_ranking_workbook(many: Any, *, date: str = "") -> bytes:
    """Render a screening as an XLSX workbook; struck-out parcels stay, with their reason.

    Parameters
    ----------
    many : Many
    date : str
        As it is to be written on the first sheet; left out when empty.
    """
    ranking = many.ranking
    struck = int(ranking["struck"].sum())
    about = [
        ("parcels", f"{len(ranking)} ranked by mean value today, {struck} of them struck out"),
        *_list_about(many, date),
    ]
    sheets = {
        "Ranking": ranking[list_ranking_columns(ranking.columns)],
        "Data": list_layers(many.area),
    }
    return _render(about, sheets, charts=False)


def _list_about(made: Any, date: str, *, alone: bool = False) -> list[tuple[str, str]]:
    """List what the first sheet says; ``alone`` without a sheet of the data, in own units."""
    told = "as delivered; the study's workbook lists each layer with its source" if alone else (
        "as delivered; see Data"
    )  # fmt: skip
    units = "the reader's" if alone else "SI"
    return [
        ("area", made.area.name),
        ("data", "invented demo data" if made.area.invented else told),
        ("date", date),
        ("year", f"{made.year}"),
        ("program", f"site-to-line {capture.__version__}"),
        ("draws, seed", f"{made.worlds.draws}, {made.worlds.seed}"),
        ("units", f"{units}, the unit stands in the heading or in a column of its own"),
        ("values", "middle of the draws; low and high hold nine times out of ten"),
        ("formulas", "none: every cell is a value of this study"),
        ("caution", "planning figures, not an appraisal, an offer or investment advice"),
        *(("data of", credit) for credit in list_credits(made.area)),
    ]


def _render(
    about: Sequence[tuple[str, str]], sheets: Mapping[str, pd.DataFrame], *, charts: bool
) -> bytes:
    import xlsxwriter

    buffer = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
               "strings_to_numbers": False}  # fmt: skip
    book = xlsxwriter.Workbook(buffer, options)
    book.set_properties({"title": "Site study", "created": FIXED_DATE})
    looks = _make_looks(book)
    _write_about(book, about, looks)
    for name, table in sheets.items():
        sheet = book.add_worksheet(name)
        _write_sheet(sheet, table, looks)
        if charts:
            _add_chart(book, sheet, name, table)
    book.close()
    return buffer.getvalue()


def _make_looks(book: Any) -> _Looks:
    top = {"valign": "top"}
    words = {"text_wrap": True, "align": "left", "indent": 1, **top}
    return _Looks(
        head=book.add_format({"bold": True, "font_color": INK, "bg_color": SAND, "bottom": 2,
                              **words}),
        text=book.add_format(words),
        faint=book.add_format({"font_color": FAINT_INK, "italic": True, **words}),
        numbers={kind: book.add_format({"num_format": kind or "General", **top})
                 for kind in FORMATS},
    )  # fmt: skip


def _write_about(book: Any, rows: Sequence[tuple[str, str]], looks: _Looks) -> None:
    sheet = book.add_worksheet("About")
    sheet.set_column(0, 0, 16)
    sheet.set_column(1, 1, 90)
    sheet.fit_to_pages(1, 0)
    for at, (name, said) in enumerate(row for row in rows if row[1]):
        sheet.write_string(at, 0, name, looks.head)
        sheet.write_string(at, 1, cell_text(said, most=MOST_TEXT), looks.text)


def _write_sheet(sheet: Any, table: pd.DataFrame, looks: _Looks) -> None:
    struck = table["struck"].to_numpy(dtype=bool) if "struck" in table.columns else None
    lines, widths = [1] * (len(table) + 1), []
    for column, name in enumerate(table.columns):
        head = cell_text(say_heading(str(name)))
        sheet.write_string(0, column, head, looks.head)
        said = [head]
        for row, value in enumerate(table[name].to_list(), start=1):
            text = looks.faint if struck is not None and struck[row - 1] else looks.text
            said.append(_write_cell(sheet, row, column, value, text, looks.numbers, str(name)))
        # a heading may take two lines, so that numbers stand close
        wide = min(max(len(head) / 2, *map(len, said[1:]), 6) + 3, WIDEST)
        widths.append(wide)
        sheet.set_column(column, column, wide)
        room = wide - 3
        lines = [max(now, count_lines(each, room)) for now, each in zip(lines, said, strict=True)]
    set_rows(sheet, lines)
    set_page(sheet, widths, len(table))


def _write_cell(
    sheet: Any, row: int, column: int, value: Any, text: Any, numbers: Mapping[str, Any], name: str
) -> str:
    """Write a cell; return what it shows, so that columns and rows can be made to fit."""
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, bool | np.bool_):
        said = "yes" if value else "no"
    elif isinstance(value, int | float | np.integer | np.floating):
        amount = float(value)
        if math.isfinite(amount):
            shown = round_digits(amount)
            sheet.write_number(row, column, shown, numbers[choose_format(name, shown)])
            return f"{shown:,.2f}" if abs(shown) < 1e6 else f"{shown:,.0f}"
        said = "never" if amount > 0 else "less than any"
    else:
        if isinstance(value, Mapping | list | tuple):
            value = "; ".join(map(str, value))
        said = cell_text(value, most=MOST_TEXT)
    sheet.write_string(row, column, said, text)
    return said


#: sheet -> kind of chart, column of the places, columns drawn, title of the upright axis
_CHARTS: Final = {
    "Months": ("column", "month", ("cars",), "cars"),
    "Busiest hours": ("line", "rank", ("cars_per_hour",), "cars an hour"),
    "Money by month": ("line", "month", ("low_usd", "usd", "high_usd"), "USD"),
}


def _add_chart(book: Any, sheet: Any, name: str, table: pd.DataFrame) -> None:
    """Set a chart of the sheet's own cells beside them."""
    if name not in _CHARTS:
        return
    kind, place, drawn, title = _CHARTS[name]
    columns = list(table.columns)
    chart = book.add_chart({"type": kind})
    for series in drawn:
        at = columns.index(series)
        look = {"color": WATER, "width": 2.25 if series in {"usd", drawn[0]} else 1}
        chart.add_series(
            {
                "name": [name, 0, at],
                "categories": [name, 1, columns.index(place), len(table), columns.index(place)],
                "values": [name, 1, at, len(table), at],
                "line" if kind == "line" else "fill": look if kind == "line" else {"color": WATER},
            }
        )
    chart.set_x_axis({"name": place, "label_position": "low"})
    chart.set_y_axis({"name": title, "major_gridlines": {"visible": True}})
    chart.set_legend({"none": True} if len(drawn) == 1 else {"position": "bottom"})
    chart.set_size({"width": 640, "height": 340})
    sheet.insert_chart(1, len(columns) + 1, chart)

"""Which tables does a workbook hold, each row with where it comes from?

Values in SI with the unit in the heading or in a column of its own; the line's schedule in
the reader's units, since bidders get it. Assumes a finished study.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

import numpy as np
import pandas as pd

from capture.basis import UnitSystem
from capture.papers import pictures
from capture.papers.argument import make_argument
from capture.papers.remarks import list_cautions, list_notes
from capture.papers.report import say_measured
from capture.papers.report_parts import list_layers
from capture.papers.share_tables import make_step_table
from capture.papers.sources import GRADE_WORDS, SourceBook, say_known
from capture.papers.steps import STEPS
from capture.papers.study_json import make_source_book
from capture.papers.withheld import hide_cells, is_withheld
from capture.papers.words import say_lengths

MONTHS: Final = 12


def make_sheets(study: Any, *, system: UnitSystem | None = None) -> dict[str, pd.DataFrame]:
    """Make the tables of a workbook, by the name of their sheet.

    Parameters
    ----------
    study : Study
    system : {"us", "metric"}, optional
        Units of the line's schedule; the area's own when left out.

    Returns
    -------
    dict of str to DataFrame
        Without those that hold nothing.
    """
    units = system or study.area.units
    book = make_source_book(study)
    sheets = {
        "Argument": _argument_table(study),
        "Passing": _passing_table(study, book),
        "Rivals": pictures.make_rival_table(study),
        "Share": _share_table(study),
        "Months": pictures.make_month_table(study).assign(source="step.busy"),
        "Week": pictures.make_week_table(study).assign(source="step.busy"),
        "Busiest hours": pictures.make_duration_table(study).assign(source="step.busy"),
        "Line schedule": _schedule(study, units),
        "Line assumptions": _assumptions(study, units),
        "Line": pictures.make_station_table(study).assign(source="step.line"),
        "Queue": pictures.make_queue_table(study).assign(source="step.queue"),
        "Water and power": pictures.make_utility_table(study),
        "Money": _money_table(study),
        "Money by year": make_year_table(study),
        "Money by month": pictures.make_cash_table(study).assign(source="step.money"),
        "Deal-breakers": pd.DataFrame(study.ground.to_rows()),
        "Cautions": pd.DataFrame({"caution": list_cautions(study, units)}),
        "Notes on data": pd.DataFrame({"note": list_notes(study, units)}).assign(
            source="step.passing"
        ),
        "Data": list_layers(study.area),
        "Steps": _step_table(),
        "Sources": _source_table(book),
    }
    return {name: _say_texts(table, units) for name, table in sheets.items() if len(table)}


def _say_texts(table: pd.DataFrame, units: UnitSystem) -> pd.DataFrame:
    """Say lengths in sentences in the reader's unit; numbers stay in SI."""
    texts = {
        name: [say_lengths(cell, units) if isinstance(cell, str) else cell for cell in table[name]]
        for name in table.columns
        if table[name].map(lambda cell: isinstance(cell, str)).any()
    }
    return table.assign(**texts)


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
                "known by": say_measured(study) if claim.key == "passing" else "estimated",
                "source": f"step.{claim.step}",
                "note": claim.summed.words,
            }
        )
    return pd.DataFrame(rows)


def _passing_table(study: Any, book: SourceBook) -> pd.DataFrame:
    table = pictures.make_stream_table(study)
    table["known_by"] = [say_known(book[f"stream.{r + 1}"]) for r in range(len(table))]
    return table


def _share_table(study: Any) -> pd.DataFrame:
    table = make_step_table(study).drop(columns=["here", "why"])
    known = set(study.share.names)
    table["source"] = [
        f"share.beta_{key}" if key in known else "step.share" for key in table["key"]
    ]
    return table


def _schedule(study: Any, units: UnitSystem) -> pd.DataFrame:
    from capture.line import list_schedule

    rows = list_schedule(study.line, units=units) if study.line.stations else []
    table = pd.DataFrame(rows)
    return table.assign(source="trade practice, see Sources under line.") if len(table) else table


def _assumptions(study: Any, units: UnitSystem) -> pd.DataFrame:
    from capture.line import list_assumptions

    table = pd.DataFrame(list_assumptions(study.line, units=units, values=study.numbers["line"]))
    return hide_cells(table, study) if is_withheld(study) else table


def _money_table(study: Any) -> pd.DataFrame:
    return pictures.make_money_table(study).assign(source="step.money")


def make_year_table(study: Any) -> pd.DataFrame:
    """Make cash by year since the contract: means over the draws, which add up.

    Returns
    -------
    DataFrame
        ``year`` from 1, means of spending, operating cash, what is sold at the end and the
        loan, cash before and after debt with the former's 5th and 95th percentile, USD.
    """
    schedule = study.money.schedule(0)

    def by_year(payments: Any) -> Any:
        paid = np.asarray(payments, dtype=np.float64)
        return np.add.reduceat(paid, np.arange(0, paid.shape[1], MONTHS), axis=1)

    parts = {
        "spent_usd": schedule.outlays,
        "operating_usd": schedule.operating,
        "sold_at_end_usd": schedule.kept,
        "loan_usd": schedule.loan,
        "before_debt_usd": schedule.before_debt,
        "after_debt_usd": schedule.after_debt,
    }
    table = pd.DataFrame({name: by_year(paid).mean(axis=0) for name, paid in parts.items()})
    table.insert(0, "year", np.arange(1, len(table) + 1))
    low, high = np.quantile(by_year(schedule.before_debt), [0.05, 0.95], axis=0)
    return table.assign(
        before_debt_low_usd=low, before_debt_high_usd=high, known_by="estimated, mean of draws",
        source="step.money",
    )  # fmt: skip


def _step_table() -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "id": f"step.{step.key}",
                "number": step.title,
                "how": step.sentence,
                "equation": step.equation,
                "after": step.source,
                "stands on": ", ".join(f"step.{key}" for key in step.after),
                "reads built-in numbers of": ", ".join(step.rooms),
            }
            for step in STEPS.values()
        ]
    )


def _source_table(book: SourceBook) -> pd.DataFrame:
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
            for entry in book.trail()
        ]
    )


def list_ranking_columns(columns: Iterable[str]) -> list[str]:
    """Order a ranking's columns for reading: who, why, how many, how much, then the rest.

    Examples
    --------
    >>> list_ranking_columns(["zone", "id", "rank", "reason"])
    ['rank', 'id', 'reason', 'zone']
    """
    known = list(columns)
    first = [name for name in _FIRST if name in known]
    return [*first, *(name for name in known if name not in first)]


_FIRST: Final = (
    "rank", "id", "name", "struck", "reason", "cars_per_day", "cars_per_day_low",
    "cars_per_day_high", "npv_usd", "npv_low_usd", "npv_high_usd", "chance_npv_positive",
    "chance_top", "payback_years", "land_ceiling_usd", "vehicles_per_day", "measured", "share",
    "share_low", "share_high", "design_hour_cars", "line_length_m", "chain_speed_mps",
    "capital_usd", "fit",
)  # fmt: skip

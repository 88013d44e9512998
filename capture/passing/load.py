"""How does a count file become counts, with what was done to it told?

One call from a file (or a table) to counts. Columns are guessed; what is unsure is asked,
by an error that names the options or by the caller's own function, and remembered.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import InputError, Sheet, plain_text
from capture.passing.guess import Columns, Question, guess_columns
from capture.passing.hourly import HourlyCounts, summarize_hours
from capture.passing.intervals import make_hour_rows
from capture.passing.ledger import Ledger
from capture.passing.memory import ColumnMemory
from capture.passing.places import add_places, find_positions
from capture.passing.reading import read_count_file
from capture.passing.records import make_counts
from capture.passing.values import VALUES

FloatArray = NDArray[np.float64]
#: gets a question, returns a heading, or "" for none of them
Ask = Callable[[Question], str]


@dataclass(frozen=True, slots=True, kw_only=True)
class CountFile:
    """Counts from one file, and what was done to get them."""

    #: name of the file
    name: str
    #: one row per station, columns of ``COUNT_COLUMNS``
    counts: pd.DataFrame
    #: column, taken_for, confidence, why
    columns: pd.DataFrame
    #: what, rows, which, why: what was done with the file
    done: pd.DataFrame
    #: hours, directions, K and D, for files of hours
    hourly: HourlyCounts | None
    #: what the file left open and could be done without
    open_questions: tuple[Question, ...]
    #: name under which answers about such a file are remembered
    signature: str


def load_counts(
    source: Path | str | pd.DataFrame,
    *,
    study_year: int,
    name: str | None = None,
    crs: str | None = None,
    extent: tuple[float, float, float, float] | None = None,
    answers: Mapping[str, str] | None = None,
    memory: Path | None = None,
    ask: Ask | None = None,
    hourly: bool | None = None,
    defaults: Mapping[str, object] | None = None,
    season: FloatArray | None = None,
    values: Sheet = VALUES,
) -> CountFile:
    """Load counts from a CSV, GeoJSON, GeoPackage, shapefile or table.

    Parameters
    ----------
    source : Path, str or DataFrame
        File, or a table as read (it needs a column ``row``).
    study_year : int
        Year looked at; later counts are forecasts and left out.
    name : str, optional
        How the source is called in messages.
    crs : str, optional
        Grid of easting and northing where the file names none.
    extent : tuple of float, optional
        South, west, north, east of the area, degrees; rows outside are left out.
    answers : mapping of str to str, optional
        Role -> heading, where the guess is wrong or unsure; "" for none.
    memory : Path, optional
        JSON file in which answers are kept and looked up.
    ask : callable, optional
        Called with each open question; its answers are remembered.
    hourly : bool, optional
        Whether rows are intervals; found out when not given.
    defaults : mapping, optional
        ``station``, ``road``, ``lat``, ``lon`` for files that leave them out; ``places``,
        station -> ``{"lat": degrees, "lon": degrees}``, for files of several stations that do
        not say where these stand; ``month`` (1-12) of counts that bear no date.
    season : ndarray of float, shape (12, 7), optional
        Month x weekday factors of the area's own continuous station.
    values : Sheet
        Spreads and factors.

    Returns
    -------
    CountFile

    Raises
    ------
    InputError
        When a needed column is not clear; the message names the options.
    DataError
        When the file is not usable.
    """
    table, remarks, name = _read(source, name)
    table = _fill_defaults(table, defaults or {})
    if hourly is None:
        hourly = is_hourly(table)
    columns = _settle(table, answers, memory, ask, hourly=hourly, name=name)
    ledger = Ledger()
    table, columns = add_places(table, columns, (defaults or {}).get("places"), ledger, name=name)
    for remark in remarks:
        ledger.assume(remark)
    by_hour = hourly or bool(columns.hours)
    positions = find_positions(table, columns, ledger, name=name, crs=crs, extent=extent)
    found: HourlyCounts | None = None
    if by_hour:
        rows = make_hour_rows(table, columns, positions, ledger, name=name)
        found = summarize_hours(
            rows,
            ledger,
            name=name,
            study_year=study_year,
            season=season,
            month=_month(defaults or {}),
            values=values,
        )
        counts = found.counts
    else:
        counts = make_counts(
            table,
            columns,
            positions,
            ledger,
            name=name,
            study_year=study_year,
            season=season,
            values=values,
        )
    ledger.note("used", sorted(ledger.used), f"made {len(counts)} count(s)")
    return CountFile(
        name=name,
        counts=counts,
        columns=columns.table(),
        done=ledger.table(),
        hourly=found,
        open_questions=columns.questions,
        signature=columns.signature,
    )


def _read(
    source: Path | str | pd.DataFrame, name: str | None
) -> tuple[pd.DataFrame, list[str], str]:
    if isinstance(source, pd.DataFrame):
        return source, [], plain_text(name or "table", most=80)
    path = Path(source)
    table, remarks = read_count_file(path)
    return table, remarks, plain_text(name or path.name, most=80)


def _month(defaults: Mapping[str, object]) -> int | None:
    month = defaults.get("month")
    if month is None:
        return None
    if not (isinstance(month, int) and 1 <= month <= 12):
        raise InputError(f"month of the counts must be 1 to 12, got {month!r}; change it")
    return month


def _fill_defaults(table: pd.DataFrame, defaults: Mapping[str, object]) -> pd.DataFrame:
    have = {str(c).lower() for c in table.columns}
    wanted = {
        k: v
        for k, v in defaults.items()
        if k in ("station", "road", "lat", "lon") and k not in have
    }
    if not wanted:
        return table
    filled = table.copy()
    for name, value in wanted.items():
        filled[name] = pd.Series([value] * len(table), index=table.index)
    return filled


def is_hourly(table: pd.DataFrame) -> bool:
    """Tell intervals from averages: a clear clock column and a clear volume column."""
    found = guess_columns(table, hourly=True)
    if found.hours:
        return True
    daily = guess_columns(table)
    return "clock" in found.roles and "aadt" not in daily.roles and not daily.years


def _settle(
    table: pd.DataFrame,
    answers: Mapping[str, str] | None,
    memory: Path | None,
    ask: Ask | None,
    *,
    hourly: bool,
    name: str,
) -> Columns:
    kept = ColumnMemory(memory) if memory is not None else None
    said = dict(answers or {})
    columns = guess_columns(table, answers=said, hourly=hourly)
    if kept is not None:
        recalled = kept.recall(columns.signature)
        headings = {str(c) for c in table.columns}
        usable = {r: h for r, h in recalled.items() if not h or h in headings}
        said = {**usable, **said}
        columns = guess_columns(table, answers=said, hourly=hourly)
    if ask is not None:
        told = {question.role: ask(question) for question in columns.questions}
        said |= told
        columns = guess_columns(table, answers=said, hourly=hourly)
    if kept is not None and said:
        kept.remember(columns.signature, said)
    _refuse_unclear(columns, name)
    return columns


def _refuse_unclear(columns: Columns, name: str) -> None:
    open_ = [q for q in columns.questions if q.needed]
    if not open_ or columns.hours:
        return
    first = open_[0]
    listed = ", ".join(plain_text(o, most=40) for o in first.options)
    if not listed:
        listed = ", ".join(plain_text(t.column, most=40) for t in columns.taken[:20])
    raise InputError(
        f"{name}: {first.text} Say answers={{'{first.role}': heading}} with one of: {listed}"
    )

"""How do a user's own sales become rows of known sites?

Pasted or uploaded tables come with their own headings, with months instead of a year, or
with part of a year. Headings are recognised by a list of usual names; months are summed;
part of a year is divided by the part of the year's cars that those months usually hold,
and its row is widened. What was done is told line by line, and nothing vanishes unsaid.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from capture.basis import DataError, Sheet, plain_text
from capture.share.cells import MEASURE_COLUMNS, NUMBER_COLUMNS
from capture.share.factors import FloatArray, Measures
from capture.share.known import MOST_ROWS
from capture.share.months import annualise, find_month, pivot_months, take_months
from capture.share.values import VALUES

MOST_CHARACTERS: Final = 5_000_000
#: other headings that stand for a column
_ALIASES: Final[Mapping[str, str]] = {
    "site": "id",
    "name": "id",
    "city": "town",
    "owner": "operator",
    "type": "format",
    "cars": "cars_per_year",
    "cars_year": "cars_per_year",
    "annual_cars": "cars_per_year",
    "washes": "cars_per_year",
    "annual_washes": "cars_per_year",
    "aadt": "aadt_veh_day",
    "traffic": "aadt_veh_day",
    "vehicles_per_day": "aadt_veh_day",
    "adt": "aadt_veh_day",
    "tickets": "tickets_per_year",
    "members": "member_cars_per_year",
    "member_washes": "member_cars_per_year",
    "delay": "delay_s",
    "sight_share": "sight",
    "passed_first": "passed_first_share",
    "population": "people_10min",
    "people": "people_10min",
    "plan": "plan_offered",
    "age_years": "years_open",
    "capacity": "line_cars_per_hour",
    "latitude": "lat",
    "longitude": "lon",
    "lng": "lon",
}
_TEXTS: Final = ("id", "town", "operator", "format", "source", "lat", "lon", "row", "month",
          "ticket_price_usd")  # fmt: skip
KNOWN_COLUMNS: Final = frozenset({*MEASURE_COLUMNS, *NUMBER_COLUMNS, *_TEXTS})


@dataclass(frozen=True, slots=True, kw_only=True)
class Intake:
    """A table ready for :func:`capture.share.check_known_sites`, and what was done to it."""

    #: one row a site
    table: pd.DataFrame
    #: one sentence for each thing done or not understood
    notes: tuple[str, ...]
    #: cars by month of each row, NaN where not told, shape (n, 12); None without months
    months: FloatArray | None = None


def read_pasted(text: str) -> pd.DataFrame:
    r"""Read a pasted table: tabs, semicolons or commas, first line the headings.

    Raises
    ------
    DataError
        When it is empty, too long, or its lines have different lengths.

    Examples
    --------
    >>> read_pasted("site;cars\nOak St;90000").shape
    (1, 2)
    """
    if len(text) > MOST_CHARACTERS:
        raise DataError(f"pasted table: at most {MOST_CHARACTERS} characters are read; split it")
    first = text.strip().split("\n", 1)[0]
    mark = max("\t;,", key=first.count)
    try:
        table = pd.read_csv(
            io.StringIO(text.strip()), sep=mark, dtype=str, keep_default_na=False,
            nrows=MOST_ROWS + 1,
        )  # fmt: skip
    except ValueError as error:
        said = str(error).splitlines()[0] if str(error) else "nothing in it"
        raise DataError(f"pasted table: not readable ({said}); paste headings and rows") from None
    if table.empty:
        raise DataError("pasted table: there are no rows under the headings; paste them too")
    return table


def take_in(
    table: pd.DataFrame, *, month_share: ArrayLike | None = None, values: Sheet = VALUES
) -> Intake:
    """Turn a user's table into rows of known sites.

    Parameters
    ----------
    table : DataFrame
        Headings as in known-sites tables or usual names for them; cars by month as columns
        ``cars_jan`` ... ``cars_dec`` or ``cars_1`` ... ``cars_12``, or as rows with a column
        ``month`` (1-12, a name, or 2024-03) and one row a site and month.
    month_share : array_like, shape (12,), optional
        Part of a year's cars in each month; left out, learned from the rows with all twelve
        months, else by the days of each month.
    values : Sheet

    Returns
    -------
    Intake

    Raises
    ------
    DataError
        When a heading stands twice, or a month or number cannot be read.
    """
    notes: list[str] = []
    named = _rename(table, notes)
    if "month" in named.columns:
        named = pivot_months(named)
    months, named = take_months(named)
    if months is not None:
        named = annualise(named, months, month_share, notes, values)
    for part in ("tickets_per_year", "member_cars_per_year"):
        if part not in named.columns:
            break
    else:
        named = _add_up(named, notes)
    return Intake(table=named, notes=tuple(notes), months=months)


def read_heading(heading: object) -> str:
    """Return the column that a heading stands for, usual names for it included.

    Examples
    --------
    >>> read_heading("Annual washes"), read_heading("my own")
    ('cars_per_year', 'my_own')
    """
    plain = _plain(heading)
    return _ALIASES.get(plain, plain)


def _plain(heading: object) -> str:
    return re.sub(r"[^a-z0-9]+", "_", str(heading).strip().lower()).strip("_")


def _rename(table: pd.DataFrame, notes: list[str]) -> pd.DataFrame:
    names: dict[str, str] = {}
    for heading in table.columns:
        plain = _plain(heading)
        name = read_heading(heading)
        if name in names.values():
            raise DataError(f"known sites: two columns stand for {name}; take one out")
        names[heading] = name
        shown = plain_text(heading, most=40)
        if name != plain:
            notes.append(f"column {shown!r} was taken as {name}")
        elif name not in KNOWN_COLUMNS and find_month(name) is None:
            notes.append(f"column {shown!r} was not understood and is not used")
    return table.rename(columns=names)


def _add_up(table: pd.DataFrame, notes: list[str]) -> pd.DataFrame:
    """Fill empty yearly cars with tickets + members."""
    parts = [
        pd.to_numeric(table[name], errors="coerce")
        for name in ("tickets_per_year", "member_cars_per_year")
    ]
    total = parts[0] + parts[1]
    if "cars_per_year" in table.columns:
        given = pd.to_numeric(table["cars_per_year"], errors="coerce")
    else:
        given = pd.Series(np.nan, index=table.index)
    filled = int((given.isna() & total.notna()).sum())
    if not filled:
        return table
    notes.append(f"yearly cars of {filled} rows are their tickets and members added up")
    if "cars_per_year" not in table.columns:
        return table.assign(cars_per_year=total)
    return table.assign(cars_per_year=table["cars_per_year"].where(given.notna(), total))


def fill_measures(
    table: pd.DataFrame, measures: Measures, *, rows: ArrayLike | None = None
) -> Intake:
    """Fill what a table leaves empty with what the map measured; given values stay.

    Parameters
    ----------
    table : DataFrame
        n rows.
    measures : mapping of str to ndarray of shape (m,)
        As from :func:`capture.share.measure_sites`.
    rows : array_like of int, shape (m,), optional
        Which rows of the table they belong to; all of them in order when left out.

    Returns
    -------
    Intake
    """
    where = np.arange(len(table)) if rows is None else np.asarray(rows, dtype=np.int64)
    filled, notes = table.copy(), []
    for column, (measure, *_) in MEASURE_COLUMNS.items():
        if measure not in measures:
            continue
        given = np.full(len(table), np.nan)
        if column in table.columns:
            given = pd.to_numeric(table[column], errors="coerce").to_numpy(dtype=np.float64)
        ours = np.full(len(table), np.nan)
        ours[where] = measures[measure]
        use = np.isnan(given) & np.isfinite(ours)
        if use.any():
            old = filled[column].astype(object) if column in filled.columns else given
            filled[column] = pd.Series(np.where(use, ours, old), index=filled.index)
            notes.append(f"{column} of {int(use.sum())} rows was measured on the map")
    return Intake(table=filled, notes=tuple(notes))

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
from capture.share.factors import FloatArray, Measures
from capture.share.known import MEASURE_COLUMNS, MOST_ROWS, NUMBER_COLUMNS
from capture.share.values import VALUES

MOST_CHARACTERS: Final = 5_000_000
MONTHS: Final = 12
_DAYS: Final = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_MONTH_NAMES: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct",
                       "nov", "dec")  # fmt: skip
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
_TEXTS: Final = ("id", "town", "operator", "format", "source", "lat", "lon", "row", "month")
_PLACES: Final = ("source", "lat", "lon", "row", "month")
KNOWN_COLUMNS: Final = frozenset({*MEASURE_COLUMNS, *NUMBER_COLUMNS, *_TEXTS})


@dataclass(frozen=True, slots=True, kw_only=True)
class Intake:
    """A table ready for :func:`capture.share.check_known_sites`, and what was done to it."""

    #: one row a site
    table: pd.DataFrame
    #: one sentence for each thing done or not understood
    notes: tuple[str, ...]


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
        named = _pivot(named)
    months, named = _take_months(named)
    if months is not None:
        named = _annualise(named, months, month_share, notes, values)
    for part in ("tickets_per_year", "member_cars_per_year"):
        if part not in named.columns:
            break
    else:
        named = _add_up(named, notes)
    return Intake(table=named, notes=tuple(notes))


def _rename(table: pd.DataFrame, notes: list[str]) -> pd.DataFrame:
    names: dict[str, str] = {}
    for heading in table.columns:
        plain = re.sub(r"[^a-z0-9]+", "_", str(heading).strip().lower()).strip("_")
        name = _ALIASES.get(plain, plain)
        if name in names.values():
            raise DataError(f"known sites: two columns stand for {name}; take one out")
        names[heading] = name
        shown = plain_text(heading, most=40)
        if name != plain:
            notes.append(f"column {shown!r} was taken as {name}")
        elif name not in KNOWN_COLUMNS and _month_of(name) is None:
            notes.append(f"column {shown!r} was not understood and is not used")
    return table.rename(columns=names)


def _month_of(name: str) -> int | None:
    """Return the month, 0-11, that a column such as ``cars_mar`` or ``cars_3`` holds."""
    found = re.fullmatch(r"cars_(?:month_)?([a-z]{3,9}|\d{1,2})", name)
    return None if found is None else _read_month(found[1])


def _read_month(text: str) -> int | None:
    plain = text.strip().lower()
    dated = re.fullmatch(r"\d{4}-(\d{1,2})(?:-\d{1,2})?", plain)
    if dated:
        plain = dated[1]
    if plain.isdigit():
        return int(plain) - 1 if 1 <= int(plain) <= MONTHS else None
    short = plain[:3]
    return _MONTH_NAMES.index(short) if short in _MONTH_NAMES else None


def _pivot(table: pd.DataFrame) -> pd.DataFrame:
    """Turn one row a site and month into one row a site."""
    if "id" not in table.columns or "cars_per_year" not in table.columns:
        raise DataError("known sites: rows by month need the columns id, month and cars")
    month = [_read_month(str(text)) for text in table["month"]]
    bad = [place for place, found in enumerate(month) if found is None]
    if bad:
        shown = plain_text(table["month"].iloc[bad[0]], most=20)
        raise DataError(f"known sites: row {bad[0] + 2}: month {shown!r} is not one; write 1 to 12")
    place = [f"cars_{number + 1}" for number in month if number is not None]
    long = pd.DataFrame({"id": table["id"], "month": place, "cars": table["cars_per_year"]})
    twice = long.duplicated(["id", "month"])
    if twice.any():
        first = int(np.flatnonzero(twice)[0])
        raise DataError(f"known sites: row {first + 2}: this site and month stand twice; keep one")
    wide = long.pivot_table(index="id", columns="month", values="cars", aggfunc="first", sort=False)
    rest = table.drop(columns=["month", "cars_per_year"]).drop_duplicates("id")
    return rest.merge(wide.reset_index(), on="id", how="left")


def _take_months(table: pd.DataFrame) -> tuple[FloatArray | None, pd.DataFrame]:
    columns = {name: _month_of(str(name)) for name in table.columns}
    found = {name: month for name, month in columns.items() if month is not None}
    if not found:
        return None, table
    months = np.full((len(table), MONTHS), np.nan)
    for name, month in found.items():
        text = table[name].astype(str).str.replace(",", "").str.strip()
        empty = text.str.lower().isin(["", "nan", "none", "<na>"])
        cars = pd.to_numeric(text.where(~empty), errors="coerce")
        wrong = ~empty & ~(cars >= 0)
        if wrong.any():
            place = int(np.flatnonzero(wrong)[0])
            shown = plain_text(text.iloc[place], most=20)
            raise DataError(
                f"known sites: row {place + 2}: {name} must be 0 or more cars, got {shown!r}"
            )
        months[:, month] = cars.to_numpy(dtype=np.float64, na_value=np.nan)
    return months, table.drop(columns=list(found))


def _annualise(
    table: pd.DataFrame,
    months: FloatArray,
    month_share: ArrayLike | None,
    notes: list[str],
    values: Sheet,
) -> pd.DataFrame:
    share = _choose_share(months, month_share, notes)
    yearly = np.full(len(table), np.nan)
    if "cars_per_year" in table.columns:
        yearly = pd.to_numeric(table["cars_per_year"], errors="coerce").to_numpy(dtype=np.float64)
    cars, cv = estimate_year(months, share, month_error_log=values.value("month_error_log"))
    use = np.isnan(yearly) & np.isfinite(cars)
    count = (~np.isnan(months)).sum(axis=1)
    names = table["id"] if "id" in table.columns else [f"row {p + 2}" for p in range(len(table))]
    for place in np.flatnonzero(use & (count < MONTHS)):
        notes.append(
            f"{plain_text(list(names)[place], most=40)}: {count[place]} months were made a year by "
            f"their usual part of it, {share[~np.isnan(months[place])].sum():.0%}; error "
            f"{cv[place]:.1%} added"
        )
    filled = np.where(use, np.round(cars), yearly)
    out = table.assign(cars_per_year=filled)
    return out.assign(cars_cv=np.where(use, cv, 0.0)) if "cars_cv" not in out else out


def _choose_share(months: FloatArray, given: ArrayLike | None, notes: list[str]) -> FloatArray:
    if given is not None:
        share = np.asarray(given, dtype=np.float64)
        if share.shape != (MONTHS,) or not (share > 0).all():
            raise DataError("month_share must be twelve numbers above 0; mend it")
        return np.asarray(share / share.sum())
    whole = months[(~np.isnan(months)).all(axis=1)]
    whole = whole[whole.sum(axis=1) > 0]
    if len(whole):
        notes.append(f"the year's shape was taken from the {len(whole)} rows with all months")
        share = (whole / whole.sum(axis=1, keepdims=True)).mean(axis=0)
        return np.asarray(np.maximum(share, 1e-4) / np.maximum(share, 1e-4).sum())
    notes.append("no row has all months, so each month counts by its days, without seasons")
    return np.array(_DAYS) / sum(_DAYS)


def estimate_year(
    months: FloatArray, share: FloatArray, *, month_error_log: float
) -> tuple[FloatArray, FloatArray]:
    """Estimate a year's cars from some of its months.

    Parameters
    ----------
    months : ndarray, shape (n, 12)
        Cars in each month, NaN where not known.
    share : ndarray, shape (12,)
        Part of a year's cars in each month.
    month_error_log : float
        Spread of one month's cars against its usual part.

    Returns
    -------
    tuple of ndarray
        Cars a year and their relative error, shape (n,); NaN with no month at all.

    Notes
    -----
    With m of 12 months known the error is e sqrt((1 - m/12) / m): none for a whole year.

    Examples
    --------
    >>> half = np.array([[50.0] * 6 + [np.nan] * 6])
    >>> cars, cv = estimate_year(half, np.full(12, 1 / 12), month_error_log=0.12)
    >>> cars.tolist(), cv.round(4).tolist()
    ([600.0], [0.0346])
    """
    known = ~np.isnan(months)
    count = known.sum(axis=1)
    part = (known * share).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        cars = np.nansum(months, axis=1) / part
        cv = month_error_log * np.sqrt(np.maximum(1 - count / MONTHS, 0) / count)
    none = count == 0
    return np.where(none, np.nan, cars), np.where(none, np.nan, cv)


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

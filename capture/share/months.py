"""How do cars by month, or part of a year, become a year?

Months may stand in columns or in rows. Part of a year is divided by the part of a year's
cars that those months usually hold, and carries an error for what it did not see. Assumes
that a month's cars stray from their usual part independently of other months'.
"""

from __future__ import annotations

import re
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from capture.basis import DataError, Sheet, plain_text
from capture.share.cells import read_number
from capture.share.factors import FloatArray

MONTHS: Final = 12
MOST_MONTH_CARS: Final = 500_000
_DAYS: Final = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_MONTH_NAMES: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct",
                       "nov", "dec")  # fmt: skip
#: a month's own name as a heading -> its place
_BARE: Final = {
    said: place
    for place, whole in enumerate(
        ("january", "february", "march", "april", "may", "june", "july", "august", "september",
         "october", "november", "december")
    )
    for said in (whole, whole[:3], whole[:4] if whole == "september" else whole)
}  # fmt: skip


def find_month(name: str) -> int | None:
    """Return the month, 0-11, that a column holds, None for another column.

    Examples
    --------
    >>> find_month("cars_mar"), find_month("cars_3"), find_month("march"), find_month("market")
    (2, 2, 2, None)
    """
    plain = name.strip().lower()
    if plain in _BARE:
        return _BARE[plain]
    found = re.fullmatch(r"cars_(?:month_)?([a-z]{3,9}|\d{1,2})", plain)
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


def pivot_months(table: pd.DataFrame) -> pd.DataFrame:
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


def take_months(table: pd.DataFrame) -> tuple[FloatArray | None, pd.DataFrame]:
    """Take the cars by month, shape (n, 12), out of a table; None where it has none."""
    columns = {name: find_month(str(name)) for name in table.columns}
    found = {name: month for name, month in columns.items() if month is not None}
    if not found:
        return None, table
    months = np.full((len(table), MONTHS), np.nan)
    for name, month in found.items():
        for place, cell in enumerate(table[name]):
            cars = read_number(str(cell).replace(",", "") if isinstance(cell, str) else cell)
            if cars is not None and not 0 <= cars <= MOST_MONTH_CARS:
                shown = plain_text(cell, most=20)
                raise DataError(
                    f"known sites: row {place + 2}: {name} must be 0 to {MOST_MONTH_CARS} cars, "
                    f"got {shown!r}"
                )
            months[place, month] = np.nan if cars is None else cars
    return months, table.drop(columns=list(found))


def annualise(
    table: pd.DataFrame,
    months: FloatArray,
    month_share: ArrayLike | None,
    notes: list[str],
    values: Sheet,
) -> pd.DataFrame:
    """Fill empty yearly cars from months, with the error of what was not seen."""
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

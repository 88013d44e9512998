"""When was a row of a count file counted: which day, which hour, for how long?

Assumes that a clock time of an interval is its start and local. Clock times come as ``7``,
``07:00``, ``0700``, ``700``, ``7 AM``, ``07:00-08:00`` or within a timestamp.
"""

from __future__ import annotations

import re
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
#: years in which a count can have been made; dates outside are no dates
YEARS: Final = (1900, 2100)

_CLOCK = re.compile(r"^(\d{1,2})[:.h](\d{2})?(?::\d{2})?\s*([ap]m)?(?:\s*[-–].*)?$", re.IGNORECASE)
_HALF_DAY = re.compile(r"^(\d{1,2})\s*([ap])\.?m\.?(?:\s*[-–].*)?$", re.IGNORECASE)
_SLASHED = re.compile(r"^\s*([0-9]{1,2})[/.]([0-9]{1,2})[/.]([0-9]{4}|[0-9]{2})")


def read_dates(column: pd.Series) -> tuple[pd.Series, str]:
    """Read days in ISO form, ``20240131``, ``31.1.2024`` or ``1/31/2024``.

    Whether day or month stands first in slashed dates is told from the whole column; a
    column that allows both is read month first and said to be.

    Returns
    -------
    tuple of (Series of datetime64, str)
        NaT where not readable or not in the years 1900 to 2100, and a remark ("" when all is
        plain).

    Examples
    --------
    >>> days, remark = read_dates(pd.Series(["31/1/2024", "2/2/2024"]))
    >>> str(days[0].date()), remark
    ('2024-01-31', '')
    """
    days, remark = _read_days(column)
    return days.where(days.dt.year.between(*YEARS)), remark


def _read_days(column: pd.Series) -> tuple[pd.Series, str]:
    if pd.api.types.is_datetime64_any_dtype(column):
        return column.dt.tz_localize(None) if column.dt.tz is not None else column, ""
    if pd.api.types.is_numeric_dtype(column):
        whole = column.where(column.between(19_000_101, 21_001_231))
        text = whole.astype("Int64").astype("string")
        return pd.to_datetime(text, format="%Y%m%d", errors="coerce"), ""
    text = column.astype("string").str.strip()
    parts = text.str.extract(_SLASHED)
    slashed = parts[0].notna()
    if not slashed.any():
        compact = text.str.fullmatch(r"[0-9]{8}").fillna(False)
        days = pd.to_datetime(text.where(~compact), format="ISO8601", errors="coerce")
        return days.fillna(
            pd.to_datetime(text.where(compact), format="%Y%m%d", errors="coerce")
        ), ""
    first, second, year = (
        pd.to_numeric(parts[k], errors="coerce").astype("float64") for k in range(3)
    )
    dotted = bool(text[slashed].str.contains(r"^\d+\.").all())
    day_first = dotted or bool((first > 12).any())
    clear = day_first or bool((second > 12).any())
    rest = text.str.replace(_SLASHED, "", regex=True).str.strip()
    day, month = (first, second) if day_first else (second, first)
    year = year.where(year > 99, year + 2000)
    days = pd.to_datetime(pd.DataFrame({"year": year, "month": month, "day": day}), errors="coerce")
    days = days.fillna(pd.to_datetime(text.where(~slashed), format="ISO8601", errors="coerce"))
    hours = np.where(slashed, read_clock(rest)[0], 0.0)
    days = days + pd.to_timedelta(np.nan_to_num(hours), unit="h")
    return days, "" if clear else "dates such as 3/4 were read month first"


def read_clock(column: pd.Series) -> tuple[FloatArray, str]:
    """Read the start of an interval as hours after midnight.

    Returns
    -------
    tuple of (ndarray of float, str)
        NaN where not readable; how it was read.

    Examples
    --------
    >>> read_clock(pd.Series([0, 600, 615, 2300]))[0].tolist()
    [0.0, 6.0, 6.25, 23.0]
    >>> read_clock(pd.Series(["7 AM", "07:30", "19:00-20:00"]))[0].tolist()
    [7.0, 7.5, 19.0]
    """
    if pd.api.types.is_datetime64_any_dtype(column):
        return np.asarray(column.dt.hour + column.dt.minute / 60, dtype=np.float64), "timestamp"
    numbers = pd.to_numeric(column, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    numbers = np.where(np.isfinite(numbers), numbers, np.nan)
    if np.isfinite(numbers).any():
        return _numeric_clock(numbers)
    return np.array([_one_clock(value) for value in column], dtype=np.float64), "clock text"


def _numeric_clock(numbers: FloatArray) -> tuple[FloatArray, str]:
    given = numbers[np.isfinite(numbers)]
    if given.max() < 24 and given.min() >= 0:
        return numbers, "hours 0 to 23"
    if given.max() == 24 and given.min() >= 1:
        return numbers - 1, "hours 1 to 24, taken as the hour that ends then"
    minutes = numbers % 100
    hours = np.floor(numbers / 100) + minutes / 60
    good = (numbers >= 0) & (numbers < 2400) & (minutes < 60)
    return np.where(good, hours, np.nan), "clock as a number, 615 = 06:15"


def _one_clock(value: Any) -> float:
    text = str(value).strip()
    found = _CLOCK.match(text)
    if found:
        hour, minute, half = int(found[1]), int(found[2] or 0), (found[3] or "").lower()
    else:
        found = _HALF_DAY.match(text)
        if not found:
            return _late_clock(text)
        hour, minute, half = int(found[1]), 0, found[2].lower() + "m"
    if half:
        hour = hour % 12 + (12 if half == "pm" else 0)
    return hour + minute / 60 if hour < 24 and minute < 60 else float("nan")


def _late_clock(text: str) -> float:
    moment = pd.to_datetime(text, format="ISO8601", errors="coerce")
    return float("nan") if pd.isna(moment) else moment.hour + moment.minute / 60

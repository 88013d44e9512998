"""How do holidays, closed days and monthly weather get from a study into the chain?

Kept as plain values of the study's inputs: ``country`` and ``subdivision`` codes,
``closed_days`` as ISO dates, ``normals`` as twelve rows of wet days, snow days and high, degC.
"""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd
import streamlit as st

from capture.basis import DataError, InputError, UnitSystem

MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
#: a leap year, so that 29 February can be named without a year
_ANY_YEAR: Final = 2024
_DAY: Final = re.compile(r"(?:(\d{4})-)?(\d{1,2})-(\d{1,2})")
_MOST_TEXT: Final = 6000


@st.cache_resource(show_spinner=False)
def list_countries() -> dict[str, str]:
    """Return the countries whose holidays are known, code to a name where there is one."""
    import holidays
    from holidays import registry

    names = {
        codes[1]: name.replace("_", " ").title()
        for name, codes in getattr(registry, "COUNTRIES", {}).items()
        if len(codes) > 1
    }
    found = holidays.list_supported_countries(include_aliases=False)
    return {code: names.get(code, code) for code in sorted(found) if len(code) == 2}


@st.cache_resource(show_spinner=False)
def list_states(country: str) -> list[str]:
    """Return the codes of a country's states or provinces that the holidays library knows."""
    import holidays

    return sorted(holidays.list_supported_countries(include_aliases=False).get(country, []))


@st.cache_resource(show_spinner=False, max_entries=32)
def _year(text: str) -> Any:
    from capture.chain import MonthNormal, YearChoice

    told = json.loads(text)
    return YearChoice(
        country=told.get("country") or None,
        subdivision=told.get("subdivision") or None,
        closed_days=tuple(map(datetime.date.fromisoformat, told.get("closed_days", []))),
        normals=tuple(
            MonthNormal(wet_days=wet, snow_days=snow, high_c=high)
            for wet, snow, high in told.get("normals", [])
        ),
    )


def get_year(told: Mapping[str, Any]) -> Any:
    """Return what is chosen of the year; None when nothing is.

    Raises
    ------
    CaptureError
        When a code is not known, a date is none, or a month is out of range.
    """
    if not told:
        return None
    try:
        return _year(json.dumps(told, sort_keys=True))
    except (TypeError, ValueError, AttributeError) as error:
        if isinstance(error, InputError | DataError):
            raise
        raise DataError(
            "workspace: the holidays and weather of this study are damaged; go back with Undo"
        ) from None


def read_closed_days(text: str) -> list[str]:
    """Read dates parted by commas or blanks, ``12-25`` or ``2026-12-25``, as ISO dates.

    Raises
    ------
    InputError
        When one is no date.

    Examples
    --------
    >>> read_closed_days("12-25, 2026-11-26")
    ['2024-12-25', '2026-11-26']
    """
    found = []
    for word in text[:_MOST_TEXT].replace(",", " ").replace(";", " ").split():
        match = _DAY.fullmatch(word)
        try:
            if match is None:
                raise ValueError(word)
            year, month, day = match.groups()
            date = datetime.date(int(year or _ANY_YEAR), int(month), int(day))
        except ValueError:
            raise InputError(
                "closed days: each must be a month and day such as 12-25, or a date such as "
                f"2026-12-25, got {word[:20]!r}; mend it"
            ) from None
        if date.isoformat() not in found:
            found.append(date.isoformat())
    return found


def say_closed_days(dates: list[str]) -> str:
    """Say closed days as they are typed: month and day, since the year does not count."""
    return ", ".join(str(date)[5:] for date in dates)


def name_columns(system: UnitSystem) -> tuple[str, str, str]:
    """Return the headings of wet days, snow days and the high."""
    return "days with rain or snow", "days with snow", f"usual high, {_degree(system)}"


def _degree(system: UnitSystem) -> str:
    return "°F" if system == "us" else "°C"


def make_normals_table(rows: list[Any], system: UnitSystem) -> pd.DataFrame:
    """Make the table of twelve months that is filled in, empty where nothing is known."""
    table = pd.DataFrame(rows or [[None] * 3] * 12, columns=list(name_columns(system)))
    table = table.astype("float64")
    if system == "us":
        high = table.columns[2]
        table[high] = (table[high] * 9 / 5 + 32).round(1)
    table.insert(0, "month", list(MONTHS))
    return table


def read_normals_table(table: pd.DataFrame, system: UnitSystem) -> list[list[float | None]]:
    """Read the table back as rows of wet days, snow days and high, degC.

    Raises
    ------
    DataError
        When a month has no wet days or an amount is out of range.
    """
    wet, snow, high = name_columns(system)
    numbers = table[[wet, snow, high]].apply(pd.to_numeric, errors="coerce").astype("float64")
    bare = [
        month for month, days in zip(table["month"], numbers[wet], strict=True) if pd.isna(days)
    ]
    if bare:
        raise DataError(
            f"monthly weather: {wet} must be a number in each month, got none in "
            f"{', '.join(bare)}; fill it in"
        )
    if system == "us":
        numbers[high] = (numbers[high] - 32) * 5 / 9
    rows = [[None if pd.isna(one) else float(one) for one in row] for row in numbers.to_numpy()]
    get_year({"normals": rows})
    return rows

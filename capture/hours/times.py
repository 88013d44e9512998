"""How are headings, and a column of dates or times, of a file read?

Times are local: a time-zone offset is dropped and not applied, since a wash's hour is the
hour on its own clock. Whole numbers such as 20250131 are dates, not seconds.
"""

from __future__ import annotations

import warnings
from collections.abc import Hashable
from typing import Final

import pandas as pd

from capture.basis import DataError, plain_text

#: an offset that follows a time of day
_OFFSET: Final = r"(:\d\d(?:\.\d+)?)\s*(?:Z|[+-]\d\d:?\d\d)$"


def name_columns(table: pd.DataFrame, *, where: str) -> dict[str, Hashable]:
    """Return a table's headings by their plain lower-case form.

    Raises
    ------
    DataError
        When it is no table, or two headings read alike.

    Examples
    --------
    >>> name_columns(pd.DataFrame({" Time ": []}), where="sales")
    {'time': ' Time '}
    """
    if not isinstance(table, pd.DataFrame):
        raise DataError(f"{where}: must be a table, got {type(table).__name__}; give a table")
    lower: dict[str, Hashable] = {}
    for name in table.columns:
        plain = str(name).strip().lower()
        if plain in lower:
            raise DataError(
                f"{where}: column {plain_text(plain, most=40)!r} stands twice; rename one"
            )
        lower[plain] = name
    return lower


def read_times(column: pd.Series) -> pd.Series:
    """Read dates or times as local time; what is not readable becomes NaT.

    Parameters
    ----------
    column : Series
        Texts, whole numbers of the form YYYYMMDD, or datetimes.

    Returns
    -------
    Series of datetime64, without a time zone

    Examples
    --------
    >>> read_times(pd.Series(["2025-03-01 09:30:00+02:00", "x"])).isna().tolist()
    [False, True]
    >>> str(read_times(pd.Series([20250301]))[0])[:10]
    '2025-03-01'
    """
    if pd.api.types.is_datetime64_any_dtype(column):
        times = pd.to_datetime(column)
    elif pd.api.types.is_integer_dtype(column):
        times = pd.to_datetime(column.astype(str), format="%Y%m%d", errors="coerce")
    else:
        texts = column.astype("string").str.strip().str.replace(_OFFSET, r"\1", regex=True)
        with warnings.catch_warnings():
            # mixed forms are read one by one; what is not readable is said with its row
            warnings.simplefilter("ignore", UserWarning)
            times = pd.to_datetime(texts, errors="coerce")
    if times.dt.tz is not None:
        times = times.dt.tz_localize(None)
    return times

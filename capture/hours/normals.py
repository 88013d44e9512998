"""What does a usual year's weather look like, day by day, when only monthly normals are known?

Wet and snow days are spread evenly over their month, which keeps the number of wet days,
rebounds and thaws but not their runs; the random part stays in the day's noise.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import raise_gathered

#: rain or snow put on a wet or snowy day: plainly above what counts as one
_DAY_MM: Final = 10.0


def make_usual_days(normals: pd.DataFrame, *, year: int) -> pd.DataFrame:
    """Spread twelve monthly normals over the days of one year.

    Parameters
    ----------
    normals : DataFrame
        Columns ``month`` (1 to 12), ``wet_days``, and when known ``snow_days`` and
        ``high_c`` (mean daily high, degC).
    year : int
        Year whose days are made.

    Returns
    -------
    DataFrame
        Columns ``date``, ``prcp`` (10 mm on wet days), ``tmax``, ``snow`` (10 mm on snow
        days).

    Raises
    ------
    DataError
        When a month is missing, stands twice, or has more wet days than days.

    Examples
    --------
    >>> table = pd.DataFrame({"month": range(1, 13), "wet_days": [10] * 12})
    >>> days = make_usual_days(table, year=2025)
    >>> len(days), int((days.prcp > 0).sum())
    (365, 120)
    """
    table = normals.rename(columns=lambda name: str(name).strip().lower())
    month = pd.to_numeric(table["month"], errors="coerce")
    faults = []
    if sorted(month.dropna().tolist()) != list(range(1, 13)):
        faults.append(f"months 1 to 12 must each stand once, got {len(table)} rows")
    wet = pd.to_numeric(table["wet_days"], errors="coerce")
    if not wet.between(0, 28.3).all():
        faults.append("wet_days must be 0 to 28 in each month")
    raise_gathered(faults, where="monthly weather")
    table = table.assign(month=month.astype(int)).sort_values("month")
    dates = pd.date_range(f"{year}-01-01", f"{year}-12-31")
    dates = dates[~((dates.month == 2) & (dates.day == 29))]
    wet_days, snow_days, high = (
        pd.to_numeric(table[name], errors="coerce").to_numpy(dtype=np.float64)
        if name in table.columns
        else np.full(12, np.nan)
        for name in ("wet_days", "snow_days", "high_c")
    )
    rain, snow, warm = np.zeros(len(dates)), np.zeros(len(dates)), np.full(len(dates), np.nan)
    for one in range(12):
        place = np.flatnonzero(dates.month == one + 1)
        rain[_spread(place, wet_days[one])] = _DAY_MM
        snow[_spread(place, np.nan_to_num(snow_days[one]))] = _DAY_MM
        warm[place] = high[one]
    return pd.DataFrame({"date": dates, "prcp": rain, "snow": snow, "tmax": warm})


def _spread(place: NDArray[np.int64], count: float) -> NDArray[np.int64]:
    whole = min(round(count), len(place))
    chosen = np.floor((np.arange(whole) + 0.5) * len(place) / max(whole, 1)).astype(np.int64)
    return np.asarray(place[chosen], dtype=np.int64)

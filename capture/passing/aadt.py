"""What is the average day of a road, from a year of hours or from a day or two?

Follows the average of averages: means of the 84 month x weekday cells, averaged equally.
An empty cell is reported and never filled. Short counts are brought to the average day by
month x weekday, axle and growth factors; each adds its spread.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import DataError, InputError

FloatArray = NDArray[np.float64]

MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True, slots=True, kw_only=True)
class AverageDay:
    """A year's average day and what it rests on."""

    #: average of averages, veh/day; over the cells that have days
    aadt: float
    #: plain mean of the same days, veh/day
    plain_mean: float
    #: mean day of each month x weekday, NaN where empty, shape (12, 7)
    cells: FloatArray
    #: days in each cell, shape (12, 7)
    days: NDArray[np.int64]
    #: days left out since not all 24 hours were there
    incomplete_days: int

    @property
    def complete(self) -> bool:
        """Whether all 84 cells have at least one day."""
        return bool((self.days > 0).all())

    @property
    def empty_cells(self) -> list[str]:
        """Names of the cells without a day, such as ``"Feb Sun"``."""
        return [
            f"{MONTHS[m]} {WEEKDAYS[d]}" for m, d in zip(*np.nonzero(self.days == 0), strict=True)
        ]

    def table(self) -> pd.DataFrame:
        """Return the 84 cells, one row each: month, weekday, days, mean_day."""
        month, weekday = np.divmod(np.arange(84), 7)
        return pd.DataFrame(
            {
                "month": [MONTHS[m] for m in month],
                "weekday": [WEEKDAYS[d] for d in weekday],
                "days": self.days.ravel(),
                "mean_day": self.cells.ravel(),
            }
        )

    def season_factors(self) -> FloatArray:
        """Return what turns a day of each cell into the average day, shape (12, 7).

        An empty cell gets the product of its month's and its weekday's factor, which needs
        at least one day in that month and on that weekday; else NaN.
        """
        over = self.cells / self.aadt
        empty = np.isnan(over)
        month = np.array([np.nanmean(r) if not np.isnan(r).all() else np.nan for r in over])
        weekday = np.array([np.nanmean(c) if not np.isnan(c).all() else np.nan for c in over.T])
        return np.asarray(1 / np.where(empty, np.outer(month, weekday), over))

    def describe(self) -> str:
        """Say the figure in one sentence."""
        said = f"{self.aadt:,.0f} veh/day by average of averages over {int(self.days.sum())} days"
        if not self.complete:
            said += f", incomplete: {len(self.empty_cells)} of 84 month x weekday cells have no day"
        return said + f" (plain mean {self.plain_mean:,.0f})"


def compute_average_day(volumes: FloatArray, days: NDArray[np.datetime64]) -> AverageDay:
    r"""Compute AADT by the average of averages from daily volumes.

    Parameters
    ----------
    volumes : ndarray of float, shape (n,)
        Vehicles of each day, veh/day; NaN days are left out and counted as incomplete.
    days : ndarray of datetime64, shape (n,)
        The days, each at most once.

    Raises
    ------
    DataError
        When no day has a volume, a volume is negative, or a day stands twice.

    Notes
    -----
    :math:`AADT = \frac17\sum_i\frac1{12}\sum_j\frac1{n_{ij}}\sum_k V_{ijk}` with weekday i,
    month j, and k the days of that weekday in that month. Equal weights of all cells that
    have days; where cells are empty the figure is marked incomplete.

    References
    ----------
    AASHTO, "Guidelines for Traffic Data Programs", 1992; Federal Highway Administration,
    "Traffic Monitoring Guide", 2022, Appendix L.

    Examples
    --------
    >>> days = np.arange("2024-01-01", "2025-01-01", dtype="datetime64[D]")
    >>> compute_average_day(np.full(366, 900.0), days).aadt
    900.0
    """
    volumes = np.asarray(volumes, dtype=np.float64)
    days = np.asarray(days, dtype="datetime64[D]")
    good = np.isfinite(volumes)
    if not good.any():
        raise DataError("average day: no day has all its hours; at least one full day is needed")
    if (volumes[good] < 0).any():
        raise DataError("average day: vehicles a day must be 0 or more; mend the negative days")
    if len(np.unique(days)) != len(days):
        raise DataError("average day: a day stands twice; add up or drop its second record")
    stamp = pd.DatetimeIndex(days[good])
    cell = (stamp.month.to_numpy() - 1) * 7 + stamp.day_of_week.to_numpy()
    count = np.bincount(cell, minlength=84)
    total = np.bincount(cell, weights=volumes[good], minlength=84)
    with np.errstate(invalid="ignore"):
        cells = np.where(count > 0, total / np.maximum(count, 1), np.nan).reshape(12, 7)
    return AverageDay(
        aadt=float(np.nanmean(cells)),
        plain_mean=float(volumes[good].mean()),
        cells=cells,
        days=count.reshape(12, 7).astype(np.int64),
        incomplete_days=int((~good).sum()),
    )


def compute_average_day_by_hour(hourly: FloatArray, hours: NDArray[np.datetime64]) -> float:
    r"""Compute AADT from hours, so that a day with a missing hour still counts.

    Parameters
    ----------
    hourly : ndarray of float, shape (n,)
        Vehicles in each hour; NaN hours are left out.
    hours : ndarray of datetime64, shape (n,)
        Starts of the hours.

    Returns
    -------
    float
        veh/day.

    Raises
    ------
    DataError
        When a month that has data lacks an hour of the day on a weekday that has data.

    Notes
    -----
    Mean of each month x weekday x hour, summed over the hours of a day, averaged over the
    weekdays of a month by how often each occurs, then over months by their days.

    References
    ----------
    Federal Highway Administration, "Traffic Monitoring Guide", 2022, Appendix L (the
    hour-based form; from memory).
    """
    stamp = pd.DatetimeIndex(hours)
    table = pd.DataFrame(
        {
            "period": stamp.to_period("M"),
            "weekday": stamp.day_of_week,
            "hour": stamp.hour,
            "v": np.asarray(hourly, dtype=np.float64),
        }
    ).dropna()
    means = table.groupby(["period", "weekday", "hour"])["v"].mean().unstack("hour")
    if means.shape[1] < 24 or means.isna().any(axis=None):
        raise DataError(
            "average day by hours: each weekday of each month needs all 24 hours at least once; "
            "use the complete days alone"
        )
    day = means.sum(axis=1)
    weight = [_times(p, w) for p, w in day.index]
    monthly = (day * weight).groupby(level=0).sum() / pd.Series(weight, index=day.index).groupby(
        level=0
    ).sum()
    lengths = np.array([period.days_in_month for period in monthly.index])
    return float((monthly.to_numpy() * lengths).sum() / lengths.sum())


def _times(period: pd.Period, weekday: int) -> int:
    stamps = pd.date_range(period.start_time, periods=period.days_in_month)
    return int((stamps.day_of_week == weekday).sum())


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignHours:
    """Factors of the busiest hours, read off a year of hours."""

    #: nth highest hour -> its share of AADT (K)
    k: dict[int, float]
    #: nth highest hour -> share of the busier direction in it (D); empty for one direction
    d: dict[int, float]


def compute_design_hours(
    hourly: FloatArray, aadt: float, *, ranks: tuple[int, ...] = (1, 10, 20, 30, 50, 100, 200)
) -> DesignHours:
    """Compute K and D of the nth highest hours of a year.

    Parameters
    ----------
    hourly : ndarray of float, shape (hours,) or (hours, 2)
        Vehicles in each hour, by direction where counted apart; NaN hours are left out.
    aadt : float
        Average day of both directions together, veh/day.
    ranks : tuple of int
        Which n; those beyond the hours at hand are left out.

    Raises
    ------
    InputError
        When ``aadt`` is not above 0.

    Notes
    -----
    K is the nth highest two-way hour over AADT; D is the busier direction's share of that
    hour's vehicles. They describe design hours and say nothing about a day's split.

    References
    ----------
    Transportation Research Board, "Highway Capacity Manual", 2016, chapter 3 (definitions).

    Examples
    --------
    >>> hours = compute_design_hours(np.array([[300.0, 700.0], [200.0, 200.0]]), 10_000, ranks=(1,))
    >>> hours.k[1], hours.d[1]
    (0.1, 0.7)
    """
    if not (math.isfinite(aadt) and aadt > 0):
        raise InputError(f"aadt must be above 0 veh/day, got {aadt}; give the average day")
    table = np.asarray(hourly, dtype=np.float64)
    ways = table[:, None] if table.ndim == 1 else table
    ways = ways[np.isfinite(ways).all(axis=1)]
    total = ways.sum(axis=1)
    order = np.argsort(-total, kind="stable")
    k: dict[int, float] = {}
    d: dict[int, float] = {}
    for rank in ranks:
        if rank <= len(order):
            row = order[rank - 1]
            k[rank] = float(total[row] / aadt)
            if ways.shape[1] == 2 and total[row] > 0:
                d[rank] = float(ways[row].max() / total[row])
    return DesignHours(k=k, d=d)

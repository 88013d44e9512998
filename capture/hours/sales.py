"""What does a user's own sales file say about the shape of the year, and how well?

Any file with a time and a number of cars per hour serves. Month, weekday and hour weights
are fitted together by proportional fitting (the maximum likelihood of a multiplicative
Poisson model), mixed with the default shape as if it were a few hundred cars, so a file of
a few weeks moves only what it has seen. Assumes that hours missing from open days had no
sales, and that days without any row were not recorded.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import DataError, Sheet, raise_gathered
from capture.hours.times import name_columns, read_times
from capture.hours.values import VALUES
from capture.hours.year import DAYS, YearShape, month_of_day, normalise_shares

FloatArray = NDArray[np.float64]

_TIME_NAMES: Final = ("time", "hour_start", "date", "datetime", "timestamp")
_CARS_NAMES: Final = ("cars", "count", "washes", "sales", "tickets")
_MOST_ROWS: Final = 500_000
_MOST_CARS: Final = 2_000.0
_LEAST_DAYS: Final = 14
_ROUNDS: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SalesFit:
    """A year shape fitted to sales, and how far off it is."""

    #: the fitted shape
    shape: YearShape
    #: days and cars in the file
    days: int
    cars: float
    #: mean absolute error of a day's cars as a share of the mean day: the fit, the default
    day_error_share: float
    default_day_error_share: float
    #: mean absolute error of the mean cars by weekday and hour, as a share of their mean
    hour_error_share: float
    #: error on every fourth week, left out of the fit, of a day's cars as a share of the mean
    held_out_error_share: float
    #: spread of a day round the fit beyond Poisson, a coefficient of variation
    day_cv: float
    #: the file's busiest hour, and what the fit expects to be its busiest
    busiest_hour: float
    fitted_busiest_hour: float


def load_sales_table(table: pd.DataFrame) -> pd.DataFrame:
    """Bring a sales table into ``time`` (whole hours) and ``cars``, summed by hour.

    Parameters
    ----------
    table : DataFrame
        A time (``time``, ``datetime`` or ``date`` with ``hour``) and cars (``cars``,
        ``count``, ``washes``).

    Returns
    -------
    DataFrame
        Columns ``time`` and ``cars``, sorted, one row per hour that has one.

    Raises
    ------
    DataError
        Naming each fault.

    Examples
    --------
    >>> frame = pd.DataFrame({"date": ["2025-03-01"], "hour": [9], "cars": [31]})
    >>> load_sales_table(frame).time[0].hour
    9
    """
    lower = name_columns(table, where="sales")
    time_name = next((lower[name] for name in _TIME_NAMES if name in lower), None)
    cars_name = next((lower[name] for name in _CARS_NAMES if name in lower), None)
    if time_name is None or cars_name is None:
        raise DataError(
            "sales: needs a column time (or date and hour) and a column cars, got "
            f"{', '.join(map(str, list(table.columns)[:12]))}; rename them"
        )
    if len(table) > _MOST_ROWS:
        raise DataError(f"sales: at most {_MOST_ROWS} rows are read, got {len(table)}; sum by hour")
    time = read_times(table[time_name])
    cars = pd.to_numeric(table[cars_name], errors="coerce").to_numpy(dtype=np.float64)
    if "hour" in lower:
        hour = pd.to_numeric(table[lower["hour"]], errors="coerce")
        time = time.dt.normalize() + pd.to_timedelta(hour.where(hour.between(0, 23)), unit="h")
    rows = table["row"].to_numpy() if "row" in table.columns else np.arange(1, len(table) + 1)
    faults = [
        f"row {rows[k]}: its date or hour is not readable" for k in np.flatnonzero(time.isna())
    ]
    bad = ~((cars >= 0) & (cars <= _MOST_CARS))
    faults += [
        f"row {rows[k]}: cars is {cars[k]:g}, must be 0 to {_MOST_CARS:g} an hour"
        for k in np.flatnonzero(bad)
    ]
    raise_gathered(faults, where="sales")
    out = pd.DataFrame({"time": time.dt.floor("h"), "cars": cars})
    out = out[~((out["time"].dt.month == 2) & (out["time"].dt.day == 29))]
    summed: pd.DataFrame = out.groupby("time", as_index=False, sort=True)[["cars"]].sum()
    return summed


def fit_sales(table: pd.DataFrame, *, prior: YearShape, values: Sheet = VALUES) -> SalesFit:
    """Fit the shape of the year to a sales file.

    Parameters
    ----------
    table : DataFrame
        See :func:`load_sales_table`; at least two weeks.
    prior : YearShape
        Shape that fills what the file has not seen; its open hours are widened to any
        hour in which the file has sales.

    Returns
    -------
    SalesFit

    Raises
    ------
    DataError
        When the file is not usable or too short.
    """
    sales = load_sales_table(table)
    grid, dates = by_day(sales)
    if len(dates) < _LEAST_DAYS or grid.sum() <= 0:
        raise DataError(
            f"sales: needs at least {_LEAST_DAYS} days with cars, got {len(dates)} days and "
            f"{grid.sum():g} cars; give a longer file"
        )
    month, weekday = dates.month.to_numpy() - 1, dates.day_of_week.to_numpy()
    default = prior_weights(prior)
    fitted = fit_weights(grid, month, weekday, default, values)
    week = np.asarray(dates.isocalendar().week, dtype=np.int64) % 4 == 0
    held_out = np.nan
    if week.any() and (~week).sum() >= _LEAST_DAYS:
        part = fit_weights(grid[~week], month[~week], weekday[~week], default, values)
        held_out = _day_error(grid[week], expect(part, month[week], weekday[week]))
    expected = expect(fitted, month, weekday)
    day_cv = excess_cv(grid.sum(axis=1), expected.sum(axis=1))
    shape = _to_shape(prior, fitted, day_cv, len(dates), float(grid.sum()))
    usual = expect(default, month, weekday)
    usual *= grid.sum() / usual.sum()
    return SalesFit(
        shape=shape,
        days=len(dates),
        cars=float(grid.sum()),
        day_error_share=_day_error(grid, expected),
        default_day_error_share=_day_error(grid, usual),
        hour_error_share=_hour_error(grid, expected, weekday),
        held_out_error_share=held_out,
        day_cv=day_cv,
        busiest_hour=float(grid.max()),
        fitted_busiest_hour=float(expected.max()),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShapeWeights:
    """Multiplicative weights; a cell is their product."""

    month: FloatArray  # (12,)
    week_hour: FloatArray  # (7, 24)


def by_day(sales: pd.DataFrame) -> tuple[FloatArray, pd.DatetimeIndex]:
    """Return cars by day and hour (days, 24), and the days."""
    day = sales["time"].dt.normalize()
    dates = pd.DatetimeIndex(np.sort(day.unique()))
    grid = np.zeros((len(dates), 24))
    grid[dates.get_indexer(day), sales["time"].dt.hour] = sales["cars"]
    return grid, dates


def prior_weights(prior: YearShape) -> ShapeWeights:
    """Take month and week x hour weights out of a year shape, its weather taken off."""
    days = prior.day_hours / np.where(prior.weather_factor > 0, prior.weather_factor, 1)[:, None]
    week_hour = np.stack([days[prior.weekday == day].sum(axis=0) for day in range(7)])
    month = prior.month_share / np.bincount(month_of_day())
    return ShapeWeights(month=month / month.mean(), week_hour=week_hour / week_hour.mean())


def fit_weights(
    grid: FloatArray,
    month: NDArray[np.int64],
    weekday: NDArray[np.int64],
    default: ShapeWeights,
    values: Sheet,
) -> ShapeWeights:
    """Fit by alternating proportional updates, each mixed with pseudo-cars of the default."""
    pseudo = values.value("sales_pseudo_cars")
    days = grid.sum(axis=1)
    seen_month = np.bincount(month, weights=days, minlength=12)
    cells = np.zeros((7, 24))
    np.add.at(cells, weekday, grid)
    level = days.mean()
    months = default.month.copy()
    week_hour = default.week_hour / default.week_hour.sum() * 7 * level
    usual = week_hour.copy()
    for _ in range(_ROUNDS):
        exposure = np.zeros(7)
        np.add.at(exposure, weekday, months[month])
        prior_days = pseudo / (7 * level)
        week_hour = (cells + usual * prior_days) / (exposure + prior_days)[:, None]
        by_month = np.bincount(month, weights=week_hour.sum(axis=1)[weekday], minlength=12)
        prior_cars = pseudo / 12
        updated = (seen_month + prior_cars) / (by_month + prior_cars / default.month)
        updated /= updated.mean()
        done = np.abs(updated - months).max() < 1e-10
        months = updated
        if done:
            break
    return ShapeWeights(month=months, week_hour=week_hour)


def expect(
    weights: ShapeWeights, month: NDArray[np.int64], weekday: NDArray[np.int64]
) -> FloatArray:
    """Return expected cars by day and hour."""
    return np.asarray(weights.month[month][:, None] * weights.week_hour[weekday])


def _day_error(grid: FloatArray, expected: FloatArray) -> float:
    days = grid.sum(axis=1)
    return float(np.abs(days - expected.sum(axis=1)).mean() / max(days.mean(), 1e-9))


def _hour_error(grid: FloatArray, expected: FloatArray, weekday: NDArray[np.int64]) -> float:
    got, meant = np.zeros((7, 24)), np.zeros((7, 24))
    np.add.at(got, weekday, grid)
    np.add.at(meant, weekday, expected)
    return float(np.abs(got - meant).sum() / max(got.sum(), 1e-9))


def excess_cv(days: FloatArray, expected: FloatArray) -> float:
    """Return the gamma spread that explains the days' variance beyond Poisson."""
    scale = expected * (days.sum() / expected.sum())
    excess = ((days - scale) ** 2 - scale).sum() / (scale**2).sum()
    return float(np.sqrt(np.clip(excess, 0.0, 4.0)))


def _to_shape(
    prior: YearShape, weights: ShapeWeights, day_cv: float, days: int, cars: float
) -> YearShape:
    month = month_of_day()
    share = normalise_shares(
        (weights.month[month][:, None] * weights.week_hour[prior.weekday]).ravel()
    )
    coverage = min(1.0, days / DAYS)
    return replace(
        prior,
        share=share,
        day_noise_cv=day_cv,
        weather_factor=np.ones(DAYS),
        # half of the spread stays: one year's shape is not the next one's
        peak_log_sd=prior.peak_log_sd * (1 - 0.5 * coverage),
        sources=(f"shape of the year: your sales file of {days} days and {cars:,.0f} cars",),
        cautions=("weather is part of the day's noise, as the sales file shows it",),
    )

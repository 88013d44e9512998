"""Was a bad month the weather, or something else? What does weather do at this very wash?

Sets a user's own sales beside daily weather: how many times the cars of a plain dry day
came on wet days, on the first dry day after, on a thaw; and by month what weather explains
and what is left over. Assumes that what is left over is not weather: a rival, road works, a
price, or a season unlike the default one while the file is shorter than two years.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import DataError, Sheet
from capture.basis.draws import Z95
from capture.hours.sales import (
    ShapeWeights,
    by_day,
    expect,
    fit_weights,
    load_sales_table,
    prior_weights,
)
from capture.hours.values import VALUES
from capture.hours.weather import classify_days, read_weather
from capture.hours.year import YearShape

FloatArray = NDArray[np.float64]

_LEAST_DAYS: Final = 60
#: days of a kind below which it is not estimated
_LEAST_OF_KIND: Final = 4
_ROUNDS: Final = 8
#: months in the file from which its own seasons are trusted over the default ones
_OWN_SEASONS: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class KindEffect:
    """Cars on one kind of day against a plain dry day."""

    #: wet, rebound or thaw
    kind: str
    #: how many days of it the file has
    days: int
    #: times the cars of a plain dry day; NaN when there are too few days
    factor: float
    #: 5th and 95th percentile
    low: float
    high: float
    #: what practice has
    default: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthStory:
    """One month of the file: what came, what was usual, what weather and the rest did."""

    #: such as 2025-03
    month: str
    #: days of it in the file
    days: int
    #: cars that came
    cars: float
    #: cars that such days usually bring, weather aside
    usual_cars: float
    #: what its weather did, share of usual
    weather_share: float
    #: what is left over, share of what weather leaves to expect
    left_over_share: float
    #: standard error of what is left over
    error_share: float

    @property
    def stands_out(self) -> bool:
        """Whether what is left over is beyond chance (two standard errors)."""
        return abs(self.left_over_share) > 2 * self.error_share


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherEffect:
    """What weather does at one wash."""

    #: by kind of day
    kinds: tuple[KindEffect, ...]
    #: by month, in order
    months: tuple[MonthStory, ...]
    #: spread of a day round its expectation once weather is known
    day_cv: float

    def to_values(self) -> Mapping[str, float]:
        """Return the estimates as overrides of this room's constants."""
        found = {one.kind: one.factor for one in self.kinds if np.isfinite(one.factor)}
        out = {"day_cv": self.day_cv}
        if "wet" in found:
            out["wet_day_change_share"] = found["wet"] - 1
        out |= {f"{kind}_factor": found[kind] for kind in ("rebound", "thaw") if kind in found}
        return out


def estimate_weather_effect(
    sales: pd.DataFrame, weather: pd.DataFrame, *, prior: YearShape, values: Sheet = VALUES
) -> WeatherEffect:
    """Estimate from a wash's own sales what weather does there.

    Parameters
    ----------
    sales : DataFrame
        See :func:`capture.hours.sales.load_sales_table`.
    weather : DataFrame
        Daily, of the same days; see :func:`capture.hours.weather.read_weather`.
    prior : YearShape
        Seasons that hold while the file is shorter than 20 months.

    Returns
    -------
    WeatherEffect

    Raises
    ------
    DataError
        When fewer than 60 days have both sales and weather.

    Notes
    -----
    Days are divided by the factor of their kind and the weights of weekday and hour fitted
    again, until both settle. A kind's factor is its cars over what is expected of its days,
    against the same for plain dry days; its error follows from the spread of its days.
    """
    grid, dates = by_day(load_sales_table(sales))
    kind = _kinds_of(dates, weather, values)
    known = kind != "unknown"
    if known.sum() < _LEAST_DAYS:
        raise DataError(
            f"weather of the sales file: needs at least {_LEAST_DAYS} days with both, got "
            f"{int(known.sum())}; give weather of the same dates"
        )
    grid, dates, kind = grid[known], dates[known], kind[known]
    factor, expected = np.ones(len(dates)), np.zeros(len(dates))
    for _ in range(_ROUNDS):
        expected = _usual(grid / np.maximum(factor, 0.05)[:, None], dates, prior, values)
        ratios = _ratios(grid.sum(axis=1), expected, kind)
        factor = np.array([ratios.get(one, 1.0) for one in kind])
    cars = grid.sum(axis=1)
    level = cars.sum() / (expected * factor).sum()
    spread = _spread(cars, expected * factor * level)
    kinds = tuple(
        _effect(name, cars, expected, kind, spread, values) for name in ("wet", "rebound", "thaw")
    )
    months = _tell_months(cars, expected * level, factor, dates, spread)
    return WeatherEffect(kinds=kinds, months=months, day_cv=spread)


def _kinds_of(dates: pd.DatetimeIndex, weather: pd.DataFrame, values: Sheet) -> NDArray[np.str_]:
    table = read_weather(weather)
    days = table["date"].dt.normalize()
    table = table.assign(date=days).set_index("date")
    span = pd.date_range(days.min(), days.max())
    table = table.reindex(span)
    flags = classify_days(table, values=values)
    kind = np.full(len(span), "dry", dtype="<U8")
    for name in ("rebound", "thaw", "wet", "shut"):
        kind[flags[name]] = name
    kind[table["precipitation_mm"].isna().to_numpy()] = "unknown"
    place = span.get_indexer(dates)
    return np.where(place >= 0, kind[place], "unknown")


def _usual(
    grid: FloatArray, dates: pd.DatetimeIndex, prior: YearShape, values: Sheet
) -> FloatArray:
    """Return what each day usually brings, weather aside."""
    month, weekday = dates.month.to_numpy() - 1, dates.day_of_week.to_numpy()
    default = prior_weights(prior)
    if len(np.unique(dates.year * 12 + dates.month)) >= _OWN_SEASONS:
        fitted = fit_weights(grid, month, weekday, default, values)
    else:  # seasons of the default, weekdays and hours of the file
        flat = ShapeWeights(month=np.ones(12), week_hour=default.week_hour)
        even = grid / default.month[month][:, None]
        fitted = fit_weights(even, np.zeros_like(month), weekday, flat, values)
        fitted = ShapeWeights(month=default.month, week_hour=fitted.week_hour)
    return np.asarray(expect(fitted, month, weekday).sum(axis=1))


def _ratios(cars: FloatArray, expected: FloatArray, kind: NDArray[np.str_]) -> dict[str, float]:
    def ratio(name: str) -> float:
        chosen = kind == name
        return float(cars[chosen].sum() / max(expected[chosen].sum(), 1e-9))

    dry = max(ratio("dry"), 1e-9)
    return {
        name: ratio(name) / dry
        for name in ("wet", "rebound", "thaw", "shut")
        if (kind == name).sum() >= _LEAST_OF_KIND
    }


def _spread(cars: FloatArray, expected: FloatArray) -> float:
    """Return the spread of a day beyond Poisson, a coefficient of variation."""
    excess = ((cars - expected) ** 2 - expected).sum() / max((expected**2).sum(), 1e-9)
    return float(np.sqrt(np.clip(excess, 1e-6, 4.0)))


def _effect(
    name: str,
    cars: FloatArray,
    expected: FloatArray,
    kind: NDArray[np.str_],
    spread: float,
    values: Sheet,
) -> KindEffect:
    default = (
        1 + values.value("wet_day_change_share")
        if name == "wet"
        else values.value(f"{name}_factor")
    )
    days, dry = int((kind == name).sum()), int((kind == "dry").sum())
    found = _ratios(cars, expected, kind).get(name, float("nan"))
    mean = float(cars[kind == name].mean()) if days else 1.0
    poisson = 1 / max(mean * days, 1.0)
    error = np.sqrt(spread**2 / max(days, 1) + poisson + spread**2 / max(dry, 1))
    return KindEffect(
        kind=name, days=days, factor=found, low=float(found * np.exp(-Z95 * error)),
        high=float(found * np.exp(Z95 * error)), default=default,
    )  # fmt: skip


def _tell_months(
    cars: FloatArray,
    usual: FloatArray,
    factor: FloatArray,
    dates: pd.DatetimeIndex,
    spread: float,
) -> tuple[MonthStory, ...]:
    mean_factor = float((usual * factor).sum() / usual.sum())
    label = dates.strftime("%Y-%m").to_numpy()
    out = []
    for month in np.unique(label):
        here = label == month
        normal = float(usual[here].sum() * mean_factor)
        with_weather = float((usual * factor)[here].sum())
        came = float(cars[here].sum())
        out.append(
            MonthStory(
                month=str(month), days=int(here.sum()), cars=came, usual_cars=normal,
                weather_share=with_weather / normal - 1, left_over_share=came / with_weather - 1,
                error_share=float(np.sqrt(spread**2 / here.sum() + 1 / max(with_weather, 1.0))),
            )
        )  # fmt: skip
    return tuple(out)

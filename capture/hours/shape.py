"""When in the year do cars come: which share of a year's cars falls into each hour?

The year has 365 days and starts on a stated weekday; 29 February is left out. A year is
month x weekday x open-hour shape, times a factor for each day's weather, scaled so that
all hours sum to one. Assumes that shares do not depend on how many cars there are, and
that a month's usual weather is already in its month weight, so weather moves cars within
a month, not between months.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Offer, Sheet
from capture.hours.values import MONTHS, VALUES, WEEKDAYS
from capture.hours.year import DAYS, YearShape, month_of_day, normalise_shares

FloatArray = NDArray[np.float64]


def make_year_shape(
    offer: Offer,
    *,
    weather: pd.DataFrame | None = None,
    road_hour_share: ArrayLike | None = None,
    country: str | None = None,
    subdivision: str | None = None,
    closed_days: Sequence[datetime.date] = (),
    year: int | None = None,
    southern: bool = False,
    sales: pd.DataFrame | None = None,
    values: Sheet = VALUES,
) -> YearShape:
    """Say how a year's cars fall into its hours.

    Parameters
    ----------
    offer : Offer
        Gives the opening hours.
    weather : DataFrame, optional
        Daily weather, or twelve monthly normals; see
        :func:`capture.hours.weather.read_weather`.
    road_hour_share : array_like of float, shape (24,), optional
        Share of the passing vehicles by hour of day; blended into the wash's own hours.
    country, subdivision : str, optional
        ISO code of the country (and state) whose public holidays hold.
    closed_days : sequence of date
        Days on which the wash stays shut; month and day are used.
    year : int, optional
        Which calendar year; by default the weather's, else a year that starts on a Wednesday.
    southern : bool
        Whether seasons are those of the southern half of the Earth.
    sales : DataFrame, optional
        The user's own sales by hour; see :func:`capture.hours.sales.fit_sales`.
    values : Sheet
        Defaults of this room.

    Returns
    -------
    YearShape
        Shares that sum to one exactly, over open hours only.

    Raises
    ------
    InputError
        When the road's shares are not 24 numbers of 0 or more or no hour is left open.

    Notes
    -----
    share(h) is month weight x weekday weight x weather factor of the day x hour weight
    within the day, the latter summing to one over open hours. Hour weights are
    practice^(1-b) x road^b with b the blend. A day beyond a knee (twice the mean day) rises
    with a power of its weight, since practice's busiest days stay below the product of all.

    Examples
    --------
    >>> shape = make_year_shape(Offer())
    >>> shape.share.shape, bool(shape.hour_share[3] == 0)
    ((8760,), True)
    """
    if sales is not None:
        from capture.hours.sales import fit_sales

        prior = make_year_shape(
            offer, weather=weather, road_hour_share=road_hour_share, country=country,
            subdivision=subdivision, closed_days=closed_days, year=year, southern=southern,
            values=values,
        )  # fmt: skip
        return fit_sales(sales, prior=prior, values=values).shape
    from capture.hours.weather import add_weather_factor

    days = add_weather_factor(weather, year=year, values=values)
    calendar_year = days.year
    first_weekday = datetime.date(calendar_year, 1, 1).weekday()
    months = _month_weights(days.salt_share, southern=southern, values=values)
    holidays = holiday_days(calendar_year, country=country, subdivision=subdivision)
    day_weight = _day_weights(months, first_weekday, holidays, values) * days.factor
    day_weight = _soften_crowds(day_weight, values)
    shut = [_day_number(day.month, day.day) for day in closed_days]
    day_weight[shut] = 0.0
    weekday = (np.arange(DAYS) + first_weekday) % 7
    free = (weekday >= 5) | np.isin(np.arange(DAYS), list(holidays))
    hours = _hour_weights(offer, road_hour_share, values)
    share = normalise_shares((day_weight[:, None] * hours[free.astype(int)]).ravel())
    cautions = list(days.cautions)
    if country is None:
        cautions.append("no country is given, so public holidays count as plain days")
    return YearShape(
        share=share,
        first_weekday=first_weekday,
        year=calendar_year,
        day_noise_cv=days.day_cv,
        weather_cv=values.value("weather_year_cv"),
        peak_log_sd=values.value("peak_log_sd"),
        weather_factor=days.factor.copy(),
        sources=(
            *_say_sources(days.source, road_hour_share is not None, country, values),
            *([f"days shut by choice: {len(set(shut))}"] if shut else []),
        ),
        cautions=tuple(cautions),
    )


def holiday_days(
    year: int, *, country: str | None, subdivision: str | None = None
) -> Mapping[int, str]:
    """Return the public holidays of a year as day number (0 to 364) to name.

    Raises
    ------
    InputError
        For a country or subdivision that the holidays library does not know.

    Examples
    --------
    >>> holiday_days(2025, country=None)
    {}
    """
    if country is None:
        return {}
    import holidays

    if not all(isinstance(code, str | None) for code in (country, subdivision)):
        raise InputError(
            f"holidays: country and state must be ISO codes, got {country!r} and "
            f"{subdivision!r}; write them as text, such as 'US'"
        )
    country = country.strip().upper()
    try:
        found = holidays.country_holidays(country, subdiv=subdivision, years=year)
    except NotImplementedError as error:
        raise InputError(
            f"holidays: country and state must be ISO codes that are known, got {country!r} and "
            f"{subdivision!r} ({error}); leave both out to go without holidays"
        ) from None
    return {
        _day_number(day.month, day.day): str(name)
        for day, name in sorted(found.items())
        if (day.month, day.day) != (2, 29)
    }


def _day_number(month: int, day: int) -> int:
    if (month, day) == (2, 29):
        day = 28
    return (datetime.date(2023, month, day) - datetime.date(2023, 1, 1)).days


def _month_weights(salt_share: float, *, southern: bool, values: Sheet) -> FloatArray:
    salt = np.array([values.value(f"month_salt_{month}") for month in MONTHS])
    sun = np.array([values.value(f"month_sun_{month}") for month in MONTHS])
    blend = salt_share * salt / salt.mean() + (1 - salt_share) * sun / sun.mean()
    return np.roll(blend, 6) if southern else blend


def _day_weights(
    months: FloatArray, first_weekday: int, holidays: Mapping[int, str], values: Sheet
) -> FloatArray:
    month = month_of_day()
    weekday = (np.arange(DAYS) + first_weekday) % 7
    week = np.array([values.value(f"weekday_{day}") for day in WEEKDAYS])
    weight = week[weekday].copy()
    weight[list(holidays)] *= values.value("holiday_factor")
    # a month keeps its weight whatever weekdays it holds
    per_month = np.bincount(month, weights=weight, minlength=12) / np.bincount(month)
    return np.asarray(weight / per_month[month] * months[month])


def _soften_crowds(day_weight: FloatArray, values: Sheet) -> FloatArray:
    """Let days far above the mean rise less: a thaw on a Saturday is not the product of both."""
    knee, power = values.value("crowd_knee"), values.value("crowd_power")
    level = day_weight / max(day_weight.mean(), 1e-12)
    softened = knee * (np.maximum(level, knee) / knee) ** power
    return np.asarray(np.where(level > knee, softened, level))


def _hour_weights(offer: Offer, road_hour_share: ArrayLike | None, values: Sheet) -> FloatArray:
    blend = values.value("road_blend_share")
    hours = np.array(
        [
            [values.value(f"{kind}_hour_{hour:02d}") for hour in range(24)]
            for kind in ("workday", "weekend")
        ]
    )
    if road_hour_share is not None:
        road = np.asarray(road_hour_share, dtype=np.float64)
        if road.shape != (24,) or not np.isfinite(road).all() or (road < 0).any() or not road.any():
            raise InputError(
                "road_hour_share must be 24 shares of 0 or more that are not all 0, got "
                f"{road.size} numbers; give one for each hour of the day"
            )
        hours = hours ** (1 - blend) * np.maximum(road / road.mean(), 1e-3) ** blend
    open_hours = (np.arange(24) >= offer.opens_hour) & (np.arange(24) < offer.closes_hour)
    hours = hours * open_hours
    return np.asarray(hours / hours.sum(axis=1, keepdims=True))


def _say_sources(weather: str, road: bool, country: str | None, values: Sheet) -> tuple[str, ...]:
    said = ["month, weekday and hour shape: common practice, no source", weather]
    if road:
        blend = values.value("road_blend_share")
        said.append(f"hours of the day: {blend:.0%} follows the passing road's own hours")
    if country is not None:
        said.append(f"public holidays of {country.upper()}: the holidays library")
    return tuple(said)

"""When in the year do cars come: which share of a year's cars falls into each hour?

The year has 365 days and starts on a stated weekday; 29 February is left out. A year is
month x weekday x open-hour shape, times a factor for each day's weather, scaled so that
all hours sum to one. Assumes that shares do not depend on how many cars there are, and
that a month's usual weather is already in its month weight, so weather moves cars within
a month, not between months.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Offer, Sheet
from capture.hours.values import MONTHS, VALUES, WEEKDAYS

FloatArray = NDArray[np.float64]

DAYS: Final = 365
HOURS: Final = 8760
#: a plain year that starts on a Wednesday, used when no dated file says which year it is
USUAL_YEAR: Final = 2025


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class YearShape:
    """The share of a year's cars in each of 8,760 hours, and the noise around it.

    Raises
    ------
    InputError
        When shares are negative, not 8,760, or do not sum to one.
    """

    #: share of the year's cars by hour, (8760,); hour 0 is 1 January 00:00
    share: FloatArray
    #: weekday of 1 January, 0 Monday to 6 Sunday
    first_weekday: int
    #: the calendar year that weekdays and holidays were taken from
    year: int
    #: coefficient of variation of the gamma factor of a day
    day_noise_cv: float
    #: coefficient of variation of a whole year through its weather
    weather_cv: float
    #: log spread of the busy hour since the shape itself may be another one
    peak_log_sd: float
    #: factor of each day through its weather, (365,), mean about 1 in each month
    weather_factor: FloatArray
    #: where the shape comes from, plain sentences
    sources: tuple[str, ...]
    #: what a reader should know before trusting it
    cautions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.share.shape != (HOURS,):
            raise InputError(f"year shape: share must be {HOURS} hours, got {self.share.shape}")
        if not np.isfinite(self.share).all() or (self.share < 0).any():
            raise InputError("year shape: each hour's share must be 0 or more; mend the shape")
        if abs(math.fsum(self.share) - 1.0) > 1e-12:
            raise InputError(
                f"year shape: shares must sum to 1, got {math.fsum(self.share)}; scale them"
            )
        if not 0 <= self.first_weekday <= 6:
            raise InputError(
                f"year shape: first_weekday must be 0 (Monday) to 6, got {self.first_weekday}"
            )
        for name in ("day_noise_cv", "weather_cv", "peak_log_sd"):
            amount = getattr(self, name)
            if not 0 <= amount <= 2:
                raise InputError(f"year shape: {name} must be 0 to 2, got {amount}")
        self.share.flags.writeable = False
        self.weather_factor.flags.writeable = False

    @property
    def day_hours(self) -> FloatArray:
        """Shares by day and hour, (365, 24)."""
        return self.share.reshape(DAYS, 24)

    @property
    def day_share(self) -> FloatArray:
        """Shares by day, (365,)."""
        return np.asarray(self.day_hours.sum(axis=1))

    @property
    def hour_share(self) -> FloatArray:
        """Share of the year's cars by hour of the day, (24,)."""
        return np.asarray(self.day_hours.sum(axis=0))

    @property
    def month_share(self) -> FloatArray:
        """Share of the year's cars by month, (12,)."""
        return _sum_by(month_of_day(), self.day_share, 12)

    @property
    def weekday(self) -> NDArray[np.int64]:
        """Weekday of each day, 0 Monday to 6 Sunday, (365,)."""
        return (np.arange(DAYS) + self.first_weekday) % 7

    @property
    def weekday_share(self) -> FloatArray:
        """Share of the year's cars by weekday, (7,)."""
        return _sum_by(self.weekday, self.day_share, 7)


def _sum_by(group: NDArray[np.int64], amount: FloatArray, groups: int) -> FloatArray:
    return np.asarray(np.bincount(group, weights=amount, minlength=groups), dtype=np.float64)


def month_of_day() -> NDArray[np.int64]:
    """Return the month, 0 to 11, of each day of a 365-day year, (365,)."""
    lengths = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    return np.repeat(np.arange(12), lengths)


def normalise_shares(weights: ArrayLike) -> FloatArray:
    """Scale weights of 0 or more so that their exact sum is one.

    The last rounding is put on the largest share, where it weighs least.

    Raises
    ------
    InputError
        When no weight is above 0.

    Examples
    --------
    >>> import math
    >>> math.fsum(normalise_shares([1.0, 1.0, 1.0]))
    1.0
    """
    array = np.asarray(weights, dtype=np.float64)
    total = math.fsum(array)
    if not (math.isfinite(total) and total > 0):
        raise InputError("year shape: no hour of the year is open; widen the opening hours")
    shares = array / total
    shares[np.argmax(shares)] += 1.0 - math.fsum(shares)
    return shares


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
    day_weight[[_day_number(day.month, day.day) for day in closed_days]] = 0.0
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
        sources=_say_sources(days.source, road_hour_share is not None, country, values),
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

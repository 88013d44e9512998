"""What average day does a short or an old count stand for?

Short counts are brought to the average day by month x weekday, axle and growth factors; each
adds its spread.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Sheet
from capture.passing.aadt import MONTHS, WEEKDAYS
from capture.passing.shapes import make_season_factors
from capture.passing.values import VALUES

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Expanded:
    """A short count brought to the average day."""

    #: veh/day
    aadt: float
    #: standard deviation of its logarithm
    log_sd: float
    #: what was multiplied, one sentence
    story: str


def expand_short_count(
    vehicles: float,
    *,
    hours: float,
    month: int | None = None,
    weekday: int | None = None,
    axles: bool = False,
    hour_share: FloatArray | None = None,
    season: FloatArray | None = None,
    values: Sheet = VALUES,
) -> Expanded:
    """Bring a count of some hours to the average day of its year.

    Parameters
    ----------
    vehicles : float
        Counted, or axles counted when ``axles``, over all hours.
    hours : float
        How many hours were counted.
    month, weekday : int, optional
        1-12, and 0 (Monday) to 6; without a weekday the mean of Monday to Thursday is taken,
        without a month an ordinary weekday of the year.
    axles : bool
        Whether axles were counted; two of them and the axle factor make a vehicle.
    hour_share : ndarray of float, optional
        Share of the day's vehicles within the hours counted is its sum, for counts that do
        not cover whole days.
    season : ndarray of float, shape (12, 7), optional
        Factors of the area's own continuous station; else the built-in ones.
    values : Sheet
        Spreads, axle factor.

    Raises
    ------
    InputError
        When ``vehicles`` or ``hours`` is out of range.

    References
    ----------
    Federal Highway Administration, "Traffic Monitoring Guide", 2022, chapter 3 (short count
    times month x weekday, axle and growth factors).

    Examples
    --------
    >>> flat = np.ones((12, 7))
    >>> expand_short_count(20_000, hours=48, month=10, weekday=1, season=flat).aadt
    10000.0
    """
    if not (math.isfinite(vehicles) and vehicles >= 0 and 0 < hours <= 9000):
        raise InputError(
            f"short count: vehicles must be 0 or more and hours 0 to 9000, got {vehicles} and "
            f"{hours}; check both columns"
        )
    variance = values.value("sd_48h_log" if hours >= 47 else "sd_24h_log") ** 2
    told = [f"{vehicles:,.0f} {'axles' if axles else 'vehicles'} in {hours:g} h"]
    day = vehicles * 24 / hours
    whole = abs(hours / 24 - round(hours / 24)) < 0.05 and hours >= 23
    if not whole:
        if hour_share is not None and 0 < float(hour_share.sum()) <= 1:
            day = vehicles / float(hour_share.sum())
            told.append(f"those hours hold {hour_share.sum():.0%} of a day")
        variance += values.value("sd_part_day_log") ** 2
    if axles:
        day *= values.value("axle_factor") / 2
        told.append(f"two axles and axle factor {values.value('axle_factor'):.2f}")
    if month is not None:
        factors = make_season_factors(values=values) if season is None else season
        row = factors[month - 1]
        factor = float(row[:4].mean() if weekday is None else row[weekday])
        day_name = "weekday" if weekday is None else WEEKDAYS[weekday]
        told.append(f"{MONTHS[month - 1]} {day_name} factor {factor:.3f}")
        if season is None:
            variance += values.value("sd_default_season_log") ** 2
    else:
        factor = 1 / values.value("weekday_over_average")
        told.append(f"an undated weekday, factor {factor:.3f}")
        variance += values.value("sd_undated_log") ** 2
    return Expanded(aadt=day * factor, log_sd=math.sqrt(variance), story=", ".join(told))


def age_count(
    aadt: float,
    log_sd: float,
    *,
    year: float,
    study_year: float,
    growth: tuple[float, float] | None = None,
    values: Sheet = VALUES,
) -> tuple[float, float]:
    """Carry an average day from its year to the year looked at.

    Parameters
    ----------
    aadt, log_sd : float
        veh/day and the standard deviation of its logarithm.
    year, study_year : float
        From and to.
    growth : tuple of (float, float), optional
        Yearly growth measured in the area and its standard deviation; else the default.

    Returns
    -------
    tuple of (float, float)
        veh/day and log standard deviation, which grows with age.

    Examples
    --------
    >>> v, sd = age_count(10_000, 0.1, year=2020, study_year=2020)
    >>> v, sd
    (10000.0, 0.1)
    """
    years = study_year - year
    sheet = values["growth_per_year"]
    rate, rate_sd = growth or (sheet.value, (sheet.high - sheet.low) / (2 * 1.6448536269514722))
    walk = values.value("age_walk_log")
    variance = log_sd**2 + (years * rate_sd / (1 + rate)) ** 2 + walk**2 * abs(years)
    return aadt * (1 + rate) ** years, math.sqrt(variance)

"""When does a low sun stand ahead of the driver, so that nobody reads a sign?

A note, not a factor. One day a month (the 21st), every ten minutes, in the area's own
time; dazzling is a sun that is up, low, and near the heading. Hills and clouds are left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Sheet
from capture.seeing.values import VALUES

FloatArray = NDArray[np.float64]
MONTHS: Final = ("January", "February", "March", "April", "May", "June", "July", "August",
                 "September", "October", "November", "December")  # fmt: skip
MINUTES: Final = 10
_YEAR: Final = 2025


@dataclass(frozen=True, slots=True, kw_only=True)
class Glare:
    """One spell of low sun ahead, on the 21st of a month."""

    #: 1 to 12
    month: int
    #: minutes after local midnight, first and last
    starts_minute: int
    ends_minute: int

    def __str__(self) -> str:
        return f"{MONTHS[self.month - 1]} {_clock(self.starts_minute)}-{_clock(self.ends_minute)}"


def _clock(minute: int) -> str:
    return f"{minute // 60}:{minute % 60:02d}"


def compute_sun(times: object, *, lat: float, lon: float) -> tuple[FloatArray, FloatArray]:
    """Compute where the sun stands.

    Parameters
    ----------
    times : DatetimeIndex
        With a time zone.
    lat, lon : float
        Degrees.

    Returns
    -------
    tuple of ndarray of float
        Azimuth (degrees clockwise from north) and height above the horizon (degrees,
        without refraction).

    References
    ----------
    Reda and Andreas, Solar Position Algorithm for Solar Radiation Applications, NREL 2008,
    as in the library pvlib.

    Examples
    --------
    >>> import pandas as pd
    >>> noon = pd.DatetimeIndex(["2003-10-17T12:30:30-07:00"])
    >>> azimuth, height = compute_sun(noon, lat=39.742476, lon=-105.1786)
    >>> round(float(azimuth[0]), 2)
    194.34
    """
    from pvlib.solarposition import spa_python

    found = spa_python(times, lat, lon)
    return found["azimuth"].to_numpy(np.float64), found["elevation"].to_numpy(np.float64)


@lru_cache(maxsize=64)
def _sun_year(lat: float, lon: float, time_zone: str) -> tuple[FloatArray, FloatArray]:
    """Azimuth and height, (12, steps), on the 21st of each month."""
    import pandas as pd

    days = []
    for month in range(1, 13):
        day = pd.Timestamp(_YEAR, month, 21)
        steps = day + pd.to_timedelta(np.arange(0, 1440, MINUTES), unit="min")
        try:
            days.append(
                pd.DatetimeIndex(steps).tz_localize(
                    time_zone, ambiguous=True, nonexistent="shift_forward"
                )
            )
        except (KeyError, ValueError, TypeError) as error:
            raise InputError(
                f"time zone {time_zone!r} is not known ({type(error).__name__}); give one such "
                "as America/Chicago"
            ) from None
    azimuth, height = compute_sun(days[0].append(days[1:]), lat=lat, lon=lon)
    return azimuth.reshape(12, -1), height.reshape(12, -1)


def find_glare(
    heading_deg: float, *, lat: float, lon: float, time_zone: str, values: Sheet = VALUES
) -> list[Glare]:
    """Find when a low sun stands ahead of a driver.

    Parameters
    ----------
    heading_deg : float
        Direction of travel, degrees clockwise from north.
    lat, lon : float
        Degrees.
    time_zone : str
        Name such as ``"America/Chicago"``.

    Returns
    -------
    list of Glare
        In order of month and time; empty where the sun is never low ahead.

    Raises
    ------
    InputError
        For an unknown time zone.

    Examples
    --------
    >>> spells = find_glare(90.0, lat=40.0, lon=-90.0, time_zone="America/Chicago")
    >>> str(spells[0])
    'February 6:50-7:20'
    """
    azimuth, height = _sun_year(round(lat, 2), round(lon, 2), time_zone)
    aside = np.abs((azimuth - heading_deg + 180.0) % 360.0 - 180.0)
    dazzles = (
        (height > 0)
        & (height < values.value("sun_high_degrees"))
        & (aside < values.value("sun_aside_degrees"))
    )
    spells = []
    for month in range(12):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], dazzles[month].astype(int), [0]])))
        for first, last in edges.reshape(-1, 2).tolist():
            spells.append(
                Glare(
                    month=month + 1,
                    starts_minute=first * MINUTES,
                    ends_minute=(last - 1) * MINUTES,
                )
            )
    return spells


def describe_glare(spells: list[Glare]) -> str:
    """Say in one sentence when the sun dazzles; empty when it never does.

    Examples
    --------
    >>> describe_glare([])
    ''
    """
    if not spells:
        return ""
    longest = max(spells, key=lambda spell: spell.ends_minute - spell.starts_minute)
    months = sorted({spell.month for spell in spells})
    names = ", ".join(MONTHS[month - 1][:3] for month in months)
    return f"low sun ahead in {names}, longest {longest} (on the 21st, clear sky)"

"""What is a year of 8,760 hours, and how is it summed by month, weekday and hour?

The year has 365 days and starts on a stated weekday; 29 February is left out and weekdays
run on without it. Assumes that shares do not depend on how many cars there are.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError

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
    def digest(self) -> bytes:
        """What tells this shape and its noise from another, for tables that are kept."""
        told = hashlib.blake2b(self.share.tobytes(), digest_size=16)
        told.update(np.float64(self.day_noise_cv).tobytes())
        return told.digest()

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
        raise InputError(
            "year shape: no hour of the year is open; widen the opening hours, or check the "
            "weather's temperatures"
        )
    shares = array / total
    shares[np.argmax(shares)] += 1.0 - math.fsum(shares)
    return shares

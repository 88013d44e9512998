"""How full does the worst day of a weekday get: how many wait, when, and how long too many?

Reads the passages of simulated days. Assumes that a car waits from its arrival until its
nose enters the line, paying included, and takes one place all that time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.line.queueing import Passages

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
#: of the worst days that are kept: the wash's busiest weekday by common practice
SATURDAY: Final = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstDay:
    """The fullest of all simulated days of one weekday."""

    #: 0 Monday to 6 Sunday
    weekday: int
    #: day of the year, 0 is 1 January
    day: int
    #: most cars waiting at once
    cars: int
    #: when they do, seconds from midnight
    at_s: float
    #: for how long more wait than there are places
    over_s: float
    #: days of this weekday that were simulated
    days: int
    #: days of this weekday on which more wait than there are places
    days_over: int


def find_peak_s(passages: Passages) -> FloatArray:
    """Return when the most cars wait on each day, seconds from midnight, (days,).

    The number only grows when a car joins, so it is at its most right after one has.
    """
    waits = passages.joined & (passages.enters_s > passages.arrives_s)
    number = np.where(waits, passages.saw_cars + 1.0, 0.0)
    if number.shape[1] == 0:
        return np.zeros(len(number))
    row = np.arange(len(number))
    return np.asarray(np.nan_to_num(passages.arrives_s[row, number.argmax(axis=1)]))


def compute_over_s(passages: Passages, places: float) -> FloatArray:
    """Return for how long more cars wait than there are places, by day, (days,).

    Parameters
    ----------
    passages : Passages
        Of all days.
    places : float
        Cars that may wait.

    Returns
    -------
    ndarray of float, shape (days,)
        Seconds.

    Notes
    -----
    With arrivals a and entries e of the cars that joined, each in order, the i-th car is
    the next to enter from e(i-1) on and more than P wait once a(i+P) has come; so the
    time is the sum over i of max(0, e(i) - max(a(i+P), e(i-1))).

    Examples
    --------
    >>> two = Passages(arrives_s=np.array([[0.0, 1.0]]), saw_cars=np.array([[0.0, 1.0]]),
    ...                joined=np.array([[True, True]]), paid_s=np.array([[5.0, 8.0]]),
    ...                enters_s=np.array([[5.0, 8.0]]))
    >>> compute_over_s(two, 1.0).tolist(), compute_over_s(two, 2.0).tolist()
    ([4.0], [0.0])
    """
    step = int(np.floor(places))
    came = np.sort(np.where(passages.joined, passages.arrives_s, np.inf), axis=1)
    gone = np.sort(np.where(passages.joined, passages.enters_s, np.inf), axis=1)
    left = came.shape[1] - step
    if left <= 0:
        return np.zeros(len(came))
    ends = gone[:, :left]
    before = np.concatenate((np.full((len(gone), 1), -np.inf), gone[:, :-1]), axis=1)[:, :left]
    starts = np.maximum(came[:, step:], before)
    held = np.isfinite(ends) & np.isfinite(starts)
    span = np.where(held, ends, 0.0) - np.where(held, starts, 0.0)
    return np.asarray(np.maximum(span, 0.0).sum(axis=1))


def find_worst(
    weekday: IntArray,
    day: IntArray,
    most: FloatArray,
    at_s: FloatArray,
    over_s: FloatArray,
    *,
    places: float,
    which: int = SATURDAY,
) -> WorstDay | None:
    """Find the fullest of the simulated days of one weekday; None when none was simulated.

    Parameters
    ----------
    weekday, day : ndarray of int, shape (days,)
        0 Monday to 6 Sunday, and the day of the year from 0.
    most, at_s, over_s : ndarray of float, shape (days,)
        Most cars at once, when, and for how long too many.
    places : float
        Cars that may wait.
    which : int
        The weekday.
    """
    mine = np.flatnonzero(weekday == which)
    if mine.size == 0:
        return None
    worst = int(mine[np.lexsort((over_s[mine], most[mine]))[-1]])
    return WorstDay(
        weekday=which,
        day=int(day[worst]),
        cars=int(most[worst]),
        at_s=float(at_s[worst]),
        over_s=float(over_s[worst]),
        days=int(mine.size),
        days_over=int((most[mine] > places).sum()),
    )

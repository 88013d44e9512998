"""How do cars pass pay lanes and a line, event by event, over many days at once?

The recursion runs over cars in order of arrival and over all days side by side: a car
takes the pay lane that is free first, then the next place on the line, one per headway
(Lindley's recursion with several servers in front). A driver who sees too many cars
waiting turns away. Cars that pay faster may reach the line first: the order is put right
after paying, which leaves the number on the line as it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError
from capture.line.lost import compute_balk_share

FloatArray = NDArray[np.float64]

#: longest look back for cars that still wait; more than this many never stay
_LOOK_BACK: Final = 160


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Passages:
    """What happened to each car of each day; arrays (days, cars), NaN where there is none."""

    #: when the car came
    arrives_s: FloatArray
    #: cars it saw waiting, before paying and between paying and the line
    saw_cars: FloatArray
    #: whether it joined; False for those that turned away and where there is none
    joined: NDArray[np.bool_]
    #: when it had paid
    paid_s: FloatArray
    #: when its nose entered the line
    enters_s: FloatArray

    @property
    def wait_s(self) -> FloatArray:
        """From arrival to the line, paying included, (days, cars)."""
        return self.enters_s - self.arrives_s


def draw_arrivals(hour_means: FloatArray, generator: np.random.Generator) -> FloatArray:
    """Draw the arrival times of many days.

    Parameters
    ----------
    hour_means : ndarray of float, shape (days, 24)
        Expected cars in each hour.
    generator : numpy Generator

    Returns
    -------
    ndarray of float, shape (days, most cars)
        Seconds from midnight, rising; NaN after a day's last car.

    Notes
    -----
    Poisson numbers, times evenly spread within each hour.
    """
    counts = generator.poisson(hour_means)
    per_day = counts.sum(axis=1)
    most = int(per_day.max(initial=0))
    times = np.full((len(counts), most), np.nan)
    hours = np.repeat(np.tile(np.arange(24.0), len(counts)), counts.ravel())
    column = np.arange(hours.size) - np.repeat(np.cumsum(per_day) - per_day, per_day)
    times[np.repeat(np.arange(len(counts)), per_day), column] = 3600.0 * (
        hours + generator.random(hours.size)
    )
    return np.asarray(np.sort(times, axis=1))


def pass_line(
    arrives_s: FloatArray,
    pay_s: FloatArray,
    *,
    headway_s: ArrayLike,
    lanes: int,
    balk_cars: ArrayLike = np.inf,
    chance: FloatArray | None = None,
) -> Passages:
    """Let cars pass pay lanes and the line.

    Parameters
    ----------
    arrives_s : ndarray of float, shape (days, cars)
        Rising along each row, NaN where there is no car.
    pay_s : ndarray of float, shape (days, cars)
        Time that each car takes to pay; 0 for none.
    headway_s : array_like of float, shape () or (days,)
        Time between cars on the line.
    lanes : int
        Pay lanes.
    balk_cars : array_like of float, shape () or (days,)
        Waiting cars from which drivers begin to turn away; inf when none does.
    chance : ndarray of float, shape (days, cars), optional
        Even draws that decide who turns away; needed when anyone may.

    Returns
    -------
    Passages

    Raises
    ------
    InputError
        When shapes do not fit or a headway is not above 0.

    References
    ----------
    D. V. Lindley, "The theory of queues with a single server", 1952.
    """
    days, cars = arrives_s.shape
    headway = np.broadcast_to(np.asarray(headway_s, dtype=np.float64), (days,))
    limit = np.broadcast_to(np.asarray(balk_cars, dtype=np.float64), (days,))
    if pay_s.shape != (days, cars) or (headway <= 0).any() or lanes < 1:
        raise InputError("queue: pay times need the shape of arrivals, headways must be above 0")
    patient = bool(np.isinf(limit).all())
    if not patient and (chance is None or chance.shape != (days, cars)):
        raise InputError("queue: even draws of the shape of arrivals must decide who turns away")
    lane_free = np.zeros((days, lanes))
    line_free = np.zeros(days)
    recent = np.zeros((days, _LOOK_BACK))
    saw = np.zeros((days, cars))
    joined = ~np.isnan(arrives_s)
    paid = np.full((days, cars), np.nan)
    enters = np.full((days, cars), np.nan)
    row = np.arange(days)
    for car in range(cars):
        now = arrives_s[:, car]
        there = joined[:, car]
        saw[:, car] = (recent > now[:, None]).sum(axis=1)
        if not patient:
            assert chance is not None
            there = there & (chance[:, car] >= _balk(saw[:, car], limit))
            joined[:, car] = there
        lane = lane_free.argmin(axis=1)
        done = np.maximum(now, lane_free[row, lane]) + pay_s[:, car]
        enter = np.maximum(done, line_free)
        lane_free[row, lane] = np.where(there, done, lane_free[row, lane])
        line_free = np.where(there, enter + headway, line_free)
        recent[:, car % _LOOK_BACK] = np.where(there, enter, 0.0)
        paid[:, car] = np.where(there, done, np.nan)
        enters[:, car] = np.where(there, enter, np.nan)
    enters = _put_in_order(paid, headway)
    return Passages(arrives_s=arrives_s, saw_cars=saw, joined=joined, paid_s=paid, enters_s=enters)


def _balk(saw: FloatArray, limit: FloatArray) -> FloatArray:
    finite = np.where(np.isfinite(limit), limit, 1e12)
    return np.asarray(np.clip((saw - finite) / np.maximum(finite, 1e-9), 0.0, 1.0))


def _put_in_order(paid: FloatArray, headway: FloatArray) -> FloatArray:
    """Let cars enter in the order in which they have paid: Lindley's recursion, in one sweep.

    enters(j) = max over i <= j of (paid(i) + (j - i) headway), j in order of paying.
    """
    order = np.argsort(paid, axis=1, kind="stable")  # NaN last
    ranked = np.take_along_axis(paid, order, axis=1)
    slack = ranked - headway[:, None] * np.arange(paid.shape[1])
    entered = np.maximum.accumulate(np.where(np.isnan(slack), -np.inf, slack), axis=1)
    entered = entered + headway[:, None] * np.arange(paid.shape[1])
    entered[np.isnan(ranked)] = np.nan
    out = np.empty_like(paid)
    np.put_along_axis(out, order, entered, axis=1)
    return out


def count_waiting(passages: Passages) -> FloatArray:
    """Return the most cars waiting at once on each day, (days,).

    Waiting are those that have come and have not yet entered the line.
    """
    came = np.where(passages.joined, passages.arrives_s, np.nan)
    times = np.concatenate([came, passages.enters_s], axis=1)
    change = np.concatenate([np.ones_like(came), -np.ones_like(came)], axis=1)
    change[np.isnan(times)] = 0.0
    # at equal times a car enters before the next is counted
    order = np.lexsort((change, times), axis=1)
    waiting = np.cumsum(np.take_along_axis(change, order, axis=1), axis=1)
    return np.asarray(waiting.max(axis=1, initial=0.0))


__all__ = [
    "Passages",
    "compute_balk_share",
    "count_waiting",
    "draw_arrivals",
    "pass_line",
]

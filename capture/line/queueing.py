"""How do cars pass pay lanes and a line, event by event, over many days at once?

The recursion runs over cars in order of arrival and over all days side by side: a car
takes the pay lane that is free first, then the next place on the line, one per headway
(Lindley's recursion with several servers in front). A driver who sees too many cars
waiting turns away. Cars that pay faster may reach the line first: the order is put right
after paying, which leaves the number on the line as it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError
from capture.line.kernels import pass_days

FloatArray = NDArray[np.float64]


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
    member: NDArray[np.bool_] | None = None,
    plan_lanes: int = 0,
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
    member : ndarray of bool, shape (days, cars), optional
        Who is on a plan.
    plan_lanes : int
        How many of the lanes serve members alone; the others then serve the rest.

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
    if plan_lanes and (member is None or plan_lanes >= lanes):
        raise InputError(
            f"queue: plan lanes must be fewer than the {lanes} pay lanes, got {plan_lanes}"
        )
    nobody = np.zeros((1, cars))
    paid, joined, enters, saw = pass_days(
        np.asarray(arrives_s, dtype=np.float64),
        np.asarray(pay_s, dtype=np.float64),
        headway,
        limit,
        nobody if chance is None else np.asarray(chance, dtype=np.float64),
        nobody > 0 if member is None else np.asarray(member, dtype=np.bool_),
        lanes,
        plan_lanes,
    )
    return Passages(arrives_s=arrives_s, saw_cars=saw, joined=joined, paid_s=paid, enters_s=enters)


def find_most_waiting(passages: Passages) -> FloatArray:
    """Return the most cars waiting at once on each day, (days,).

    The number only grows when a car joins, so it is largest right after one has.
    """
    waits = passages.joined & (passages.enters_s > passages.arrives_s)
    return np.asarray(np.where(waits, passages.saw_cars + 1.0, 0.0).max(axis=1, initial=0.0))

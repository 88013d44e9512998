"""Compiled loops behind the queue; nothing else calls them.

Plain loops over flat arrays, compiled by numba at first use and cached on disk.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numba import njit

_compiled: Final[Any] = njit(cache=True, nogil=True)


@_compiled
def pay_and_join(
    arrives: Any, pay: Any, headway: Any, limit: Any, chance: Any, member: Any, lanes: int,
    plan_lanes: int,
) -> Any:  # fmt: skip
    """Pass one day's cars, in order of arrival, through pay lanes and onto the line.

    Returns when each has paid (NaN for those that turned away) and whether it joined. Cars
    that wait are those that joined and whose turn on the line has not come; the share that
    turns away rises from none at ``limit`` to all at twice as many.
    """
    cars = arrives.size
    paid = np.full(cars, np.nan)
    joined = np.zeros(cars, np.bool_)
    lane_free = np.zeros(lanes)
    turns = np.empty(cars)  # when the cars that joined take their turn, rising
    came, gone, line_free = 0, 0, 0.0
    for car in range(cars):
        now = arrives[car]
        if np.isnan(now):
            break
        while gone < came and turns[gone] <= now:
            gone += 1
        if not np.isinf(limit):
            share = (came - gone - limit) / max(limit, 1e-9)
            if chance[car] < min(max(share, 0.0), 1.0):
                continue
        first, last = 0, lanes
        if plan_lanes > 0:
            first = 0 if member[car] else plan_lanes
            last = plan_lanes if member[car] else lanes
        lane = first
        for other in range(first + 1, last):
            if lane_free[other] < lane_free[lane]:
                lane = other
        done = max(now, lane_free[lane]) + pay[car]
        enter = max(done, line_free)
        lane_free[lane] = done
        line_free = enter + headway
        turns[came] = enter
        came += 1
        joined[car] = True
        paid[car] = done
    return paid, joined


@_compiled
def enter_in_order(arrives: Any, paid: Any, joined: Any, headway: Any) -> Any:
    """Let one day's cars enter the line as they have paid, and count what each saw waiting.

    enters(j) = max over i <= j of (paid(i) + (j - i) headway), j in order of paying
    (Lindley's recursion). Cars have paid nearly in order of arrival, so they are put in
    order one by one.
    """
    cars = arrives.size
    order = np.empty(cars, np.int64)
    count = 0
    for car in range(cars):
        if joined[car]:
            at = count
            while at > 0 and paid[order[at - 1]] > paid[car]:
                order[at] = order[at - 1]
                at -= 1
            order[at] = car
            count += 1
    enters = np.full(cars, np.nan)
    rising = np.empty(count)
    latest = -np.inf
    for place in range(count):
        latest = max(latest, paid[order[place]] - headway * place)
        rising[place] = latest + headway * place
        enters[order[place]] = rising[place]
    saw = np.zeros(cars)
    came, gone = 0, 0
    for car in range(cars):
        if np.isnan(arrives[car]):
            break
        while gone < count and rising[gone] <= arrives[car]:
            gone += 1
        saw[car] = max(came - gone, 0)
        if joined[car]:
            came += 1
    return enters, saw


@_compiled
def pass_days(
    arrives: Any, pay: Any, headway: Any, limit: Any, chance: Any, member: Any, lanes: int,
    plan_lanes: int,
) -> Any:  # fmt: skip
    """Pass the cars of many days, each array (days, cars) or (days,)."""
    paid = np.empty_like(arrives)
    enters = np.empty_like(arrives)
    saw = np.empty_like(arrives)
    joined = np.empty(arrives.shape, np.bool_)
    for day in range(arrives.shape[0]):
        paid[day], joined[day] = pay_and_join(
            arrives[day], pay[day], headway[day], limit[day],
            chance[min(day, chance.shape[0] - 1)], member[min(day, member.shape[0] - 1)],
            lanes, plan_lanes,
        )  # fmt: skip
        enters[day], saw[day] = enter_in_order(arrives[day], paid[day], joined[day], headway[day])
    return paid, joined, enters, saw

"""Which days does the queue see, and who comes on them?

The same arrivals as the busy hour: the year's cars in one world, its weather, the shape's
own spread, the gamma factor of the day, Poisson cars; then who is a member and how long
each takes to pay.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from capture.basis import Offer, Sheet, Worlds
from capture.hours import YearShape, compute_peak_factor, compute_year_factor, tilt_hours
from capture.line.line import Line
from capture.line.queueing import Passages, draw_arrivals, pass_line

FloatArray = NDArray[np.float64]


def pick_days(shape: YearShape, worlds: Worlds, *, site_id: str, days: int) -> NDArray[np.int64]:
    """Return the day of the year of each simulated day, (days,), 0 is 1 January."""
    return _spread_days(worlds.generator("which days", site_id), shape, days)


def _spread_days(generator: np.random.Generator, shape: YearShape, days: int) -> NDArray[np.int64]:
    return generator.permutation(np.arange(days) % shape.day_share.size)


def draw_days(
    cars: FloatArray, shape: YearShape, worlds: Worlds, *, site_id: str, days: int
) -> tuple[FloatArray, NDArray[np.int64]]:
    """Draw the expected cars by hour of simulated days, (days, 24), and each day's world.

    Days are spread evenly over the year and over the worlds; weather of the year, the
    shape's own spread and the gamma factor of the day are those of the busy hour.
    """
    generator = worlds.generator("which days", site_id)
    day = _spread_days(generator, shape, days)
    world = np.arange(days) % worlds.draws
    year = compute_year_factor(worlds)
    peak = compute_peak_factor(shape, worlds, [site_id])[0]
    cv = shape.day_noise_cv
    factor = generator.gamma(1 / cv**2, cv**2, days) if cv > 0 else np.ones(days)
    tilted = tilt_hours(shape.day_hours[day], peak[world], shape)
    return np.asarray((cars * year)[world][:, None] * factor[:, None] * tilted), world


def pass_days(
    means: FloatArray,
    line: Line,
    offer: Offer,
    worlds: Worlds,
    world: NDArray[np.int64],
    generator: np.random.Generator,
    plan_lane: bool,
    values: Sheet,
) -> Passages:
    """Let the cars of some days arrive, pay and enter the line."""
    constants = {
        name: worlds.constant(values[name])[world]
        for name in ("member_share", "pay_ticket_s", "pay_member_s", "balk_cars")
    }
    arrives = draw_arrivals(means, generator)
    member_share = constants["member_share"] if offer.plan_offered else np.zeros(world.size)
    member = generator.random(arrives.shape) < member_share[:, None]
    pay = np.where(member, constants["pay_member_s"][:, None], constants["pay_ticket_s"][:, None])
    return pass_line(
        arrives,
        pay,
        headway_s=3600.0 / line.cars_per_hour,
        lanes=offer.pay_lanes,
        balk_cars=constants["balk_cars"],
        chance=generator.random(arrives.shape),
        member=member,
        plan_lanes=1 if plan_lane and offer.plan_offered and offer.pay_lanes > 1 else 0,
    )

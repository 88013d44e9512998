"""How long do drivers wait, do cars reach the street, and how many are turned away?

Simulates thousands of days of the year at once, with the same arrivals as the busy hour
(the year's cars, its weather, the day's gamma factor, Poisson cars). Each simulated day
belongs to one world, so what is not known of the year's cars widens the answer. Assumes
that who turns away and comes back does so in a quiet hour.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Offer, Sheet, Worlds
from capture.hours import YearShape
from capture.line.bays import compute_erlang_b, holding_s
from capture.line.line import Line
from capture.line.queue_days import draw_days, pass_days, pick_days
from capture.line.queueing import Passages, find_most_waiting
from capture.line.values import VALUES
from capture.line.worst_day import WorstDay, compute_over_s, find_peak_s, find_worst

FloatArray = NDArray[np.float64]

PERCENTILES: Final = (0.5, 0.9, 0.95)
_LEAST_DAYS, _MOST_DAYS = 50, 20_000
_BLOCKS: Final = 12
#: share of days that the places for waiting cars shall hold
STACKING_SHARE: Final = 0.95


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Queue:
    """Waits, queues and losses over many simulated days of one site."""

    #: days simulated
    days: int
    #: median, 90th and 95th percentile of the wait by hour of arrival, (3, 24); NaN if no cars
    wait_s: FloatArray
    #: the same percentiles of the cars that an arriving driver sees waiting, (3, 24)
    queue_cars: FloatArray
    #: mean wait of all cars
    mean_wait_s: float
    #: 95th percentile of the wait over all cars
    wait_95_s: float
    #: most cars waiting at once on each day, (days,)
    most_waiting: FloatArray
    #: places that hold the queue on 95 % of days
    stacking_cars: int
    #: their length in single file
    stacking_m: float
    #: places that there are
    stacking_places: float
    #: share of days on which more cars wait than there are places
    share_of_days_over_stacking: float
    #: share of a year's cars that turn away
    balked_share: float
    #: share of a year's cars that turn away for good
    lost_share: float
    #: cars lost in a mean year
    lost_cars_per_year: float
    #: share of cars that want a vacuum bay and find all taken
    bays_taken_share: float
    #: share of the line's places in use over open hours
    line_use_share: float
    #: the fullest of all simulated Saturdays; None for bays, where nobody waits
    worst_saturday: WorstDay | None
    #: what to know
    cautions: tuple[str, ...]
    #: where it comes from
    sources: tuple[str, ...]


def simulate_queue(
    cars_per_year_draws: ArrayLike,
    shape: YearShape,
    line: Line,
    offer: Offer,
    worlds: Worlds,
    *,
    site_id: str = "*",
    days: int = 2000,
    stacking_places: float | None = None,
    plan_lane: bool = False,
    values: Sheet = VALUES,
) -> Queue:
    """Simulate many days of one site.

    Parameters
    ----------
    cars_per_year_draws : array_like of float, shape (n,)
        Expected cars a year in each world.
    shape : YearShape
    line : Line
    offer : Offer
        Gives pay lanes, and whether a plan is sold.
    worlds : Worlds
        With n draws.
    site_id : str
        Key of the site's own noise, as for the busy hour.
    days : int
        Days to simulate, 50 to 20,000; spread evenly over year and worlds.
    stacking_places : float, optional
        Places for waiting cars before the street; by default practice's typical number.
    plan_lane : bool
        Whether one lane serves plan members only.
    values : Sheet
        Defaults of this room.

    Returns
    -------
    Queue

    Raises
    ------
    InputError
        When shapes do not fit or ``days`` is out of range.

    Examples
    --------
    >>> from capture.hours import make_year_shape
    >>> from capture.line import size_line
    >>> worlds, offer = Worlds(draws=100), Offer()
    >>> queue = simulate_queue(np.full(100, 90_000.0), make_year_shape(offer),
    ...                        size_line(90.0, offer), offer, worlds, days=100)
    >>> 0 <= queue.lost_share < 0.1
    True
    """
    cars = np.asarray(cars_per_year_draws, dtype=np.float64)
    if cars.shape != (worlds.draws,) or not np.isfinite(cars).all() or (cars < 0).any():
        raise InputError(
            f"cars_per_year_draws must be {worlds.draws} numbers of 0 or more (cars a year), got "
            f"shape {cars.shape}; give one per world"
        )
    if not _LEAST_DAYS <= days <= _MOST_DAYS:
        raise InputError(f"days must be {_LEAST_DAYS} to {_MOST_DAYS}, got {days}; 2000 is usual")
    means, world = draw_days(cars, shape, worlds, site_id=site_id, days=days)
    if not offer.is_conveyor:
        return _bays(means, line, offer, values, cars)
    generator = worlds.generator("days of the queue", site_id)
    places = values.value("stacking_cars") if stacking_places is None else stacking_places
    # days with about as many cars side by side, so that no long rows stay empty
    order = np.argsort(means.sum(axis=1), kind="stable")
    came = _Cars.gather(
        (pass_days(means[some], line, offer, worlds, world[some], generator, plan_lane, values)
         for some in np.array_split(order, _BLOCKS)),
        places=places,
    )  # fmt: skip
    day = pick_days(shape, worlds, site_id=site_id, days=days)[order]
    worst = find_worst(
        shape.weekday[day], day, came.most_waiting, came.peak_s, came.over_s, places=places
    )
    open_hours = int((means > 0).sum())
    return _sum_up(came, worst, open_hours, line, places, float(cars.mean()), values)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cars:
    """All cars of all days, one after the other."""

    hour: NDArray[np.int64]
    wait_s: FloatArray
    saw_cars: FloatArray
    joined: NDArray[np.bool_]
    #: cars that entered the line by day and hour, (days, 24)
    entered: NDArray[np.int64]
    #: most waiting at once by day, (days,)
    most_waiting: FloatArray
    #: when they wait, seconds from midnight, (days,)
    peak_s: FloatArray
    #: for how long more wait than there are places, (days,)
    over_s: FloatArray

    @classmethod
    def gather(cls, blocks: Iterable[Passages], *, places: float) -> _Cars:
        """Put blocks of days together."""
        parts: dict[str, list[NDArray[Any]]] = {}
        for block in blocks:
            there = ~np.isnan(block.arrives_s)
            leaves = np.where(block.joined, block.enters_s, -1.0) // 3600
            found = {
                "hour": (block.arrives_s[there] // 3600).astype(np.int64),
                "wait_s": block.wait_s[there],
                "saw_cars": block.saw_cars[there],
                "joined": block.joined[there],
                "entered": np.stack([(leaves == one).sum(axis=1) for one in range(24)], axis=1),
                "most_waiting": find_most_waiting(block),
                "peak_s": find_peak_s(block),
                "over_s": compute_over_s(block, places),
            }
            for name, part in found.items():
                parts.setdefault(name, []).append(part)
        return cls(**{name: np.concatenate(several) for name, several in parts.items()})


def _vacuum_taken(entered: NDArray[np.int64], values: Sheet) -> float:
    """Return the share of vacuum users who find all bays taken, by Erlang B hour by hour."""
    load = entered * values.value("vacuum_use_share") * values.value("vacuum_stay_s") / 3600
    blocked = compute_erlang_b(load, int(values.value("vacuum_bays")))
    return float((blocked * entered).sum() / max(entered.sum(), 1))


def _sum_up(
    came: _Cars, worst: WorstDay | None, open_hours: int, line: Line, places: float,
    cars_per_year: float, values: Sheet,
) -> Queue:  # fmt: skip
    most, wait = came.most_waiting, came.wait_s[came.joined]
    needed = math.ceil(float(np.quantile(most, STACKING_SHARE)))
    balked = float((~came.joined).sum() / max(came.joined.size, 1))
    lost = balked * (1 - values.value("come_back_share"))
    over = float((most > places).mean())
    cautions = ["planning figures: access, stacking and traffic are for the local authority"]
    if over > 1 - STACKING_SHARE:
        cautions.append(
            f"on {over:.0%} of days more than {places:.0f} cars wait, so the queue would reach "
            "the street; more places, a faster line or more pay lanes would help"
        )
    return Queue(
        days=most.size,
        wait_s=_by_hour(came.wait_s, came.hour, came.joined),
        queue_cars=_by_hour(came.saw_cars, came.hour, np.ones_like(came.joined)),
        mean_wait_s=float(wait.mean()) if wait.size else 0.0,
        wait_95_s=float(np.quantile(wait, 0.95)) if wait.size else 0.0,
        most_waiting=most,
        stacking_cars=needed,
        stacking_m=needed * values.value("stacking_car_m"),
        stacking_places=places,
        share_of_days_over_stacking=over,
        balked_share=balked,
        lost_share=lost,
        lost_cars_per_year=lost * cars_per_year,
        bays_taken_share=_vacuum_taken(came.entered, values),
        line_use_share=float(wait.size / max(open_hours * line.cars_per_hour, 1e-9)),
        worst_saturday=worst,
        cautions=tuple(cautions),
        sources=(
            "queue: simulated car by car (Lindley's recursion), vacuum bays by Erlang B",
            "pay times, turning away and coming back: common practice, no source",
        ),
    )


def _by_hour(amount: FloatArray, hour: NDArray[np.int64], kept: NDArray[np.bool_]) -> FloatArray:
    out = np.full((len(PERCENTILES), 24), np.nan)
    for one in range(24):
        chosen = amount[(hour == one) & kept]
        if chosen.size:
            out[:, one] = np.quantile(chosen, PERCENTILES)
    return out


def _bays(means: FloatArray, line: Line, offer: Offer, values: Sheet, cars: FloatArray) -> Queue:
    """Bays as a loss system: who finds all taken turns away, the rest start at once."""
    hold = holding_s(offer, values)
    blocked = compute_erlang_b(means * hold / 3600, offer.bays)
    total = max(float(means.sum()), 1e-12)
    balked = float((blocked * means).sum() / total)
    lost = balked * (1 - values.value("come_back_share"))
    zero = np.where(means.sum(axis=0) > 0, 0.0, np.nan)
    return Queue(
        days=len(means), wait_s=np.tile(zero, (3, 1)), queue_cars=np.tile(zero, (3, 1)),
        mean_wait_s=0.0, wait_95_s=0.0, most_waiting=np.zeros(len(means)), stacking_cars=0,
        stacking_m=0.0, stacking_places=0.0, share_of_days_over_stacking=0.0,
        balked_share=balked, lost_share=lost, lost_cars_per_year=lost * float(cars.mean()),
        bays_taken_share=balked,
        line_use_share=float((means * (1 - blocked)).sum() * hold / 3600
                             / max((means > 0).sum() * offer.bays, 1e-9)),
        worst_saturday=None,
        cautions=("bays: nobody waits, who finds all bays taken turns away",),
        sources=("bays taken: Erlang B hour by hour",),
    )  # fmt: skip

"""How many places for waiting cars do many sites need, without simulating each?

The queue of a day depends on the year's cars against the line's cars an hour. A few such
loads are simulated once for a year's shape, no heavier ones than are asked for, and every
site is looked up between them.
Assumes typical pay times and balking and two or more pay lanes of usual speed.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Offer, Sheet
from capture.hours import YearShape
from capture.hours.keeping import Kept
from capture.line.queueing import draw_arrivals, find_most_waiting, pass_line
from capture.line.values import VALUES

FloatArray = NDArray[np.float64]

#: cars a year per car an hour of the line at which days are simulated
_LOADS: Final = np.geomspace(150.0, 3600.0, 11)
_DAYS: Final = 365  # each day of the year once
_USUAL_RATE: Final = 90.0
_KEPT: Final = 16

_tables: Kept[FloatArray] = Kept(most=_KEPT)


def estimate_stacking_cars(
    cars_per_year: ArrayLike,
    line_cars_per_hour: ArrayLike,
    shape: YearShape,
    offer: Offer,
    *,
    values: Sheet = VALUES,
) -> FloatArray:
    """Estimate the places that hold the queue on 95 of 100 days.

    Parameters
    ----------
    cars_per_year : array_like of float
        Cars that want to be washed.
    line_cars_per_hour : array_like of float, broadcast against the cars
        Sustained cars an hour of the line.
    shape : YearShape
    offer : Offer
        Gives pay lanes and plan; bays need no places by this rule and get 0.

    Returns
    -------
    ndarray of float
        Cars, not rounded; multiply by ``stacking_car_m`` for metres in single file.

    Raises
    ------
    InputError
        When cars are negative or a line carries nothing.

    Examples
    --------
    >>> from capture.hours import make_year_shape
    >>> shape = make_year_shape(Offer())
    >>> places = estimate_stacking_cars([50_000.0, 200_000.0], 90.0, shape, Offer())
    >>> bool(places[0] < places[1] < 30)
    True
    """
    cars = np.asarray(cars_per_year, dtype=np.float64)
    rate = np.asarray(line_cars_per_hour, dtype=np.float64)
    if not (np.isfinite(cars).all() and (cars >= 0).all() and (rate > 0).all()):
        raise InputError(
            "cars_per_year must be 0 or more and line_cars_per_hour above 0; mend them"
        )
    if not offer.is_conveyor:
        return np.zeros(np.broadcast_shapes(cars.shape, rate.shape))
    load = np.log(np.maximum(cars / rate, 1e-9))
    places = _table(shape, offer, values, float(load.max(initial=-np.inf)))
    found = np.interp(load, np.log(_LOADS[: places.size]), places)
    # below the lightest load simulated, in proportion
    return np.asarray(found * np.minimum(1.0, np.exp(load - np.log(_LOADS[0]))))


def _table(shape: YearShape, offer: Offer, values: Sheet, log_most: float) -> FloatArray:
    """Return the places at the loads up to the first that is not below the most asked for."""
    names = ("pay_ticket_s", "pay_member_s", "member_share", "balk_cars")
    told = tuple(values.value(name) for name in names)
    count = min(int(np.searchsorted(np.log(_LOADS), log_most)) + 1, _LOADS.size)
    key = (shape.digest, offer.pay_lanes, offer.plan_offered, told, count)
    return _tables.recall(key, lambda: _simulate(shape, offer, told, _LOADS[:count]))


def _simulate(
    shape: YearShape, offer: Offer, told: tuple[float, ...], loads: FloatArray
) -> FloatArray:
    ticket_s, member_s, member_share, balk_cars = told
    cv = shape.day_noise_cv
    places = np.empty(loads.size)
    for index, load in enumerate(loads):
        generator = np.random.Generator(np.random.Philox(key=20_240_501))
        factor = generator.gamma(1 / cv**2, cv**2, _DAYS) if cv > 0 else np.ones(_DAYS)
        means = load * _USUAL_RATE * factor[:, None] * shape.day_hours
        arrives = draw_arrivals(means, generator)
        share = member_share if offer.plan_offered else 0.0
        member = generator.random(arrives.shape) < share
        passages = pass_line(
            arrives,
            np.where(member, member_s, ticket_s),
            headway_s=3600.0 / _USUAL_RATE,
            lanes=offer.pay_lanes,
            balk_cars=balk_cars,
            chance=generator.random(arrives.shape),
        )
        places[index] = np.quantile(find_most_waiting(passages), 0.95)
    return np.maximum.accumulate(places)

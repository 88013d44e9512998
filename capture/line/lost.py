"""Which share of a year's cars does a line or a set of bays turn away?

Fast enough for many sites: what is lost in one hour depends only on its load against the
line, so it is worked out once on a grid, spread over the year's hours and the noise of
days, and then looked up. Assumes that within an hour the queue has settled; the full
simulation is in :mod:`capture.line.queue`.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Offer, Sheet
from capture.basis.draws import Z95
from capture.hours import YearShape, tilt_hours
from capture.hours.keeping import Kept
from capture.hours.noise import day_factor_nodes
from capture.line.bays import compute_erlang_b
from capture.line.values import VALUES

FloatArray = NDArray[np.float64]

#: loads of an hour against the line's own cars an hour
_LOADS: Final = np.concatenate([np.linspace(0, 1.6, 65), np.geomspace(1.65, 60, 40)])
_MOST_WAITING: Final = 64
_SQUARINGS, _TERMS = 11, 7
_YEAR_LOADS: Final = 80
#: weights of the 5th, 50th and 95th percentile that give a mean (Pearson and Tukey, 1965)
_THREE: Final = (0.185, 0.63, 0.185)
#: bins of an hour's share for each factor e: within 2 %
_BINS_PER_E: Final = 40
#: elements looked up at once
_CHUNK: Final = 32_768
_years: Kept[tuple[FloatArray, FloatArray]] = Kept(most=16)


def compute_balk_share(waiting_cars: ArrayLike, balk_cars: ArrayLike) -> FloatArray:
    """Compute which share of drivers turns away at a number of waiting cars.

    Notes
    -----
    None up to ``balk_cars``, then rising evenly until at twice as many all do (our own
    modelling choice).

    Examples
    --------
    >>> compute_balk_share([10, 15, 20], 10.0).tolist()
    [0.0, 0.5, 1.0]
    """
    waiting = np.asarray(waiting_cars, dtype=np.float64)
    limit = np.asarray(balk_cars, dtype=np.float64)
    return np.asarray(np.clip((waiting - limit) / np.maximum(limit, 1e-9), 0.0, 1.0))


@lru_cache(maxsize=16)
def _settled_loss(balk_cars: float) -> FloatArray:
    """Return the share turned away at each load of ``_LOADS``, a line in steady state.

    The line takes one car per headway. Arrivals between are Poisson and each one joins
    unless it balks at what it sees: with J the step of one arrival, a headway's arrivals
    are exp(load (J - I)). The chain of cars waiting at headways is solved for its settled
    state; what the line takes is the share of headways that find a car.
    """
    states = int(min(_MOST_WAITING, np.ceil(2 * balk_cars) + 2)) + 1
    joins = 1 - compute_balk_share(np.arange(states), balk_cars)
    arrival = np.diag(-joins) + np.diag(joins[:-1], k=1)
    arrival[-1, -1] = 0.0  # nobody joins the longest queue
    taking = np.eye(states, k=-1)
    taking[0, 0] = 1.0
    arrivals = _exponentials(_LOADS[:, None, None] * arrival)
    balance = np.swapaxes(arrivals @ taking, 1, 2) - np.eye(states)
    balance[:, -1, :] = 1.0  # one balance follows from the others; shares sum to 1
    settled = np.linalg.solve(balance, np.eye(states)[:, -1:])[:, :, 0]
    taken = 1.0 - np.einsum("ls,ls->l", settled, arrivals[:, :, 0])
    lost = np.maximum(0.0, 1.0 - taken / np.maximum(_LOADS, 1e-12))
    lost[_LOADS == 0] = 0.0
    lost.flags.writeable = False
    return np.asarray(lost)


def _exponentials(matrices: FloatArray) -> FloatArray:
    """Return the exponentials of many small matrices at once, by scaling and squaring."""
    scaled = matrices / 2.0**_SQUARINGS
    one = np.eye(matrices.shape[-1])
    out = one + scaled / _TERMS
    for term in range(_TERMS - 1, 0, -1):
        out = one + scaled @ out / term
    for _ in range(_SQUARINGS):
        out = out @ out
    return np.asarray(out)


def compute_lost_share(
    cars_per_year: ArrayLike,
    line_cars_per_hour: ArrayLike,
    shape: YearShape,
    offer: Offer,
    *,
    values: Sheet = VALUES,
) -> FloatArray:
    """Compute the share of a year's cars that is turned away and does not come back.

    Parameters
    ----------
    cars_per_year : array_like of float, shape (S, n)
        Cars that want to be washed.
    line_cars_per_hour : array_like of float, broadcast against the cars
        Sustained cars an hour of the line or bays.
    shape : YearShape
        How the year falls into hours.
    offer : Offer
        Gives the format and the bays.
    values : Sheet
        Defaults of this room.

    Returns
    -------
    ndarray of float, shape (S, n)
        0 to 1.

    Raises
    ------
    InputError
        When cars are negative or a line carries nothing.

    Notes
    -----
    sum over hours of share(h) E[g lost(Y share(h) g / C)], g the gamma factor of a day, times
    the share that does not come back; mean over the year's weather, the shape's own spread
    and when drivers turn away, as the simulation draws them. ``lost`` is that of a line that
    takes one car per headway and of drivers who balk; for bays it is Erlang's B. Cars at the
    pay point do not count as waiting here, so it lies a little below the simulation.

    Examples
    --------
    >>> from capture.hours import make_year_shape
    >>> shape = make_year_shape(Offer())
    >>> lost = compute_lost_share([80_000.0, 400_000.0], 100.0, shape, Offer())
    >>> bool(lost[0] < 0.001 < 0.05 < lost[1])
    True
    """
    cars = np.asarray(cars_per_year, dtype=np.float64)
    rate = np.asarray(line_cars_per_hour, dtype=np.float64)
    if not (np.isfinite(cars).all() and (cars >= 0).all()):
        raise InputError("cars_per_year must be numbers of 0 or more; mend them")
    if not (np.isfinite(rate).all() and (rate > 0).all()):
        raise InputError("line_cars_per_hour must be above 0 (cars an hour); size the line first")
    loads, lost = _year_loss(shape, offer, values)
    cars, rate = np.broadcast_arrays(cars, rate)
    out = np.empty(cars.shape)
    flat_cars, flat_rate, flat_out = cars.ravel(), rate.ravel(), out.reshape(-1)
    for start in range(0, cars.size, _CHUNK):  # bounds memory and keeps to the cache
        part = slice(start, start + _CHUNK)
        flat_out[part] = _look_up(flat_cars[part] / flat_rate[part], loads, lost)
    out *= 1 - values.value("come_back_share")
    return out


def _look_up(load: FloatArray, loads: FloatArray, lost: FloatArray) -> FloatArray:
    at = np.log(np.maximum(load, np.exp(loads[0])))
    place = (np.minimum(at, loads[-1]) - loads[0]) / (loads[1] - loads[0])
    row = np.minimum(place.astype(np.int64), loads.size - 2)
    share = lost[row] + (place - row) * (lost[row + 1] - lost[row])
    # beyond the grid the line is full in every open hour: what it takes no longer grows
    return np.asarray(1 - (1 - share) * np.exp(np.minimum(loads[-1] - at, 0.0)))


def _year_loss(shape: YearShape, offer: Offer, values: Sheet) -> tuple[FloatArray, FloatArray]:
    """Return log of cars a year per car an hour, on an even grid, and the share lost there."""
    balk = values["balk_cars"]
    told = (balk.low, balk.value, balk.high) if offer.is_conveyor else (offer.bays,)
    key = (shape.digest, shape.peak_log_sd, shape.weather_cv, offer.is_conveyor, told)
    return _years.recall(key, lambda: _sum_year(shape, _hour_losses(offer, told)))


def _hour_losses(offer: Offer, told: tuple[float, ...]) -> FloatArray:
    """Return the share lost in an hour at each load of ``_LOADS``, mean over what is not known."""
    if offer.is_conveyor:
        return np.asarray(np.array(_THREE) @ [_settled_loss(balk_cars) for balk_cars in told])
    # cars an hour of all bays = bays / holding time, so offered load = load x bays
    return compute_erlang_b(_LOADS * told[0], int(told[0]))


def _sum_year(shape: YearShape, lost: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Sum over hours, the noise of days, the year's weather and the shape's own spread."""
    loads = np.linspace(np.log(20.0), np.log(60_000.0), _YEAR_LOADS)
    factor, weight = day_factor_nodes(shape.day_noise_cv)
    weight = weight * factor / (weight @ factor)  # cars, not days, are counted
    hours = shape.share[shape.share > 0]
    out = np.zeros(loads.size)
    for chance, score in zip(_THREE, (-Z95, 0.0, Z95), strict=True):
        peak = np.full(1, np.exp(shape.peak_log_sd * score))
        share, cars = _bin(tilt_hours(hours[None], peak, shape)[0])
        busy = share[:, None] * factor
        for other, weather in zip(_THREE, (-Z95, 0.0, Z95), strict=True):
            year = float(np.exp(shape.weather_cv * weather))
            for index, load in enumerate(np.exp(loads)):
                out[index] += (
                    chance * other * (cars @ np.interp(load * year * busy, _LOADS, lost) @ weight)
                )
    return loads, out


def _bin(share: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Put hours of about the same share together: their mean share, and their part of all cars."""
    kind = np.round(np.log(share) * _BINS_PER_E).astype(np.int64)
    kind -= kind.min()
    cars = np.bincount(kind, weights=share)
    hours = np.bincount(kind)
    there = hours > 0
    return cars[there] / hours[there], cars[there] / cars.sum()

"""How many cars come in the busy hour that the line is sized for, and on the busiest day?

The busy hour is next year's nth busiest hour: the year's cars (with what is not known of
them), times the spread of a year's weather, times what is not known of the year's shape,
through the noise of days and hours. Beside it stands the width that comes from not
knowing the parameters alone, with the noise at its middle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Offer, Range, Sheet, Worlds
from capture.hours.lookup import make_day_peak, make_hour_peak
from capture.hours.values import VALUES
from capture.hours.year import YearShape

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BusyHour:
    """The busy hour and day of S sites in n worlds."""

    #: cars in next year's nth busiest hour, (S, n)
    cars: FloatArray
    #: the same with the noise at its middle: what is not known of the parameters, (S, n)
    expected: FloatArray
    #: cars on next year's busiest day, (S, n)
    busiest_day: FloatArray
    #: n of the nth busiest hour
    rank: int
    #: the figure rests on these
    sources: tuple[str, ...]

    def summary(self, site: int = 0) -> Range:
        """Return the busy hour of one site as a range."""
        return Range.of(self.cars[site], "cars/h")


def compute_expected_hours(cars_per_year: ArrayLike, shape: YearShape) -> FloatArray:
    """Spread yearly cars over the hours of the year.

    Parameters
    ----------
    cars_per_year : array_like of float, shape (S,)
        Expected cars a year, 0 or more.
    shape : YearShape

    Returns
    -------
    ndarray of float, shape (S, 8760)
        Expected cars in each hour; each row sums to its year.

    Raises
    ------
    InputError
        When a year's cars are negative or not a number.

    Examples
    --------
    >>> from capture.hours import make_year_shape
    >>> hours = compute_expected_hours([80_000.0], make_year_shape(Offer()))
    >>> hours.shape, round(float(hours.sum()), 6)
    ((1, 8760), 80000.0)
    """
    cars = check_cars(np.atleast_1d(np.asarray(cars_per_year, dtype=np.float64)))
    return np.asarray(cars[:, None] * shape.share)


def estimate_busy_hour(
    cars_per_year: ArrayLike,
    shape: YearShape,
    worlds: Worlds,
    site_ids: Sequence[str],
    *,
    rank: int = 30,
    values: Sheet = VALUES,
) -> BusyHour:
    """Draw next year's nth busiest hour and busiest day of each site.

    Parameters
    ----------
    cars_per_year : array_like of float, shape (S, n)
        Expected cars a year in each world.
    shape : YearShape
    worlds : Worlds
        Must have n draws.
    site_ids : sequence of str, length S
        Keys of the sites' own noise.
    rank : int
        n of the nth busiest hour, within the busier half of the open hours.
    values : Sheet
        Defaults of this room.

    Returns
    -------
    BusyHour

    Raises
    ------
    InputError
        When shapes do not fit, cars are negative, or the rank is out of range.

    Notes
    -----
    One noise quantile per site and world serves hour and day: a year with a high busy hour
    is a year with a high busiest day. The spread of a year's weather is one draw for all
    sites of a world; the shape's own spread is one draw per site.

    Examples
    --------
    >>> from capture.hours import make_year_shape
    >>> worlds = Worlds(draws=200)
    >>> shape = make_year_shape(Offer())
    >>> busy = estimate_busy_hour(np.full((1, 200), 100_000.0), shape, worlds, ["P01"])
    >>> bool(0.2 < np.median(busy.cars) / (100_000 / 365) < 0.45)
    True
    """
    cars = check_cars(np.atleast_2d(np.asarray(cars_per_year, dtype=np.float64)))
    if cars.shape != (len(site_ids), worlds.draws):
        raise InputError(
            f"cars_per_year must be {len(site_ids)} sites by {worlds.draws} draws, got "
            f"{cars.shape}; give one row per site and one column per world"
        )
    open_hours = int((shape.share > 0).sum())
    if not 1 <= rank <= open_hours // 2:
        raise InputError(
            f"busy_rank must be 1 to {open_hours // 2} (nth busiest hour, the busier half of "
            f"{open_hours} open hours), got {rank}; 30 is usual"
        )
    year = compute_year_factor(worlds, values)
    peak = compute_peak_factor(shape, worlds, site_ids)
    noise = worlds.normal("noise of the busy hour", site_ids)
    hour, day = make_hour_peak(shape, rank=rank), make_day_peak(shape)
    return BusyHour(
        cars=hour.look_up(cars * year, noise) * peak,
        expected=hour.look_up(cars, 0.0) * peak,
        busiest_day=day.look_up(cars * year, noise) * peak,
        rank=rank,
        sources=shape.sources,
    )


def compute_peak_factor(shape: YearShape, worlds: Worlds, site_ids: Sequence[str]) -> FloatArray:
    """Draw how much higher or lower a site's peaks are than the shape says, (S, n)."""
    return np.asarray(np.exp(shape.peak_log_sd * worlds.normal("shape of the year", site_ids)))


def compute_year_factor(worlds: Worlds, values: Sheet = VALUES) -> FloatArray:
    """Draw what one year's weather does to its cars, lognormal with mean 1, (n,)."""
    cv = worlds.constant(values["weather_year_cv"])
    log_sd = np.sqrt(np.log1p(cv**2))
    drawn = np.exp(log_sd * worlds.normal("weather of the year")[0] - log_sd**2 / 2)
    return np.asarray(drawn)


def compute_design_hour(
    busy: BusyHour, offer: Offer, *, confidence_share: float = 0.5
) -> FloatArray:
    """Compute the hour that the line is built for: the busy hour plus headroom.

    Parameters
    ----------
    busy : BusyHour
    offer : Offer
        Gives the headroom.
    confidence_share : float
        In what share of the worlds the busy hour shall be met; 0.5 takes the median.

    Returns
    -------
    ndarray of float, shape (S,)
        Cars an hour.

    Raises
    ------
    InputError
        When the confidence is not between 0 and 1.
    """
    if not 0 < confidence_share < 1:
        raise InputError(
            f"confidence_share must be above 0 and below 1, got {confidence_share}; 0.5 is usual"
        )
    chosen = np.quantile(busy.cars, confidence_share, axis=1)
    return np.asarray(chosen * (1 + offer.headroom_share))


def check_cars(cars: FloatArray) -> FloatArray:
    """Return cars a year as they are, or refuse what cannot be."""
    if not np.isfinite(cars).all() or (cars < 0).any():
        raise InputError(
            "cars_per_year must be numbers of 0 or more (cars a year), got "
            f"{cars.ravel()[~np.isfinite(cars.ravel()) | (cars.ravel() < 0)][0]}; mend them"
        )
    return cars

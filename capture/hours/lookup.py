"""How many cars come in the nth busiest hour, or on the busiest day, of a noisy year?

A day's factor is gamma with mean 1, an hour given its day is Poisson. The chance that the
nth busiest hour stays under a threshold is the chance that fewer than n hours exceed it;
the number of exceedances has an exact mean and variance, and is taken as negative
binomial (binomial where it varies less than a Poisson). Precomputed over the year's cars
and the noise quantile, so that a lookup costs the same for one site or a million.

Counts are whole, so a continuous version is tabulated whose whole part is the count
itself (its distribution function at x is Q(x, mean)); the lookup returns it less one half.
"""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.special import betainc, gammainc, gammaincc, gdtrix, ndtr, ndtri

from capture.hours.shape import YearShape

FloatArray = NDArray[np.float64]

#: cars a year between which the table reaches; beyond, cars scale with the year
_LEAST, _MOST = 100.0, 2e7
_LEVELS: Final = 20
_FINE_LEVELS: Final = 240
_Z_REACH: Final = 4.0
_Z_NODES: Final = 65
_GAMMA_NODES: Final = 33
_KEPT_TABLES: Final = 24
#: thresholds at which a level's distribution is worked out
_GRID: Final = 14


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NoisyPeak:
    """A peak of the year as a function of the year's cars and the noise quantile."""

    #: log of the peak's cars, (levels, quantiles), on even grids
    log_cars: FloatArray
    #: log of the least and most cars a year in the table
    log_least: float
    log_most: float

    def look_up(self, cars_per_year: ArrayLike, noise: ArrayLike) -> FloatArray:
        """Return the peak's cars.

        Parameters
        ----------
        cars_per_year : array_like of float
            Expected cars a year, 0 or more.
        noise : array_like of float
            Standard normal score of the noise quantile, broadcast against the cars.

        Returns
        -------
        ndarray of float
            Cars in that hour or day, of the broadcast shape.
        """
        cars = np.asarray(cars_per_year, dtype=np.float64)
        with np.errstate(divide="ignore"):
            level = np.log(cars)
        inside = np.clip(level, self.log_least, self.log_most)
        rows, columns = self.log_cars.shape
        at_row = (inside - self.log_least) * ((rows - 1) / (self.log_most - self.log_least))
        score = np.clip(np.asarray(noise, dtype=np.float64), -_Z_REACH, _Z_REACH)
        at_column = (score + _Z_REACH) * ((columns - 1) / (2 * _Z_REACH))
        at_row, at_column, level, inside = np.broadcast_arrays(at_row, at_column, level, inside)
        row = np.minimum(at_row.astype(np.int64), rows - 2)
        column = np.minimum(at_column.astype(np.int64), columns - 2)
        down, right = at_row - row, at_column - column
        flat = self.log_cars.ravel()
        start = row * columns + column
        upper = flat[start] + right * (flat[start + 1] - flat[start])
        start = start + columns
        lower = flat[start] + right * (flat[start + 1] - flat[start])
        log_peak = upper + down * (lower - upper) + (level - inside)
        return np.asarray(np.maximum(np.exp(log_peak) - 0.5, 0.0))


_tables: OrderedDict[tuple[bytes, int], NoisyPeak] = OrderedDict()
_lock = threading.Lock()


def make_hour_peak(shape: YearShape, *, rank: int) -> NoisyPeak:
    """Tabulate the nth busiest hour of a noisy year; kept for the next call.

    Parameters
    ----------
    shape : YearShape
        Shares of the hours and the spread of a day.
    rank : int
        n, 1 being the busiest hour of the year.

    Returns
    -------
    NoisyPeak
    """
    return _keep(shape, rank)


def make_day_peak(shape: YearShape) -> NoisyPeak:
    """Tabulate the busiest day of a noisy year; exact, since days are independent."""
    return _keep(shape, 0)


def _keep(shape: YearShape, rank: int) -> NoisyPeak:
    digest = hashlib.blake2b(shape.share.tobytes(), digest_size=16)
    digest.update(np.float64(shape.day_noise_cv).tobytes())
    key = (digest.digest(), rank)
    with _lock:
        if key in _tables:
            _tables.move_to_end(key)
            return _tables[key]
    table = _tabulate(shape, rank)
    with _lock:
        _tables[key] = table
        while len(_tables) > _KEPT_TABLES:
            _tables.popitem(last=False)
    return table


def _tabulate(shape: YearShape, rank: int) -> NoisyPeak:
    levels = np.linspace(np.log(_LEAST), np.log(_MOST), _LEVELS)
    scores = np.linspace(-_Z_REACH, _Z_REACH, _Z_NODES)
    if rank == 0:
        log_cars = _day_levels(shape, levels, scores)
    else:
        log_cars = _hour_levels(shape, levels, scores, rank)
    fine = np.linspace(levels[0], levels[-1], _FINE_LEVELS)
    return NoisyPeak(
        log_cars=np.asarray(CubicSpline(levels, log_cars)(fine)),
        log_least=float(levels[0]),
        log_most=float(levels[-1]),
    )


def _day_factor_nodes(cv: float) -> tuple[FloatArray, FloatArray]:
    """Return values of the gamma day factor and their weights, summing to 1."""
    if cv <= 0:
        return np.ones(1), np.ones(1)
    score = np.linspace(-_Z_REACH, _Z_REACH, _GAMMA_NODES)
    weight = np.exp(-0.5 * score**2)
    k = 1 / cv**2
    factor = gdtrix(k, k, ndtr(score))
    weight = weight / weight.sum()
    return np.asarray(factor / (factor @ weight)), weight


def _hour_levels(shape: YearShape, levels: FloatArray, scores: FloatArray, rank: int) -> FloatArray:
    hours, days = _alike_days(shape)
    factor, weight = _day_factor_nodes(shape.day_noise_cv)
    means = hours[:, :, None] * factor  # (kinds of day, hours, nodes), of one car a year
    flat = np.sort(shape.share)[::-1]
    guess = max(flat[min(rank, flat.size) - 1], flat[flat > 0].min()) * np.exp(levels[0])
    out = np.empty((levels.size, scores.size))
    span = 2.0
    for row, level in enumerate(levels):
        year = _Year(means=means * np.exp(level), weight=weight, days=days, rank=rank)
        out[row] = _quantiles(year.score_at, guess, span, scores)
        step = np.exp(levels[min(row + 1, levels.size - 1)] - level)
        middle, reach = out[row][scores.size // 2], out[row][-1] - out[row][0]
        guess, span = float(np.exp(middle)) * step, float(np.exp(0.6 * reach))
    return out


def _alike_days(shape: YearShape) -> tuple[FloatArray, FloatArray]:
    """Return one row of falling hour shares per kind of day, and how many days are of it."""
    hours = -np.sort(-shape.day_hours, axis=1)
    hours = hours[hours[:, 0] > 0]
    hours = hours[:, : max(1, int((hours > 0).sum(axis=1).max()))]
    rounded = np.round(hours / hours.max(), 9)
    _, first, count = np.unique(rounded, axis=0, return_index=True, return_counts=True)
    return hours[first], count.astype(np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Year:
    """A noisy year: hour means by kind of day, hour and node of the day factor."""

    means: FloatArray
    weight: FloatArray
    days: FloatArray
    rank: int

    def score_at(self, cars: float) -> float:
        """Return the normal score of P(the nth busiest hour stays under ``cars``)."""
        return _score(*self._count_moments(cars), self.rank)

    def _count_moments(self, cars: float) -> tuple[float, float]:
        """Return mean and variance of how many hours exceed ``cars``."""
        reached = gammainc(cars, self.means[:, :, -1]) > 1e-7
        kept, busy = reached[:, 0], int(reached.sum(axis=1).max(initial=1))
        chance = gammainc(cars, self.means[kept, :busy])  # P(X > cars), X continuous
        given_day = chance.sum(axis=1)  # (days, nodes)
        spread = given_day - np.einsum("dhq,dhq->dq", chance, chance)
        mean_day = given_day @ self.weight
        variance_day = spread @ self.weight + (given_day**2) @ self.weight - mean_day**2
        days = self.days[kept]
        return float(days @ mean_day), float(days @ variance_day)


def _quantiles(
    score_at: Callable[[float], float], guess: float, span: float, scores: FloatArray
) -> FloatArray:
    """Return log cars at each noise score, by inverting ``score_at`` round a guess."""
    low, high = max(guess, 0.5) / span, max(guess, 0.5) * span
    while score_at(low) > -_Z_REACH and low > 0.02:
        low /= span
    while score_at(high) < _Z_REACH:
        high *= span
    grid = np.exp(np.linspace(np.log(low), np.log(high), _GRID))
    found = np.array([score_at(cars) for cars in grid])
    inside = np.abs(found) < 8.0
    inside[1:] &= np.diff(np.maximum.accumulate(found)) > 1e-9
    return _extend(found[inside], np.log(grid[inside]), scores)


def _extend(score: FloatArray, log_cars: FloatArray, at: FloatArray) -> FloatArray:
    inner = PchipInterpolator(score, log_cars)(np.clip(at, score[0], score[-1]))
    slope_low = (log_cars[1] - log_cars[0]) / (score[1] - score[0])
    slope_high = (log_cars[-1] - log_cars[-2]) / (score[-1] - score[-2])
    below = np.minimum(at - score[0], 0) * slope_low
    above = np.maximum(at - score[-1], 0) * slope_high
    return np.asarray(inner + below + above)


def _score(mean: float, variance: float, rank: int) -> float:
    """Return the normal score of P(fewer than ``rank`` hours exceed)."""
    if mean <= 1e-12:
        return 9.0
    ratio = variance / mean
    if ratio > 1 + 1e-6:  # negative binomial
        size = mean / (ratio - 1)
        chance = betainc(size, rank, size / (size + mean))
    elif ratio < 1 - 1e-6:  # binomial
        size = mean / (1 - ratio)
        chance = betainc(size - rank + 1, rank, ratio) if size > rank - 1 else 1.0
    else:
        chance = gammaincc(rank, mean)
    return float(np.clip(ndtri(chance), -9.0, 9.0))


def _day_levels(shape: YearShape, levels: FloatArray, scores: FloatArray) -> FloatArray:
    days = shape.day_share[shape.day_share > 0]
    cv = shape.day_noise_cv
    out = np.empty((levels.size, scores.size))
    for row, level in enumerate(levels):
        means = days * np.exp(level)

        def score_at(cars: float, means: FloatArray = means) -> float:
            if cv > 0:
                k = 1 / cv**2
                chance = betainc(k, cars, k / (k + means))
            else:
                chance = gammaincc(cars, means)
            with np.errstate(divide="ignore"):
                return float(np.clip(ndtri(np.exp(np.log(chance).sum())), -9.0, 9.0))

        out[row] = _quantiles(score_at, float(means.max()) * 1.3, 2.0, scores)
    return out

"""How many cars come in the nth busiest hour, or on the busiest day, of a noisy year?

Precomputed over the year's cars and the noise quantile (see :mod:`capture.hours.noise`),
so that a lookup costs the same for one site or a million. Tables are kept by shape and
rank. Beyond the table's cars a year the peak is taken in proportion to the year.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.special import betainc, gammaincc, ndtri

from capture.hours.keeping import Kept
from capture.hours.noise import NOISE_REACH as _Z_REACH
from capture.hours.noise import make_noisy_year
from capture.hours.year import YearShape

FloatArray = NDArray[np.float64]

#: cars a year between which the table reaches; beyond, cars scale with the year
_LEAST, _MOST = 1000.0, 2e7
_LEVELS: Final = 15
_FINE_LEVELS: Final = 240
_Z_NODES: Final = 65
_KEPT_TABLES: Final = 24
#: elements looked up at once
_CHUNK: Final = 32_768
#: thresholds at which a level's distribution is worked out
_GRID: Final = 11
_WIDENINGS: Final = 30


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
        cars, score = np.broadcast_arrays(
            np.asarray(cars_per_year, dtype=np.float64), np.asarray(noise, dtype=np.float64)
        )
        out = np.empty(cars.shape)
        flat_cars, flat_score, flat_out = cars.ravel(), score.ravel(), out.reshape(-1)
        for start in range(0, cars.size, _CHUNK):  # bounds memory and keeps to the cache
            part = slice(start, start + _CHUNK)
            flat_out[part] = self._look_up(flat_cars[part], flat_score[part])
        return out

    def _look_up(self, cars: FloatArray, score: FloatArray) -> FloatArray:
        with np.errstate(divide="ignore"):
            level = np.log(cars)
        inside = np.clip(level, self.log_least, self.log_most)
        rows, columns = self.log_cars.shape
        down = (inside - self.log_least) * ((rows - 1) / (self.log_most - self.log_least))
        right = (np.clip(score, -_Z_REACH, _Z_REACH) + _Z_REACH) * ((columns - 1) / (2 * _Z_REACH))
        row = np.minimum(down.astype(np.int64), rows - 2)
        column = np.minimum(right.astype(np.int64), columns - 2)
        down -= row
        right -= column
        flat = self.log_cars.ravel()
        start = row * columns + column
        upper = flat[start] + right * (flat[start + 1] - flat[start])
        start += columns
        lower = flat[start] + right * (flat[start + 1] - flat[start])
        log_peak = upper + down * (lower - upper) + (level - inside)
        return np.asarray(np.maximum(np.exp(log_peak) - 0.5, 0.0))


_tables: Kept[NoisyPeak] = Kept(most=_KEPT_TABLES)


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
    return _tables.recall((shape.digest, rank), lambda: _tabulate(shape, rank))


def make_day_peak(shape: YearShape) -> NoisyPeak:
    """Tabulate the busiest day of a noisy year; exact, since days are independent."""
    return _tables.recall((shape.digest, 0), lambda: _tabulate(shape, 0))


def compute_hour_peak(
    cars_per_year: float, shape: YearShape, *, rank: int, noise: ArrayLike
) -> FloatArray:
    """Compute the nth busiest hour of one year without a table, at each noise score."""
    scores = np.atleast_1d(np.asarray(noise, dtype=np.float64))
    if not cars_per_year > 0:
        return np.zeros(scores.size)
    log_cars = _hour_levels(shape, np.array([np.log(cars_per_year)]), scores, rank)[0]
    return np.asarray(np.maximum(np.exp(log_cars) - 0.5, 0.0))


def _tabulate(shape: YearShape, rank: int) -> NoisyPeak:
    levels = np.linspace(np.log(_LEAST), np.log(_MOST), _LEVELS)
    scores = np.linspace(-_Z_REACH, _Z_REACH, _Z_NODES)
    if rank == 0:
        log_cars = _day_levels(shape, levels, scores)
    else:
        log_cars = _hour_levels(shape, levels, scores, rank)
    fine = np.linspace(levels[0], levels[-1], _FINE_LEVELS)
    closed = np.isinf(log_cars).any()
    return NoisyPeak(
        log_cars=np.full((fine.size, scores.size), -700.0)
        if closed
        else np.asarray(CubicSpline(levels, log_cars)(fine)),
        log_least=float(levels[0]),
        log_most=float(levels[-1]),
    )


def _hour_levels(shape: YearShape, levels: FloatArray, scores: FloatArray, rank: int) -> FloatArray:
    out = np.full((levels.size, scores.size), -np.inf)
    flat = np.sort(shape.share)[::-1]
    if flat[rank - 1] == 0:  # fewer open hours than that
        return out
    guess, span = flat[rank - 1] * np.exp(levels[0]), 2.0
    one_car = make_noisy_year(shape)
    for row, level in enumerate(levels):
        year = one_car.scale(float(np.exp(level)))
        out[row] = _quantiles(partial(year.score_at, rank=rank), guess, span, scores)
        step = np.exp(levels[min(row + 1, levels.size - 1)] - level)
        middle, reach = out[row][scores.size // 2], out[row][-1] - out[row][0]
        guess, span = float(np.exp(middle)) * step, float(np.exp(max(0.6 * reach, 0.05)))
    return out


def _quantiles(
    score_at: Callable[[float], float], guess: float, span: float, scores: FloatArray
) -> FloatArray:
    """Return log cars at each noise score, by inverting ``score_at`` round a guess."""
    low, high = max(guess, 0.5) / span, max(guess, 0.5) * span
    widen = max(span, 1.3)
    for _ in range(_WIDENINGS):
        low_ok, high_ok = low <= 0.02 or score_at(low) <= -_Z_REACH, score_at(high) >= _Z_REACH
        low, high = low if low_ok else low / widen, high if high_ok else high * widen
        if low_ok and high_ok:
            break
    grid = np.exp(np.linspace(np.log(low), np.log(high), _GRID))
    found = np.array([score_at(cars) for cars in grid])
    inside = np.abs(found) < 8.0
    inside[1:] &= np.diff(np.maximum.accumulate(found)) > 1e-9
    if inside.sum() < 2:
        return np.full(scores.size, np.log(max(guess, 0.5)))
    return _extend(found[inside], np.log(grid[inside]), scores)


def _extend(score: FloatArray, log_cars: FloatArray, at: FloatArray) -> FloatArray:
    inner = PchipInterpolator(score, log_cars)(np.clip(at, score[0], score[-1]))
    slope_low = (log_cars[1] - log_cars[0]) / (score[1] - score[0])
    slope_high = (log_cars[-1] - log_cars[-2]) / (score[-1] - score[-2])
    below = np.minimum(at - score[0], 0) * slope_low
    above = np.maximum(at - score[-1], 0) * slope_high
    return np.asarray(inner + below + above)


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

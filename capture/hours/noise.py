"""How noisy is a year: how many of its hours exceed a number of cars?

A day's factor is gamma with mean 1, an hour given its day is Poisson. The chance that the
nth busiest hour stays under a threshold is the chance that fewer than n hours exceed it;
the number of exceedances has an exact mean and variance, and is taken as negative
binomial (binomial where it varies less than a Poisson).

Counts are whole, so a continuous version is used whose whole part is the count itself:
its distribution function at x is Q(x, mean), the regularised upper gamma function.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc, gammainc, gammaincc, gdtrix, ndtr, ndtri

from capture.hours.kernels import POINTS, sum_chances
from capture.hours.year import YearShape

FloatArray = NDArray[np.float64]

#: normal scores up to which noise is looked at
NOISE_REACH: Final = 4.0
_GAMMA_NODES: Final = 29
#: cars from which the cube-root approximation is used
_PLAIN: Final = 8.0
#: normal scores up to which a chance is looked up
_SCORES: Final = 8.0
_NORMAL: Final = np.asarray(ndtr(np.linspace(-_SCORES, _SCORES, POINTS)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NoisyYear:
    """A noisy year: hour means by kind of day, hour and node of the day factor."""

    #: cube root of the expected cars by kind of day, hour (falling), node of the day factor
    roots: FloatArray
    #: weight of each node
    weight: FloatArray
    #: days of each kind
    days: FloatArray

    def scale(self, cars_per_year: float) -> NoisyYear:
        """Return the same year with that many times the cars."""
        return replace(self, roots=self.roots * np.cbrt(cars_per_year))

    def score_at(self, cars: float, *, rank: int) -> float:
        """Return the normal score of P(the nth busiest hour stays under ``cars``)."""
        mean, variance = self.count_exceeding(cars)
        return float(np.clip(ndtri(compute_fewer_chance(mean, variance, rank)), -9.0, 9.0))

    def count_exceeding(self, cars: float) -> tuple[float, float]:
        """Return mean and variance of how many hours of the year exceed ``cars``.

        Hours are independent given their day's factor, and days are independent, so both
        moments are exact but for the chance of one hour (see ``_sum_chances``).
        """
        given_day, spread = _sum_chances(cars, self.roots)  # (days, nodes)
        mean_day = given_day @ self.weight
        variance_day = spread @ self.weight + (given_day**2) @ self.weight - mean_day**2
        return float(self.days @ mean_day), float(self.days @ variance_day)


def _sum_chances(cars: float, roots: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the sums over hours of P and P (1 - P), P being the chance of more than ``cars``.

    P is that of the continuous Poisson whose mean has the cube root ``roots``: the
    regularised lower gamma function; from ``_PLAIN`` cars on by the cube-root normal
    approximation, whose error stays below 0.001 and which costs far less.

    References
    ----------
    E. B. Wilson and M. M. Hilferty, "The distribution of chi-square", 1931.
    """
    least, most = float(roots.min()), float(roots.max())
    if cars >= _PLAIN:
        slope, shift = 3 * cars ** (1 / 6), 3 * cars**0.5 * (1 - 1 / (9 * cars))
        per_one = (POINTS - 1) / (2 * _SCORES)
        made = sum_chances(roots, slope * per_one, (shift - _SCORES) * per_one, _NORMAL)
    else:
        per_one = (POINTS - 1) / max(most - least, 1e-9)
        chances = gammainc(cars, np.linspace(least, most, POINTS) ** 3)
        made = sum_chances(roots, per_one, least * per_one, chances)
    return np.asarray(made[0]), np.asarray(made[1])


def make_noisy_year(shape: YearShape) -> NoisyYear:
    """Make the noisy year of one expected car, to be scaled."""
    hours, days = _alike_days(shape)
    factor, weight = day_factor_nodes(shape.day_noise_cv)
    return NoisyYear(roots=np.cbrt(hours[:, :, None] * factor), weight=weight, days=days)


def day_factor_nodes(cv: float) -> tuple[FloatArray, FloatArray]:
    """Return values of the gamma day factor and their weights, summing to 1."""
    if cv <= 0:
        return np.ones(1), np.ones(1)
    score = np.linspace(-NOISE_REACH, NOISE_REACH, _GAMMA_NODES)
    weight = np.exp(-0.5 * score**2)
    k = 1 / cv**2
    factor = gdtrix(k, k, ndtr(score))
    weight = weight / weight.sum()
    return np.asarray(factor / (factor @ weight)), weight


def _alike_days(shape: YearShape) -> tuple[FloatArray, FloatArray]:
    """Return one row of falling hour shares per kind of day, and how many days are of it."""
    hours = -np.sort(-shape.day_hours, axis=1)
    hours = hours[hours[:, 0] > 0]
    hours = hours[:, : max(1, int((hours > 0).sum(axis=1).max()))]
    rounded = np.round(hours / hours.max(), 9)
    _, first, count = np.unique(rounded, axis=0, return_index=True, return_counts=True)
    return hours[first], count.astype(np.float64)


def compute_fewer_chance(mean: float, variance: float, rank: int) -> float:
    """Compute P(fewer than ``rank`` hours exceed) from the number's mean and variance.

    Notes
    -----
    Negative binomial where the variance is above the mean, binomial where it is below,
    Poisson between: the family that is closed under both moments.

    Examples
    --------
    >>> round(compute_fewer_chance(2.0, 2.0, 1), 6)
    0.135335
    """
    if mean <= 1e-12:
        return 1.0
    ratio = variance / mean
    if ratio > 1 + 1e-6:
        size = mean / (ratio - 1)
        return float(betainc(size, rank, size / (size + mean)))
    if ratio < 1 - 1e-6:
        size = mean / (1 - ratio)
        return float(betainc(size - rank + 1, rank, ratio)) if size > rank - 1 else 1.0
    return float(gammaincc(rank, mean))

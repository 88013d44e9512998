"""What is it worth to know more before deciding: a week of counting, a survey, a permit?

Value of sample information by regression on the draws at hand: the decision is taken on
the expected value given what would be seen. Assumes that whoever decides goes by the mean
and may always do nothing.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from capture.basis import CaptureWarning, FitError, InputError, Worlds

FloatArray = NDArray[np.float64]
#: knots inside the range of each datum
_KNOTS: Final = 4
_LEAST_DRAWS: Final = 200
_FOLDS: Final = 10
_ENOUGH_DRAWS: Final = 5000


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """What knowing something is worth before a decision."""

    #: expected gain of deciding after seeing it, USD
    value_usd: float
    #: standard error of that from the number of draws, USD
    error_usd: float
    #: expected result of deciding now, USD
    now_usd: float
    #: which option is taken now; -1 is nothing
    choice_now: int
    #: share of worlds in which what is seen changes the choice
    change_share: float
    #: most that any knowledge could be worth, USD
    perfect_usd: float


def compute_unit_normal_loss(z: ArrayLike) -> FloatArray:
    """Return the expected loss of a standard normal over z: phi(z) - z (1 - Phi(z)).

    References
    ----------
    Raiffa and Schlaifer (1961), *Applied Statistical Decision Theory*.

    Examples
    --------
    >>> round(float(compute_unit_normal_loss(0.0)), 4)
    0.3989
    """
    at = np.asarray(z, dtype=np.float64)
    return np.asarray(np.exp(-0.5 * at**2) / np.sqrt(2.0 * np.pi) - at * ndtr(-at))


def see_with_noise(
    truth: ArrayLike, sd: float, worlds: Worlds, what: str, *, log: bool = True
) -> FloatArray:
    """Draw what a measurement would show in every world.

    Parameters
    ----------
    truth : array_like of float, shape (n,)
        The quantity in every world.
    sd : float
        Spread of the measurement, on the log scale when ``log``.
    what : str
        Name that keys its noise: the same name sees the same noise at all sites.

    Returns
    -------
    ndarray of float, shape (n,)
        On the log scale when ``log``.

    Raises
    ------
    InputError
        When the spread is negative or, on the log scale, the truth is not over 0.
    """
    array = np.asarray(truth, dtype=np.float64)
    if not (np.isfinite(sd) and sd >= 0):
        raise InputError(f"measurement spread must be 0 or more, got {sd}; give its sd")
    if log and not (array > 0).all():
        raise InputError(
            "a quantity seen on the log scale must be over 0 in every world; use log=False"
        )
    scale: FloatArray = np.log(array) if log else array
    return np.asarray(scale + sd * worlds.normal(f"seeing {what}")[0])


def value_knowing(options: ArrayLike, seen: ArrayLike) -> Worth:
    """Estimate what it is worth to see data before choosing one option or none.

    Parameters
    ----------
    options : array_like of float, shape (n,) or (d, n)
        Result of each option in every world, USD; doing nothing brings 0.
    seen : array_like of float, shape (n,) or (k, n)
        What would be seen in every world.

    Returns
    -------
    Worth

    Raises
    ------
    FitError
        With fewer than 200 draws.
    InputError
        When shapes differ or draws are not finite.

    Notes
    -----
    EVSI = E[max_d E(NPV_d | seen)] - max_d E(NPV_d), with E(NPV_d | seen) a regression on
    cubic splines of the data (additive, with products for pairs). Out-of-fold fits choose,
    the results themselves are averaged, so that fitting noise is not counted as knowledge.

    References
    ----------
    Strong, Oakley and Brennan (2014), "Estimating multiparameter partial expected value of
    perfect information from a probabilistic sensitivity analysis sample", *Medical Decision
    Making* 34; Strong, Oakley, Brennan and Breeze (2015) for samples.

    Examples
    --------
    >>> rng = np.random.default_rng(0)
    >>> truth = rng.normal(0, 1, 4000)
    >>> worth = value_knowing(truth, truth + rng.normal(0, 1, 4000))
    >>> abs(worth.value_usd - 0.282) < 0.03
    True
    """
    results = np.atleast_2d(np.asarray(options, dtype=np.float64))
    data = np.atleast_2d(np.asarray(seen, dtype=np.float64))
    draws = results.shape[1]
    if data.shape[1] != draws:
        raise InputError(f"knowing: {draws} results but {data.shape[1]} data draws; match them")
    if not (np.isfinite(results).all() and np.isfinite(data).all()):
        raise InputError("knowing: results and data must be finite in every world; check them")
    if draws < _LEAST_DRAWS:
        raise FitError(f"knowing: at least {_LEAST_DRAWS} draws are needed, got {draws}")
    results = np.vstack((np.zeros(draws), results))
    now = int(results.mean(axis=1).argmax())
    chosen = _expect(results, data).argmax(axis=0)
    gain = results[chosen, np.arange(draws)] - results[now]
    value = max(float(gain.mean()), 0.0)
    return Worth(
        value_usd=value,
        error_usd=float(gain.std(ddof=1) / np.sqrt(draws)),
        now_usd=float(results[now].mean()),
        choice_now=now - 1,
        change_share=float((chosen != now).mean()),
        perfect_usd=float(results.max(axis=0).mean() - results[now].mean()),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """Something that could be measured before deciding.

    Raises
    ------
    InputError
        When the cost is negative or not a number.
    """

    #: plain words; keys its noise
    name: str
    #: the quantity in every world, shape (n,)
    truth: FloatArray
    #: spread of the measurement, on the log scale when ``log``
    sd: float
    #: what measuring costs, USD
    cost_usd: float = 0.0
    #: whether it is seen on the log scale
    log: bool = True

    def __post_init__(self) -> None:
        if not (np.isfinite(self.cost_usd) and self.cost_usd >= 0):
            raise InputError(
                f"{self.name}: cost of measuring must be 0 USD or more, got {self.cost_usd}"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureWorth:
    """A measure and what it is worth."""

    #: what is measured
    measure: Measure
    #: what seeing it is worth before the decision
    worth: Worth
    #: worth less cost, USD
    net_usd: float


def rank_measures(
    options: ArrayLike, measures: Sequence[Measure], worlds: Worlds
) -> list[MeasureWorth]:
    """Rank what could be measured by what it is worth beyond its cost.

    Parameters
    ----------
    options : array_like of float, shape (n,) or (d, n)
        Result of each option in every world, USD; doing nothing brings 0.
    measures : sequence of Measure
        With n draws each.
    worlds : Worlds
        Keys the measurements' noise, so that two ways to measure one thing share it by name.

    Returns
    -------
    list of MeasureWorth
        Highest net worth first.

    Warns
    -----
    CaptureWarning
        With fewer than 5,000 draws, where small worths drown in noise; 10,000 is usual.
    """
    if worlds.draws < _ENOUGH_DRAWS:
        warnings.warn(
            f"value of knowing: {worlds.draws} draws are few, 10,000 is usual",
            CaptureWarning,
            stacklevel=2,
        )
    ranked = []
    for measure in measures:
        seen = see_with_noise(measure.truth, measure.sd, worlds, measure.name, log=measure.log)
        worth = value_knowing(options, seen)
        ranked.append(
            MeasureWorth(measure=measure, worth=worth, net_usd=worth.value_usd - measure.cost_usd)
        )
    return sorted(ranked, key=lambda one: (-one.net_usd, one.measure.name))


def _expect(results: FloatArray, data: FloatArray) -> FloatArray:
    """Out-of-fold expectation of every option given the data, shape (d, n)."""
    basis = _make_basis(data)
    fold = np.arange(data.shape[1]) % _FOLDS
    expected = np.zeros_like(results)
    whole = basis.T @ basis
    ridge = 1e-9 * np.trace(whole) / whole.shape[0] * np.eye(whole.shape[0])
    cross = basis.T @ results.T
    for k in range(_FOLDS):
        out = fold == k
        part = basis[out]
        weights = np.linalg.solve(whole - part.T @ part + ridge, cross - part.T @ results[:, out].T)
        expected[:, out] = (part @ weights).T
    return expected


def _make_basis(data: FloatArray) -> FloatArray:
    """Columns: 1, natural cubic splines of each datum, products of their scores."""
    columns = [np.ones(data.shape[1])]
    scores = []
    for row in data:
        spread = float(row.std())
        if spread == 0:
            continue
        score = np.clip((row - row.mean()) / spread, -4.0, 4.0)
        scores.append(score)
        knots = np.quantile(score, np.linspace(0.05, 0.95, _KNOTS + 2))
        columns.append(score)
        columns += _natural_splines(score, knots)
    columns += [one * other for at, one in enumerate(scores) for other in scores[at + 1 :]]
    return np.stack(columns, axis=1)


def _natural_splines(x: FloatArray, knots: FloatArray) -> list[FloatArray]:
    """Natural cubic splines, linear beyond the outer knots."""

    def cubed(knot: float) -> FloatArray:
        return np.asarray(np.maximum(x - knot, 0.0) ** 3)

    last, before = float(knots[-1]), float(knots[-2])
    if last - before <= 0:
        return []
    tail = (cubed(before) - cubed(last)) / (last - before)
    return [
        (cubed(float(knot)) - cubed(last)) / (last - float(knot)) - tail
        for knot in knots[:-2]
        if last - float(knot) > 0
    ]

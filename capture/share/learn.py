"""What do the user's own months say of a constant that practice only guesses?

A constant's low and high are a normal prior on the log (of a positive rate) or on the
plain scale (of an elasticity); the user's months are its rows; the exact mixture does the
rest. Assumes months independent given the constant.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from capture.basis import DataError, Sheet, Sourced
from capture.basis.draws import Z95
from capture.share.mixture import Prior, Rows, fit_mixture
from capture.share.normals import mixture_quantile
from capture.share.values import VALUES


def learn_level(prior: Sourced, rates: ArrayLike, counts: ArrayLike | None = None) -> Sourced:
    """Learn a positive rate, such as members leaving in a month, from the user's own months.

    Parameters
    ----------
    prior : Sourced
        The practice constant, above 0.
    rates : array_like, shape (m,)
        The rate in each month, above 0, in the constant's unit.
    counts : array_like, shape (m,), optional
        How many events each month's rate was counted from; few say less.

    Returns
    -------
    Sourced
        The same constant with its learned median and range, graded ``yours``.

    Raises
    ------
    DataError
        When there is no month, or a rate is not above 0.

    Examples
    --------
    >>> learned = learn_level(VALUES["leaving_month"], [0.05, 0.06, 0.055, 0.05, 0.06, 0.05])
    >>> 0.05 < learned.value < 0.06
    True
    """
    rate = np.asarray(rates, dtype=np.float64)
    if rate.size == 0 or not (np.isfinite(rate) & (rate > 0)).all():
        raise DataError(
            f"{prior.name}: months must have rates above 0 {prior.unit}; leave out empty months"
        )
    variance = 0.0 if counts is None else 1 / np.maximum(np.asarray(counts, dtype=float), 1.0)
    sd = (np.log(prior.high) - np.log(prior.low)) / (2 * Z95)
    low, value, high = _learn(
        np.ones((rate.size, 1)), np.log(rate), variance, np.log(prior.value), sd
    )
    return _own(prior, np.exp(value), np.exp(low), np.exp(high), rate.size)


def learn_elasticity(
    prior: Sourced, prices: ArrayLike, amounts: ArrayLike, *, month_error_log: float | None = None
) -> Sourced:
    """Learn how amounts answer to price, from months at different prices.

    Parameters
    ----------
    prior : Sourced
        The practice elasticity, below 0.
    prices : array_like, shape (m,)
        Price in each month, USD.
    amounts : array_like, shape (m,)
        Ticket visits or joins in each month, seasons taken out.
    month_error_log : float, optional
        Spread of a month's amount that no price explains; the sheet's when left out.

    Returns
    -------
    Sourced
        The same constant with its learned mean and range, never above 0, graded ``yours``.

    Raises
    ------
    DataError
        When fewer than two months, a price or amount not above 0, or only one price.
    """
    price = np.asarray(prices, dtype=np.float64)
    amount = np.asarray(amounts, dtype=np.float64)
    good = price.shape == amount.shape and price.size > 1
    if not good or not ((price > 0) & (amount > 0)).all() or np.ptp(price) == 0:
        raise DataError(
            f"{prior.name}: two or more months at different prices, all above 0, are needed; "
            "add months"
        )
    error = VALUES.value("month_error_log") if month_error_log is None else month_error_log
    sd = (prior.high - prior.low) / (2 * Z95)
    design = np.column_stack([np.log(price / price.mean()), np.ones(price.size)])
    low, value, high = _learn(design, np.log(amount), error**2, prior.value, sd)
    return _own(prior, min(value, 0.0), min(low, 0.0), min(high, 0.0), price.size)


def _learn(
    design: np.ndarray, target: np.ndarray, variance: ArrayLike, mean: float, sd: float
) -> tuple[float, float, float]:
    sigma = np.geomspace(0.02, 1.0, 64)
    weight = np.exp(-0.5 * (np.log(sigma / 0.12) / 0.6) ** 2)
    width = design.shape[1]
    prior = Prior(
        mean=np.array([mean, *[0.0] * (width - 1)]),
        sd=np.array([sd, *[np.inf] * (width - 1)]),
        sigma=sigma,
        log_weight=np.log(weight / weight.sum()),
    )
    mixture = fit_mixture(Rows.of(design, target, variance=variance), prior)
    means, sds = mixture.coefficient_parts(0)
    low, value, high = (
        float(mixture_quantile(share, mixture.weight, means, sds)) for share in (0.05, 0.5, 0.95)
    )
    return low, value, high


def _own(prior: Sourced, value: float, low: float, high: float, months: int) -> Sourced:
    source = f"your own {months} months, over: {prior.source}"
    return replace(
        prior, value=float(value), low=float(low), high=float(high), source=source, grade="yours"
    )


def list_learnable(values: Sheet = VALUES) -> list[Sourced]:
    """Return the constants that own months can teach."""
    names = (
        "joins_per_ticket",
        "leaving_month",
        "visits_member_month",
        "ticket_elasticity",
        "join_elasticity",
    )
    return [values[name] for name in names]

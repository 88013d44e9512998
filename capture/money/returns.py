"""What are a row of payments worth: net present value, rate of return, payback, loan?

Payments stand at the end of even periods, the first at time zero. Assumes nothing about
what they are for.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError

FloatArray = NDArray[np.float64]
#: highest growth a period that is searched for a rate of return; the lowest is its inverse
MOST_GROWTH = 1e6
_SCANNED = 257
_HALVINGS = 60


def compute_monthly_rate(yearly_share: ArrayLike) -> FloatArray:
    """Return the monthly rate that grows to a yearly one: (1 + r)^(1/12) - 1.

    Examples
    --------
    >>> round(float(compute_monthly_rate(0.1268250301319698)), 10)
    0.01
    """
    return np.asarray(np.expm1(np.log1p(np.asarray(yearly_share, dtype=np.float64)) / 12.0))


def compute_npv(rate: ArrayLike, payments: ArrayLike) -> FloatArray:
    """Return the net present value of payments at a rate per period.

    Parameters
    ----------
    rate : array_like of float, shape (...)
        Per period, over -1.
    payments : array_like of float, shape (..., periods)
        The first stands at time zero.

    Returns
    -------
    ndarray of float, shape (...)

    Raises
    ------
    InputError
        When a rate is -1 or less.

    Notes
    -----
    NPV = sum of c_t / (1 + r)^t.

    Examples
    --------
    >>> round(float(compute_npv(0.1, [-100.0, 60.0, 60.0])), 4)
    4.1322
    """
    rates = np.asarray(rate, dtype=np.float64)
    flows = np.asarray(payments, dtype=np.float64)
    if not np.all(rates > -1):
        raise InputError(f"rate must be over -1 a period, got {np.min(rates)}; give a share")
    shrink = 1.0 / (1.0 + rates)
    total = np.zeros(np.broadcast_shapes(rates.shape, flows.shape[:-1]))
    for at in range(flows.shape[-1] - 1, -1, -1):
        total = total * shrink + flows[..., at]
    return np.asarray(total)


def compute_irr(payments: ArrayLike) -> FloatArray:
    """Return the rate per period at which payments are worth nothing today.

    Parameters
    ----------
    payments : array_like of float, shape (..., periods)
        The first stands at time zero.

    Returns
    -------
    ndarray of float, shape (...)
        ``nan`` where there is none: payments that never change sign, or whose value does
        not cross zero for a growth of 1e-6 to 1e6 a period.

    Notes
    -----
    The logarithm of growth is scanned for crossings and the one nearest to no growth is
    bisected. Payments that change sign more than once may have several rates.

    Examples
    --------
    >>> round(float(compute_irr([-100.0, 60.0, 60.0])), 6)
    0.130662
    >>> bool(np.isnan(compute_irr([-1.0, -2.0])))
    True
    """
    flows = np.asarray(payments, dtype=np.float64)
    shape = flows.shape[:-1]
    grid = np.log(MOST_GROWTH) * np.linspace(-1.0, 1.0, _SCANNED) ** 3
    signs = np.stack([np.sign(_scaled_value(np.full(shape, at), flows)) for at in grid])
    crossing = (signs[1:] * signs[:-1] < 0) | ((signs[:-1] == 0) & (signs[1:] != 0))
    middle = np.abs(0.5 * (grid[1:] + grid[:-1])).reshape((-1,) + (1,) * len(shape))
    at = np.where(crossing, middle, np.inf).argmin(axis=0)
    low, high = grid[at], grid[at + 1]
    at_low = np.take_along_axis(signs, at[None], axis=0)[0]
    for _ in range(_HALVINGS):
        half = 0.5 * (low + high)
        same = np.sign(_scaled_value(half, flows)) == at_low
        low, high = np.where(same, half, low), np.where(same, high, half)
    rate = np.where(at_low == 0, np.expm1(low), np.expm1(0.5 * (low + high)))
    return np.asarray(np.where(crossing.any(axis=0), rate, np.nan))


def _scaled_value(growth_log: FloatArray, flows: FloatArray) -> FloatArray:
    """Value with the sign of the NPV, scaled so that no power overflows."""
    periods = np.arange(flows.shape[-1])
    exponents = -growth_log[..., None] * periods
    exponents = exponents - exponents.max(axis=-1, keepdims=True)
    return np.asarray((flows * np.exp(exponents)).sum(axis=-1))


def compute_payment(loan: ArrayLike, rate: ArrayLike, periods: ArrayLike) -> FloatArray:
    """Return the level payment that pays a loan off.

    Notes
    -----
    payment = L r / (1 - (1 + r)^-n); L / n where r is 0.

    Raises
    ------
    InputError
        When there are no periods.

    Examples
    --------
    >>> round(float(compute_payment(100_000, 0.08 / 12, 240)), 2)
    836.44
    """
    amount, r, n = (np.asarray(part, dtype=np.float64) for part in (loan, rate, periods))
    if not np.all(n >= 1):
        raise InputError(f"loan periods must be 1 or more, got {np.min(n)}; give months")
    safe = np.where(r == 0, 1.0, r)
    factor = np.where(r == 0, 1.0 / n, safe / -np.expm1(-n * np.log1p(safe)))
    return np.asarray(amount * factor)


def compute_balance(
    loan: ArrayLike, rate: ArrayLike, periods: ArrayLike, paid: ArrayLike
) -> FloatArray:
    """Return what is still owed on a level-payment loan after some payments.

    Examples
    --------
    >>> round(float(compute_balance(100_000, 0.0, 100, 25)), 2)
    75000.0
    """
    amount, r, n, k = (np.asarray(part, dtype=np.float64) for part in (loan, rate, periods, paid))
    payment = compute_payment(amount, r, n)
    left = np.maximum(n - k, 0.0)
    safe = np.where(r == 0, 1.0, r)
    worth = np.where(r == 0, left, -np.expm1(-left * np.log1p(safe)) / safe)
    return np.asarray(payment * worth)


def compute_annuity(rate: ArrayLike, periods: ArrayLike) -> FloatArray:
    """Return the present value of 1 at the end of each period: (1 - (1 + r)^-n) / r.

    Examples
    --------
    >>> round(float(compute_annuity(0.01, 120)), 4)
    69.7005
    """
    r, n = np.asarray(rate, dtype=np.float64), np.asarray(periods, dtype=np.float64)
    safe = np.where(r == 0, 1.0, r)
    return np.asarray(np.where(r == 0, n, -np.expm1(-n * np.log1p(safe)) / safe))


def compute_payback(payments: ArrayLike) -> FloatArray:
    """Return the period at which the running sum first reaches zero, parts of a period counted.

    Parameters
    ----------
    payments : array_like of float, shape (..., periods)
        The first stands at time zero.

    Returns
    -------
    ndarray of float, shape (...)
        ``inf`` where the sum never reaches zero.

    Examples
    --------
    >>> float(compute_payback([-100.0, 40.0, 40.0, 40.0]))
    2.5
    """
    flows = np.asarray(payments, dtype=np.float64)
    running = np.cumsum(flows, axis=-1)
    back = running >= 0
    first = back.argmax(axis=-1)
    before = np.take_along_axis(running, np.maximum(first - 1, 0)[..., None], axis=-1)[..., 0]
    gained = np.take_along_axis(flows, first[..., None], axis=-1)[..., 0]
    part = np.where(gained > 0, -before / np.where(gained > 0, gained, 1.0), 1.0)
    when = np.where(first == 0, 0.0, first - 1 + part)
    return np.asarray(np.where(back.any(axis=-1), when, np.inf))

"""How strongly do other washes pull, how near is the next like one, and what do they charge?

Pull falls with driving time, not distance, and counts each rival by its likeness to what is
planned. Assumes that drivers know the washes within a few minutes of where they are.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def compute_pull(seconds: ArrayLike, likeness: ArrayLike, *, tau_s: float) -> FloatArray:
    r"""Compute the pull of rivals on S sites.

    Parameters
    ----------
    seconds : array_like, shape (S, K)
        Driving time from each site to each rival; inf where there is no way or it is far.
    likeness : array_like, shape (K,)
        0 to 1.
    tau_s : float
        Driving time over which pull falls to 1/e, more than 0.

    Returns
    -------
    ndarray of float, shape (S,)
        0 without rivals; 1 for one rival of the same kind next door.

    Raises
    ------
    InputError
        For a time below 0, a likeness outside 0-1, or a tau that is not more than 0.

    Notes
    -----
    :math:`pull = \sum_k l_k e^{-t_k/\tau}`. It never falls when a rival is added.

    Examples
    --------
    >>> compute_pull([[0.0, 300.0]], [1.0, 0.5], tau_s=300).round(4).tolist()
    [1.1839]
    """
    time, like = _check(seconds, likeness)
    if not tau_s > 0:
        raise InputError(f"tau_s must be more than 0 s, got {tau_s}; give seconds")
    return np.asarray(np.exp(-time / tau_s) @ like)


def find_nearest_like(
    seconds: ArrayLike, likeness: ArrayLike, *, like_share: float
) -> tuple[IntArray, FloatArray]:
    """Find each site's nearest rival that is like what is planned.

    Parameters
    ----------
    seconds : array_like, shape (S, K)
    likeness : array_like, shape (K,)
    like_share : float
        Likeness from which on a rival counts as like.

    Returns
    -------
    tuple of ndarray, each shape (S,)
        Index of the rival, -1 where there is none, and the driving time, inf where none.

    Examples
    --------
    >>> find_nearest_like([[90.0, 60.0]], [1.0, 0.1], like_share=0.5)
    (array([0]), array([90.]))
    """
    time, like = _check(seconds, likeness)
    held = np.where(like >= like_share, time, np.inf)
    if held.shape[1] == 0:
        return np.full(len(held), -1), np.full(len(held), np.inf)
    index = held.argmin(axis=1)
    nearest = held[np.arange(len(held)), index]
    return np.where(np.isinf(nearest), -1, index), np.asarray(nearest)


def estimate_area_price(
    seconds: ArrayLike,
    likeness: ArrayLike,
    price_usd: ArrayLike,
    *,
    limit_s: float,
    like_share: float,
    least: float,
) -> FloatArray:
    """Estimate what a single wash of the planned kind costs around each site.

    Parameters
    ----------
    seconds : array_like, shape (S, K)
    likeness, price_usd : array_like, shape (K,)
        A price may be NaN.
    limit_s, like_share, least : float
        Like rivals within the limit count; fewer than ``least`` give NaN.

    Returns
    -------
    ndarray of float, shape (S,)
        USD, the mean weighted by likeness, NaN where too few prices are known.

    Examples
    --------
    >>> estimate_area_price([[60.0, 80.0]], [1.0, 1.0], [12.0, 14.0],
    ...                     limit_s=900, like_share=0.5, least=2).tolist()
    [13.0]
    """
    time, like = _check(seconds, likeness)
    price = np.asarray(price_usd, dtype=np.float64)
    told = np.isfinite(price) & (like >= like_share)
    weight = np.where(told & (time <= limit_s), like, 0.0)
    total = weight.sum(axis=1)
    enough = (weight > 0).sum(axis=1) >= least
    mean = np.divide(
        weight @ np.where(told, price, 0.0), total, out=np.full(len(total), np.nan), where=total > 0
    )
    return np.where(enough, mean, np.nan)


def _check(seconds: ArrayLike, likeness: ArrayLike) -> tuple[FloatArray, FloatArray]:
    time = np.atleast_2d(np.asarray(seconds, dtype=np.float64))
    like = np.asarray(likeness, dtype=np.float64)
    if time.shape[1] != like.size:
        raise InputError(
            f"driving times are for {time.shape[1]} rivals, likeness for {like.size}; "
            "pass one of each per rival"
        )
    if np.isnan(time).any() or (time < 0).any():
        raise InputError("driving time must be 0 s or more for every rival; inf means no way")
    if like.size and not ((like >= 0) & (like <= 1)).all():
        raise InputError(f"likeness must be 0 to 1, got {like.min():g} to {like.max():g}; mend it")
    return time, like

"""Which part of the washing done from home would come here rather than to a rival?

A gravity model over all washes that can be reached from each home. Assumes that size and
driving time are all that tells washes apart, and that nobody is nearer than a minute.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError

FloatArray = NDArray[np.float64]


def compute_gravity(
    size: ArrayLike, seconds: ArrayLike, *, power: float, floor_s: float
) -> FloatArray:
    """Compute how strongly washes draw homes: size over floored minutes to a power.

    Parameters
    ----------
    size : array_like
        0 or more, shape that broadcasts with ``seconds``.
    seconds : array_like
        Driving time from home to wash; inf draws nobody.
    power : float
        Lambda, more than 0.
    floor_s : float
        Least driving time, more than 0.

    Returns
    -------
    ndarray of float, shape as broadcast
        Per minute to the power.

    Raises
    ------
    InputError
        For a size or time below 0, or a power or floor that is not more than 0.

    Examples
    --------
    >>> compute_gravity([1.0, 2.0], [30.0, 120.0], power=2, floor_s=60).tolist()
    [1.0, 0.5]
    """
    sizes = np.asarray(size, dtype=np.float64)
    time = np.asarray(seconds, dtype=np.float64)
    if not (power > 0 and floor_s > 0):
        raise InputError(f"power and floor_s must be more than 0, got {power} and {floor_s} s")
    if np.isnan(sizes).any() or (sizes < 0).any() or np.isnan(time).any() or (time < 0).any():
        raise InputError("size and driving time must be 0 or more; inf seconds mean no way")
    minutes = np.maximum(time, floor_s) / 60.0
    return np.asarray(sizes * minutes**-power)


def compute_huff_shares(
    size: ArrayLike, seconds: ArrayLike, *, power: float, floor_s: float
) -> FloatArray:
    r"""Compute the share of each home zone's washing that goes to each wash.

    Parameters
    ----------
    size : array_like, shape (K,)
        Size of each wash.
    seconds : array_like, shape (Z, K)
        Driving time from each zone to each wash.
    power, floor_s : float
        As in :func:`compute_gravity`.

    Returns
    -------
    ndarray of float, shape (Z, K)
        Rows sum to 1; a zone that reaches no wash has zeros.

    Notes
    -----
    :math:`P_{ij} = S_j T_{ij}^{-\lambda} / \sum_k S_k T_{ik}^{-\lambda}`.

    References
    ----------
    Huff, D. L., "Defining and estimating a trading area", Journal of Marketing 28 (1964).

    Examples
    --------
    >>> compute_huff_shares([1.0, 1.0], [[120.0, 240.0]], power=2, floor_s=60).tolist()
    [[0.8, 0.2]]
    """
    pulls = compute_gravity(size, np.atleast_2d(seconds), power=power, floor_s=floor_s)
    total = pulls.sum(axis=1, keepdims=True)
    return np.asarray(np.divide(pulls, total, out=np.zeros_like(pulls), where=total > 0))

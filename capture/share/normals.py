"""How likely is a value under a mixture of normals, and which value has a given chance?

Assumes weights that sum to 1 and sds above 0.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

FloatArray = NDArray[np.float64]


def mixture_cdf(at: ArrayLike, weight: FloatArray, mean: FloatArray, sd: FloatArray) -> FloatArray:
    """Compute the cumulative probability of a mixture of normals.

    Parameters
    ----------
    at : array_like, shape (m,) or scalar
    weight, mean, sd : ndarray, each of shape (K,) or (K, m)

    Returns
    -------
    ndarray of float, shape (m,)

    Examples
    --------
    >>> one = np.ones(1)
    >>> round(float(mixture_cdf(2.0, one, one, one)), 4)
    0.8413
    """
    points = np.asarray(at, dtype=np.float64)
    part, centre, width = (
        a if a.ndim == 2 else a.reshape(-1, *[1] * points.ndim) for a in (weight, mean, sd)
    )
    return np.asarray((part * ndtr((points - centre) / width)).sum(axis=0))


def mixture_quantile(
    share: float, weight: FloatArray, mean: FloatArray, sd: FloatArray
) -> FloatArray:
    """Find a quantile of each column's mixture of normals by bisection, to 1e-12 of its width.

    Parameters
    ----------
    share : float
        Between 0 and 1.
    weight, mean, sd : ndarray, each of shape (K,) or (K, m)

    Returns
    -------
    ndarray of float, shape () or (m,)
    """
    low, high = (mean - 40 * sd).min(axis=0), (mean + 40 * sd).max(axis=0)
    for _ in range(60):
        middle = (low + high) / 2
        below = mixture_cdf(middle, weight, mean, sd) < share
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray((low + high) / 2)

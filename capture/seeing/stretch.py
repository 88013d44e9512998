"""How long is the stretch over which a target is seen without a break, up to the driveway?

A view far off the driver's heading counts less; one lost just before the driveway no
longer matters.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from capture.basis import Sheet
from capture.seeing.approach import Approach
from capture.seeing.values import VALUES

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def compute_off_axis(approach: Approach, spots: FloatArray) -> FloatArray:
    """Compute how far off the heading each target lies from each eye point.

    Returns
    -------
    ndarray of float, shape (R, T, K)
        Degrees, 0 straight ahead to 180 behind.
    """
    away = spots[:, :, None, :2] - approach.eyes[:, None, :, :]
    size = np.maximum(np.hypot(away[..., 0], away[..., 1]), 1e-9)
    cosine = (away * approach.heading[:, None, :, :]).sum(axis=-1) / size
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def compute_stretch(
    clear: BoolArray, degrees: FloatArray, *, step_m: float, values: Sheet = VALUES
) -> FloatArray:
    """Compute the longest unbroken clear stretch that ends at the driveway.

    Parameters
    ----------
    clear : ndarray of bool, shape (R, T, K)
        Whether each target is clear from each eye point, nearest first.
    degrees : ndarray of float, shape (R, T, K)
        How far off the heading it lies.
    step_m : float
        Between eye points, metres.

    Returns
    -------
    ndarray of float, shape (R,)
        m; a step counts whole when a clear target lies within ``aside_degrees`` of the
        heading, else ``aside_weight``.

    Notes
    -----
    A stretch may begin up to ``near_slack_m`` before the driveway, since a view lost there
    no longer matters; the best such stretch is taken, so that more obstruction never gives
    a longer one.

    Examples
    --------
    >>> clear = np.array([[[True, True, False, True]]])
    >>> float(compute_stretch(clear, np.zeros((1, 1, 4)), step_m=5.0)[0])
    10.0
    """
    rows, _, most = clear.shape
    if not rows or not most:
        return np.zeros(rows)
    weight = np.where(degrees <= values.value("aside_degrees"), 1.0, values.value("aside_weight"))
    worth = np.where(clear, weight, 0.0).max(axis=1)
    open_ = clear.any(axis=1)
    total = np.concatenate([np.zeros((rows, 1)), np.cumsum(worth, axis=1)], axis=1)
    blocked_at = np.where(open_, most, np.arange(most))
    until = np.minimum.accumulate(blocked_at[:, ::-1], axis=1)[:, ::-1]
    starts = min(most, int(values.value("near_slack_m") // step_m) + 1)
    runs = np.take_along_axis(total, until[:, :starts], axis=1) - total[:, :starts]
    return np.asarray(step_m * np.maximum(runs.max(axis=1), 0.0))

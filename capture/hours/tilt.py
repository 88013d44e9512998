"""How does a year look whose busy hours are higher or lower than the shape says?

A shape is another wash's, or another year's; its peaks may be out by a factor. Assumes that
all busy hours are out together and that quiet hours make up for it.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.hours.year import YearShape

FloatArray = NDArray[np.float64]

#: hours among which, with the noise of days, the thirty busiest lie
_BUSY_HOURS: Final = 65


def tilt_hours(hours: FloatArray, peak: FloatArray, shape: YearShape) -> FloatArray:
    """Raise busy hours by the peak factor and lower quiet ones so that the year keeps its sum.

    Parameters
    ----------
    hours : ndarray of float, shape (days, k)
        Shares of some hours of the year.
    peak : ndarray of float, shape (days,)
        Peak factor of the world that each row belongs to, above 0.
    shape : YearShape
        The whole year.

    Returns
    -------
    ndarray of float, shape (days, k)

    Notes
    -----
    An hour is multiplied by the factor to the power of its reach, which is 1 in the last
    of the busy hours and whose mean over the year's cars is 0.
    """
    mean = float((shape.share**2).sum())  # an hour's share, weighted by cars
    top = max(float(np.sort(shape.share)[-_BUSY_HOURS]) - mean, 1e-12)

    def reach(share: FloatArray) -> FloatArray:
        return np.asarray(np.clip((share - mean) / top, -1.0, 3.0))

    grid = np.linspace(np.log(peak).min(), np.log(peak).max() + 1e-9, 33)
    whole = np.exp(grid[:, None] * reach(shape.share)) @ shape.share
    scale = np.interp(np.log(peak), grid, whole)
    return np.asarray(hours * np.exp(np.log(peak)[:, None] * reach(hours)) / scale[:, None])

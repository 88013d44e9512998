"""At which hours, weekdays and months do vehicles pass, when nothing was counted?

Assumes ordinary urban and suburban roads of temperate countries. All three tables are from
memory (grade *memory*); an area's own continuous station replaces them where there is one.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

SHAPE_SOURCE: Final = "typical urban shape by road class, from memory, no source"

#: per mille of a day's vehicles in each hour, averaged over all days
_HOURS: Final = {
    "through": [
        9,
        6,
        5,
        6,
        11,
        25,
        48,
        62,
        58,
        50,
        50,
        53,
        56,
        57,
        61,
        69,
        75,
        76,
        60,
        45,
        37,
        31,
        24,
        16,
    ],
    "arterial": [
        8,
        5,
        4,
        4,
        7,
        18,
        40,
        62,
        59,
        50,
        52,
        58,
        63,
        62,
        64,
        71,
        77,
        78,
        63,
        49,
        39,
        31,
        22,
        14,
    ],
    "local": [
        6,
        3,
        2,
        2,
        4,
        13,
        33,
        66,
        62,
        49,
        50,
        55,
        60,
        59,
        64,
        75,
        82,
        83,
        69,
        54,
        43,
        33,
        22,
        11,
    ],
}
_SHAPE_OF: Final = (
    "through",
    "through",
    "arterial",
    "arterial",
    "arterial",
    "local",
    "local",
    "local",
    "local",
)
#: average day of each month over the average day of the year, January first
_MONTHS: Final = [0.91, 0.94, 0.99, 1.01, 1.04, 1.06, 1.04, 1.05, 1.01, 1.01, 0.98, 0.96]
#: average Monday to Sunday over the average day
_WEEKDAYS: Final = [0.99, 1.03, 1.05, 1.07, 1.13, 0.95, 0.78]


def make_hour_share(class_index: int) -> FloatArray:
    """Return the share of a day's vehicles in each of its 24 hours for a road class.

    Parameters
    ----------
    class_index : int
        0 motorway to 8 service.

    Returns
    -------
    ndarray of float, shape (24,)
        Sums to 1.

    Examples
    --------
    >>> share = make_hour_share(2)
    >>> round(float(share.sum()), 12), int(share.argmax())
    (1.0, 17)
    """
    raw = np.asarray(_HOURS[_SHAPE_OF[class_index]], dtype=np.float64)
    return np.asarray(raw / raw.sum())


def make_season_factors() -> FloatArray:
    """Return what turns a day's count of a month and weekday into the average day.

    Returns
    -------
    ndarray of float, shape (12, 7)
        Multiply a count by it; Monday first.

    Examples
    --------
    >>> factors = make_season_factors()
    >>> factors.shape, bool(abs((1 / factors).mean() - 1) < 1e-12)
    ((12, 7), True)
    """
    over = np.outer(_MONTHS, _WEEKDAYS)
    return np.asarray(over.mean() / over)

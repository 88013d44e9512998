"""At which hours, weekdays and months do vehicles pass, when nothing was counted?

Reads the room's numbers, where each hour, weekday and month can be replaced; an area's own
continuous station goes before them.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import Sheet
from capture.passing.usual import MONTHS, WEEKDAYS
from capture.passing.values import VALUES

FloatArray = NDArray[np.float64]

SHAPE_SOURCE: Final = "typical urban shape by road class, from memory, no source"

#: kind of hours of each road class, motorway first
_SHAPE_OF: Final = (
    *("through", "through"),
    *("arterial", "arterial", "arterial"),
    *("local", "local", "local", "local"),
)
_HOURS: Final = 24


def make_hour_share(class_index: int, *, values: Sheet = VALUES) -> FloatArray:
    """Return the share of a day's vehicles in each of its 24 hours for a road class.

    Parameters
    ----------
    class_index : int
        0 motorway to 8 service.
    values : Sheet
        Weight of each hour.

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
    shape = _SHAPE_OF[class_index]
    raw = np.array([values.value(f"{shape}_hour_{hour:02d}") for hour in range(_HOURS)])
    return np.asarray(raw / raw.sum())


def make_season_factors(*, values: Sheet = VALUES) -> FloatArray:
    """Return what turns a day's count of a month and weekday into the average day.

    Parameters
    ----------
    values : Sheet
        Average day of each month and weekday.

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
    months = [values.value(f"month_{name}") for name in MONTHS]
    weekdays = [values.value(f"weekday_{name}") for name in WEEKDAYS]
    over = np.outer(months, weekdays)
    return np.asarray(over.mean() / over)

"""Compiled loops behind the noise of a year; nothing else calls them.

Plain loops over flat arrays, compiled by numba at first use and cached on disk.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numba import njit

_compiled: Final[Any] = njit(cache=True, nogil=True)
#: points of a table of chances
POINTS: Final = 4096
#: chance of an hour's fullest node below which the hour is left out
_NOTHING: Final = 1e-7


@_compiled
def sum_chances(roots: Any, slope: float, shift: float, chances: Any) -> Any:
    """Sum P and P (1 - P) over the hours of each kind of day, at each node of its factor.

    ``roots`` is (days, hours, nodes), falling over the hours and rising over the nodes. P is
    looked up in the table ``chances`` at the place ``slope * root - shift``, between two
    entries in proportion, and beyond the ends as at the end.
    """
    days, hours, nodes = roots.shape
    last = chances.size - 1
    total = np.zeros((days, nodes))
    spread = np.zeros((days, nodes))
    for day in range(days):
        for hour in range(hours):
            for node in range(nodes - 1, -1, -1):
                at = min(max(slope * roots[day, hour, node] - shift, 0.0), float(last))
                low = min(int(at), last - 1)
                chance = chances[low] + (at - low) * (chances[low + 1] - chances[low])
                if chance < _NOTHING:
                    break
                total[day, node] += chance
                spread[day, node] += chance * (1.0 - chance)
    return total, spread

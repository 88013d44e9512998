"""How are the chances of having passed a wash found for all roads at once?

The compiled inner loop of the passed-first share, nothing else. For one level of likeness it
fills a table of chances by edge and by seconds driven, earliest first, so that every entry
stands on entries already filled.
"""

from __future__ import annotations

import numba
import numpy as np

#: sweeps of one time step: edges shorter than a step stand on entries of the same step
_SWEEPS = 3


@numba.njit(cache=True, nogil=True)
def fill_chances(seconds, first_s, feed_start, feed_at, feed_share, step_s, steps):  # type: ignore[no-untyped-def]
    """Chance, by steps of time and edge, that who leaves the edge has passed a wash.

    ``first_s`` is the time since the edge's last wash (inf without one), ``feed_at`` the
    feeding edges (-1 for one that no wash lies before).
    """
    edges = len(seconds)
    chance = np.zeros((steps + 1, edges))
    short = np.flatnonzero(seconds < step_s)
    for k in range(steps + 1):
        time = k * step_s
        if k > 0:
            chance[k] = chance[k - 1]
        for sweep in range(_SWEEPS):
            for row in range(edges if sweep == 0 else len(short)):
                e = row if sweep == 0 else short[row]
                if time >= first_s[e]:
                    chance[k, e] = 1.0
                    continue
                left = (time - seconds[e]) / step_s
                if left < 0.0:
                    continue
                below = min(int(left), k)
                above = min(below + 1, k)
                part = left - below
                total = 0.0
                for f in range(feed_start[e], feed_start[e + 1]):
                    at = feed_at[f]
                    if at >= 0:
                        total += feed_share[f] * (
                            chance[below, at] * (1.0 - part) + chance[above, at] * part
                        )
                chance[k, e] = total
    return chance

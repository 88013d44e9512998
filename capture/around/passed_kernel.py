"""How is the tree of a stream's origins walked quickly? One compiled loop, nothing else.

Depth first with a stack; a branch ends where its time is up, where it is thinner than
asked, or where nothing feeds it, and then counts with the best rival passed so far.
"""

from __future__ import annotations

import numba
import numpy as np

#: branches that may wait at once; a depth-first walk needs few
_STACK = 4096
#: edges looked at for one stream at most
_MOST_STEPS = 200_000


@numba.njit(cache=True, nogil=True)
def walk_branches(  # type: ignore[no-untyped-def]
    edge,
    fraction,
    seconds,
    feed_start,
    feed_edge,
    feed_share,
    beside_start,
    beside_fraction,
    beside_weight,
    window_s,
    thinnest,
):
    """Average, over a stream's origins, the weight of the best wash passed in the window."""
    found = np.zeros(len(edge))
    at = np.empty(_STACK, np.int64)
    part = np.empty(_STACK)
    used = np.empty(_STACK)
    best = np.empty(_STACK)
    for k in range(len(edge)):
        at[0], part[0], used[0], best[0] = edge[k], 1.0, 0.0, 0.0
        top, steps, till = 1, 0, fraction[k]
        while top > 0:
            top -= 1
            e, share, time, most = at[top], part[top], used[top], best[top]
            end = till if steps == 0 else 1.0
            steps += 1
            for b in range(beside_start[e], beside_start[e + 1]):
                ahead = end - beside_fraction[b]
                if ahead >= 0.0 and time + ahead * seconds[e] <= window_s:
                    most = max(most, beside_weight[b])
            time += end * seconds[e]
            low, high = feed_start[e], feed_start[e + 1]
            ends = time >= window_s or share < thinnest or low == high or most >= 1.0
            if ends or steps > _MOST_STEPS or top + high - low > _STACK:
                found[k] += share * most
                continue
            for f in range(low, high):
                at[top] = feed_edge[f]
                part[top] = share * feed_share[f]
                used[top] = time
                best[top] = most
                top += 1
    return found

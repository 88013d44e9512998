"""The inner loop of k nearest: one sweep outward from all sources at once.

Works like the search from one place (see the kernels beside it), but every node keeps its k
best sources with clean paths, and every edge behind a forbidden turn its first k with tainted
ones. A source that comes to a node after k others have been served there can be nearest to
nothing beyond it.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numba import njit

from capture.place.kernels import is_banned, put, take_out

#: what follows an entry that is served and stays where it is
_DONE: Final = -2


@njit(cache=True, nogil=True, inline="always")
def _place(to: int, who: int, key: float, most: int, entry: Any, held: Any) -> Any:
    """Where a node keeps a clean arrival of a source among its ``most`` best, -1 if nowhere."""
    base = to * most
    full = base + held[to]
    spot = -1
    worst = key
    for j in range(base, full):
        known = entry[j].key
        if entry[j].state == who:
            return j if key < known else -1
        if known > worst:
            worst = known
            spot = j
    if full < base + most:
        held[to] += 1
        entry[full].key = np.inf
        return full
    return spot


@njit(cache=True, nogil=True, inline="always")
def _knows(to: int, who: int, most: int, entry: Any, held: Any) -> bool:
    """Whether no further arrival of a source matters at a node: it or enough others settled."""
    settled = 0
    for j in range(to * most, to * most + held[to]):
        if entry[j].after == _DONE:
            if entry[j].state == who:
                return True
            settled += 1
    return settled == most


@njit(cache=True, nogil=True, inline="always")
def _label(edge: int, who: int, most: int, size: Any, label: Any) -> Any:
    """Make room for a tainted label of a source on an edge: its place, -1 when it needs none."""
    held = size[edge]
    if held == most:
        return -1
    for j in range(edge * most, edge * most + held):
        if label[j] == who:
            return -1
    label[edge * most + held] = who
    size[edge] = held + 1
    return edge * most + held


@njit(cache=True, nogil=True)
def sweep_labels(
    start: Any, cost: Any, onto: Any, opposite: Any, ban_start: Any, ban_onto: Any,
    dead_end: Any, first_edge: Any, first_key: Any, first_source: Any, most: int, limit: float,
    per_width: float, bucket: Any, entry: Any, held: Any, size: Any, label: Any,
) -> None:  # fmt: skip
    """Find for each node and tainted edge the ``most`` first sources, in one sweep from all.

    Entries 0..N*most-1 are clean arrivals at nodes, of the source in ``state``, ``held`` by each;
    E*most tainted arrivals over edges, of ``label``, ``size`` of each edge; then the starts.
    """
    edges, count = len(cost), len(start) - 1
    mask = len(bucket) - 1
    tainted_from, starts_from = count * most, (count + edges) * most
    waiting = 0
    for s in range(len(first_edge)):
        key = first_key[s]
        to = onto[first_edge[s]]
        if key > limit:
            continue
        if to < 0:
            put(starts_from + s, key, per_width, mask, bucket, entry)
            waiting += 1
            continue
        spot = _place(to, first_source[s], key, most, entry, held)
        if spot >= 0:
            if entry[spot].key < np.inf:
                take_out(spot, per_width, mask, bucket, entry)
                waiting -= 1
            put(spot, key, per_width, mask, bucket, entry)
            entry[spot].state = first_source[s]
            entry[spot].via = first_edge[s]
            waiting += 1
    turn = 0
    while waiting > 0:
        at = bucket[turn & mask]
        if at < 0:
            turn += 1
            continue
        following = entry[at].after
        bucket[turn & mask] = following
        if following >= 0:
            entry[following].before = -1
        waiting -= 1
        now = entry[at].key
        if at < tainted_from:
            here = at // most
            who = entry[at].state
            entry[at].after = _DONE
            for k in range(start[here], start[here + 1]):
                key = now + cost[k]
                if key > limit:
                    continue
                to = onto[k]
                if to >= 0:
                    spot = _place(to, who, key, most, entry, held)
                    if spot >= 0:
                        if entry[spot].key < np.inf:
                            take_out(spot, per_width, mask, bucket, entry)
                            waiting -= 1
                        put(spot, key, per_width, mask, bucket, entry)
                        entry[spot].state = who
                        entry[spot].via = k
                        waiting += 1
                elif k != opposite[entry[at].via] and not _knows(~to, who, most, entry, held):
                    spot = _label(k, who, most, size, label)
                    if spot >= 0:
                        put(tainted_from + spot, key, per_width, mask, bucket, entry)
                        waiting += 1
            continue
        if at < starts_from:
            over = (at - tainted_from) // most
            who = label[at - tainted_from]
        else:
            over = first_edge[at - starts_from]
            who = first_source[at - starts_from]
        here = onto[over]
        bans = here < 0
        if bans:
            here = ~here
        if _knows(here, who, most, entry, held):
            continue
        for k in range(start[here], start[here + 1]):
            if k == opposite[over] and not dead_end[here]:
                continue
            if bans and is_banned(over, k, ban_start, ban_onto):
                continue
            spot = _label(k, who, most, size, label)
            if spot < 0:
                continue
            key = now + cost[k]
            entry[tainted_from + spot].key = key
            to = onto[k] if onto[k] >= 0 else ~onto[k]
            if key <= limit and not _knows(to, who, most, entry, held):
                put(tainted_from + spot, key, per_width, mask, bucket, entry)
                waiting += 1


@njit(cache=True, nogil=True)
def read_labels(
    cost: Any, leaves: Any, entry: Any, held: Any, size: Any, label: Any,
    at_edge: Any, rest: Any, same_start: Any, same_source: Any, same_seconds: Any, limit: float,
    most: int,
) -> tuple[Any, Any]:  # fmt: skip
    """Read the nearest sources of m positions off their edges.

    ``at_edge`` (m, c) holds the edges or -1, ``rest`` (m, c) the seconds between the position
    and the end that a label stands for; ``same_*`` list sources on the same stretch.
    """
    count = len(at_edge)
    tainted_from = len(held) * most
    index = np.full((count, most), -1, np.int64)
    seconds = np.full((count, most), np.inf)
    for m in range(count):
        for j in range(same_start[m], same_start[m + 1]):
            _keep(index, seconds, m, most, same_source[j], same_seconds[j], limit)
        for side in range(at_edge.shape[1]):
            over = at_edge[m, side]
            if over < 0:
                continue
            base = leaves[over] * most
            for j in range(base, base + held[leaves[over]]):
                if entry[j].after == _DONE:
                    value = entry[j].key + cost[over] - rest[m, side]
                    _keep(index, seconds, m, most, entry[j].state, value, limit)
            for j in range(over * most, over * most + size[over]):
                value = entry[tainted_from + j].key - rest[m, side]
                _keep(index, seconds, m, most, label[j], value, limit)
    return index, seconds


@njit(cache=True, nogil=True, inline="always")
def _keep(
    index: Any, seconds: Any, m: int, most: int, who: int, value: float, limit: float
) -> None:
    """Insert a source into row m, which stays sorted by time, one entry a source."""
    if value > limit:
        return
    spot = most
    for j in range(most):
        if index[m, j] == who:
            if seconds[m, j] <= value:
                return
            spot = j
            break
        if index[m, j] < 0:
            spot = j
            break
    if spot == most:
        spot = most - 1
        if seconds[m, spot] < value or (seconds[m, spot] == value and index[m, spot] < who):
            return
    while spot > 0 and (
        seconds[m, spot - 1] > value or (seconds[m, spot - 1] == value and index[m, spot - 1] > who)
    ):
        seconds[m, spot] = seconds[m, spot - 1]
        index[m, spot] = index[m, spot - 1]
        spot -= 1
    seconds[m, spot] = value
    index[m, spot] = who

"""The inner loop of k nearest: one sweep outward from all sources at once.

Works like the search from one place (see the kernels beside it), but every node keeps its k
best sources with clean paths, and every edge behind a forbidden turn its first k with tainted
ones. A source that comes to a node after k others can be nearest to nothing beyond it.

A label is one whole number, ticks times 2^``bits`` plus the source, so that labels order by
time and then by source. Places in a list that hold none are filled with the first label
beyond the limit.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numba import njit

from capture.place.heap import pop, push
from capture.place.kernels import is_banned
from capture.place.prefetch import fetch_soon

#: an item of a bucket: label, node that it came to, the item behind it
LABEL_ITEM: Final = np.dtype([("label", "i8"), ("what", "i4"), ("after", "i4")])


@njit(cache=True, nogil=True, inline="always")
def insert(label: Any, base: Any, most: int, bits: int, held: Any) -> bool:
    """Put a label into the list at ``base``, sorted, one a source; False when it is too late."""
    if label >= held[base + most - 1]:
        return False
    source = (np.int64(1) << bits) - 1
    who = label & source
    at = most - 1
    for j in range(most - 1):
        if (held[base + j] & source) == who:
            at = j
            break
    if (held[base + at] & source) == who and held[base + at] <= label:
        return False
    while at > 0 and held[base + at - 1] > label:
        held[base + at] = held[base + at - 1]
        at -= 1
    held[base + at] = label
    return True


@njit(cache=True, nogil=True, inline="always")
def is_late(label: Any, base: Any, most: int, bits: int, held: Any) -> bool:
    """Whether a list holds the label's source no later, or enough others."""
    if label >= held[base + most - 1]:
        return True
    source = (np.int64(1) << bits) - 1
    for j in range(base, base + most):
        if held[j] <= label and (held[j] & source) == (label & source):
            return True
    return False


@njit(cache=True, nogil=True)
def sweep_labels(
    roads: Any, bucket: Any, item: Any, first_edge: Any, first_label: Any, most: int, bits: int,
    wider: int, clean: Any,
) -> bool:  # fmt: skip
    """Find for each node the ``most`` first sources along clean paths, in one sweep from all.

    Buckets are 2^``wider`` times as wide as those of a search from one place; what an item of
    the same bucket betters is done again. ``clean`` (N+1)*most holds the lists, none at the
    start; that of the last node, which nothing reaches, holds -1. Returns False when ``item``
    is full.
    """
    road, start = roads.road, roads.start
    mask, shift = np.int64(len(bucket) - 1), roads.shift + bits + wider
    waiting, used = 0, 0
    for s in range(len(first_edge)):
        to = np.int64(road[first_edge[s]].onto)
        label = first_label[s]
        if insert(label, to * most, most, bits, clean):
            slot = (label >> shift) & mask
            item[used].label = label
            item[used].what = to
            item[used].after = bucket[slot]
            bucket[slot] = used
            used += 1
            waiting += 1
    free = -1
    turn = np.int64(0)
    while waiting > 0:
        slot = turn & mask
        taken = bucket[slot]
        if taken < 0:
            turn += 1
            continue
        bucket[slot] = item[taken].after
        if item[taken].after >= 0:
            fetch_soon(road, np.uint64(start[item[item[taken].after].what]))
        item[taken].after = free
        free = taken
        waiting -= 1
        here = np.int64(item[taken].what)
        now = item[taken].label
        known = False
        for j in range(here * most, here * most + most):
            if clean[j] == now:
                known = True
        if not known:
            continue
        if used + start[here + 1] - start[here] > len(item):
            return False
        for k in range(start[here], start[here + 1]):
            fetch_soon(clean, np.uint64(road[k].onto) * np.uint64(most))
        for k in range(start[here], start[here + 1]):
            label = now + (np.int64(road[k].cost) << bits)
            to = np.int64(road[k].onto)
            if insert(label, to * most, most, bits, clean):
                slot = (label >> shift) & mask
                if free >= 0:
                    spot = free
                    free = item[spot].after
                else:
                    spot = used
                    used += 1
                item[spot].label = label
                item[spot].what = to
                item[spot].after = bucket[slot]
                bucket[slot] = spot
                waiting += 1
    return True


@njit(cache=True, nogil=True)
def sweep_tainted(
    roads: Any, leaves: Any, first_edge: Any, first_label: Any, most: int, bits: int, beyond: int,
    clean: Any, size: Any, tainted: Any,
) -> None:  # fmt: skip
    """Search on behind forbidden turns; an edge keeps the first ``most`` sources over it.

    ``beyond`` is a label past the limit; ``size`` (E,) how many labels each edge holds.
    """
    start, cost, onto, opposite = roads.start, roads.cost, roads.onto, roads.opposite
    bans, dead_end = roads.bans, roads.dead_end
    ban_start, ban_onto = roads.ban_start, roads.ban_onto
    edges = len(cost)
    banning: Any = np.flatnonzero(bans)
    keys, items, waiting = np.empty(64, np.int64), np.empty(64, np.int64), 0
    for s in range(len(first_edge)):
        if bans[first_edge[s]] and first_label[s] < beyond:
            keys, items, waiting = push(keys, items, waiting, first_label[s], edges + s)
    for k in banning:
        base = np.int64(leaves[k]) * most
        for j in range(base, base + most):
            label = clean[j] + (np.int64(cost[k]) << bits)
            if label < beyond:
                keys, items, waiting = push(keys, items, waiting, label, k)
    while waiting > 0:
        label, over, waiting = pop(keys, items, waiting)
        if over >= edges:
            over = np.int64(first_edge[over - edges])
        elif not _hold(over, label, most, bits, size, tainted):
            continue
        here = np.int64(onto[over])
        if is_late(label, here * most, most, bits, clean):
            continue
        for k in range(start[here], start[here + 1]):
            if k == opposite[over] and not dead_end[here]:
                continue
            if bans[over] and is_banned(over, k, ban_start, ban_onto):
                continue
            later = label + (np.int64(cost[k]) << bits)
            if size[k] < most:
                keys, items, waiting = push(keys, items, waiting, later, k)


@njit(cache=True, nogil=True)
def _hold(over: Any, label: Any, most: int, bits: int, size: Any, tainted: Any) -> bool:
    """Give an edge a label, unless it holds the source or enough others already."""
    held = size[over]
    source = (np.int64(1) << bits) - 1
    for j in range(over * most, over * most + held):
        if (tainted[j] & source) == (label & source):
            return False
    if held == most:
        return False
    tainted[over * most + held] = label
    size[over] = held + 1
    return True


@njit(cache=True, nogil=True)
def read_labels(
    cost: Any, leaves: Any, clean: Any, size: Any, tainted: Any, at_edge: Any, rest: Any,
    same_start: Any, same_source: Any, same_ticks: Any, most: int, bits: int, beyond: int,
) -> Any:  # fmt: skip
    """Read the nearest sources of m positions off their edges: labels, (m, most).

    ``at_edge`` (m, c) holds the edges or -1, ``rest`` (m, c) the ticks between the position
    and the end that a label stands for; ``same_*`` list sources on the same stretch.
    """
    found = np.full(len(at_edge) * most, beyond)
    for m in range(len(at_edge)):
        base = m * most
        for j in range(same_start[m], same_start[m + 1]):
            insert((same_ticks[j] << bits) + same_source[j], base, most, bits, found)
        for side in range(at_edge.shape[1]):
            over = np.int64(at_edge[m, side])
            if over < 0:
                continue
            more = (np.int64(cost[over]) - rest[m, side]) << bits
            of = np.int64(leaves[over]) * most
            for j in range(of, of + most):
                if clean[j] + more < found[base + most - 1]:
                    insert(clean[j] + more, base, most, bits, found)
            for j in range(over * most, over * most + size[over]):
                insert(tainted[j] - (rest[m, side] << bits), base, most, bits, found)
    return found.reshape(-1, most)

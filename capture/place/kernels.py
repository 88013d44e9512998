"""The inner loop of searches: bounded, with turn restrictions, from one place at a time.

Compiled by numba on first use and kept on disk. Everything here works on plain arrays; the
modules beside it say what the arrays mean.

Nobody turns round except at a dead end, and some pairs of edges are forbidden. A path that
has met no edge with forbidden successors is *clean*: going back along it gains nothing, so
the first clean arrival at a node serves all its edges and an ordinary search over nodes is
exact. Only behind an edge with forbidden successors is a path *tainted*, and searched edge by
edge until a clean arrival comes. The queue is a ring of buckets whose few items stay sorted;
every edge has one item for each kind of arrival, so the queue cannot overflow.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numba import njit

#: what is known of a node during a search: clean arrival served, tainted arrival came first
SETTLED: Final = 1
TAINTED: Final = 2
#: an entry of the queue, which is a node, a tainted arrival over an edge, or a tainted start:
#: seconds, neighbours in its bucket, edge that brought it, flags
ENTRY: Final = np.dtype(
    [("key", "f8"), ("after", "i4"), ("before", "i4"), ("via", "i4"), ("state", "i4")]
)


@njit(cache=True, nogil=True, inline="always")
def is_banned(edge: int, onto: int, ban_start: Any, ban_onto: Any) -> bool:
    """Whether an edge may not follow another."""
    for k in range(ban_start[edge], ban_start[edge + 1]):  # noqa: SIM110
        if ban_onto[k] == onto:
            return True
    return False


@njit(cache=True, nogil=True, inline="always")
def put(at: int, key: float, per_width: float, mask: int, bucket: Any, entry: Any) -> None:
    """Put an entry into its bucket, behind those with less or equal key."""
    slot = int(key * per_width) & mask
    entry[at].key = key
    here = bucket[slot]
    if here < 0 or entry[here].key > key:
        entry[at].before = -1
        entry[at].after = here
        bucket[slot] = at
        if here >= 0:
            entry[here].before = at
        return
    following = entry[here].after
    while following >= 0 and entry[following].key <= key:
        here = following
        following = entry[here].after
    entry[at].before = here
    entry[at].after = following
    entry[here].after = at
    if following >= 0:
        entry[following].before = at


@njit(cache=True, nogil=True, inline="always")
def take_out(at: int, per_width: float, mask: int, bucket: Any, entry: Any) -> None:
    """Take a waiting entry out of its bucket."""
    before, following = entry[at].before, entry[at].after
    if before >= 0:
        entry[before].after = following
    else:
        bucket[int(entry[at].key * per_width) & mask] = following
    if following >= 0:
        entry[following].before = before


@njit(cache=True, nogil=True)
def sweep(
    start: Any, cost: Any, onto: Any, opposite: Any, ban_start: Any, ban_onto: Any,
    dead_end: Any, first_edge: Any, first_key: Any, first_tainted: bool, limit: float,
    per_width: float, bucket: Any, entry: Any, arrival: Any, edge_mark: Any, stamp: int,
    nodes: Any, marked: Any,
) -> tuple[int, int]:  # fmt: skip
    """Search from some partly driven edges, up to a limit.

    Edges are numbered by the node they leave; ``onto`` is ~node where successors are
    forbidden. Entries 0..N-1 are nodes, whose keys are their clean times; N..N+E-1 tainted
    arrivals over edges, whose keys are the times at the edges' ends; then tainted starts.
    ``nodes`` lists the nodes reached in order of time, ``marked`` the edges labelled by
    tainted arrivals; ``arrival`` holds the time of nodes that one of those reached first.
    Returns how many nodes and edges are listed.
    """
    edges, count = len(cost), len(start) - 1
    mask = len(bucket) - 1
    waiting = 0
    found = 0
    labelled = 0
    for s in range(len(first_edge)):
        key = first_key[s]
        to = onto[first_edge[s]]
        if key > limit:
            continue
        if to < 0 or first_tainted:
            put(count + edges + s, key, per_width, mask, bucket, entry)
            waiting += 1
        elif key < entry[to].key:
            if entry[to].key < np.inf:
                take_out(to, per_width, mask, bucket, entry)
                waiting -= 1
            put(to, key, per_width, mask, bucket, entry)
            entry[to].via = first_edge[s]
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
        if at < count:
            state = entry[at].state
            entry[at].state = state | SETTLED
            if state == 0:
                nodes[found] = at
                found += 1
            for k in range(start[at], start[at + 1]):
                key = now + cost[k]
                if key > limit:
                    continue
                to = onto[k]
                if to >= 0:
                    known = entry[to].key
                    if key < known and not (state & TAINTED and edge_mark[k] == stamp):
                        if known < np.inf:
                            take_out(to, per_width, mask, bucket, entry)
                            waiting -= 1
                        put(to, key, per_width, mask, bucket, entry)
                        entry[to].via = k
                        waiting += 1
                elif (
                    edge_mark[k] != stamp
                    and opposite[entry[at].via] != k
                    and not entry[~to].state & SETTLED
                ):
                    edge_mark[k] = stamp
                    marked[labelled] = k
                    labelled += 1
                    put(count + k, key, per_width, mask, bucket, entry)
                    waiting += 1
            continue
        over = at - count if at < count + edges else first_edge[at - count - edges]
        here = onto[over]
        bans = here < 0
        if bans:
            here = ~here
        state = entry[here].state
        if state & SETTLED:
            continue
        if state == 0:
            nodes[found] = here
            found += 1
            arrival[here] = now
        entry[here].state = state | TAINTED
        for k in range(start[here], start[here + 1]):
            if edge_mark[k] == stamp or (k == opposite[over] and not dead_end[here]):
                continue
            if bans and is_banned(over, k, ban_start, ban_onto):
                continue
            key = now + cost[k]
            edge_mark[k] = stamp
            marked[labelled] = k
            labelled += 1
            entry[count + k].key = key
            to = onto[k] if onto[k] >= 0 else ~onto[k]
            if key > limit or entry[to].state & SETTLED:
                continue
            put(count + k, key, per_width, mask, bucket, entry)
            waiting += 1
    return found, labelled


@njit(cache=True, nogil=True)
def forget(entry: Any, nodes: Any, found: int) -> None:
    """Make the nodes of a finished search new again."""
    for k in range(found):
        entry[nodes[k]].key = np.inf
        entry[nodes[k]].state = 0

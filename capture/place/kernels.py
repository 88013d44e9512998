"""The inner loop of searches: bounded, with turn restrictions, from one place at a time.

Compiled by numba on first use and kept on disk. Everything here works on plain arrays; the
modules beside it say what the arrays mean.

Nobody turns round except at a dead end, and some pairs of edges are forbidden. A path that
has met no edge with forbidden successors is *clean*: going back along it gains nothing, so
the first clean arrival at a node serves all its edges and an ordinary search over nodes is
exact. Only behind an edge with forbidden successors is a path *tainted*, and searched edge by
edge, as long as it comes before any clean one. So there are two rounds, the first over nodes
and without the edges that have forbidden successors, the second over edges from those.
Both keep a ring of buckets whose items are in no order; what an item of the same bucket
betters is done again, so that times are exact.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numba import njit

#: an entry of the sorted queue: seconds, neighbours in its bucket, edge that brought it, whose
ENTRY: Final = np.dtype(
    [("key", "f8"), ("after", "i4"), ("before", "i4"), ("via", "i4"), ("state", "i4")]
)
#: a node during a search: seconds of its clean arrival, edge that brought it, whether listed
NODE: Final = np.dtype([("key", "f8"), ("via", "i4"), ("listed", "i4")])
#: an edge as clean paths see it: seconds, inf where successors are forbidden; node it leads to
ROAD: Final = np.dtype([("cost", "f8"), ("onto", "i4"), ("spare", "i4")])
#: an item of a bucket: what waits, and the item behind it
ITEM: Final = np.dtype([("what", "i4"), ("after", "i4")])


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
def sweep_nodes(
    start: Any, road: Any, onto: Any, first_edge: Any, first_key: Any, limit: float,
    per_width: float, bucket: Any, item: Any, node: Any, nodes: Any,
) -> int:  # fmt: skip
    """Search along clean paths from some partly driven edges, up to a limit.

    Edges are numbered by the node they leave; ``onto`` is ~node where successors are
    forbidden. ``nodes`` lists the nodes reached in order of time. Returns how many, or ~that
    when ``item`` is full.
    """
    mask = np.uint64(len(bucket) - 1)
    waiting = used = found = 0
    for s in range(len(first_edge)):
        to = onto[first_edge[s]]
        key = first_key[s]
        if to < 0 or key > limit or key >= node[to].key:
            continue
        node[to].key = key
        node[to].via = first_edge[s]
        slot = np.uint64(key * per_width) & mask
        item[used].what = to
        item[used].after = bucket[slot]
        bucket[slot] = used
        used += 1
        waiting += 1
    turn = np.uint64(0)
    while waiting > 0:
        slot = turn & mask
        taken = bucket[slot]
        if taken < 0:
            turn += np.uint64(1)
            continue
        bucket[slot] = item[taken].after
        waiting -= 1
        at = np.uint32(item[taken].what)
        now = node[at].key
        if np.uint64(now * per_width) != turn:
            continue
        if node[at].listed == 0:
            node[at].listed = 1
            nodes[found] = at
            found += 1
        low, high = np.uint32(start[at]), np.uint32(start[at + np.uint32(1)])
        if used + (high - low) > len(item):
            return ~found
        for k in range(np.uint64(low), np.uint64(high)):
            key = now + road[k].cost
            to = np.uint32(road[k].onto)
            if key < node[to].key and key <= limit:
                node[to].key = key
                node[to].via = k
                slot = np.uint64(key * per_width) & mask
                item[used].what = to
                item[used].after = bucket[slot]
                bucket[slot] = used
                used += 1
                waiting += 1
    for j in range(1, found):
        at = nodes[j]
        key = node[at].key
        i = j
        while i > 0 and node[nodes[i - 1]].key > key:
            nodes[i] = nodes[i - 1]
            i -= 1
        nodes[i] = at
    return found


@njit(cache=True, nogil=True)
def sweep_edges(
    start: Any, cost: Any, onto: Any, opposite: Any, leaves: Any, banning: Any, ban_start: Any,
    ban_onto: Any, dead_end: Any, first_edge: Any, first_key: Any, first_tainted: bool,
    limit: float, per_width: float, bucket: Any, item: Any, node: Any, arrival: Any,
    edge_key: Any, edge_mark: Any, stamp: int, met: Any, marked: Any,
) -> tuple[int, int]:  # fmt: skip
    """Search on behind forbidden turns, after the clean paths, edge by edge.

    What waits is an edge or E + a start. ``marked`` lists the edges labelled, whose
    ``edge_key`` is the time at their ends; ``met`` the nodes with an ``arrival``, all before
    the clean one if any. Returns how many of each, the second ~that when ``item`` is full.
    """
    edges = len(cost)
    mask = len(bucket) - 1
    waiting = used = labelled = touched = 0
    for s in range(len(first_edge)):
        key = first_key[s]
        if key <= limit and (onto[first_edge[s]] < 0 or first_tainted):
            slot = int(key * per_width) & mask
            item[used].what = edges + s
            item[used].after = bucket[slot]
            bucket[slot] = used
            used += 1
    waiting = used
    for j in range(len(banning)):
        k = banning[j]
        here = leaves[k]
        key = node[here].key + cost[k]
        if node[here].listed == 0 or key > limit or opposite[node[here].via] == k:
            continue
        edge_mark[k] = stamp
        edge_key[k] = key
        marked[labelled] = k
        labelled += 1
    ready = marked[:labelled].copy()
    ready_key = edge_key[ready]
    order = np.argsort(ready_key)
    come = 0
    turn = 0
    while waiting > 0 or come < len(order):
        # the ring spans no more than one edge, so an edge enters it when its turn comes
        if waiting == 0:
            turn = max(turn, int(ready_key[order[come]] * per_width))
        while come < len(order) and int(ready_key[order[come]] * per_width) <= turn:
            k = ready[order[come]]
            come += 1
            if edge_key[k] < ready_key[order[come - 1]] or edge_key[k] >= node[~onto[k]].key:
                continue
            if used == len(item):
                return touched, ~labelled
            item[used].what = k
            item[used].after = bucket[turn & mask]
            bucket[turn & mask] = used
            used += 1
            waiting += 1
        taken = bucket[turn & mask]
        if taken < 0:
            turn += 1
            continue
        bucket[turn & mask] = item[taken].after
        waiting -= 1
        over = item[taken].what
        if over < edges:
            now = edge_key[over]
        else:
            now = first_key[over - edges]
            over = first_edge[over - edges]
        here = onto[over]
        bans = here < 0
        if bans:
            here = ~here
        if int(now * per_width) != turn or node[here].key <= now:
            continue
        if now < arrival[here]:
            if arrival[here] == np.inf:
                met[touched] = here
                touched += 1
            arrival[here] = now
        if used + start[here + 1] - start[here] > len(item):
            return touched, ~labelled
        for k in range(start[here], start[here + 1]):
            if k == opposite[over] and not dead_end[here]:
                continue
            key = now + cost[k]
            if edge_mark[k] == stamp and edge_key[k] <= key:
                continue
            if bans and is_banned(over, k, ban_start, ban_onto):
                continue
            if edge_mark[k] != stamp:
                edge_mark[k] = stamp
                marked[labelled] = k
                labelled += 1
            edge_key[k] = key
            to = onto[k] if onto[k] >= 0 else ~onto[k]
            if key <= limit and key < node[to].key:
                slot = int(key * per_width) & mask
                item[used].what = k
                item[used].after = bucket[slot]
                bucket[slot] = used
                used += 1
                waiting += 1
    return touched, labelled


@njit(cache=True, nogil=True)
def forget(node: Any, bucket: Any, nodes: Any, found: int, arrival: Any, met: Any) -> None:
    """Make the nodes of a finished search new again; all of them when ``found`` is negative."""
    if found < 0:
        bucket[:] = -1
        for k in range(len(node)):
            node[k].key = np.inf
            node[k].listed = 0
            arrival[k] = np.inf
    for k in range(found):
        node[nodes[k]].key = np.inf
        node[nodes[k]].listed = 0
    for k in range(len(met)):
        arrival[met[k]] = np.inf

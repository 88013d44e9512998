"""The inner loop of searches: bounded, with turn restrictions, from one place at a time.

Compiled by numba on first use and kept on disk. Everything here works on plain arrays; the
modules beside it say what the arrays mean. Each is taken out of its tuple before the loops,
since taking it out anew each time costs more than what is done with it. Time is counted in
whole ticks.

Nobody turns round except at a dead end, and some pairs of edges are forbidden. A path that
has met no edge with forbidden successors is *clean*: going back along it gains nothing, so
the first clean arrival at a node serves all its edges and an ordinary search over nodes is
exact. Only behind an edge with forbidden successors is a path *tainted*, and searched edge by
edge, as long as it comes before any clean one. So there are two rounds: over nodes, in a ring
of buckets and without the edges that have forbidden successors; then over edges, in a heap,
from those.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numba import njit

from capture.place.heap import pop, push
from capture.place.prefetch import fetch_soon

#: an edge as clean paths see it: ticks, and the node it leads to or, where successors are
#: forbidden, a node that nothing reaches
ROAD: Final = np.dtype([("cost", "u4"), ("onto", "i4")])
#: a node during a search: ticks of its clean arrival, its first edge, and how many leave it
NODE: Final = np.dtype([("key", "i8"), ("start", "u4"), ("count", "u4")])
#: an item of a bucket: which node waits, and the item behind it
ITEM: Final = np.dtype([("what", "i4"), ("after", "i4")])
#: later than anything
FAR: Final = 1 << 62


@njit(cache=True, nogil=True, inline="always")
def is_banned(edge: int, onto: int, ban_start: Any, ban_onto: Any) -> bool:
    """Whether an edge may not follow another."""
    for k in range(ban_start[edge], ban_start[edge + 1]):  # noqa: SIM110
        if ban_onto[k] == onto:
            return True
    return False


@njit(cache=True, nogil=True)
def sweep_nodes(
    roads: Any, work: Any, item: Any, first_edge: Any, first_key: Any, limit: int
) -> Any:
    """Search along clean paths from some partly driven edges, up to a limit.

    Every key is ``limit + 1`` at the start, and ``work.nodes`` lists the nodes whose key fell.
    Returns how many, or ~that when ``item`` is full.

    What a branch would decide is computed instead, since it could not be foretold: every edge
    writes an item and a place in the list, and only counts it when it brings its node nearer.
    """
    road, node, nodes, bucket = roads.road, work.node, work.nodes, work.bucket
    mask, shift = np.uint64(len(bucket) - 1), np.uint64(roads.shift)
    unseen = limit + 1
    waiting, used, found = np.int64(0), np.int64(0), np.int64(0)
    for s in range(len(first_edge)):
        to = road[first_edge[s]].onto
        now = first_key[s]
        if now >= node[to].key:
            continue
        if node[to].key == unseen:
            nodes[found] = to
            found += 1
        node[to].key = now
        slot = (np.uint64(now) >> shift) & mask
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
        if (np.uint64(now) >> shift) != turn:
            continue
        low, count = np.uint64(node[at].start), np.uint64(node[at].count)
        if used + count >= len(item):
            return ~found
        for k in range(low, low + count):
            there = now + np.int64(road[k].cost)
            to = np.uint32(road[k].onto)
            known = node[to].key
            fetch_soon(road, np.uint64(node[to].start))
            better = np.int64(there < known)
            node[to].key = min(there, known)
            nodes[found] = to
            found += better & np.int64(known == unseen)
            slot = (np.uint64(there) >> shift) & mask
            head = bucket[slot]
            item[used].what = to
            item[used].after = head
            bucket[slot] = head + np.int32(better) * (np.int32(used) - head)
            used += better
            waiting += better
    return found


@njit(cache=True, nogil=True)
def sweep_edges(
    roads: Any, work: Any, first_edge: Any, first_key: Any, limit: int, stamp: int, found: int
) -> tuple[int, int]:
    """Search on behind forbidden turns, after the clean paths, edge by edge.

    What waits is an edge or E + a start. ``work.marked`` lists the edges labelled, whose
    ``edge_key`` is the time at their ends; ``met`` the nodes with an ``arrival``, all before
    the clean one if any. Returns how many of each.
    """
    start, cost, onto, opposite = roads.start, roads.cost, roads.onto, roads.opposite
    bans, before_bans, dead_end = roads.bans, roads.before_bans, roads.dead_end
    ban_start, ban_onto = roads.ban_start, roads.ban_onto
    node, nodes, arrival, met = work.node, work.nodes, work.arrival, work.met
    edge_key, edge_mark, marked = work.edge_key, work.edge_mark, work.marked
    edges = len(cost)
    size = labelled = touched = 0
    for j in range(found):
        here = nodes[j]
        if not before_bans[here]:
            continue
        for k in range(start[here], start[here + 1]):
            there = node[here].key + np.int64(cost[k])
            if bans[k] and there <= limit:
                edge_mark[k] = stamp
                edge_key[k] = there
                marked[labelled] = k
                labelled += 1
    # apart from the loop before, which would slow down tenfold by carrying the heap along
    keys, items = np.empty(64, np.int64), np.empty(64, np.int64)
    for s in range(len(first_edge)):
        if first_key[s] <= limit and bans[first_edge[s]]:
            keys, items, size = push(keys, items, size, first_key[s], edges + s)
    for j in range(labelled):
        seed = np.int64(marked[j])
        if edge_key[seed] < node[onto[seed]].key:
            keys, items, size = push(keys, items, size, edge_key[seed], seed)
    while size > 0:
        now, over, size = pop(keys, items, size)
        if over >= edges:
            over = np.int64(first_edge[over - edges])
        elif edge_key[over] < now:
            continue
        here = onto[over]
        if node[here].key <= now:
            continue
        if now < arrival[here]:
            if arrival[here] == FAR:
                met[touched] = here
                touched += 1
            arrival[here] = now
        for k in range(start[here], start[here + 1]):
            if k == opposite[over] and not dead_end[here]:
                continue
            there = now + np.int64(cost[k])
            if edge_mark[k] == stamp and edge_key[k] <= there:
                continue
            if bans[over] and is_banned(over, k, ban_start, ban_onto):
                continue
            if edge_mark[k] != stamp:
                edge_mark[k] = stamp
                marked[labelled] = k
                labelled += 1
            edge_key[k] = there
            if there < node[onto[k]].key:
                keys, items, size = push(keys, items, size, there, k)
    return touched, labelled


@njit(cache=True, nogil=True)
def search(
    roads: Any, work: Any, item: Any, first_edge: Any, first_key: Any, limit: int, stamp: int
) -> tuple[int, int, int, Any]:
    """Search once, all of ``work`` being new: nodes found, met and edges marked, and ``item``."""
    found = sweep_nodes(roads, work, item, first_edge, first_key, limit)
    while found < 0:
        renew(work, limit)
        item = np.empty(2 * len(item), ITEM)
        found = sweep_nodes(roads, work, item, first_edge, first_key, limit)
    touched, labelled = 0, 0
    if roads.any_ban:
        touched, labelled = sweep_edges(roads, work, first_edge, first_key, limit, stamp, found)
    return found, touched, labelled, item


@njit(cache=True, nogil=True)
def renew(work: Any, limit: int) -> None:
    """Make all nodes new, for searches up to a limit."""
    work.bucket[:] = -1
    node = work.node
    for k in range(len(node) - 1):
        node[k].key = limit + 1
    node[len(node) - 1].key = -1


@njit(cache=True, nogil=True)
def forget(work: Any, limit: int, found: int, touched: int) -> None:
    """Make the nodes of a finished search new again."""
    node, nodes, arrival, met = work.node, work.nodes, work.arrival, work.met
    for k in range(found):
        node[nodes[k]].key = limit + 1
    for k in range(touched):
        arrival[met[k]] = FAR


@njit(cache=True, nogil=True)
def search_rows(
    roads: Any, work: Any, item: Any, indptr: Any, first_edge: Any, first_key: Any, limit: int,
    stamp: int, room: int, tick_s: float,
) -> tuple[Any, Any, Any, Any]:  # fmt: skip
    """Search from one place after the other: how many nodes each, nodes, seconds, and ``item``.

    Place q has the starts ``indptr[q]`` to ``indptr[q + 1]``; its search is stamped
    ``stamp + q``. There is room for ``room`` nodes at first.
    """
    node, nodes, arrival, met = work.node, work.nodes, work.arrival, work.met
    rows = len(indptr) - 1
    counts = np.zeros(rows, np.int64)
    listed, seconds = np.empty(room, np.int32), np.empty(room)
    used = 0
    for q in range(rows):
        part = slice(indptr[q], indptr[q + 1])
        found, touched, _, item = search(
            roads, work, item, first_edge[part], first_key[part], limit, stamp + q
        )
        if used + found + touched > len(listed):
            room = max(2 * len(listed), used + found + touched)
            more_listed, more_seconds = np.empty(room, np.int32), np.empty(room)
            more_listed[:used] = listed[:used]
            more_seconds[:used] = seconds[:used]
            listed, seconds = more_listed, more_seconds
        begun = used
        # reading and forgetting go together, since looking a node up is most of the work
        for j in range(touched):
            at = met[j]
            if node[at].key > limit:
                listed[used] = at
                seconds[used] = arrival[at] * tick_s
                used += 1
            else:
                node[at].key = min(node[at].key, arrival[at])
            arrival[at] = FAR
        for j in range(found):
            at = nodes[j]
            listed[used] = at
            seconds[used] = node[at].key * tick_s
            node[at].key = limit + 1
            used += 1
        counts[q] = used - begun
    return counts, listed[:used], seconds[:used], item

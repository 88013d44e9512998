"""The inner loops: bounded search with turn restrictions, k nearest in one sweep.

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

#: what is known of a node during a search
ARRIVED: Final = 1
SETTLED: Final = 2
TAINTED: Final = 4
#: an edge as the search walks it; ``onto`` is ~node where successors are forbidden
EDGE: Final = np.dtype([("cost", "f8"), ("onto", "i4"), ("opposite", "i4")])
#: a node during a search: least clean time so far, item that brought it, flags
NODE: Final = np.dtype([("key", "f8"), ("via", "i4"), ("state", "i4")])
#: an entry of the queue
ITEM: Final = np.dtype([("key", "f8"), ("after", "i4"), ("spare", "i4")])
#: one source at a node: its time, the item that brought it, which source
SLOT: Final = np.dtype([("key", "f8"), ("via", "i4"), ("via_who", "i4")])


@njit(cache=True, nogil=True, inline="always")
def _is_banned(edge: int, onto: int, ban_start: Any, ban_onto: Any) -> bool:
    for k in range(ban_start[edge], ban_start[edge + 1]):  # noqa: SIM110
        if ban_onto[k] == onto:
            return True
    return False


@njit(cache=True, nogil=True, inline="always")
def _put(at: int, key: float, per_width: float, mask: int, bucket: Any, item: Any) -> None:
    """Put an item into its bucket, behind those with less or equal key."""
    slot = int(key * per_width) & mask
    item[at].key = key
    here = bucket[slot]
    if here < 0 or item[here].key > key:
        item[at].after = here
        bucket[slot] = at
        return
    following = item[here].after
    while following >= 0 and item[following].key <= key:
        here = following
        following = item[here].after
    item[at].after = following
    item[here].after = at


@njit(cache=True, nogil=True)
def sweep(
    start: Any, edge: Any, ban_start: Any, ban_onto: Any, dead_end: Any, first_edge: Any,
    first_key: Any, first_tainted: bool, limit: float, per_width: float, bucket: Any, item: Any,
    node: Any, tainted_key: Any, edge_mark: Any, stamp: int, nodes: Any, marked: Any,
) -> tuple[int, int]:  # fmt: skip
    """Search from some partly driven edges, up to a limit.

    Edges are numbered by the node they leave. Items 0..E-1 are clean arrivals over an edge,
    E..2E-1 tainted ones, from 2E on the starts. ``nodes`` lists the nodes reached in order of
    time, ``marked`` the edges labelled by tainted arrivals, whose times at their ends are the
    keys of their items. Returns how many there are of each.
    """
    edges = len(edge)
    mask = len(bucket) - 1
    waiting = 0
    found = 0
    labelled = 0
    for k in range(len(first_edge)):
        key = first_key[k]
        to = edge[first_edge[k]].onto
        if key > limit:
            continue
        if to >= 0 and not first_tainted:
            if key >= node[to].key:
                continue
            node[to].key = key
            node[to].via = 2 * edges + k
        _put(2 * edges + k, key, per_width, mask, bucket, item)
        waiting += 1
    turn = 0
    while waiting > 0:
        at = bucket[turn & mask]
        if at < 0:
            turn += 1
            continue
        bucket[turn & mask] = item[at].after
        waiting -= 1
        now = item[at].key
        if at < edges:
            over, tainted = at, False
        elif at < 2 * edges:
            over, tainted = at - edges, True
        else:
            over = first_edge[at - 2 * edges]
            tainted = first_tainted or edge[over].onto < 0
        here = edge[over].onto
        bans = here < 0
        if bans:
            here = ~here
        state = node[here].state
        if state & SETTLED:
            continue
        if not tainted and node[here].via != at:
            continue
        if state == 0:
            nodes[found] = here
            found += 1
            tainted_key[here] = now
        begin, end = start[here], start[here + 1]
        if not tainted:
            node[here].state = state | ARRIVED | SETTLED
            for k in range(begin, end):
                key = now + edge[k].cost
                if key > limit:
                    continue
                to = edge[k].onto
                if to >= 0:
                    if key < node[to].key and not (state & TAINTED and edge_mark[k] == stamp):
                        node[to].key = key
                        node[to].via = k
                        _put(k, key, per_width, mask, bucket, item)
                        waiting += 1
                elif (
                    edge_mark[k] != stamp
                    and edge[over].opposite != k
                    and not node[~to].state & SETTLED
                ):
                    edge_mark[k] = stamp
                    marked[labelled] = k
                    labelled += 1
                    _put(edges + k, key, per_width, mask, bucket, item)
                    waiting += 1
            continue
        node[here].state = state | ARRIVED | TAINTED
        back = edge[over].opposite
        for k in range(begin, end):
            if edge_mark[k] == stamp or (k == back and not dead_end[here]):
                continue
            if bans and _is_banned(over, k, ban_start, ban_onto):
                continue
            key = now + edge[k].cost
            edge_mark[k] = stamp
            marked[labelled] = k
            labelled += 1
            item[edges + k].key = key
            to = edge[k].onto
            if to < 0:
                to = ~to
            if key > limit or node[to].state & SETTLED:
                continue
            _put(edges + k, key, per_width, mask, bucket, item)
            waiting += 1
    return found, labelled


@njit(cache=True, nogil=True)
def forget(node: Any, nodes: Any, found: int) -> None:
    """Make the nodes of a finished search new again."""
    for k in range(found):
        node[nodes[k]].key = np.inf
        node[nodes[k]].via = -1
        node[nodes[k]].state = 0


@njit(cache=True, nogil=True, inline="always")
def _offer(
    to: int, who: int, key: float, via: int, most: int, slot: Any, held: Any, settled: Any
) -> bool:
    """Offer a clean arrival to a node that keeps its ``most`` best sources; whether it took it."""
    base = to * most
    spot = -1
    for j in range(held[to]):
        if slot[base + j].via_who == who:
            if slot[base + j].key <= key:
                return False
            spot = j
            break
    if spot < 0:
        if held[to] < most:
            spot = held[to]
            held[to] += 1
        else:
            worst = key
            for j in range(settled[to], most):
                if slot[base + j].key > worst:
                    worst = slot[base + j].key
                    spot = j
            if spot < 0:
                return False
    slot[base + spot].key = key
    slot[base + spot].via = via
    slot[base + spot].via_who = who
    return True


@njit(cache=True, nogil=True, inline="always")
def _knows(to: int, who: int, most: int, slot: Any, settled: Any) -> bool:
    """Whether no further arrival of a source matters at a node: it or enough others are settled."""
    if settled[to] == most:
        return True
    for j in range(to * most, to * most + settled[to]):  # noqa: SIM110
        if slot[j].via_who == who:
            return True
    return False


@njit(cache=True, nogil=True, inline="always")
def _label(edge: int, who: int, most: int, size: Any, source: Any) -> Any:
    """Make room for a tainted label of a source on an edge: its place, -1 when it needs none."""
    held = size[edge]
    if held == most:
        return -1
    for j in range(edge * most, edge * most + held):
        if source[j] == who:
            return -1
    source[edge * most + held] = who
    size[edge] = held + 1
    return edge * most + held


@njit(cache=True, nogil=True)
def sweep_labels(
    start: Any, edge: Any, ban_start: Any, ban_onto: Any, dead_end: Any, first_edge: Any,
    first_key: Any, first_source: Any, most: int, limit: float, per_width: float, bucket: Any,
    item: Any, slot: Any, held: Any, settled: Any, size: Any, source: Any,
) -> None:  # fmt: skip
    """Find for each node and tainted edge the ``most`` first sources, in one sweep from all.

    Clean arrivals end in ``slot`` (N*most), the first ``settled`` of each node; tainted ones in
    ``source`` (E*most), ``size`` of each edge, with the time in the key of item E*most + place.
    """
    edges = len(edge)
    mask = len(bucket) - 1
    begin_tainted, begin_first = edges * most, 2 * edges * most
    waiting = 0
    for s in range(len(first_edge)):
        key = first_key[s]
        to = edge[first_edge[s]].onto
        if key > limit:
            continue
        at = begin_first + s
        if to >= 0 and not _offer(to, first_source[s], key, at, most, slot, held, settled):
            continue
        _put(at, key, per_width, mask, bucket, item)
        waiting += 1
    turn = 0
    while waiting > 0:
        at = bucket[turn & mask]
        if at < 0:
            turn += 1
            continue
        bucket[turn & mask] = item[at].after
        waiting -= 1
        now = item[at].key
        if at < begin_tainted:
            over = at // most
            who, tainted = -1, False
        elif at < begin_first:
            over = (at - begin_tainted) // most
            who, tainted = source[at - begin_tainted], True
        else:
            over = first_edge[at - begin_first]
            who = first_source[at - begin_first]
            tainted = edge[over].onto < 0
        here = edge[over].onto
        bans = here < 0
        if bans:
            here = ~here
        base = here * most
        back = edge[over].opposite
        if not tainted:
            place = -1
            for j in range(settled[here], held[here]):
                if slot[base + j].via == at:
                    place = j
                    break
            if place < 0:
                continue
            rank = settled[here]
            if place != rank:
                key, via, other = (
                    slot[base + rank].key,
                    slot[base + rank].via,
                    slot[base + rank].via_who,
                )
                slot[base + rank].key = slot[base + place].key
                slot[base + rank].via = slot[base + place].via
                slot[base + rank].via_who = slot[base + place].via_who
                slot[base + place].key = key
                slot[base + place].via = via
                slot[base + place].via_who = other
            settled[here] = rank + 1
            who = slot[base + rank].via_who
            for k in range(start[here], start[here + 1]):
                key = now + edge[k].cost
                if key > limit:
                    continue
                to = edge[k].onto
                if to >= 0:
                    if _offer(to, who, key, k * most + rank, most, slot, held, settled):
                        _put(k * most + rank, key, per_width, mask, bucket, item)
                        waiting += 1
                elif k != back and not _knows(~to, who, most, slot, settled):
                    spot = _label(k, who, most, size, source)
                    if spot >= 0:
                        _put(begin_tainted + spot, key, per_width, mask, bucket, item)
                        waiting += 1
            continue
        if _knows(here, who, most, slot, settled):
            continue
        for k in range(start[here], start[here + 1]):
            if k == back and not dead_end[here]:
                continue
            if bans and _is_banned(over, k, ban_start, ban_onto):
                continue
            spot = _label(k, who, most, size, source)
            if spot < 0:
                continue
            key = now + edge[k].cost
            item[begin_tainted + spot].key = key
            to = edge[k].onto
            if to < 0:
                to = ~to
            if key <= limit and not _knows(to, who, most, slot, settled):
                _put(begin_tainted + spot, key, per_width, mask, bucket, item)
                waiting += 1


@njit(cache=True, nogil=True)
def read_labels(
    edge: Any, leaves: Any, item: Any, slot: Any, settled: Any, size: Any, source: Any,
    at_edge: Any, rest: Any, same_start: Any, same_source: Any, same_seconds: Any, limit: float,
    most: int,
) -> tuple[Any, Any]:  # fmt: skip
    """Read the nearest sources of m positions off their (at most two) edges.

    ``at_edge`` (m, 2) holds the edges or -1, ``rest`` (m, 2) the seconds between the position
    and the end that a label stands for; ``same_*`` list sources on the same stretch.
    """
    count = len(at_edge)
    begin_tainted = len(edge) * most
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
            for j in range(base, base + settled[leaves[over]]):
                value = slot[j].key + edge[over].cost - rest[m, side]
                _keep(index, seconds, m, most, slot[j].via_who, value, limit)
            for j in range(over * most, over * most + size[over]):
                value = item[begin_tainted + j].key - rest[m, side]
                _keep(index, seconds, m, most, source[j], value, limit)
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

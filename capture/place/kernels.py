"""The inner loops: bounded search over edges, k nearest in one sweep, grid of road pieces.

Compiled by numba on first use and kept on disk. Everything here works on plain arrays; the
modules beside it say what the arrays mean. Searches run over directed edges, so that turn
restrictions hold and nobody turns round except at a dead end. Each edge is labelled once, by
the first permitted arrival at its tail, and the queue is a ring of buckets whose few items
stay sorted: no edge is ever queued twice, so the queue cannot overflow.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

#: how a node was first reached
_NEW, _CLEAN, _TAINTED = 0, 1, 2


@njit(cache=True, nogil=True, inline="always")
def _is_banned(edge: int, onto: int, ban_start: Any, ban_onto: Any) -> bool:
    for k in range(ban_start[edge], ban_start[edge + 1]):  # noqa: SIM110
        if ban_onto[k] == onto:
            return True
    return False


@njit(cache=True, nogil=True, inline="always")
def _put(
    edge: int, key: float, per_width: float, mask: int, bucket: Any, after: Any, keys: Any
) -> None:
    at = int(key * per_width) & mask
    here = bucket[at]
    if here < 0 or keys[here] >= key:
        after[edge] = here
        bucket[at] = edge
        return
    following = after[here]
    while following >= 0 and keys[following] < key:
        here = following
        following = after[here]
    after[edge] = following
    after[here] = edge


@njit(cache=True, nogil=True)
def sweep(
    start: Any, out: Any, onto: Any, cost: Any, opposite: Any, ban_start: Any, ban_onto: Any,
    dead_end: Any, first_edge: Any, first_key: Any, first_tainted: bool, limit: float,
    per_width: float, bucket: Any,
    after: Any, keys: Any, edge_mark: Any, taint: Any, node_mark: Any,
    node_key: Any, node_state: Any, stamp: int, nodes: Any, edges: Any, whole: Any,
) -> tuple[int, int]:  # fmt: skip
    """Label edges and nodes from some partly driven edges, up to a limit.

    ``keys[e]`` becomes the time at the end of edge e where ``edge_mark[e] == stamp``;
    ``node_key[v]`` the time at node v where ``node_mark[v] == stamp``. ``nodes`` and ``edges``
    list them. ``whole[k]`` is the time at the end of start edge k when driven whole, inf if
    not reached. Returns how many nodes and edges were listed.
    """
    mask = len(bucket) - 1
    waiting = 0
    found_nodes = 0
    found_edges = 0
    for k in range(len(first_edge)):
        edge = first_edge[k]
        whole[k] = np.inf
        edge_mark[edge] = stamp
        taint[edge] = first_tainted
        keys[edge] = first_key[k]
        edges[found_edges] = edge
        found_edges += 1
        if first_key[k] <= limit:
            _put(edge, first_key[k], per_width, mask, bucket, after, keys)
            waiting += 1
    turn = 0
    while waiting > 0:
        edge = bucket[turn & mask]
        if edge < 0:
            turn += 1
            continue
        bucket[turn & mask] = after[edge]
        waiting -= 1
        now = keys[edge]
        node = onto[edge]
        if node_mark[node] != stamp:
            node_mark[node] = stamp
            node_key[node] = now
            node_state[node] = _NEW
            nodes[found_nodes] = node
            found_nodes += 1
        elif node_state[node] == _CLEAN:
            continue
        bans = ban_start[edge] < ban_start[edge + 1]
        tainted = taint[edge] or bans
        node_state[node] = _TAINTED if tainted else _CLEAN
        back = opposite[edge]
        begin = start[node]
        end = start[node + 1]
        for k in range(begin, end):
            ahead = out[k]
            if ahead == back and not (tainted and dead_end[node]):
                continue
            if bans and _is_banned(edge, ahead, ban_start, ban_onto):
                continue
            key = now + cost[ahead]
            if edge_mark[ahead] == stamp:
                for s in range(len(first_edge)):
                    if first_edge[s] == ahead and key < whole[s]:
                        whole[s] = key
                continue
            edge_mark[ahead] = stamp
            taint[ahead] = tainted
            keys[ahead] = key
            edges[found_edges] = ahead
            found_edges += 1
            if key > limit:
                continue
            far = onto[ahead]
            if node_mark[far] == stamp and node_state[far] == _CLEAN:
                continue
            _put(ahead, key, per_width, mask, bucket, after, keys)
            waiting += 1
    return found_nodes, found_edges


@njit(cache=True, nogil=True)
def sweep_labels(
    start: Any, out: Any, onto: Any, cost: Any, opposite: Any, ban_start: Any, ban_onto: Any,
    dead_end: Any, first_edge: Any, first_key: Any, first_source: Any, most: int, limit: float,
    per_width: float, bucket: Any,
) -> tuple[Any, Any, Any]:  # fmt: skip
    """Keep for each edge the ``most`` first sources that can drive it whole, in one sweep.

    Returns per edge the number of labels (E,), the sources (E, most) and the times at its end
    (E, most). Parts of the edges that sources stand on are not labels; see the caller.
    """
    edge_count = len(cost)
    node_count = len(start) - 1
    mask = len(bucket) - 1
    size = np.zeros(edge_count, np.int8)
    source = np.empty(edge_count * most, np.int32)
    keys = np.empty(edge_count * most + len(first_edge))
    after = np.empty(edge_count * most + len(first_edge), np.int32)
    taint = np.zeros(edge_count * most + len(first_edge), np.bool_)
    clean_size = np.zeros(node_count, np.int8)
    clean = np.empty(node_count * most, np.int32)
    waiting = 0
    for s in range(len(first_edge)):
        if first_key[s] <= limit:
            item = edge_count * most + s
            keys[item] = first_key[s]
            _put(item, first_key[s], per_width, mask, bucket, after, keys)
            waiting += 1
    turn = 0
    while waiting > 0:
        item = bucket[turn & mask]
        if item < 0:
            turn += 1
            continue
        bucket[turn & mask] = after[item]
        waiting -= 1
        now = keys[item]
        if item >= edge_count * most:
            edge = first_edge[item - edge_count * most]
            who = first_source[item - edge_count * most]
        else:
            edge = item // most
            who = source[item]
        node = onto[edge]
        if _knows(node, who, most, clean_size, clean):
            continue
        bans = ban_start[edge] < ban_start[edge + 1]
        tainted = taint[item] or bans
        if not tainted:
            clean[node * most + clean_size[node]] = who
            clean_size[node] += 1
        back = opposite[edge]
        begin = start[node]
        end = start[node + 1]
        for k in range(begin, end):
            ahead = out[k]
            if ahead == back and not (tainted and dead_end[node]):
                continue
            if bans and _is_banned(edge, ahead, ban_start, ban_onto):
                continue
            labels = size[ahead]
            if labels == most:
                continue
            known = False
            for j in range(ahead * most, ahead * most + labels):
                if source[j] == who:
                    known = True
            if known:
                continue
            item = ahead * most + labels
            key = now + cost[ahead]
            size[ahead] = labels + 1
            source[item] = who
            keys[item] = key
            taint[item] = tainted
            if key > limit or _knows(onto[ahead], who, most, clean_size, clean):
                continue
            _put(item, key, per_width, mask, bucket, after, keys)
            waiting += 1
    shape = (edge_count, most)
    return size, source.reshape(shape), keys[: edge_count * most].reshape(shape)


@njit(cache=True, nogil=True, inline="always")
def _knows(node: int, who: int, most: int, clean_size: Any, clean: Any) -> bool:
    """Whether a node needs no further arrival of a source: it has it, or has enough others."""
    held = clean_size[node]
    if held == most:
        return True
    for j in range(node * most, node * most + held):  # noqa: SIM110
        if clean[j] == who:
            return True
    return False


@njit(cache=True, nogil=True)
def read_labels(
    size: Any, source: Any, keys: Any, at_edge: Any, rest: Any, same_start: Any, same_source: Any,
    same_seconds: Any, limit: float, most: int,
) -> tuple[Any, Any]:  # fmt: skip
    """Read the nearest sources of m positions off the labels of their (at most two) edges.

    ``at_edge`` (m, 2) holds the edges or -1, ``rest`` (m, 2) the seconds between the position
    and the end that the label stands for; ``same_*`` list sources on the same stretch.
    """
    count = len(at_edge)
    index = np.full((count, most), -1, np.int64)
    seconds = np.full((count, most), np.inf)
    for m in range(count):
        for j in range(same_start[m], same_start[m + 1]):
            _keep(index, seconds, m, most, same_source[j], same_seconds[j], limit)
        for side in range(2):
            edge = at_edge[m, side]
            if edge < 0:
                continue
            for j in range(size[edge]):
                value = keys[edge, j] - rest[m, side]
                _keep(index, seconds, m, most, source[edge, j], value, limit)
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

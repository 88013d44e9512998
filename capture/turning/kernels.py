"""Compiled searches behind :mod:`capture.turning.routes`; nothing else calls them.

Plain loops over flat arrays, compiled by numba at first use and cached on disk.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numba import njit

from capture.place.heap import pop, push

_compiled: Final[Any] = njit(cache=True, nogil=True)
#: most pieces that a walk along a road takes
_MOST_PIECES: Final = 64


@_compiled
def is_banned(banned: Any, code: int) -> bool:
    """Whether a turn's code stands in the sorted list."""
    at = np.searchsorted(banned, code)
    return bool(at < banned.size and banned[at] == code)


@_compiled
def bend(headings: Any, a: int, b: int) -> Any:
    """Cosine and sine of the bend from the end of one piece to the start of the next."""
    ux, uy, vx, vy = headings[a, 2], headings[a, 3], headings[b, 0], headings[b, 1]
    return ux * vx + uy * vy, ux * vy - uy * vx


@_compiled
def straightest(a: int, first: int, last: int, listed: Any, back: bool, base: Any, reverse: Any,
                headings: Any, banned: Any, least: float) -> int:  # fmt: skip
    """Find the piece that goes straightest on from (or, back, into) piece ``a``; -1 if none."""
    best, best_cosine, size = -1, least, np.int64(base.size)
    for at in range(first, last):
        b = listed[at]
        if base[b] == reverse[a]:
            continue
        cosine, _ = bend(headings, b, a) if back else bend(headings, a, b)
        code = b * size + a if back else a * size + b
        if cosine > best_cosine and not is_banned(banned, code):
            best, best_cosine = b, cosine
    return best


@_compiled
def piece_after(a: int, edge: int, first: int, last: int, listed: Any, base: Any,
                banned: Any) -> Any:  # fmt: skip
    """Find the piece that is an edge driven after piece ``a``; the edge itself if none may be."""
    for at in range(first, last):
        b = listed[at]
        if base[b] == edge and not is_banned(banned, a * np.int64(base.size) + b):
            return b
    return edge


@_compiled
def walk_leads(edge: Any, fraction: Any, distance: float, base: Any, indptr: Any, out_edge: Any,
               tail: Any, head: Any, reverse: Any, seconds: Any, headings: Any, banned: Any,
               in_indptr: Any, in_edge: Any, banned_back: Any, length: Any,
               least: float) -> Any:  # fmt: skip
    """Walk straight back and straight on from each position, on with what was driven in mind."""
    rows = edge.size
    first, last = np.empty(rows, np.int64), np.empty(rows, np.int64)
    before, after = np.empty(rows), np.empty(rows)
    trail = np.empty(_MOST_PIECES, np.int64)
    for r in range(rows):
        at, gone = np.int64(edge[r]), fraction[r] * length[edge[r]]
        before[r] = fraction[r] * seconds[at]
        walked = 0
        while walked < _MOST_PIECES and gone < distance:
            node = tail[at]
            b = straightest(at, in_indptr[node], in_indptr[node + 1], in_edge, True, base, reverse,
                            headings, banned_back, least)  # fmt: skip
            if b < 0 or base[b] == edge[r]:
                break
            trail[walked] = base[at]
            walked += 1
            at = np.int64(b)
            gone += length[b]
            before[r] += seconds[b]
        first[r] = at = base[at]
        for k in range(walked - 1, -1, -1):
            node = head[at]
            at = np.int64(piece_after(at, trail[k], indptr[node], indptr[node + 1], out_edge, base,
                                      banned))  # fmt: skip
        gone = (1.0 - fraction[r]) * length[at]
        after[r] = (1.0 - fraction[r]) * seconds[at]
        for _ in range(_MOST_PIECES):
            if gone >= distance:
                break
            node = head[at]
            b = straightest(at, indptr[node], indptr[node + 1], out_edge, False, base, reverse,
                            headings, banned, least)  # fmt: skip
            if b < 0 or base[b] == edge[r]:
                break
            at = np.int64(b)
            gone += length[b]
            after[r] += seconds[b]
        last[r] = base[at]
    return first, before, last, after


@_compiled
def walk_marks(edge: Any, fraction: Any, distance: float, base: Any, indptr: Any, out_edge: Any,
               tail: Any, head: Any, reverse: Any, seconds: Any, headings: Any, banned: Any,
               in_indptr: Any, in_edge: Any, banned_back: Any, length: Any, least: float,
               signal: Any, junction: Any) -> Any:  # fmt: skip
    """Distance to the next signal and junction, before and after each position; inf if none."""
    rows = edge.size
    marks = np.full((rows, 4), np.inf)
    for r in range(rows):
        for side in range(2):
            back = side == 0
            at = np.int64(edge[r])
            gone = (fraction[r] if back else 1.0 - fraction[r]) * length[at]
            for _ in range(_MOST_PIECES):
                if gone > distance:
                    break
                node = tail[at] if back else head[at]
                if junction[node] and marks[r, 2 + side] == np.inf:
                    marks[r, 2 + side] = gone
                if signal[node]:
                    marks[r, side] = gone
                    break
                pointer = in_indptr if back else indptr
                listed = in_edge if back else out_edge
                forbidden = banned_back if back else banned
                b = straightest(at, pointer[node], pointer[node + 1], listed, back, base, reverse,
                                headings, forbidden, least)  # fmt: skip
                if b < 0 or base[b] == edge[r]:
                    break
                at = np.int64(b)
                gone += length[b]
    return marks


@_compiled
def search_routes(start_edge: Any, start_fraction: Any, target_indptr: Any, target_edge: Any,
                  target_fraction: Any, limit_s: Any, base: Any, indptr: Any, out_edge: Any,
                  tail: Any, head: Any, reverse: Any, seconds: Any, headings: Any, banned: Any,
                  length: Any, join: Any, signal: Any, near_s: float, cross_s: float,
                  signal_s: float, link_m: float, cross_sign: float,
                  straight: float) -> Any:  # fmt: skip
    """Search from each start, bounded, until its targets are settled.

    Turning back is onto the reverse of a piece, or by two turns across with a short link
    between (an opening in a median); both wait to join the traffic of the piece entered.
    """
    pieces = np.int64(base.size)
    found = np.full(target_edge.size, np.inf)
    backs = np.zeros(target_edge.size, np.int64)
    label, turns = np.full(pieces, np.inf), np.zeros(pieces, np.int64)
    across = np.zeros(pieces, np.bool_)
    touched = np.empty(1024, np.int64)
    keys, items = np.empty(1024), np.empty(1024, np.int64)
    for n in range(start_edge.size):
        a0, touches, size = start_edge[n], 0, 0
        begin, stop = target_indptr[n], target_indptr[n + 1]
        farthest, limit = 0.0, limit_s[n]
        for p in range(begin, stop):
            if target_edge[p] == a0 and target_fraction[p] >= start_fraction[n]:
                found[p] = (target_fraction[p] - start_fraction[n]) * seconds[a0]
        # the start is a state of its own, so that its piece can be entered anew
        at, now, turned, fresh = a0, (1.0 - start_fraction[n]) * seconds[a0], 0, True
        linked = False
        while True:
            if not fresh:
                if size == 0:
                    break
                key, at, size = pop(keys, items, size)
                if key > label[at]:
                    continue
                farthest = 0.0
                for p in range(begin, stop):
                    if target_edge[p] == base[at]:
                        there = key + target_fraction[p] * seconds[at]
                        if there < found[p]:
                            found[p], backs[p] = there, turns[at]
                    farthest = max(farthest, found[p])
                if key >= farthest:
                    break
                now, turned = key + seconds[at], turns[at]
                linked = across[at] and length[at] <= link_m
            fresh = False
            node = head[at]
            for entry in range(indptr[node], indptr[node + 1]):
                b = out_edge[entry]
                if is_banned(banned, at * pieces + b):
                    continue
                back, cost, crossing = 0, 0.0, False
                if base[b] == reverse[at]:
                    # nobody turns back on the road between to get round what is forbidden
                    if base[at] != at:
                        continue
                    back, cost = 1, join[b]
                else:
                    cosine, sine = bend(headings, at, b)
                    if cosine < straight:
                        crossing = sine * cross_sign > 0
                        cost = near_s
                        if crossing and linked:
                            back, cost = 1, join[b]
                        elif crossing:
                            cost = cross_s
                if crossing or back > 0:
                    cost += signal_s if signal[node] else 0.0
                there = now + cost
                if there <= limit and there < label[b]:
                    if label[b] == np.inf:
                        if touches == touched.size:
                            more = np.empty(2 * touches, np.int64)
                            more[:touches] = touched
                            touched = more
                        touched[touches] = b
                        touches += 1
                    label[b], turns[b], across[b] = there, turned + back, crossing
                    keys, items, size = push(keys, items, size, there, b)
        for i in range(touches):
            label[touched[i]] = np.inf
    return found, backs

"""How are turn restrictions that span a whole road searched, when a search knows one edge back?

Forbidding ``a, m, b`` (say, a U-turn over the link between two carriageways) cannot be said of
pairs. So the road in the middle gets a twin that only those coming from ``a`` are sent to, and
``b`` is forbidden after the twin. Everything else holds for a twin as for its road.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from capture.place.network import Ints, Longs


@dataclass(frozen=True, slots=True, kw_only=True)
class Twins:
    """Added edges, numbered from E on, and all forbidden pairs with them."""

    #: the edge that each twin doubles, (V,)
    base: Longs
    #: forbidden pairs, (bans, 2)
    pairs: Longs


def make_twins(edges: int, pairs: Longs, paths: Sequence[tuple[int, ...]], reverse: Ints) -> Twins:
    """Turn forbidden paths of three and more edges into twins and forbidden pairs.

    Parameters
    ----------
    edges : int
        Number of edges E.
    pairs : ndarray of int, shape (bans, 2)
        Forbidden pairs of edges.
    paths : sequence of tuple of int
        Forbidden paths, each of at least three edges.
    reverse : ndarray of int, shape (E,)
        The edge the other way, -1 if none.

    Returns
    -------
    Twins

    Examples
    --------
    >>> twins = make_twins(3, np.empty((0, 2), np.int64), [(0, 1, 2)], np.array([-1, -1, -1]))
    >>> twins.base.tolist(), twins.pairs.tolist()
    ([1], [[0, 1], [3, 2]])
    """
    if not paths:
        return Twins(base=np.empty(0, dtype=np.int64), pairs=pairs)
    twin: dict[tuple[int, ...], int] = {}
    sent: dict[tuple[int, int], int] = {}
    ends: set[tuple[int, int]] = set()
    for path in paths:
        before = path[0]
        for k in range(1, len(path) - 1):
            number = twin.setdefault(path[: k + 1], edges + len(twin))
            sent[before, path[k]] = number
            before = number
        ends.add((before, path[-1]))
    base = [key[-1] for key in twin]
    same: dict[int, list[int]] = {}
    for k, edge in enumerate(base):
        same.setdefault(edge, [edge]).append(edges + k)
    found = {
        (a, b)
        for x, y in [*map(tuple, pairs.tolist()), *ends]
        for a in same.get(x, [x])
        for b in same.get(y, [y])
    }
    for (before, edge), number in sent.items():
        for a in same.get(before, [before]):
            found |= {(a, b) for b in same[edge] if b != number}
    for k, edge in enumerate(base):
        back = int(reverse[edge])
        if back >= 0:
            found |= {(a, edges + k) for a in same.get(back, [back])}
    return Twins(
        base=np.array(base, dtype=np.int64),
        pairs=np.array(sorted(found), dtype=np.int64).reshape(-1, 2),
    )

"""How are turn restrictions that span whole roads held, when a step knows one edge back?

Forbidding ``a, m, b`` (say, a U-turn over the link between two carriageways) cannot be said of
pairs. So the road in the middle gets a twin, which stands for having come from ``a``: only
those who did are sent to it, everybody else to the road itself, and ``b`` is forbidden after
the twin. Each history of edges thereby leads to one number, and pairs of numbers say it all.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from capture.place.network import Ints, Longs

_Path = tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Twins:
    """Added edges, numbered from E on, and all forbidden pairs with them."""

    #: the edge that each twin doubles, (V,)
    base: Longs
    #: forbidden pairs, (bans, 2)
    pairs: Longs


def make_twins(pairs: Longs, paths: Sequence[_Path], tail: Ints, head: Ints) -> Twins:
    """Turn forbidden paths of three and more edges into twins and forbidden pairs.

    Parameters
    ----------
    pairs : ndarray of int, shape (bans, 2)
        Forbidden pairs of edges.
    paths : sequence of tuple of int
        Forbidden paths, each of at least three edges.
    tail, head : ndarray of int, shape (E,)
        Node that each edge leaves and enters; swapped, with the paths turned round, to go
        against traffic.

    Returns
    -------
    Twins

    Notes
    -----
    A twin stands for a beginning of a forbidden path, and what follows any history is its
    longest ending that is such a beginning: the automaton that finds many words in a text.

    References
    ----------
    Aho, A. V. and Corasick, M. J. (1975). Efficient string matching: an aid to bibliographic
    search. Communications of the ACM 18(6), algorithms 2 and 3.

    Examples
    --------
    >>> road = np.arange(4)
    >>> twins = make_twins(np.empty((0, 2), np.int64), [(0, 1, 2)], road[:3], road[1:])
    >>> twins.base.tolist(), twins.pairs.tolist()
    ([1], [[0, 1], [3, 2]])
    """
    if not paths:
        return Twins(base=np.empty(0, dtype=np.int64), pairs=pairs)
    histories = _Histories(len(tail), paths)
    found = {
        (a, b)
        for x, y in map(tuple, pairs.tolist())
        for a in histories.numbers(x)
        for b in histories.numbers(y)
    }
    found |= set(histories.ends())
    middles = np.array(sorted(histories.same), dtype=np.int64)
    entering = np.flatnonzero(np.isin(head, np.asarray(tail)[middles])).tolist()
    by_node: dict[int, list[int]] = {}
    for edge in entering:
        by_node.setdefault(int(head[edge]), []).append(edge)
    for middle in middles.tolist():
        found |= set(histories.elsewhere(by_node.get(int(tail[middle]), []), middle))
    return Twins(
        base=np.array([state[-1] for state in histories.state], dtype=np.int64),
        pairs=np.array(sorted(found), dtype=np.int64).reshape(-1, 2),
    )


class _Histories:
    """Which number stands for having driven which edges."""

    def __init__(self, edges: int, paths: Sequence[_Path]) -> None:
        self.edges = edges
        #: what each twin has driven
        self.state: list[_Path] = sorted({p[: k + 1] for p in paths for k in range(1, len(p) - 1)})
        #: the twin of each beginning, and the last edges forbidden after it
        self.number = {state: edges + k for k, state in enumerate(self.state)}
        self.last: dict[_Path, list[int]] = {}
        #: the twins of each edge
        self.same: dict[int, list[int]] = {}
        for path in paths:
            self.last.setdefault(path[:-1], []).append(path[-1])
        for state, number in self.number.items():
            self.same.setdefault(state[-1], []).append(number)

    def numbers(self, edge: int) -> list[int]:
        """All numbers that an edge has."""
        return [edge, *self.same.get(edge, [])]

    def after(self, number: int, edge: int) -> int:
        """Which number of an edge follows another number."""
        driven = self.state[number - self.edges] if number >= self.edges else (number,)
        for k in range(len(driven)):
            known = self.number.get((*driven[k:], edge))
            if known is not None:
                return known
        return edge

    def ends(self) -> Iterator[tuple[int, int]]:
        """Pairs that end a forbidden path."""
        for state, number in self.number.items():
            for k in range(len(state) - 1):
                for edge in self.last.get(state[k:], []):
                    yield from ((number, b) for b in self.numbers(edge))

    def elsewhere(self, before: Iterable[int], middle: int) -> Iterator[tuple[int, int]]:
        """Pairs onto those numbers of an edge that another history leads to."""
        for edge in before:
            for a in self.numbers(edge):
                right = self.after(a, middle)
                yield from ((a, b) for b in self.numbers(middle) if b != right)

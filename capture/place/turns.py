"""Which edge may follow which, restrictions that span whole roads included, either way?

Drivers know what they have driven; who walks back from a place knows what is driven next.
For both, the roads in the middle of such a restriction are doubled (see the long bans beside
this), and everything that walks roads walks *numbers*: 0..E-1 the edges, then their twins.
Without such restrictions the numbers are the edges.
"""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from capture.place.long_bans import make_twins
from capture.place.network import Bools, Ints, Longs, Network


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TurnGraph:
    """Numbers S of the edges, who follows whom."""

    #: the edge that each number stands for, (S,); the first E are the edges themselves
    base: Longs
    #: edges that have twins of those who know what they have driven
    twinned: Longs
    #: numbers leaving each node, of those who know what they have driven: (N+1,), (E+V,)
    out_start: Longs
    out_edge: Ints
    #: numbers entering each node, of those who know what they will drive: (N+1,), (E+W,)
    in_start: Longs
    in_edge: Ints
    #: forbidden turns going on: sorted codes from x S + to
    banned_on: Longs
    #: forbidden turns walking back: sorted codes from x S + to, in the direction of travel
    banned_back: Longs

    @property
    def size(self) -> int:
        """How many numbers there are."""
        return len(self.base)


_TURNS: WeakKeyDictionary[Network, TurnGraph] = WeakKeyDictionary()


def turn_graph(network: Network) -> TurnGraph:
    """Say which edges of a network may follow each other, kept from the first time on.

    Parameters
    ----------
    network : Network
        N nodes, E edges.

    Returns
    -------
    TurnGraph
        Turning back where it came from is not forbidden here unless a sign says so.
    """
    if network not in _TURNS:
        _TURNS[network] = _make(network)
    return _TURNS[network]


def _make(network: Network) -> TurnGraph:
    edges, nodes = network.edges, network.nodes
    tail, head = np.asarray(network.edge_tail), np.asarray(network.edge_head)
    pairs = np.column_stack([network.banned_from, network.banned_to]).astype(np.int64)
    paths = network.banned_paths()
    on = make_twins(pairs, paths, tail, head)
    back = make_twins(pairs[:, ::-1], [path[::-1] for path in paths], head, tail)
    base = np.concatenate([np.arange(edges), on.base, back.base])
    size = np.int64(max(len(base), 1))
    # twins of those who walk back are numbered behind those of drivers
    moved = np.where(back.pairs >= edges, back.pairs + len(on.base), back.pairs)
    leaving = np.arange(edges + len(on.base))
    entering = np.concatenate([np.arange(edges), np.arange(edges + len(on.base), len(base))])
    out_start, out_edge = _list_at(tail[base[leaving]], leaving, nodes)
    in_start, in_edge = _list_at(head[base[entering]], entering, nodes)
    return TurnGraph(
        base=base,
        twinned=np.unique(on.base),
        out_start=out_start,
        out_edge=out_edge,
        in_start=in_start,
        in_edge=in_edge,
        banned_on=np.sort(on.pairs[:, 0] * size + on.pairs[:, 1]),
        banned_back=np.sort(moved[:, 1] * size + moved[:, 0]),
    )


def _list_at(node: Ints, number: Longs, nodes: int) -> tuple[Longs, Ints]:
    """List numbers by node: first entry of each node, numbers."""
    order = np.argsort(node, kind="stable")
    start = np.concatenate([[0], np.cumsum(np.bincount(node, minlength=nodes))])
    return start.astype(np.int64), number[order].astype(np.int32)


def pair_numbers(network: Network) -> tuple[Longs, Longs]:
    """List all pairs of numbers that may follow each other, without turning back.

    Parameters
    ----------
    network : Network
        The roads.

    Returns
    -------
    before, after : ndarray of int64, shape (pairs,)
        Numbers of :func:`turn_graph` of those who know what they have driven.
    """
    turns = turn_graph(network)
    numbers = np.sort(turns.out_edge).astype(np.int64)
    head = np.asarray(network.edge_head)[turns.base[numbers]]
    counts = turns.out_start[head + 1] - turns.out_start[head]
    before = np.repeat(numbers, counts)
    first = np.concatenate([[0], np.cumsum(counts)])[:-1]
    entry = np.repeat(turns.out_start[head] - first, counts) + np.arange(len(before))
    after = turns.out_edge[entry].astype(np.int64)
    allowed: Bools = np.asarray(network.edge_reverse)[turns.base[before]] != turns.base[after]
    allowed &= ~np.isin(before * turns.size + after, turns.banned_on)
    return before[allowed], after[allowed]

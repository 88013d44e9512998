"""Do restrictions that span whole roads hold for any walk, on and back, and nothing else?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from toy_roads import Road, build_network

from capture.place import Network, Place, compute_pair_seconds, locate, upstream_edge, walk_upstream
from capture.place.turns import TurnGraph, pair_numbers, turn_graph


def _tangle(seed: int) -> Network:
    """Five places, many one-way and two-way roads between them, random long restrictions."""
    rng = np.random.default_rng(seed)
    places = [(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0), (50.0, 40.0)]
    roads = []
    for a in range(5):
        for b in range(a):
            if rng.random() < 0.8:
                ends = (places[a], places[b])
                roads.append(Road(points=ends, oneway=bool(rng.random() < 0.4)))
    network = build_network(roads)
    walks = [_random_walk(network, rng, int(rng.integers(3, 6))) for _ in range(8)]
    long = sorted({tuple(w) for w in walks if len(w) >= 3})
    short = sorted({tuple(_random_walk(network, rng, 2)) for _ in range(2)})
    short = [pair for pair in short if len(pair) == 2]
    return replace(
        network,
        banned_path_indptr=np.cumsum([0, *map(len, long)]).astype(np.int64),
        banned_path_edge=np.array([e for path in long for e in path], np.int32),
        banned_from=np.array([a for a, _ in short], np.int32),
        banned_to=np.array([b for _, b in short], np.int32),
    )


def _random_walk(network: Network, rng: np.random.Generator, most: int) -> list[int]:
    walk = [int(rng.integers(network.edges))]
    while len(walk) < most:
        head = int(network.edge_head[walk[-1]])
        leaving = range(int(network.indptr[head]), int(network.indptr[head + 1]))
        onward = [e for e in leaving if e != network.edge_reverse[walk[-1]]]
        if not onward:
            break
        walk.append(int(rng.choice(onward)))
    return walk


def _is_free(network: Network, walk: list[int]) -> bool:
    """Whether a walk holds no forbidden sequence, by looking for each."""
    rules = [*network.banned_paths(), *zip(network.banned_from, network.banned_to, strict=True)]
    return not any(
        tuple(walk[k : k + len(rule)]) == tuple(rule) for rule in rules for k in range(len(walk))
    )


def _follow(turns: TurnGraph, network: Network, walk: list[int], *, back: bool) -> bool:
    """Whether numbers can be walked; each step must have one number at most."""
    steps = walk[::-1] if back else walk
    number = steps[0]
    for edge in steps[1:]:
        node = int((network.edge_head if back else network.edge_tail)[edge])
        start, listed = (
            (turns.in_start, turns.in_edge) if back else (turns.out_start, turns.out_edge)
        )
        banned = set((turns.banned_back if back else turns.banned_on).tolist())
        may = [
            int(b)
            for b in listed[start[node] : start[node + 1]]
            if turns.base[b] == edge
            and (int(b) * turns.size + number if back else number * turns.size + int(b))
            not in banned
        ]
        assert len(may) <= 1
        if not may:
            return False
        number = may[0]
    return True


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6))
def test_any_walk_is_free_on_and_back_exactly_when_no_rule_forbids_it(seed: int) -> None:
    network = _tangle(seed)
    turns = turn_graph(network)
    rng = np.random.default_rng(seed + 1)
    for _ in range(60):
        walk = _random_walk(network, rng, 9)
        free = _is_free(network, walk)
        assert _follow(turns, network, walk, back=False) == free
        assert _follow(turns, network, walk, back=True) == free


def _best(network: Network, seconds: Any, start: int, target: int) -> float:
    """Quickest free walk from the start of an edge to the end of another, by trying them all."""
    best, waiting = np.inf, [([start], float(seconds[start]))]
    while waiting:
        walk, spent = waiting.pop()
        if spent >= best or not _is_free(network, walk) or len(walk) > 7:
            continue
        if walk[-1] == target:
            best = spent
        head = int(network.edge_head[walk[-1]])
        leaving = list(range(int(network.indptr[head]), int(network.indptr[head + 1])))
        for e in leaving:
            if e != network.edge_reverse[walk[-1]] or len(leaving) == 1:
                waiting.append(([*walk, e], spent + float(seconds[e])))
    return best


@pytest.mark.property
@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10**6))
def test_drive_times_hold_restrictions_that_overlap(seed: int) -> None:
    network = _tangle(seed)
    one_way = np.flatnonzero(np.asarray(network.edge_reverse) < 0)
    if len(one_way) < 2:
        return
    start, target = one_way[:2].tolist()
    segment = network.edge_segment
    got = compute_pair_seconds(
        network, locate(network, [segment[start]], [0.0]), locate(network, [segment[target]], [1.0])
    )[0, 0]
    want = _best(network, network.edge_seconds, start, target)
    assert got <= want + 1e-6, "walks of more than seven roads are not tried"
    if np.isfinite(want) and got < want - 1e-6:
        assert got > 4 * float(network.edge_seconds.min())


def test_longer_beginnings_keep_what_shorter_ones_forbid() -> None:
    line = [Road(points=((100.0 * k, 0.0), (100.0 * k + 100.0, 0.0))) for k in range(5)]
    side = Road(points=((400.0, 0.0), (400.0, 90.0)))
    steps = [(k, True) for k in range(5)]
    network = build_network([*line, side], long_bans=((*steps[:4], (5, True)), tuple(steps[2:5])))
    turns = turn_graph(network)
    edge = [int(network.segment_edge_forward[k]) for k in range(6)]
    assert not _follow(turns, network, [*edge[:4], edge[5]], back=False)
    assert not _follow(turns, network, edge[:5], back=False)
    assert not _follow(turns, network, edge[2:5], back=False)
    assert _follow(turns, network, [*edge[1:4], edge[5]], back=False)


def test_without_long_restrictions_the_numbers_are_the_edges() -> None:
    network = build_network([Road(points=((0, 0), (9, 0))), Road(points=((9, 0), (9, 9)))],
                            bans=((0, True, 1, True),))  # fmt: skip
    turns = turn_graph(network)
    assert turns.base.tolist() == list(range(network.edges))
    before, after = pair_numbers(network)
    ahead = network.segment_edge_forward
    assert (int(ahead[0]), int(ahead[1])) not in set(
        zip(before.tolist(), after.tolist(), strict=True)
    )
    assert len(before) == 1, "the other way only, without turning back"


#: west to east over a short middle road; a side road joins before the middle
LINE = (
    Road(points=((-300, 0), (0, 0)), name="West"),
    Road(points=((0, 0), (50, 0)), name="Middle"),
    Road(points=((50, 0), (400, 0)), name="East"),
    Road(points=((-200, -80), (0, 0)), name="Side"),
)


def test_walking_upstream_takes_no_forbidden_path() -> None:
    free, held = (
        build_network(list(LINE), long_bans=bans)
        for bans in ((), (((0, True), (1, True), (2, True)),))
    )
    edge = int(free.segment_edge_forward[2])
    middle, west, side = (int(free.segment_edge_forward[g]) for g in (1, 0, 3))
    assert upstream_edge(held, edge) == middle
    assert upstream_edge(held, middle) == west, "who ends there may have come from the west"
    straight = walk_upstream(free, edge, 0.1, distance_m=200.0)
    turned = walk_upstream(held, edge, 0.1, distance_m=200.0)
    assert straight[0, 1] == pytest.approx(0.0, abs=1e-9)
    assert turned[0, 1] < -30.0, f"from the side road {side}, not the west"


def test_the_restriction_of_the_demo_holds_on_and_back(extract: Callable[[str], Place]) -> None:
    network = extract("demo").network
    (path,) = network.banned_paths()
    turns = turn_graph(network)
    assert len(turns.twinned) == len(path) - 2
    for back in (False, True):
        assert not _follow(turns, network, list(path), back=back)
        assert _follow(turns, network, list(path[1:]), back=back)
        assert _follow(turns, network, list(path[:-1]), back=back)

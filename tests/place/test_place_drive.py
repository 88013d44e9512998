"""Drive times against OSMnx and NetworkX on the same roads and weights, and against brute force."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path
from typing import Any

import networkx as nx
import numpy as np
import pytest
from extracts import EXTRACTS, find_extract
from hypothesis import given, settings
from hypothesis import strategies as st
from osm_text import OsmText, cross
from toy_roads import Road, build_network

from capture.area import open_area
from capture.basis import InputError
from capture.place import (
    Network,
    Place,
    compute_drive_seconds,
    compute_pair_seconds,
    compute_reach,
    locate,
    nearest_k,
    open_place,
    snap,
)


def _roads_only(path: Path, folder: Path) -> Path:
    """Copy the streets of an extract as XML that OSMnx can read: it takes no missing nodes."""
    import osmium

    known = {node.id for node in osmium.FileProcessor(str(path), osmium.osm.NODE)}
    target = folder / "copy.osm"
    with osmium.SimpleWriter(str(target)) as writer:
        for thing in osmium.FileProcessor(str(path), osmium.osm.NODE | osmium.osm.WAY):
            if thing.is_node():
                writer.add(thing)
            elif thing.tags.get("highway"):
                refs = [node.ref for node in thing.nodes]
                while refs and refs[0] not in known:
                    del refs[0]
                whole = next((k for k, ref in enumerate(refs) if ref not in known), len(refs))
                if whole > 1:
                    writer.add(thing.replace(nodes=refs[:whole]))
    return target


def _osmnx_graph(path: Path, network: Network) -> Any:
    """OSMnx's own reading of the file, kept to the same ways, weighted by the same speeds."""
    ox = pytest.importorskip("osmnx")
    kept = ox.settings.useful_tags_way
    ox.settings.useful_tags_way = [*kept, "maxspeed:forward", "maxspeed:backward"]
    try:
        graph = ox.graph_from_xml(path, simplify=False, retain_all=True)
    finally:
        ox.settings.useful_tags_way = kept
    speed: dict[tuple[int, bool], float] = {}
    way = network.segment_way[network.edge_segment]
    for key in zip(way, network.edge_forward, network.edge_speed_mps, strict=True):
        speed[int(key[0]), bool(key[1])] = float(key[2])
    oneway = dict(zip(network.segment_way, network.segment_oneway, strict=True))
    names = list(graph.nodes)
    lat = np.array([graph.nodes[n]["y"] for n in names])
    lon = np.array([graph.nodes[n]["x"] for n in names])
    x, y = network.projection.to_xy(lat, lon)
    place = {n: (a, b) for n, a, b in zip(names, x, y, strict=True)}
    plain = nx.DiGraph()
    for u, v, data in graph.edges(data=True):
        osmid = int(data["osmid"])
        if osmid not in oneway:
            continue
        forward = True if oneway[osmid] else not data["reversed"]
        length = float(np.hypot(place[u][0] - place[v][0], place[u][1] - place[v][1]))
        seconds = length / speed[osmid, forward]
        if not plain.has_edge(u, v) or plain[u][v]["seconds"] > seconds:
            plain.add_edge(u, v, seconds=seconds)
    return plain


def _without_bans(network: Network) -> Network:
    from dataclasses import replace

    empty = np.empty(0, np.int32)
    none = np.zeros(1, np.int64)
    return replace(
        network, banned_from=empty, banned_to=empty, banned_path_indptr=none, banned_path_edge=empty
    )


@pytest.mark.parametrize("name", EXTRACTS)
def test_same_answers_as_osmnx_and_networkx(name: str, tmp_path: Path) -> None:
    copy = _roads_only(find_extract(name), tmp_path)
    network = _without_bans(open_place(open_area(copy), use_cache=False).network)
    graph = _osmnx_graph(copy, network)
    index = {int(n): k for k, n in enumerate(network.node_id)}
    assert set(index) <= set(graph.nodes)
    rng = np.random.default_rng(7)
    for node in rng.choice(network.nodes, 6, replace=False):
        edge = int(network.indptr[node])
        if edge == network.indptr[node + 1]:
            continue
        # a position at the very start of a one-way edge, or of both at a junction's edge
        start = np.flatnonzero(network.edge_tail == node)
        best = np.full(network.nodes, np.inf)
        for e in start:
            segment = network.edge_segment[e]
            at = locate(network, [segment], [0.0 if network.edge_forward[e] else 1.0])
            best = np.minimum(best, compute_drive_seconds(network, at)[0])
        peer = nx.single_source_dijkstra_path_length(
            graph, int(network.node_id[node]), weight="seconds"
        )
        reached = {int(network.node_id[k]) for k in np.flatnonzero(np.isfinite(best))}
        assert reached - {int(network.node_id[node])} == {
            n for n in peer if n in index and n != int(network.node_id[node])
        }
        for number, seconds in peer.items():
            if number in index and number != int(network.node_id[node]):
                assert best[index[number]] == pytest.approx(seconds, abs=1e-6)


def _turn_graph(network: Network) -> Any:
    """Every permitted sequence of edges as a NetworkX graph: turning round at dead ends.

    Without forbidden paths its nodes are edges; with them, pairs of the edge before and the edge.
    """
    if len(network.banned_path_indptr) > 1:
        return _history_graph(network)
    graph = nx.DiGraph()
    graph.add_nodes_from(range(network.edges))
    banned = set(zip(network.banned_from.tolist(), network.banned_to.tolist(), strict=True))
    for edge in range(network.edges):
        head = int(network.edge_head[edge])
        leaving = range(int(network.indptr[head]), int(network.indptr[head + 1]))
        for following in leaving:
            round_again = following == network.edge_reverse[edge]
            if (edge, following) in banned or (round_again and len(leaving) > 1):
                continue
            graph.add_edge(edge, following, seconds=float(network.edge_seconds[following]))
    return graph


def _history_graph(network: Network) -> Any:
    plain = _turn_graph(_without_paths(network))
    paths = set(network.banned_paths())
    assert all(len(path) == 3 for path in paths)
    graph = nx.DiGraph()
    for before, edge in plain.edges:
        for following in plain.successors(edge):
            if (before, edge, following) not in paths:
                seconds = float(network.edge_seconds[following])
                graph.add_edge((before, edge), (edge, following), seconds=seconds)
        graph.add_node((before, edge))
    return graph


def _without_paths(network: Network) -> Network:
    from dataclasses import replace

    return replace(network, banned_path_indptr=np.zeros(1, np.int64))


def _onward(network: Network, graph: Any, edge: int) -> list[tuple[Any, int]]:
    """What may follow a start edge: nodes of the turn graph, and the edges they stand for."""
    if len(network.banned_path_indptr) > 1:
        return [(node, node[1]) for node in graph.nodes if node[0] == edge]
    return [(following, following) for following in graph.successors(edge)]


def _brute_seconds(network: Network, segment: int, fraction: float, limit: float) -> Any:
    """Time at the end of every edge driven whole, and at every node, the slow way."""
    graph = _turn_graph(network)
    ends: dict[int, float] = {}
    nodes = np.full(network.nodes, np.inf)
    starts = []
    for edge, rest in (
        (int(network.segment_edge_forward[segment]), 1 - fraction),
        (int(network.segment_edge_backward[segment]), fraction),
    ):
        if edge >= 0:
            starts.append((edge, rest * float(network.edge_seconds[edge])))
    for edge, key in starts:
        head = int(network.edge_head[edge])
        nodes[head] = min(nodes[head], key)
        for node, following in _onward(network, graph, edge):
            first = key + float(network.edge_seconds[following])
            lengths = nx.single_source_dijkstra_path_length(graph, node, weight="seconds")
            for state, more in lengths.items():
                other = state[1] if isinstance(state, tuple) else state
                ends[other] = min(ends.get(other, np.inf), first + more)
    for edge, key in ends.items():
        head = int(network.edge_head[edge])
        nodes[head] = min(nodes[head], key)
    nodes[nodes > limit] = np.inf
    return starts, ends, nodes


def _brute_pair(network: Network, a: tuple[int, float], b: tuple[int, float]) -> float:
    starts, ends, _ = _brute_seconds(network, *a, np.inf)
    best = np.inf
    for edge, rest in (
        (int(network.segment_edge_forward[b[0]]), 1 - b[1]),
        (int(network.segment_edge_backward[b[0]]), b[1]),
    ):
        if edge < 0:
            continue
        left = rest * float(network.edge_seconds[edge])
        best = min(best, ends.get(edge, np.inf) - left)
        for start, key in starts:
            if start == edge and key >= left - 1e-12:
                best = min(best, key - left)
    return best


@st.composite
def towns(draw: st.DrawFn) -> Network:
    """A ragged grid with one-way streets, missing pieces, and forbidden turns."""
    size = draw(st.integers(2, 4))
    roads = []
    for i, j in itertools.product(range(size), range(size)):
        for di, dj in ((1, 0), (0, 1)):
            if i + di < size and j + dj < size and draw(st.integers(0, 9)) > 1:
                a = (100.0 * i + 7.0 * j, 90.0 * j)
                b = (100.0 * (i + di) + 7.0 * (j + dj), 90.0 * (j + dj))
                if draw(st.booleans()):
                    a, b = b, a
                mps = draw(st.sampled_from([5.0, 8.0, 13.0, 21.0]))
                roads.append(Road(points=(a, b), oneway=draw(st.integers(0, 3)) == 0, mps=mps))
    if not roads:
        roads = [Road(points=((0.0, 0.0), (100.0, 0.0)))]
    network = build_network(roads)
    pairs = [
        (e, f)
        for e in range(network.edges)
        for f in range(
            network.indptr[network.edge_head[e]], network.indptr[network.edge_head[e] + 1]
        )
        if f != network.edge_reverse[e]
    ]
    chosen = draw(st.lists(st.sampled_from(pairs), max_size=6, unique=True)) if pairs else []
    from dataclasses import replace

    chosen.sort()
    triples = [
        (a, b, c)
        for (a, b), (also_b, c) in itertools.product(pairs, pairs)
        if b == also_b and len({a, b, c}) == 3
    ]
    long = draw(st.lists(st.sampled_from(triples), max_size=4, unique=True)) if triples else []
    return replace(
        network,
        banned_path_indptr=np.arange(0, 3 * len(long) + 1, 3),
        banned_path_edge=np.array(sorted(long), np.int32).ravel(),
        banned_from=np.array([a for a, _ in chosen], np.int32),
        banned_to=np.array([b for _, b in chosen], np.int32),
    )


def _spots(network: Network, seed: int, count: int) -> tuple[Any, list[tuple[int, float]]]:
    rng = np.random.default_rng(seed)
    segments = rng.integers(0, network.segments, count)
    fractions = rng.random(count)
    spots = [(int(g), float(f)) for g, f in zip(segments, fractions, strict=True)]
    return locate(network, segments, fractions), spots


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(towns(), st.integers(0, 10_000), st.sampled_from([20.0, 60.0, np.inf]))
def test_turn_restrictions_hold_as_by_brute_force(
    network: Network, seed: int, limit: float
) -> None:
    at, spots = _spots(network, seed, 2)
    got = compute_drive_seconds(network, at, limit_s=limit)
    for k, spot in enumerate(spots):
        np.testing.assert_allclose(got[k], _brute_seconds(network, *spot, limit)[2], atol=1e-6)


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(towns(), st.integers(0, 10_000))
def test_pairs_and_nearest_agree_with_brute_force(network: Network, seed: int) -> None:
    origins, starts = _spots(network, seed, 3)
    targets, ends = _spots(network, seed + 1, 4)
    want = np.array([[_brute_pair(network, a, b) for b in ends] for a in starts])
    got = compute_pair_seconds(network, origins, targets)
    np.testing.assert_allclose(got, want, atol=1e-6)
    turned = compute_pair_seconds(network, targets, origins, reverse=True)
    np.testing.assert_allclose(turned, want.T, atol=1e-6)
    index, seconds = nearest_k(network, origins, targets, k=3)
    np.testing.assert_allclose(seconds, np.sort(want, axis=1)[:, :3], atol=1e-6)
    for m, k in itertools.product(range(3), range(3)):
        if index[m, k] >= 0:
            assert want[m, index[m, k]] == pytest.approx(seconds[m, k], abs=1e-6)
        else:
            assert np.isinf(seconds[m, k])
    from_targets = compute_pair_seconds(network, targets, origins)
    _, back = nearest_k(network, origins, targets, k=2, reverse=True)
    np.testing.assert_allclose(back, np.sort(from_targets.T, axis=1)[:, :2], atol=1e-6)


@pytest.mark.property
@settings(max_examples=40, deadline=None)
@given(towns(), st.integers(0, 10_000))
def test_reverse_search_is_the_search_of_the_reversed_town(network: Network, seed: int) -> None:
    at, _ = _spots(network, seed, 1)
    back = compute_drive_seconds(network, at, reverse=True)[0]
    for node in range(network.nodes):
        leaving = np.arange(network.indptr[node], network.indptr[node + 1])
        best = np.inf
        for e in leaving:
            g, ahead = network.edge_segment[e], network.edge_forward[e]
            if network.edge_reverse[e] >= 0:
                continue
            start = locate(network, [g], [0.0 if ahead else 1.0])
            best = min(best, float(compute_pair_seconds(network, start, at)[0, 0]))
        assert back[node] <= best + 1e-6


def test_a_banned_left_is_driven_round_the_block(tmp_path: Path) -> None:
    town = cross(100.0)
    town.node(6, 100, 100)
    town.way(20, [2, 6], {"highway": "residential", "maxspeed": "36"})
    town.way(21, [6, 3], {"highway": "residential", "maxspeed": "36"})
    free = open_place(open_area(town.save(tmp_path, "a.osm")), use_cache=False).network
    town.ban(90, "no_left_turn", 14, 1, 13)
    held = open_place(open_area(town.save(tmp_path, "b.osm")), use_cache=False).network

    def drive(network: Network) -> float:
        west = int(np.flatnonzero(network.segment_way == 14)[0])
        at = locate(network, [west], [0.0])
        node = int(np.flatnonzero(network.node_id == 3)[0])
        return float(compute_drive_seconds(network, at)[0, node])

    assert drive(free) == pytest.approx(20.0, abs=0.05)
    assert drive(held) == pytest.approx(40.0, abs=0.05), "on, left, left and left again"


def test_a_two_way_road_is_left_both_ways_without_turning_round(tmp_path: Path) -> None:
    network = open_place(open_area(cross(500.0).save(tmp_path)), use_cache=False).network
    east = int(np.flatnonzero(network.segment_way == 12)[0])
    times = compute_drive_seconds(network, locate(network, [east], [0.2]))[0]
    by_id = {int(n): times[k] for k, n in enumerate(network.node_id)}
    assert by_id[1] == pytest.approx(10.0, abs=0.05)
    assert by_id[2] == pytest.approx(40.0, abs=0.05)
    assert by_id[3] == pytest.approx(60.0, abs=0.05)


def test_limits_and_threads_change_nothing_within(extract: Callable[[str], Place]) -> None:
    network = extract("demo").network
    at = snap(network, network.node_x[::50], network.node_y[::50])
    whole = compute_drive_seconds(network, at)
    part = compute_drive_seconds(network, at, limit_s=240.0)
    np.testing.assert_array_equal(part, np.where(whole <= 240.0, whole, np.inf))
    one = compute_reach(network, at, limit_s=240.0)
    two = compute_reach(network, at, limit_s=240.0, threads=2)
    np.testing.assert_array_equal(one.node, two.node)
    np.testing.assert_array_equal(one.seconds, two.seconds)


def test_other_seconds_may_be_given(extract: Callable[[str], Place]) -> None:
    network = extract("demo").network
    at = snap(network, network.node_x[:3], network.node_y[:3])
    slow = compute_drive_seconds(network, at, seconds=2.0 * network.edge_seconds)
    np.testing.assert_allclose(slow, 2.0 * compute_drive_seconds(network, at))


def test_a_search_that_goes_far_and_a_search_with_long_edges() -> None:
    roads = [
        Road(points=((0.0, 0.0), (400_000.0, 0.0)), mps=1.0),
        Road(points=((400_000.0, 0.0), (400_010.0, 0.0)), mps=10.0),
        Road(points=((0.0, 0.0), (0.0, 5.0)), mps=10.0),
    ]
    network = build_network(roads)
    times = compute_drive_seconds(network, locate(network, [2], [1.0]))[0]
    assert sorted(times.tolist()) == pytest.approx([0.0, 0.5, 400_000.5, 400_001.5])


@pytest.mark.parametrize("limit", [0.0, -5.0, float("nan")])
def test_a_limit_must_be_positive(limit: float, extract: Callable[[str], Place]) -> None:
    network = extract("demo").network
    at = snap(network, network.node_x[:1], network.node_y[:1])
    with pytest.raises(InputError, match="limit_s must be more than 0 s"):
        compute_drive_seconds(network, at, limit_s=limit)


def test_answers_too_large_are_refused(
    extract: Callable[[str], Place], monkeypatch: pytest.MonkeyPatch
) -> None:
    network = extract("demo").network
    at = snap(network, network.node_x[:1], network.node_y[:1])
    monkeypatch.setattr("capture.place.drive.MOST_LABELS", 1000)
    with pytest.raises(InputError, match="ask for fewer"):
        nearest_k(network, at, at, k=1)
    monkeypatch.setattr("capture.place.drive.MOST_DENSE", 10)
    with pytest.raises(InputError, match="use compute_reach"):
        compute_drive_seconds(network, at)


def test_wrong_arguments_are_refused(extract: Callable[[str], Place]) -> None:
    network = extract("demo").network
    at = snap(network, network.node_x[:1], network.node_y[:1])
    with pytest.raises(InputError, match="k must be 1 to 100"):
        nearest_k(network, at, at, k=0)
    with pytest.raises(InputError, match="positive numbers, one an edge"):
        compute_drive_seconds(network, at, seconds=np.zeros(network.edges))
    with pytest.raises(InputError, match="positive numbers, one an edge"):
        compute_drive_seconds(network, at, seconds=np.ones(3))


def test_points_off_the_road_and_no_targets(extract: Callable[[str], Place]) -> None:
    network = extract("demo").network
    far = snap(network, [1e6], [1e6], max_distance_m=10.0)
    near = snap(network, network.node_x[:1], network.node_y[:1])
    assert np.isinf(compute_drive_seconds(network, far)).all()
    assert np.isinf(compute_pair_seconds(network, far, near)).all()
    index, seconds = nearest_k(network, near, far, k=3)
    assert (index == -1).all()
    assert np.isinf(seconds).all()
    index, seconds = nearest_k(network, near, near.take([]), k=2)
    assert index.shape == (1, 2)
    assert (index == -1).all()


def test_more_targets_asked_than_there_are(tmp_path: Path) -> None:
    network = open_place(open_area(cross().save(tmp_path)), use_cache=False).network
    at = locate(network, [0, 1], [0.5, 0.5])
    index, seconds = nearest_k(network, at, at, k=4)
    assert index[:, 0].tolist() == [0, 1]
    assert seconds[:, 0].tolist() == [0.0, 0.0]
    assert (index[:, 2:] == -1).all()


def test_an_empty_cross_town_is_unreachable_across_water(tmp_path: Path) -> None:
    town = cross()
    town.node(60, 5000, 5000)
    town.node(61, 5100, 5000)
    town.way(99, [60, 61], {"highway": "residential"})
    assert isinstance(town, OsmText)
    network = open_place(open_area(town.save(tmp_path)), use_cache=False).network
    island = int(np.flatnonzero(network.segment_way == 99)[0])
    times = compute_drive_seconds(network, locate(network, [island], [0.5]))[0]
    assert np.isfinite(times).sum() == 2

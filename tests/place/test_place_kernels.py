"""The inner loops on their own: heap, outlines, room that runs out, times that are rounded."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import distance_transform_edt
from toy_roads import Road, build_network

from capture.basis import InputError
from capture.place import Place, compute_drive_seconds, compute_reach, locate, nearest_k, snap
from capture.place.bands import _trace
from capture.place.heap import pop, push
from capture.place.kernels import FAR
from capture.place.labels import sweep
from capture.place.outline_kernels import widen
from capture.place.positions import start_edges
from capture.place.search import search_graph
from capture.place.sweeper import MOST_STARTS, Sweeper, borrow_sweeper


@pytest.mark.property
@settings(deadline=None)
@given(st.lists(st.integers(-50, 50), max_size=40))
def test_a_heap_hands_back_in_order(keys: list[int]) -> None:
    held, items, size = np.empty(2, np.int64), np.empty(2, np.int64), 0
    for k, key in enumerate(keys):
        held, items, size = push(held, items, size, key, k)
    taken = []
    while size:
        key, item, size = pop(held, items, size)
        assert keys[item] == key
        taken.append(key)
    assert taken == sorted(keys)


@pytest.mark.property
@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.2, 0.8), st.floats(0.0, 4.0))
def test_cells_are_widened_as_by_a_distance_transform(
    seed: int, part: float, radius: float
) -> None:
    marked = np.random.default_rng(seed).random((17, 23)) < part * part * part
    if not marked.any():
        return
    far = distance_transform_edt(~marked)
    if (np.abs(far - radius) < 1e-9).any():
        return
    np.testing.assert_array_equal(widen(marked.astype(np.uint8), radius), far <= radius)


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.1, 0.9))
def test_outlines_hold_just_the_marked_cells(seed: int, part: float) -> None:
    """Squares of a metre in cells of an eighth: smoothing moves an outline by less than a cell."""
    rng = np.random.default_rng(seed)
    mask = np.zeros((14, 18), dtype=bool)
    mask[1:-1, 1:-1] = rng.random((12, 16)) < part
    row, column = np.nonzero(mask)
    want = shapely.union_all(shapely.box(column, row, column + 1, row + 1))
    big = np.kron(mask, np.ones((8, 8), dtype=bool))
    got = _trace(big, 0.0, 0.0, 1 / 8, 0.0)
    assert got.is_valid
    assert got.symmetric_difference(want).area <= 0.1 * want.length


def test_small_holes_are_filled_and_what_lies_in_them_is_not_doubled() -> None:
    mask = np.zeros((40, 40), dtype=bool)
    mask[5:35, 5:35] = True
    mask[15:25, 15:25] = False
    mask[19:21, 19:21] = True
    whole = _trace(mask, 0.0, 0.0, 10.0, 20_000.0)
    assert whole.area == pytest.approx(90_000.0)
    assert len(whole.geoms) == 1
    pierced = _trace(mask, 0.0, 0.0, 10.0, 5_000.0)
    assert pierced.area == pytest.approx(90_000.0 - 10_000.0 + 400.0)
    assert len(pierced.geoms) == 2


def test_a_queue_that_is_full_grows(extract: Callable[[str], Place]) -> None:
    network = extract("demo").network
    at = snap(network, network.node_x[:1], network.node_y[:1])
    graph = search_graph(network)
    _, edges, keys = start_edges(network, graph, at)
    limit = graph.limit_ticks(400.0)
    roomy, tight = Sweeper(graph), Sweeper(graph)
    tight.item = tight.item[:6].copy()
    for sweeper in (roomy, tight):
        sweeper.run(edges, keys, limit)
    assert len(tight.item) > 6
    np.testing.assert_array_equal(roomy.work.node["key"], tight.work.node["key"])
    assert roomy.found == tight.found > 100
    _, node, seconds = tight.run_rows(np.array([0, len(edges)]), edges, keys, limit)
    reach = compute_reach(network, at, limit_s=400.0)
    np.testing.assert_array_equal(node, reach.node)
    np.testing.assert_array_equal(seconds, reach.seconds)


def test_a_queue_of_the_nearest_that_is_full_grows(
    extract: Callable[[str], Place], monkeypatch: pytest.MonkeyPatch
) -> None:
    from capture.place import label_kernels

    network = extract("demo").network
    at = snap(network, network.node_x[::9], network.node_y[::9])
    want = nearest_k(network, at, at.take(np.arange(12)), k=3)
    whole, tries = label_kernels.sweep_labels, []

    def tight(roads: object, bucket: object, item: np.ndarray, *rest: object) -> bool:
        tries.append(len(item))
        return bool(whole(roads, bucket, item[: 30 * 4 ** len(tries)], *rest))

    monkeypatch.setattr(label_kernels, "sweep_labels", tight)
    got = nearest_k(network, at, at.take(np.arange(12)), k=3)
    assert len(tries) > 1
    np.testing.assert_array_equal(got[0], want[0])
    np.testing.assert_array_equal(got[1], want[1])


def test_the_memory_of_a_search_is_used_again_and_leaves_no_trace(
    extract: Callable[[str], Place],
) -> None:
    network = extract("demo").network
    at = snap(network, network.node_x[::40], network.node_y[::40])
    graph = search_graph(network)
    fresh = [compute_drive_seconds(network, at.take([k]), limit_s=300.0) for k in range(len(at))]
    with borrow_sweeper(graph) as one:
        pass
    with borrow_sweeper(graph) as two:
        assert one is two
        two.stamp = 2**31 - 3
    compute_drive_seconds(network, at, limit_s=50.0)
    again = compute_drive_seconds(network, at, limit_s=300.0)
    np.testing.assert_array_equal(np.concatenate(fresh), again)
    kept = len(graph.spare)
    with pytest.raises(RuntimeError), borrow_sweeper(graph):
        raise RuntimeError
    assert len(graph.spare) == kept - 1, "in no known state: thrown away"


def test_too_many_at_once_are_refused(extract: Callable[[str], Place]) -> None:
    network = extract("demo").network
    graph = search_graph(network)
    many = np.zeros(MOST_STARTS + 1, dtype=np.int64)
    with pytest.raises(InputError, match="split them"):
        Sweeper(graph).run(many.astype(np.int32), many, 5)
    far = replace(graph, most_ticks=2**58)
    none = np.empty(0, dtype=np.int64)
    with pytest.raises(InputError, match=r"with 1000 targets limit_s must be at most \d+ s"):
        sweep(far, none.astype(np.int32), none, none, most=1, sources=1000, limit_s=np.inf)
    sweep(far, none.astype(np.int32), none, none, most=1, sources=1000, limit_s=3600.0)


def test_times_are_rounded_by_less_than_said() -> None:
    """A thousand edges of odd lengths, the longest one of five minutes."""
    rng = np.random.default_rng(4)
    steps = rng.uniform(3.0, 90.0, 1000)
    steps[500] = 3000.0
    ends = np.concatenate([[0.0], np.cumsum(steps)])
    roads = [
        Road(points=((a, 0.0), (b, 0.0)), mps=10.0, oneway=True)
        for a, b in itertools.pairwise(ends)
    ]
    network = build_network(roads)
    took = compute_drive_seconds(network, locate(network, [0], [0.0]))[0]
    exact = np.cumsum(np.asarray(network.edge_seconds)[network.segment_edge_forward])
    got = took[network.segment_head]
    worst = float(np.abs(got - exact).max())
    assert 0 < worst < 1e-4
    assert worst <= 1001 * float(np.max(network.edge_seconds)) / 2**32
    assert search_graph(network).most_ticks < FAR

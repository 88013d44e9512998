"""Rays against plain shapely, and what must hold of any obstacle."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.seeing import find_clear, make_walls


def scene(rng: np.random.Generator, count: int) -> tuple[list[shapely.Polygon], np.ndarray]:
    """Turned boxes and triangles of random size and height."""
    shapes, heights = [], rng.uniform(2.0, 14.0, count)
    for _ in range(count):
        corners = int(rng.integers(3, 8))
        angle = np.sort(rng.uniform(0, 2 * np.pi, corners))
        size = rng.uniform(3, 30)
        x, y = rng.uniform(0, 600, 2)
        ring = np.column_stack([x + size * np.cos(angle), y + size * np.sin(angle)])
        shape = shapely.Polygon(ring)
        shapes.append(shape if shape.is_valid else shape.buffer(0))
    return shapes, heights


def walls_of(shapes: list[shapely.Polygon], heights: np.ndarray, cell_m: float = 32.0) -> object:
    ends, high, owner = [], [], []
    for i, shape in enumerate(shapes):
        ring = np.asarray(shape.exterior.coords)
        ends.append(np.hstack([ring[:-1], ring[1:]]))
        high += [heights[i]] * (len(ring) - 1)
        owner += [i] * (len(ring) - 1)
    flat = np.vstack(ends) if ends else np.zeros((0, 4))
    return make_walls(
        flat, np.column_stack([np.full(len(flat), -np.inf), high or np.zeros(0)]),
        np.array(owner, dtype=np.int64), cell_m=cell_m, buildings=len(shapes),
    )  # fmt: skip


def plain_clear(shapes: list[shapely.Polygon], heights: np.ndarray, eyes: np.ndarray,
                targets: np.ndarray) -> np.ndarray:  # fmt: skip
    """The same question asked of shapely, one ray after the other."""
    tree = shapely.STRtree(shapes)
    lines = shapely.linestrings(np.stack([eyes[:, :2], targets[:, :2]], axis=1))
    clear = np.ones(len(eyes), dtype=bool)
    ray, shape = tree.query(lines, predicate="intersects")
    parts = shapely.intersection(lines[ray], np.array(shapes, dtype=object)[shape])
    for n, i, part in zip(ray, shape, parts, strict=True):
        points = shapely.get_coordinates(part)
        along = targets[n, :2] - eyes[n, :2]
        share = ((points - eyes[n, :2]) @ along) / (along @ along)
        if (eyes[n, 2] + share * (targets[n, 2] - eyes[n, 2])).min() < heights[i]:
            clear[n] = False
    return clear


def rays(rng: np.random.Generator, count: int, shapes: list[shapely.Polygon]) -> tuple:
    """Random eyes and targets that stand in no building."""
    kept = []
    tree = shapely.STRtree(shapes)
    while sum(len(k) for k in kept) < 2 * count:
        spots = rng.uniform(-50, 650, (4 * count, 2))
        inside = tree.query(shapely.points(spots), predicate="within")[0]
        kept.append(np.delete(spots, np.unique(inside), axis=0))
    spots = np.vstack(kept)[: 2 * count]
    eyes = np.column_stack([spots[:count], np.full(count, 1.07)])
    targets = np.column_stack([spots[count:], rng.uniform(0.6, 9.0, count)])
    return eyes, targets


@pytest.mark.property
@pytest.mark.parametrize("seed", range(4))
def test_ten_thousand_rays_agree_with_shapely(seed: int) -> None:
    rng = np.random.default_rng(seed)
    shapes, heights = scene(rng, 120)
    eyes, targets = rays(rng, 2_500, shapes)
    walls = walls_of(shapes, heights, cell_m=float(rng.uniform(8, 80)))
    got = find_clear(walls, eyes, targets)
    expected = plain_clear(shapes, heights, eyes, targets)
    assert 0.05 < expected.mean() < 0.95
    assert (got == expected).all()


@pytest.mark.property
def test_a_ray_is_clear_both_ways() -> None:
    rng = np.random.default_rng(7)
    shapes, heights = scene(rng, 80)
    eyes, targets = rays(rng, 2_000, shapes)
    walls = walls_of(shapes, heights)
    assert (find_clear(walls, eyes, targets) == find_clear(walls, targets, eyes)).all()


@pytest.mark.property
@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_more_obstacles_never_clear_a_ray(seed: int) -> None:
    rng = np.random.default_rng(seed)
    shapes, heights = scene(rng, 40)
    eyes, targets = rays(rng, 200, shapes)
    few = find_clear(walls_of(shapes[:20], heights[:20]), eyes, targets)
    many = find_clear(walls_of(shapes, heights), eyes, targets)
    higher = find_clear(walls_of(shapes, heights + 5), eyes, targets)
    assert (many <= few).all()
    assert (higher <= many).all()


def test_cell_edges_miss_nothing() -> None:
    """Walls and rays that lie exactly on the lines of the grid."""
    wall = np.array([[32.0, 0.0, 32.0, 64.0]])
    for cell in (8.0, 16.0, 32.0, 64.0):
        walls = make_walls(wall, np.array([[-np.inf, 5.0]]), np.array([0]), cell_m=cell)
        eyes = np.array([[0.0, y, 1.0] for y in (0.0, 16.0, 32.0, 64.0)])
        targets = eyes + np.array([64.0, 0.0, 0.0])
        assert not find_clear(walls, eyes, targets).any()
        assert find_clear(walls, eyes - [0, 1e-3, 0], targets - [0, 1e-3, 0])[0]


def test_rays_beyond_the_grid_are_clear() -> None:
    walls = make_walls(
        np.array([[0.0, 0.0, 1.0, 0.0]]), np.array([[-np.inf, 5.0]]), np.array([0]), cell_m=10.0
    )
    far = np.array([[1e4, 1e4, 1.0], [-500.0, 50.0, 1.0]])
    assert find_clear(walls, far, far + np.array([100.0, 0.0, 0.0])).all()
    through = find_clear(walls, np.array([[0.5, -1e4, 1.0]]), np.array([[0.5, 1e4, 1.0]]))
    assert not through[0]


def test_a_bridge_hides_only_what_is_behind_its_deck() -> None:
    walls = make_walls(
        np.array([[50.0, -20.0, 50.0, 20.0]]), np.array([[4.9, 7.1]]), np.array([3]), cell_m=16.0
    )
    eye = np.repeat(np.array([[0.0, 0.0, 1.07]]), 3, axis=0)
    under, behind, over = ([100.0, 0.0, z] for z in (6.0, 11.0, 20.0))
    assert find_clear(walls, eye, np.array([under, behind, over])).tolist() == [True, False, True]


def test_own_obstacles_do_not_count() -> None:
    walls = make_walls(
        np.array([[5.0, -5.0, 5.0, 5.0]]), np.array([[-np.inf, 5.0]]), np.array([9]), cell_m=8.0
    )
    eye, target = np.array([[0.0, 0.0, 1.0]]), np.array([[10.0, 0.0, 1.0]])
    assert not find_clear(walls, eye, target)[0]
    own = find_clear(walls, eye, target, own_indptr=np.array([0, 1]), own=np.array([9]))
    assert own[0]


def test_no_walls_at_all() -> None:
    walls = make_walls(np.zeros((0, 4)), np.zeros((0, 2)), np.zeros(0, np.int64), cell_m=32.0)
    assert find_clear(walls, np.zeros((1, 3)), np.ones((1, 3))).all()

"""The gap-filling line against other ways to the same answer, and through trips."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from sklearn.linear_model import Ridge

from capture.basis import FitError
from capture.passing.fill import LOW_SIGMA, fit_fill, make_blocks, make_design, make_prior
from capture.passing.through import compute_through
from capture.passing.values import CLASSES, VALUES


def _town(rng, n):
    """Make rows of a design and counts from a stated line."""
    own = rng.integers(2, 7, n)
    extra = np.column_stack(
        [
            np.log(rng.integers(1, 5, n) / 2),
            rng.normal(0, 0.2, n),
            rng.normal(0, 1, n),
            np.zeros(n),
            np.zeros(n),
        ]
    )
    design = np.column_stack([np.ones(n), np.eye(len(CLASSES))[own], extra])
    mean, variance = make_prior()
    beta = mean + rng.normal(0, 1, len(mean)) * np.sqrt(variance)
    return design, beta


def test_it_is_ridge_at_one_spread():
    """With a spread all but fixed the posterior mean is ridge about the prior mean."""
    rng = np.random.default_rng(5)
    design, beta = _town(rng, 60)
    y = design @ beta + rng.normal(0, 0.3, 60)
    fixed = VALUES.override({"residual_log": 0.3})
    fit = fit_fill(design, y, np.zeros(60), ("x",) * design.shape[1], values=fixed)
    sigma = float(fit.sigmas[np.argmax(fit.weights)])
    assert fit.weights.max() > 0.99
    mean, variance = make_prior()
    scaled = design * np.sqrt(variance)
    ridge = Ridge(alpha=sigma**2, fit_intercept=False, tol=1e-12).fit(scaled, y - design @ mean)
    expected = mean + ridge.coef_ * np.sqrt(variance)
    np.testing.assert_allclose(fit.weights @ fit.means, expected, atol=0.01)


def test_the_mixture_is_what_numerical_integration_gives():
    rng = np.random.default_rng(6)
    design, beta = _town(rng, 25)
    noise = np.full(25, 0.1)
    y = design @ beta + rng.normal(0, 0.4, 25)
    fit = fit_fill(design, y, noise, ("x",) * design.shape[1])
    mean, variance = make_prior()
    grid = np.exp(np.linspace(math.log(LOW_SIGMA), math.log(1.5), 2001))
    entry = VALUES["residual_log"]
    width = (math.log(entry.high) - math.log(entry.low)) / (2 * 1.6448536269514722)
    log_post = np.array(
        [
            -0.5 * ((math.log(s) - math.log(entry.value)) / width) ** 2
            + _marginal(y, design, mean, variance, s**2 + noise**2)
            for s in grid
        ]
    )
    weight = np.exp(log_post - log_post.max())
    weight /= weight.sum()
    assert fit.weights @ np.log(fit.sigmas) == pytest.approx(weight @ np.log(grid), abs=0.02)


def _marginal(y, design, mean, variance, noise):
    cover = (design * variance) @ design.T + np.diag(noise)
    off = y - design @ mean
    sign, log_det = np.linalg.slogdet(cover)
    assert sign > 0
    return -0.5 * (off @ np.linalg.solve(cover, off) + log_det)


def test_without_counts_it_gives_the_table_with_its_spread():
    fit = fit_fill(np.zeros((0, 15)), np.zeros(0), np.zeros(0), ("x",) * 15)
    row = np.zeros((1, 15))
    row[0, [0, 1 + CLASSES.index("primary")]] = 1
    mean, sd = fit.predict(row)
    assert math.exp(mean[0]) == pytest.approx(VALUES.value("class_primary_veh_day"))
    entry = VALUES["class_primary_veh_day"]
    table_sd = math.log(entry.high / entry.low) / (2 * 1.6448536269514722)
    assert 0.85 < sd[0] / table_sd < 1.35
    assert "no count in the area" in fit.describe()


@pytest.mark.property
def test_coverage_when_towns_come_from_the_prior():
    rng = np.random.default_rng(7)
    inside, total = 0, 0
    for _ in range(120):
        design, beta = _town(rng, 45)
        entry = VALUES["residual_log"]
        width = math.log(entry.high / entry.low) / (2 * 1.6448536269514722)
        sigma = float(np.exp(math.log(entry.value) + width * rng.normal()))
        y = design @ beta + rng.normal(0, sigma, 45)
        fit = fit_fill(design[:25], y[:25], np.full(25, 0.01), ("x",) * 15)
        mean, sd = fit.predict(design[25:])
        inside += int((np.abs(y[25:] - mean) < 1.6449 * sd).sum())
        total += 20
    assert total >= 2000
    assert 0.88 < inside / total < 0.92


def test_bad_counts_are_refused():
    with pytest.raises(FitError, match="must be finite"):
        fit_fill(np.ones((1, 15)), np.array([np.inf]), np.ones(1), ("x",) * 15)


def test_blocks_lie_together_and_hold_all():
    rng = np.random.default_rng(1)
    x, y = rng.uniform(0, 1000, 80), rng.uniform(0, 1000, 80)
    blocks = make_blocks(x, y)
    assert set(blocks) == set(range(10))
    sizes = np.bincount(blocks)
    assert sizes.min() >= 4
    within = np.mean([np.hypot(x[blocks == b].std(), y[blocks == b].std()) for b in range(10)])
    assert within < 0.5 * np.hypot(x.std(), y.std())


#: uneven, so that no two ways are equally long
XS = (0, 187, 411, 593, 822, 1009)
YS = (0, 203, 377, 618, 801, 1013)
GRID = [
    *(({"highway": "residential", "name": f"E{y}"}, [(x, y) for x in XS]) for y in YS),
    *(
        (
            {"highway": "primary" if x == 411 else "residential", "name": f"N{x}"},
            [(x, y) for y in YS],
        )
        for x in XS
    ),
]


def test_through_trips_are_those_of_networkx(open_roads):
    import networkx as nx

    _, place = open_roads(GRID)
    network = place.network
    rng = np.random.default_rng(2)
    origins, ends = rng.uniform(0, 1, network.nodes), rng.uniform(0, 1, network.nodes)
    values = VALUES.override({"through_origins": 16})
    got = compute_through(network, origins, ends, values=values)
    graph = nx.DiGraph()
    for e in range(network.edges):
        u, v = int(network.edge_tail[e]), int(network.edge_head[e])
        graph.add_edge(
            u, v, weight=float(network.edge_seconds[e]), segment=int(network.edge_segment[e])
        )
    steps = (np.arange(16) + 0.5) / 16 * origins.sum()
    expected = np.zeros(network.segments)
    for origin in np.searchsorted(np.cumsum(origins), steps):
        reach, paths = nx.single_source_dijkstra(graph, int(origin))
        weight = {v: math.exp(-reach[v] / values.value("through_decay_s")) * ends[v] for v in reach}
        weight[int(origin)] = 0.0
        total = sum(weight.values())
        for v, path in paths.items():
            for a, b in pairwise(path):
                expected[graph[a][b]["segment"]] += weight[v] / total / 16
    np.testing.assert_allclose(got, expected, rtol=1e-9, atol=1e-12)
    main = np.array([n == "N411" for n in network.segment_name])
    assert got[main].mean() > 2 * got[~main].mean()


def test_design_rows(open_roads):
    _, place = open_roads(GRID)
    network = place.network
    design, names = make_design(network, np.zeros(network.segments))
    assert design.shape == (network.segments, len(names))
    assert (design[:, 1 : 1 + len(CLASSES)].sum(axis=1) == 1).all()
    assert np.isfinite(design).all()

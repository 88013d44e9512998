"""Is the mixture exact: against brute force, refits and numerical integration?"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from capture.basis import FitError, InputError, Worlds
from capture.share import make_prior
from capture.share.left_out import leave_out_rows
from capture.share.mixture import Mixture, Prior, Rows, fit_mixture
from capture.share.normals import mixture_cdf, mixture_quantile
from capture.share.truncate import BoxMixture, _cut_normal, draw_box


def make_rows(seed: int = 0, *, count: int = 12, width: int = 4) -> tuple[Rows, Prior]:
    rng = np.random.default_rng(seed)
    nodes = 16
    prior = Prior(
        mean=rng.normal(size=width),
        sd=np.append(rng.uniform(0.2, 0.6, width - 1), 0.0),
        sigma=np.geomspace(0.1, 1, nodes),
        log_weight=np.full(nodes, -np.log(nodes)),
        group_sd=0.25,
    )
    rows = Rows.of(
        rng.normal(size=(count, width)),
        rng.normal(size=count),
        variance=rng.uniform(0, 0.1, count),
        group=rng.integers(0, 5, count),
        weight=rng.choice([1.0, 2.0, 0.5], count),
    )
    return rows, prior


def solve_densely(rows: Rows, prior: Prior) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return weights, means and covariances by the textbook's dense formulas."""
    logs, means, covariances = [], [], []
    for sigma, level in zip(prior.sigma, prior.log_weight, strict=True):
        spread = sigma**2 + rows.variance
        same = rows.group[:, None] == rows.group
        own = np.diag(spread / rows.weight) + prior.group_sd**2 * same
        before = np.diag(prior.sd**2)
        whole = own + rows.design @ before @ rows.design.T
        error = rows.target - rows.design @ prior.mean
        gain = before @ rows.design.T @ np.linalg.inv(whole)
        means.append(prior.mean + gain @ error)
        covariances.append(before - gain @ rows.design @ before)
        likely = stats.multivariate_normal(cov=whole).logpdf(error)
        power = 0.5 * ((1 - rows.weight) * np.log(2 * np.pi * spread)).sum()
        logs.append(level + likely + power - 0.5 * np.log(rows.weight).sum())
    weight = np.exp(np.array(logs) - max(logs))
    return weight / weight.sum(), np.array(means), np.array(covariances)


def test_mixture_against_dense_formulas() -> None:
    rows, prior = make_rows()
    ours = fit_mixture(rows, prior)
    weight, mean, covariance = solve_densely(rows, prior)
    np.testing.assert_allclose(ours.weight, weight, rtol=1e-9)
    np.testing.assert_allclose(ours.mean, mean, rtol=1e-10)
    root = ours.spread_root()
    np.testing.assert_allclose(root @ np.swapaxes(root, 1, 2), covariance, atol=1e-12)


def test_no_rows_give_the_prior() -> None:
    _, prior = make_rows()
    ours = fit_mixture(Rows.of(np.zeros((0, 4)), np.zeros(0)), prior)
    np.testing.assert_allclose(ours.weight, np.exp(prior.log_weight))
    np.testing.assert_allclose(ours.coefficient_covariance(), np.diag(prior.sd**2), atol=1e-15)


def test_weight_is_the_power_of_the_likelihood() -> None:
    rows, prior = make_rows()
    plain = Rows.of(rows.design, rows.target, variance=rows.variance, group=rows.group)
    twice = plain.take([*range(12), 3, 5, 5])
    power = np.ones(12)
    power[3], power[5] = 2, 3
    heavy = Rows.of(
        rows.design, rows.target, variance=rows.variance, group=rows.group, weight=power
    )
    a, b = fit_mixture(twice, prior), fit_mixture(heavy, prior)
    np.testing.assert_allclose(a.log_weight, b.log_weight, atol=1e-10)
    np.testing.assert_allclose(a.mean, b.mean, rtol=1e-10)
    power = np.ones(12)
    power[[0, 7]] = 0
    gone = Rows.of(rows.design, rows.target, variance=rows.variance, group=rows.group, weight=power)
    left = plain.take(np.flatnonzero(power))
    np.testing.assert_allclose(
        fit_mixture(gone, prior).mean, fit_mixture(left, prior).mean, rtol=1e-12
    )


@pytest.mark.parametrize(
    "blocks",
    [
        [[row] for row in range(12)],
        [[0, 3, 5], [1, 2], [6, 7, 8, 9, 10, 11], [4]],
    ],
    ids=["sites", "towns"],
)
def test_leaving_out_is_refitting(blocks: list[list[int]]) -> None:
    rows, prior = make_rows()
    told = leave_out_rows(rows, fit_mixture(rows, prior), [np.array(block) for block in blocks])
    for block in blocks:
        kept = rows.take(np.setdiff1d(np.arange(12), block))
        refit = fit_mixture(kept, prior)
        for row in block:
            np.testing.assert_allclose(told.log_weight[:, row], refit.log_weight, atol=1e-10)
            np.testing.assert_allclose(told.coefficient[row], refit.coefficient_mean(), rtol=1e-10)
            mean, sd = predict_row(rows, row, kept, prior, refit)
            np.testing.assert_allclose(told.mean[:, row], mean, rtol=1e-9, atol=1e-12)
            np.testing.assert_allclose(told.sd[:, row], sd, rtol=1e-9)


def predict_row(
    rows: Rows, row: int, kept: Rows, prior: Prior, refit: Mixture
) -> tuple[np.ndarray, np.ndarray]:
    """Tell one row from others with its group's effect as a column of its own."""
    marks = (kept.group[:, None] == rows.group[row]).astype(float)
    wide = Rows.of(
        np.column_stack([kept.design, marks]),
        kept.target,
        variance=kept.variance,
        group=np.where(marks[:, 0] > 0, 100 + np.arange(len(kept.target)), kept.group),
        weight=kept.weight,
    )
    means, sds = [], []
    for node, sigma in enumerate(prior.sigma):
        spread = sigma**2 + wide.variance
        own = marks[:, 0] == 0
        same = (kept.group[:, None] == kept.group) & own & own[:, None]
        whole = np.diag(spread / wide.weight) + prior.group_sd**2 * same
        before = np.diag(np.append(prior.sd, prior.group_sd) ** 2)
        inner = whole + wide.design @ before @ wide.design.T
        gain = before @ wide.design.T @ np.linalg.inv(inner)
        mean = np.append(prior.mean, 0.0)
        mean = mean + gain @ (wide.target - wide.design @ mean)
        covariance = before - gain @ wide.design @ before
        here = np.append(rows.design[row], 1.0)
        means.append(here @ mean)
        sds.append(np.sqrt(here @ covariance @ here + sigma**2 + rows.variance[row]))
        assert mean[:-1] == pytest.approx(refit.mean[node], rel=1e-9)
    return np.array(means), np.array(sds)


def test_predictive_against_numerical_integration() -> None:
    rng = np.random.default_rng(2)
    x, v = np.array([0.4, -1.0, 1.3]), np.array([0.0, 0.04, 0.01])
    y = 0.5 * x + 0.3 * rng.normal(size=3)
    prior = make_prior(["pull"])
    prior = Prior(
        mean=np.array([0.2]),
        sd=np.array([0.4]),
        sigma=prior.sigma,
        log_weight=prior.log_weight,
    )
    mixture = fit_mixture(Rows.of(x[:, None], y, variance=v), prior)
    mean, sd = mixture.predict_parts(np.array([[0.8]]), new_group=False)

    def joint(log_sigma: float, below: float | None) -> float:
        """Integrate the coefficient on a grid; multiply by P(new target < below)."""
        sigma = np.exp(log_sigma)
        beta = np.linspace(-2.5, 2.9, 2001)
        density = stats.norm.pdf(beta, 0.2, 0.4)
        for place in range(3):
            density = density * stats.norm.pdf(
                y[place], x[place] * beta, np.sqrt(sigma**2 + v[place])
            )
        if below is not None:
            density = density * stats.norm.cdf(below, 0.8 * beta, sigma)
        whole = np.trapezoid(density, beta) if hasattr(np, "trapezoid") else np.trapz(density, beta)
        return float(whole * stats.norm.pdf(log_sigma, np.log(0.25), 0.4))

    limits = (np.log(0.1), np.log(1.0))
    whole = quad(joint, *limits, args=(None,), epsabs=1e-12)[0]
    for below in (-0.4, 0.1, 0.5, 1.2):
        theirs = quad(joint, *limits, args=(below,), epsabs=1e-12)[0] / whole
        ours = float(mixture_cdf(below, mixture.weight, mean[:, 0], sd[:, 0]))
        # the nodes are a midpoint rule whose ends hold little weight
        assert ours == pytest.approx(theirs, abs=5e-4)


def test_predictive_is_student_s_t_when_nothing_is_believed() -> None:
    rng = np.random.default_rng(3)
    x = np.column_stack([np.ones(9), rng.normal(size=9)])
    y = x @ [1.0, 2.0] + 0.3 * rng.normal(size=9)
    sigma = np.geomspace(0.005, 60, 3000)
    prior = Prior(
        mean=np.zeros(2),
        sd=np.full(2, np.inf),
        sigma=sigma,
        log_weight=np.full(3000, -np.log(3000)),
    )
    mixture = fit_mixture(Rows.of(x, y), prior)
    new = np.array([[1.0, 0.7]])
    mean, sd = mixture.predict_parts(new, new_group=False)
    inverse = np.linalg.inv(x.T @ x)
    centre = inverse @ x.T @ y
    spread = np.sqrt(((y - x @ centre) ** 2).sum() / 7)
    width = spread * np.sqrt(1 + new[0] @ inverse @ new[0])
    for share in (0.05, 0.3, 0.5, 0.95):
        theirs = stats.t(7, loc=new[0] @ centre, scale=width).ppf(share)
        ours = mixture_quantile(share, mixture.weight, mean[:, 0], sd[:, 0])
        assert float(ours) == pytest.approx(theirs, abs=2e-6)


def test_what_cannot_be_fitted_is_refused() -> None:
    _, prior = make_rows()
    with pytest.raises(InputError, match="one column a coefficient"):
        fit_mixture(Rows.of(np.zeros((2, 3)), [0.0, 1.0]), prior)
    with pytest.raises(InputError, match="target must be finite"):
        fit_mixture(Rows.of(np.zeros((2, 4)), [0.0, np.nan]), prior)
    with pytest.raises(InputError, match="0 or more"):
        fit_mixture(Rows.of(np.zeros((2, 4)), [0.0, 1.0], weight=[1, -1]), prior)
    loose = Prior(mean=np.zeros(2), sd=np.full(2, np.inf), sigma=np.ones(1), log_weight=np.zeros(1))
    with pytest.raises(FitError, match="undetermined"):
        fit_mixture(Rows.of([[1.0, 2.0], [2.0, 4.0], [3.0, 6.0]], [1.0, 2.0, 3.1]), loose)


def make_box(low: float, *, high: float = np.inf) -> BoxMixture:
    covariance = np.array([[1.0, 0.7], [0.7, 2.0]])
    factor = np.linalg.inv(np.linalg.cholesky(covariance))
    return BoxMixture(
        log_weight=np.log([0.3, 0.7]),
        mean=np.array([[0.0, 0.0], [1.0, -1.0]]),
        factor=np.stack([factor, factor / 2]),
        low=np.array([low, -np.inf]),
        high=np.array([high, 3.0]),
    )


@pytest.mark.parametrize("low", [-np.inf, 0.5, 6.5])
def test_box_draws_against_plain_sampling(low: float) -> None:
    box = make_box(low)
    rng = np.random.default_rng(7)
    many = 2_000_000
    node = (rng.random(many) > 0.3).astype(int)
    root = np.linalg.inv(box.factor)
    plain = box.mean[node] + np.einsum("nij,nj->ni", root[node], rng.normal(size=(many, 2)))
    inside = ((plain >= box.low) & (plain <= box.high)).all(axis=1)
    drawn = draw_box(box, Worlds(seed=1, draws=4000), quantity="test")
    assert (drawn.value >= box.low).all()
    assert (drawn.value <= box.high).all()
    kept = plain[inside]
    assert drawn.rejected_share == pytest.approx(1 - inside.mean(), abs=0.02)
    for column in (0, 1):
        assert stats.ks_2samp(drawn.value[:, column], kept[:, column]).pvalue > 1e-3
    assert (drawn.walked > 0) == (low > 6)


@pytest.mark.parametrize("low", [0.5, 6.0, 8.0])
def test_more_draws_begin_with_the_same(low: float) -> None:
    box = make_box(low)
    few = draw_box(box, Worlds(draws=50), quantity="test").value
    many = draw_box(box, Worlds(draws=300), quantity="test").value
    np.testing.assert_allclose(few, many[:50], rtol=1e-9)


def test_cut_normal_far_in_the_tails() -> None:
    uniform = (np.arange(2000) + 0.5) / 2000
    for low, high in ((8.0, np.inf), (-np.inf, -30.0), (2.0, 2.1), (-1.0, 1.0)):
        drawn = _cut_normal(np.zeros(2000), np.ones(2000), (low, high), uniform)
        theirs = stats.truncnorm(low, high).ppf(uniform)
        np.testing.assert_allclose(drawn, theirs, rtol=1e-6, atol=1e-9)


@pytest.mark.property
def test_the_order_of_rows_does_not_matter() -> None:
    for seed in range(20):
        rows, prior = make_rows(seed, count=9)
        mixed = rows.take(np.random.default_rng(seed).permutation(9))
        a, b = fit_mixture(rows, prior), fit_mixture(mixed, prior)
        np.testing.assert_allclose(a.log_weight, b.log_weight, atol=1e-9)
        np.testing.assert_allclose(a.mean, b.mean, rtol=1e-8, atol=1e-10)


def test_many_sites_and_operators_against_their_columns_written_out() -> None:
    """A thousand sites of two hundred operators, each operator as a column of its own."""
    rng = np.random.default_rng(0)
    count, width, groups, sigma = 1000, 20, 200, 0.3
    design, group = rng.normal(size=(count, width)), rng.integers(0, groups, count)
    target = design @ rng.normal(0, 0.2, width) + rng.normal(0, 0.25, groups)[group]
    target = target + sigma * rng.normal(size=count)
    variance = rng.uniform(0, 0.05, count)
    prior = Prior(
        mean=np.zeros(width),
        sd=np.full(width, 0.5),
        sigma=np.array([sigma]),
        log_weight=np.zeros(1),
        group_sd=0.25,
    )
    ours = fit_mixture(Rows.of(design, target, variance=variance, group=group), prior)
    marks = (group[:, None] == np.arange(groups)).astype(float)
    side = 1 / np.sqrt(sigma**2 + variance)
    wide = np.vstack(
        [
            side[:, None] * np.column_stack([design, marks]),
            np.diag(np.append(np.full(width, 2.0), np.full(groups, 4.0))),
        ]
    )
    aim = np.append(side * target, np.zeros(width + groups))
    theirs = np.linalg.lstsq(wide, aim, rcond=None)[0][:width]
    np.testing.assert_allclose(ours.mean[0], theirs, rtol=1e-9, atol=1e-12)

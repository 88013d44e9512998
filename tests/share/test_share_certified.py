"""Does the regression agree with certified figures and with other libraries?"""

from __future__ import annotations

import csv
import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from sklearn.linear_model import LinearRegression, Ridge
from sklearn.utils.estimator_checks import parametrize_with_checks

from capture.share.estimator import MixtureRegressor
from capture.share.mixture import Prior, Rows, fit_mixture

HERE = Path(__file__).parent
PUBLISHED = HERE.parent / "published" / "share.csv"
ROWS = list(csv.DictReader(PUBLISHED.read_text(encoding="utf-8").splitlines()))


@cache
def fit_certified(name: str) -> tuple[np.ndarray, np.ndarray, float]:
    """Return estimates, their sds and the residual sd in the limit of no prior at all."""
    table = np.loadtxt(HERE / "data" / f"{name}.csv", delimiter=",", skiprows=1)
    design = np.column_stack([np.ones(len(table)), table[:, 1:]])
    width = design.shape[1]

    def fit(sigma: float) -> Any:
        prior = Prior(
            mean=np.zeros(width),
            sd=np.full(width, np.inf),
            sigma=np.array([sigma]),
            log_weight=np.zeros(1),
        )
        return fit_mixture(Rows.of(design, table[:, 0]), prior)

    left = table[:, 0] - design @ fit(1.0).mean[0]
    residual_sd = float(np.sqrt((left**2).sum() / (len(table) - width)))
    own = fit(residual_sd)
    return own.mean[0], np.sqrt(np.diag(own.coefficient_covariance())), residual_sd


@pytest.mark.published
@pytest.mark.parametrize("row", ROWS, ids=[f"{row['check']}-{row['inputs']}" for row in ROWS])
def test_certified_figure(row: dict[str, str]) -> None:
    asked = json.loads(row["inputs"])
    estimate, sd, residual_sd = fit_certified(row["check"])
    got = {
        "estimate": lambda: estimate[asked["coefficient"]],
        "sd": lambda: sd[asked["coefficient"]],
        "residual_sd": lambda: residual_sd,
    }[asked["of"]]()
    assert got == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))


@pytest.fixture
def data() -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(4)
    x = rng.normal(size=(30, 5))
    return x, x @ rng.normal(size=5) + 1.5 + 0.3 * rng.normal(size=30)


def test_ridge_is_the_case_of_one_sigma(data: tuple[np.ndarray, np.ndarray]) -> None:
    x, y = data
    sigma, sd = 0.37, 0.6
    ours = MixtureRegressor(prior_sd=sd, sigma_least=sigma, sigma_most=sigma, nodes=1).fit(x, y)
    ridge = Ridge(alpha=sigma**2 / sd**2, solver="svd").fit(x, y)
    np.testing.assert_allclose(ours.coef_, ridge.coef_, rtol=1e-11)
    assert ours.intercept_ == pytest.approx(ridge.intercept_, rel=1e-11)


def test_each_part_is_a_ridge(data: tuple[np.ndarray, np.ndarray]) -> None:
    x, y = data
    ours = MixtureRegressor(prior_sd=0.6, nodes=7).fit(x, y)
    for sigma, mean in zip(ours.mixture_.prior.sigma, ours.mixture_.mean, strict=True):
        ridge = Ridge(alpha=sigma**2 / 0.36, solver="svd").fit(x, y)
        np.testing.assert_allclose(mean[1:], ridge.coef_, rtol=1e-10)


def test_least_squares_is_the_case_of_no_prior(data: tuple[np.ndarray, np.ndarray]) -> None:
    x, y = data
    ours = MixtureRegressor(prior_sd=np.inf).fit(x, y)
    plain = LinearRegression().fit(x, y)
    np.testing.assert_allclose(ours.coef_, plain.coef_, rtol=1e-11)
    np.testing.assert_allclose(ours.predict(x), plain.predict(x), rtol=1e-11)


def test_standard_errors_of_weighted_rows(data: tuple[np.ndarray, np.ndarray]) -> None:
    x, y = data
    variance = np.random.default_rng(1).uniform(0.02, 0.4, len(y))
    sigma = 0.3
    theirs = sm.WLS(y, sm.add_constant(x), weights=1 / (sigma**2 + variance)).fit()
    prior = Prior(
        mean=np.zeros(6), sd=np.full(6, np.inf), sigma=np.array([sigma]), log_weight=np.zeros(1)
    )
    ours = fit_mixture(Rows.of(sm.add_constant(x), y, variance=variance), prior)
    np.testing.assert_allclose(ours.mean[0], theirs.params, rtol=1e-11)
    np.testing.assert_allclose(
        ours.coefficient_covariance(), theirs.cov_params(scale=1.0), rtol=1e-10
    )


def test_group_effects_are_a_random_intercept(data: tuple[np.ndarray, np.ndarray]) -> None:
    x, y = data
    group = np.arange(len(y)) % 4
    t, sigma = 0.5, 0.3
    covariance = sigma**2 * np.eye(len(y)) + t**2 * (group[:, None] == group)
    theirs = sm.GLS(y, sm.add_constant(x), sigma=covariance).fit()
    prior = Prior(
        mean=np.zeros(6),
        sd=np.full(6, np.inf),
        sigma=np.array([sigma]),
        log_weight=np.zeros(1),
        group_sd=t,
    )
    ours = fit_mixture(Rows.of(sm.add_constant(x), y, group=group), prior)
    np.testing.assert_allclose(ours.mean[0], theirs.params, rtol=1e-10)
    np.testing.assert_allclose(
        ours.coefficient_covariance(), theirs.cov_params(scale=1.0), rtol=1e-9
    )


# every check of the installed scikit-learn holds; none is excepted
@parametrize_with_checks([MixtureRegressor()])
def test_estimator_manners(estimator: MixtureRegressor, check: Any) -> None:
    check(estimator)

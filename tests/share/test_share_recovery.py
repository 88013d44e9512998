"""Does the regression find the rule that the demo's known sites were drawn from?"""

from __future__ import annotations

import importlib.util
import sys
import tomllib
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from capture.basis import FORMATS, Worlds
from capture.share import CORE, ShareFit, check_known_sites, fit_share

DEMO = Path(__file__).parents[2] / "data_public" / "demo"


@pytest.fixture(scope="module")
def demo_known() -> ModuleType:
    spec = importlib.util.spec_from_file_location("demo_known", DEMO / "demo_known.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.path.insert(0, str(DEMO))
    try:
        spec.loader.exec_module(module)
    finally:
        sys.path.remove(str(DEMO))
    return module


def find_covered(fit: ShareFit, truth: dict, worlds: Worlds) -> tuple[list[bool], list[bool]]:
    """Say which true multipliers lie in their 90 % intervals: factors, and formats' levels."""
    value = fit.draw(worlds).value
    factors = value[:, -len(CORE) :]
    low, high = np.quantile(factors, [0.05, 0.95], axis=0)
    true = np.array([truth["beta"][name] for name in CORE])
    levels = value[:, :1] + value[:, 1 : 1 + len(FORMATS)]
    least, most = np.quantile(levels, [0.05, 0.95], axis=0)
    level = np.array([truth["area_log"] + truth["format_log"][name] for name in FORMATS])
    return list((low <= true) & (true <= high)), list((least <= level) & (level <= most))


def test_two_thirds_of_the_demo_s_true_multipliers_are_inside() -> None:
    truth = tomllib.loads((DEMO / "true_model.toml").read_text(encoding="utf-8"))
    known = check_known_sites(pd.read_csv(DEMO / "known_sites.csv"))
    fit = fit_share(known)
    factors, levels = find_covered(fit, truth, Worlds(draws=2000))
    assert len(known) == 40
    assert np.mean(factors) >= 2 / 3
    assert np.mean(levels) >= 2 / 3


def test_coverage_over_two_hundred_towns(demo_known: ModuleType) -> None:
    factors: list[bool] = []
    levels: list[bool] = []
    for seed in range(1000, 1200):
        table, truth = demo_known.make_known_sites(seed)
        fit = fit_share(check_known_sites(table))
        found = find_covered(fit, truth, Worlds(seed=seed, draws=400))
        factors += found[0]
        levels += found[1]
    assert 0.86 <= np.mean(factors) <= 0.94
    assert 0.86 <= np.mean(levels) <= 0.94


def test_more_sites_tell_more(demo_known: ModuleType) -> None:
    table, _ = demo_known.make_known_sites(5, sites=200)
    known = check_known_sites(table)
    widths = []
    for count in (0, 20, 200):
        mixture = fit_share(known.take(range(count))).mixture
        widths.append(np.sqrt(np.diag(mixture.coefficient_covariance()))[-len(CORE) :])
    assert (widths[0] > widths[1]).all()
    assert (widths[1] > widths[2]).all()

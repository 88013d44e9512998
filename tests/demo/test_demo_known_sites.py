"""Do the known sites follow the rule that is written beside them?"""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

DEMO = Path(__file__).parents[2] / "data_public" / "demo"


def _load(name):
    spec = importlib.util.spec_from_file_location(name, DEMO / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


make_demo = _load("make_demo")
rule = _load("demo_known")


def _residual(table, truth):
    operator = np.array([truth["operator_log"][name] for name in table["operator"]])
    cars = np.log(table["cars_per_year"] / (365 * table["aadt_veh_day"]))
    return cars - rule.compute_log_share(table, truth) - operator


def test_residuals_have_the_spread_that_is_told():
    scaled = []
    for seed in range(150):
        table, truth = make_demo.make_known_sites(seed)
        spread = np.hypot(truth["sigma"], table["aadt_cv"])
        scaled.append((_residual(table, truth) / spread).to_numpy())
    z = np.concatenate(scaled)
    assert abs(z.mean()) < 4 / np.sqrt(z.size)
    assert z.std() == pytest.approx(1.0, abs=0.05)
    assert (np.abs(z) < 1.645).mean() == pytest.approx(0.90, abs=0.02)


def test_truths_follow_the_priors_with_their_signs():
    drawn = [make_demo.make_known_sites(seed)[1]["beta"] for seed in range(200)]
    for name, (_, mean, sd, sign) in rule.FACTORS.items():
        values = np.array([beta[name] for beta in drawn])
        assert (values * sign > 0).all()
        assert abs(values.mean() - mean) < 0.5 * sd


@pytest.mark.parametrize("seed", range(0, 200, 20))
def test_rows_are_sound(seed):
    table, _ = make_demo.make_known_sites(seed)
    assert len(table) == 40
    assert table["id"].is_unique
    assert set(table["format"]) <= set(rule.BASE_SHARE)
    assert (table["cars_per_year"] > 0).all()
    assert table["sight"].between(0, 1).all()
    assert table["passed_first_share"].between(0, 1).all()
    assert table["delay_s"].between(0, 120).all()
    busiest = table["cars_per_year"] / 365 * 0.3
    assert (table["line_cars_per_hour"] >= busiest).all()


def test_committed_rows_are_those_of_the_seed():
    import io

    import pandas as pd

    table, truth = make_demo.make_known_sites(make_demo.DEFAULT_SEED)
    text = (DEMO / "known_sites.csv").read_text(encoding="utf-8")
    pd.testing.assert_frame_equal(pd.read_csv(io.StringIO(text)), table, check_dtype=False)
    assert rule.write_truth(truth, make_demo.DEFAULT_SEED) == (DEMO / "true_model.toml").read_text(
        encoding="utf-8"
    )


def test_seeds_differ():
    first, second = (make_demo.make_known_sites(seed)[0] for seed in (1, 2))
    assert not np.array_equal(first["cars_per_year"], second["cars_per_year"])

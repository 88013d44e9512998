"""Does the fit keep signs, full lines, operators, fixed coefficients, keys and its own file?"""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from capture.basis import FORMATS, CaptureError, DataError, InputError, Worlds
from capture.share import (
    CORE,
    FACTORS,
    VALUES,
    FactorTable,
    KnownSites,
    ShareFit,
    fit_share,
    load_known_sites,
    make_factor_table,
)

DEMO = Path(__file__).parents[2] / "data_public" / "demo" / "known_sites.csv"
FIRST = 1 + len(FORMATS)


@pytest.fixture(scope="module")
def known() -> KnownSites:
    return load_known_sites(DEMO)


@pytest.fixture(scope="module")
def fit(known: KnownSites) -> ShareFit:
    return fit_share(known)


def make_table(**changes: float) -> FactorTable:
    x = np.array([[changes.get(name, FACTORS[name].reference) for name in CORE]])
    return FactorTable(ids=("site",), names=CORE, x=x, missing=np.zeros(x.shape, dtype=bool))


def test_draws_respect_signs_and_say_what_was_rejected(fit: ShareFit) -> None:
    worlds = Worlds(draws=3000)
    own = fit.draw(worlds)
    assert (own.value[:, FIRST:] * fit.sign >= 0).all()
    bare = replace(fit, keep_signs=False).draw(worlds)
    broken = (bare.value[:, FIRST:] * fit.sign < 0).any(axis=1).mean()
    assert broken > 0.1
    assert own.rejected_share == pytest.approx(broken, abs=0.03)
    assert bare.rejected_share == 0


def test_another_rival_never_raises_the_share(fit: ShareFit) -> None:
    worlds = Worlds(draws=500)
    few = fit.predict(make_table(pull=1.0), worlds).rate
    many = fit.predict(make_table(pull=1.3), worlds).rate
    assert (many <= few).all()


def test_a_full_line_against_weighted_draws(known_maker: Callable) -> None:
    """Rows at their line's capacity: the same posterior by weighting draws of the other rows."""
    x = np.tile([FACTORS[name].reference for name in CORE], (5, 1))
    log_share = np.log(0.008) + np.array([0.1, -0.1, 0.6, 0.9, 0.0])
    names = ["Amber", "Beech", "Amber", "", "Beech"]
    plain = known_maker(x, log_share, np.full(5, 0.1), names, ["exterior"] * 5)
    full = replace(plain, at_capacity=np.array([False, False, True, True, False]))
    worlds = Worlds(seed=3, draws=4000)
    fit = fit_share(full, keep_signs=False)
    level = fit.draw(worlds).value[:, :2].sum(axis=1)
    # brute force: draws told by the three other rows, weighted by the chance of the demand
    others = fit_share(full.leave_out(["S2", "S3"]), keep_signs=False)
    own = others.draw(Worlds(seed=4, draws=100_000))
    base = own.value[:, :2].sum(axis=1)
    variance = own.sigma**2 + 0.01
    seen = np.array([0.1, -0.1, 0.6, 0.9, 0.0])
    tell = 1 / (1 / 0.0625 + 1 / variance)
    amber = tell * (seen[0] - base) / variance
    first = stats.norm.sf(0.6, base + amber, np.sqrt(variance + tell))
    second = stats.norm.sf(0.9, base, np.sqrt(variance + 0.0625))
    weight = first * second / (first * second).sum()
    assert level.mean() == pytest.approx(weight @ base, abs=0.015)
    spread = np.sqrt(weight @ (base - weight @ base) ** 2)
    assert level.std() == pytest.approx(spread, rel=0.05)
    # demand above what was washed lifts the level more than the same rows taken as they are
    assert level.mean() > base.mean() + 0.1
    assert fit.draw(Worlds(draws=100)).rejected_share > 0.5


def test_many_full_lines_take_the_walk(known_maker: Callable) -> None:
    x = np.tile([FACTORS[name].reference for name in CORE], (12, 1))
    names = [f"Op {i}" for i in range(12)]
    plain = known_maker(x, np.full(12, np.log(0.016)), np.zeros(12), names, ["exterior"] * 12)
    fit = fit_share(replace(plain, at_capacity=np.ones(12, dtype=bool)))
    own = fit.draw(Worlds(draws=200))
    assert own.walked > 100
    assert own.rejected_share > 0.99
    assert (own.value[:, FIRST:] * fit.sign >= 0).all()
    # twelve sites at twice the usual share or above: the level is well above the prior's
    level = own.value[:, :2].sum(axis=1)
    assert level.mean() > 0.5
    known_level = fit_share(plain).draw(Worlds(draws=200)).value[:, :2].sum(axis=1)
    assert level.mean() > known_level.mean()


def test_full_lines_refuse_a_weight_between(known: KnownSites) -> None:
    odd = replace(known, at_capacity=known.bays > 0, weight=np.where(np.arange(40) == 0, 0.5, 1.0))
    with pytest.raises(InputError, match="weight 1 or 0"):
        fit_share(odd)


def test_a_known_operator_carries_its_effect(known: KnownSites, fit: ShareFit) -> None:
    worlds = Worlds(draws=4000)
    table = make_table()
    own = fit.draw(worlds)
    effects = {}
    for operator in fit.operators:
        mean = operator.level[own.node] - (operator.slope[own.node] * own.value).sum(axis=1)
        effects[operator.name] = float(mean.mean())
    best = max(effects, key=effects.__getitem__)
    worst = min(effects, key=effects.__getitem__)
    drawn = {
        name: fit.predict(table, worlds, operator=name)
        for name in (best, worst, None, "nobody", "typical")
    }
    assert np.median(drawn[best].operator) > 1.1
    assert np.median(drawn[worst].operator) < 0.9
    assert np.log(drawn[best].operator).std() < 0.2
    assert np.log(drawn[None].operator).std() == pytest.approx(0.25, rel=0.05)
    assert np.log(drawn["nobody"].operator).std() == pytest.approx(0.25, rel=0.05)
    assert (drawn["typical"].operator == 1).all()


def test_operator_effect_against_an_explicit_column(known: KnownSites) -> None:
    """The effect drawn after the fact is the one a dummy column would have had."""
    from capture.share.design import make_rows
    from capture.share.mixture import Prior, Rows, fit_mixture

    fit = fit_share(known, keep_signs=False)
    rows, names = make_rows(known, fit.names)
    operator = fit.operators[0]
    marks = (rows.group == names.index(operator.name)).astype(float)
    prior = fit.mixture.prior
    wide = Prior(
        mean=np.append(prior.mean, 0.0),
        sd=np.append(prior.sd, prior.group_sd),
        sigma=prior.sigma,
        log_weight=prior.log_weight,
        group_sd=prior.group_sd,
    )
    group = np.where(marks > 0, 1000 + np.arange(40), rows.group)
    # rows with the column of their own keep no further group effect
    own = Rows.of(np.column_stack([rows.design, marks]), rows.target, variance=rows.variance)
    node = 20
    sigma = prior.sigma[node]
    covariance = np.diag(sigma**2 + rows.variance)
    same = (group[:, None] == group) & (marks[:, None] == 0) & (marks == 0)
    covariance = covariance + prior.group_sd**2 * same
    precision = own.design.T @ np.linalg.solve(covariance, own.design)
    precision += np.diag(1 / wide.sd**2)
    aim = own.design.T @ np.linalg.solve(covariance, own.target) + wide.mean / wide.sd**2
    mean = np.linalg.solve(precision, aim)
    np.testing.assert_allclose(mean[:-1], fit.mixture.mean[node], rtol=1e-8)
    ours = operator.level[node] - operator.slope[node] @ mean[:-1]
    assert ours == pytest.approx(mean[-1], rel=1e-8)
    assert fit_mixture(rows, prior).log_evidence == pytest.approx(fit.mixture.log_evidence)


def test_a_fixed_coefficient_stays(known: KnownSites) -> None:
    values = VALUES.override({"beta_pull": -0.5})
    own = fit_share(known, values=values).draw(Worlds(draws=50))
    assert (own.value[:, FIRST + CORE.index("pull")] == -0.5).all()


def test_draws_are_keyed_by_site(fit: ShareFit) -> None:
    worlds = Worlds(seed=9, draws=200)
    rng = np.random.default_rng(0)
    x = np.tile(make_table().x, (5, 1)) + 0.01 * rng.normal(size=(5, 9))
    missing = np.zeros(x.shape, dtype=bool)
    missing[1:4, 2] = True
    ids = ("a", "b", "c", "d", "e")
    table = FactorTable(ids=ids, names=CORE, x=x, missing=missing)
    whole = fit.predict(table, worlds)
    part = fit.predict(table.take([3, 1]), worlds)
    np.testing.assert_allclose(part.rate, whole.rate[[3, 1]], rtol=1e-12)
    fewer = fit.predict(table, Worlds(seed=9, draws=50))
    np.testing.assert_allclose(fewer.rate, whole.rate[:, :50], rtol=1e-9)
    assert not np.allclose(fit.predict(table, Worlds(seed=10, draws=200)).rate, whole.rate)


def test_base_times_multipliers_is_the_rate(fit: ShareFit) -> None:
    worlds = Worlds(draws=300)
    draws = fit.predict(make_table(delay=40.0, sight=0.6), worlds)
    logs = np.log(draws.base) + np.log(draws.operator) + np.log(draws.selection)
    centred = draws.x - fit.reference
    logs = logs + centred[0] @ draws.beta + np.log(draws.residual[0])
    np.testing.assert_allclose(draws.rate[0], np.exp(logs), rtol=1e-12)
    assert (draws.selection <= 1).all()
    column = CORE.index("delay")
    at = np.quantile(np.exp(draws.beta[column] * 30.0), [0.05, 0.5, 0.95])
    got = [draws.multiplier_low, draws.multiplier, draws.multiplier_high]
    assert [float(part[0, column]) for part in got] == pytest.approx(at.tolist(), rel=1e-4)
    vehicles = np.full((1, 300), 20_000.0)
    np.testing.assert_allclose(draws.cars_per_year(vehicles), 365 * 20_000 * draws.rate)


def test_selection_can_be_switched_off(known: KnownSites) -> None:
    worlds = Worlds(draws=2000)
    on, off = (fit_share(known, selection=choice).predict(make_table(), worlds)
               for choice in (True, False))  # fmt: skip
    ratio = on.rate / off.rate
    assert (ratio <= 1).all()
    # half-normal with sd 0.15: mean 0.15 sqrt(2 / pi)
    assert -np.log(ratio).mean() == pytest.approx(0.15 * np.sqrt(2 / np.pi), rel=0.05)


def test_bays_multiply_the_base(fit: ShareFit) -> None:
    worlds = Worlds(draws=100)
    one = fit.predict(make_table(), worlds, format="in_bay", bays=1).rate
    three = fit.predict(make_table(), worlds, format="in_bay", bays=3).rate
    np.testing.assert_allclose(three, 3 * one)
    conveyor = fit.predict(make_table(), worlds, format="flex", bays=3)
    assert conveyor.bays == 1
    with pytest.raises(InputError, match="format must be one of"):
        fit.predict(make_table(), worlds, format="tunnel")
    with pytest.raises(InputError, match="must name 1 sites"):
        fit.predict(make_table(), worlds, ["a", "b"])


@pytest.mark.parametrize("with_known", [True, False])
def test_json_round_trip(known: KnownSites, with_known: bool) -> None:
    full = replace(known, at_capacity=np.arange(40) % 13 == 0)
    fit = fit_share(full, values=VALUES.override({"beta_pull": -0.4, "selection_log": 0.1}))
    text = json.dumps(fit.to_dict(with_known=with_known), allow_nan=False)
    back = ShareFit.from_dict(json.loads(text))
    worlds = Worlds(draws=100)
    np.testing.assert_array_equal(
        back.predict(make_table(), worlds, operator="Jackdaw").rate,
        fit.predict(make_table(), worlds, operator="Jackdaw").rate,
    )
    assert back.data_hash == fit.data_hash
    assert back.values.value("beta_pull") == -0.4
    assert (back.known is not None) == with_known
    assert ("cars_per_year" in text) == with_known


def test_a_broken_file_is_refused(fit: ShareFit) -> None:
    saved = fit.to_dict(with_known=True)
    for wrong in ({}, {"schema": "other"}, {**saved, "names": 3}, {**saved, "prior": {}}):
        with pytest.raises(DataError, match="share fit"):
            ShareFit.from_dict(wrong)
    changed = json.loads(json.dumps(saved))
    changed["known"]["cars_per_year"][0] += 1
    with pytest.raises(DataError, match="changed after it was made"):
        ShareFit.from_dict(changed)
    cut = json.loads(json.dumps(saved))
    cut["posterior"]["root_upper"] = cut["posterior"]["root_upper"][:3]
    with pytest.raises(DataError, match="broken"):
        ShareFit.from_dict(cut)


def test_a_table_may_lack_a_factor(fit: ShareFit) -> None:
    part = make_factor_table({"delay_s": np.array([30.0])}, ["s"], names=["delay"])
    draws = fit.predict(part, Worlds(draws=200))
    assert draws.missing.sum() == len(CORE) - 1
    assert draws.rate.shape == (1, 200)


def test_factors_can_be_chosen(known: KnownSites) -> None:
    assert fit_share(known, factors=["pull", "delay"]).names == ("pull", "delay")
    with pytest.raises(InputError, match="must be among"):
        fit_share(known, factors=["pull", "colour"])
    with pytest.raises(InputError, match="each once"):
        fit_share(known, factors=["pull", "pull"])


@pytest.mark.property
def test_more_delay_or_price_never_helps_and_more_sight_never_hurts(fit: ShareFit) -> None:
    worlds = Worlds(draws=200)
    base = fit.predict(make_table(), worlds).rate
    assert (fit.predict(make_table(delay=25.0), worlds).rate <= base).all()
    assert (fit.predict(make_table(log_price=0.1), worlds).rate <= base).all()
    assert (fit.predict(make_table(sight=0.7), worlds).rate <= base).all()
    assert (fit.predict(make_table(log_people=0.4), worlds).rate >= base).all()


def test_operators_all_alike_and_a_full_line(known: KnownSites) -> None:
    full = replace(known, at_capacity=np.arange(40) < 2)
    fit = fit_share(full, values=VALUES.override({"operator_log": 0.0}))
    assert fit.operators == ()
    draws = fit.predict(make_table(), Worlds(draws=100), operator=known.operators[0])
    assert (draws.operator == 1).all()


def test_absurd_rows_do_not_break_it(known: KnownSites) -> None:
    wild = known.cars_per_year.copy()
    wild[0], wild[1] = 5e6, 1.0
    own = fit_share(replace(known, cars_per_year=wild)).draw(Worlds(draws=100))
    assert np.isfinite(own.value).all()
    assert own.sigma.min() > 0.5


@pytest.mark.property
def test_any_mutation_of_a_file_is_read_or_refused(fit: ShareFit) -> None:
    rng = random.Random(2)
    text = json.dumps(fit.to_dict(with_known=True))
    wrong = (None, "x", -1, 0, 1e308, [], {}, [1, 2], True, float("inf"), float("nan"), "1", [[1]])
    refused = 0
    for _ in range(150):
        saved = json.loads(text)
        part, key = saved, rng.choice(list(saved))
        while isinstance(part[key], dict | list) and part[key] and rng.random() < 0.7:
            part = part[key]
            key = rng.choice(list(part)) if isinstance(part, dict) else rng.randrange(len(part))
        part[key] = rng.choice(wrong)
        try:
            ShareFit.from_dict(saved).draw(Worlds(draws=2))
        except CaptureError:
            refused += 1
    assert refused > 50

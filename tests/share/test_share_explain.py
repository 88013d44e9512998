"""Do explanations say what the numbers say?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from capture.basis import FORMATS, DataError, FitError, InputError, Worlds
from capture.share import (
    CORE,
    FACTORS,
    FactorTable,
    ShareFit,
    back_test,
    check_left_out,
    compare_formats,
    compare_ranges,
    compute_influence,
    explain_learning,
    explain_site,
    find_needed,
    fit_share,
    leave_out,
    load_known_sites,
    measure_unlikeness,
    say_factor,
    say_share,
)
from capture.share.backtest import find_bad_months
from capture.share.design import make_design

DEMO = Path(__file__).parents[2] / "data_public" / "demo" / "known_sites.csv"
WORLDS = Worlds(draws=1000)


@pytest.fixture(scope="module")
def fit() -> ShareFit:
    return fit_share(load_known_sites(DEMO))


def make_table(**changes: float) -> FactorTable:
    x = np.array([[changes.get(name, FACTORS[name].reference) for name in CORE]])
    return FactorTable(ids=("site",), names=CORE, x=x, missing=np.zeros(x.shape, dtype=bool))


def hide(table: FactorTable, name: str) -> FactorTable:
    missing = table.missing.copy()
    missing[:, table.names.index(name)] = True
    return FactorTable(ids=table.ids, names=table.names, x=table.x, missing=missing)


def test_waterfall_multiplies_up(fit: ShareFit) -> None:
    table = hide(make_table(delay=50.0, sight=0.6, log_people=0.5), "pull")
    draws = fit.predict(table, WORLDS)
    steps = explain_site(draws)
    assert [step.name for step in steps] == ["base", *CORE, "operator", "selection", "untold"]
    assert np.prod([step.multiplier for step in steps]) == pytest.approx(steps[-1].running)
    assert steps[-1].running == pytest.approx(np.exp(np.log(draws.rate[0]).mean()))
    by_name = {step.name: step for step in steps}
    assert by_name["delay"].multiplier < 1 < by_name["log_people"].multiplier
    assert by_name["pull"].is_missing
    assert by_name["pull"].said == "not known"
    assert by_name["pull"].low < 1 < by_name["pull"].high
    for step in steps:
        assert step.low <= step.multiplier <= step.high


def test_learning_sets_prior_against_posterior(fit: ShareFit) -> None:
    learned = {each.name: each for each in explain_learning(fit, WORLDS)}
    assert set(learned) == set(CORE)
    pull = learned["pull"]
    assert pull.prior[1] == pytest.approx(-0.3)
    assert pull.posterior[2] - pull.posterior[0] < pull.prior[2] - pull.prior[0]
    assert 0.5 < pull.learned_share < 1
    nothing = explain_learning(fit_share(), WORLDS)
    assert max(each.learned_share for each in nothing) < 1e-9
    normal = {each.name: each.wrong_sign_share for each in nothing}
    assert normal["log_vehicles"] == pytest.approx(0.0668, abs=1e-4)  # P(z > 1.5)


def test_formats_are_told_in_the_same_worlds(fit: ShareFit) -> None:
    table = make_table(delay=30.0)
    shares = compare_formats(fit, table, WORLDS, bays={"in_bay": 3})
    assert list(shares) == list(FORMATS)
    alone = fit.predict(table, WORLDS, format="in_bay", bays=3).rate[0]
    assert shares["in_bay"].value == pytest.approx(np.median(alone))


def test_paragraph_is_written_from_the_numbers(fit: ShareFit) -> None:
    table = hide(make_table(delay=70.0, log_people=1.0), "sight")
    draws = fit.predict(table, WORLDS)
    words = say_share(draws, known_count=40)
    assert f"{np.median(draws.rate[0]):.2%}" in words
    assert "slow turning in and out (70 s" in words
    assert "many people near by" in words
    assert "Not known here, so taken at the reference and wider: sight" in words
    assert "40 known sites" in words
    assert "starter sheet alone" in say_share(draws)


def test_unlikeness(fit: ShareFit) -> None:
    known = fit.known
    assert known is not None
    middle = make_table(**dict(zip(CORE, known.factors.x.mean(axis=0), strict=True)))
    near = measure_unlikeness(fit, middle)[0]
    far = measure_unlikeness(fit, make_table(delay=110.0, log_people=-2.0))[0]
    assert near.distance < 1
    assert near.words == "This site is much like the known sites."
    assert far.nearer_share > 0.995
    assert far.leverage > 3 * near.leverage
    assert set(far.outside) >= {"delay"}
    assert far.most == "delay"
    assert "no known site reaches its delay" in far.words
    blank = measure_unlikeness(fit_share(), make_table(delay=110.0))[0]
    assert blank.outside == ()
    assert "reference site" in blank.words
    # a distance that can be had by hand: delay 15 s over the usual spread of 15 s
    assert measure_unlikeness(fit_share(), make_table(delay=25.0))[0].distance == pytest.approx(1)


def test_hope(fit: ShareFit) -> None:
    draws = fit.predict(make_table(delay=60.0, sight=0.5), WORLDS)
    typical = np.exp(np.log(draws.rate[0]).mean())
    hope = find_needed(draws, 1.2 * typical)
    assert hope.chance == pytest.approx((draws.rate[0] >= 1.2 * typical).mean())
    able = {each.name: each for each in hope.needed if each.is_possible}
    assert {"delay", "sight"} <= set(able)
    beta = draws.beta[CORE.index("delay")].mean()
    assert able["delay"].needed == pytest.approx(60 + np.log(1.2) / beta)
    again = fit.predict(make_table(delay=able["delay"].needed, sight=0.5), WORLDS)
    assert np.exp(np.log(again.rate[0]).mean()) == pytest.approx(1.2 * typical, rel=1e-6)
    assert "no single factor" in find_needed(draws, 0.5).words
    for wrong in (0.0, 1.0, -1, float("nan")):
        with pytest.raises(InputError, match="within 0 to 1"):
            find_needed(draws, wrong)


def test_left_out_checks_are_refits(fit: ShareFit) -> None:
    checked = check_left_out(fit)
    for name in ("K03", "K21"):
        others = leave_out(fit, [name])
        place = checked.ids.index(name)
        assert others.known_count == 39
        assert name not in others.known.ids  # type: ignore[union-attr]
        observed = fit.known.share[place]  # type: ignore[union-attr]
        assert checked.observed[place] == pytest.approx(observed)
        influence = {each.id: each for each in compute_influence(fit)}[name]
        typical = np.mean(
            [make_design(fit.known.factors.x - fit.reference, fit.known.formats)],
            axis=(0, 1),  # type: ignore[union-attr]
        )
        moved = others.mixture.coefficient_mean() - fit.mixture.coefficient_mean()
        assert influence.moves_share == pytest.approx(np.expm1(moved @ typical), rel=1e-6)
    towns = check_left_out(fit, "town")
    assert checked.inside_share(0.9) >= 0.8
    assert 1 < checked.typical_error < 1.6
    assert "the other towns" in towns.say()
    assert f"{towns.typical_error:.2f}" in towns.say()
    assert not np.allclose(towns.predicted, checked.predicted)


def test_an_outlier_is_named(fit: ShareFit) -> None:
    from dataclasses import replace

    known = fit.known
    assert known is not None
    cars = known.cars_per_year.copy()
    cars[4] *= 12
    first = compute_influence(fit_share(replace(known, cars_per_year=cars)))[0]
    assert first.id == known.ids[4]
    assert first.is_outlier
    assert first.error_log > 1.5
    assert sum(each.is_outlier for each in compute_influence(fit)) <= 2


def test_what_was_kept_without_rows_cannot_be_checked(fit: ShareFit) -> None:
    bare = ShareFit.from_dict(fit.to_dict())
    for ask in (check_left_out, compute_influence, lambda f: leave_out(f, ["K01"])):
        with pytest.raises(FitError, match="without its known sites"):
            ask(bare)
    with pytest.raises(FitError, match="at least 2"):
        check_left_out(fit_share(fit.known.take([0])))  # type: ignore[union-attr]


def test_a_surprising_row_is_said_to_widen(known_maker) -> None:
    reference = [FACTORS[name].reference for name in CORE]
    share = np.log(0.008) + np.array([0.0, 0.02, -0.03, 0.01, -0.01, 2.2])
    names = [f"Op {i}" for i in range(6)]
    known = known_maker(np.tile(reference, (6, 1)), share, np.zeros(6), names, ["exterior"] * 6)
    row = make_design(np.zeros((1, len(CORE))), ["exterior"])[0]
    calm, odd = fit_share(known.take(range(5))), fit_share(known)
    ratio, words = compare_ranges(calm, odd, row)
    assert ratio > 1
    assert "surprised" in words
    ratio, words = compare_ranges(fit_share(), calm, row)
    assert ratio < 1
    assert "surprised" not in words


def test_back_test_parts_what_is_left(fit: ShareFit) -> None:
    known = fit.known
    assert known is not None
    # the site that washed most against what the others tell
    checked = check_left_out(fit)
    place = int(np.argmax(checked.rank_share))
    name = known.ids[place]
    months = np.full(12, known.cars_per_year[place] / 12)
    months[3] *= 6
    months[5] = np.nan
    tested = back_test(fit, name, Worlds(draws=2000), months=months)
    assert tested.observed_cars > tested.predicted.value
    assert tested.rank_share > 0.9
    assert tested.stays.value > 1
    assert 0 <= tested.carried_share <= 1
    assert tested.months is not None
    assert tested.months.shape == (12, 4)
    assert np.isnan(tested.months[5, 0])
    assert 4 in find_bad_months(tested)
    assert 6 not in find_bad_months(tested)
    ratio = tested.predicted.value / (known.vehicles_veh_day[place] * 365)
    assert ratio == pytest.approx(checked.predicted[place], rel=0.15)
    assert f"Told from the other sites, {name}" in tested.words
    with pytest.raises(DataError, match="no row 'Z'"):
        back_test(fit, "Z", WORLDS)
    with pytest.raises(DataError, match="twelve numbers"):
        back_test(fit, name, WORLDS, months=[1.0, 2.0])


def test_carried_residual_moves_the_second_site(known_maker) -> None:
    """One operator, one site at twice the told share: part of it goes to the next site."""
    reference = [FACTORS[name].reference for name in CORE]
    share = np.log(0.008) + np.array([*[0.0] * 20, np.log(2)])
    names = [*(f"Op {i}" for i in range(20)), "Mine"]
    known = known_maker(np.tile(reference, (21, 1)), share, np.zeros(21), names, ["exterior"] * 21)
    fit = fit_share(known, selection=False)
    worlds = Worlds(draws=4000)
    mine = fit.predict(make_table(), worlds, operator="Mine").rate
    other = fit.predict(make_table(), worlds).rate
    carried = np.log(np.median(mine) / np.median(other))
    assert 0.15 < carried < 0.6
    tested = back_test(fit, "S20", worlds)
    assert np.log(tested.carried.value) == pytest.approx(carried, abs=0.06)
    left = np.log(tested.carried.value * tested.stays.value)
    assert left == pytest.approx(np.log(2), abs=0.1)


def test_values_are_said_as_people_do() -> None:
    assert say_factor("plan", 1.0) == "sold"
    assert say_factor("sight", 0.512) == "51%"
    assert say_factor("log_vehicles", 0.0) == "20,000 vehicles a day"
    assert say_factor("ramp", np.log(0.58)) == "58% of mature volume"
    assert say_factor("pull", 1.234) == "1.23"

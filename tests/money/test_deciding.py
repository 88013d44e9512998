"""Tornado, value of knowing, second site, best k of n."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.basis import CaptureWarning, FitError, InputError, Offer, Worlds
from capture.money import (
    Measure,
    choose_sites,
    compute_first_order,
    compute_nearer_share,
    compute_unit_normal_loss,
    estimate_moved,
    estimate_taken,
    make_tornado,
    price_second,
    price_study,
    rank_inputs,
    rank_measures,
    see_with_noise,
    value_knowing,
)

LINE = {"capital_usd": 1.5e6, "length_m": 38.0}


def test_first_order_shares_of_a_sum_are_its_variances() -> None:
    worlds = Worlds(draws=4000)
    x = worlds.normal("x", ["a", "b", "c"])
    y = 3 * x[0] + 2 * x[1] + x[2]
    for row, share in zip(x, (9 / 14, 4 / 14, 1 / 14), strict=True):
        assert compute_first_order(y, row) == pytest.approx(share, abs=0.03)


@pytest.mark.property
def test_an_input_that_does_nothing_has_no_share_on_average() -> None:
    got = []
    for seed in range(200):
        drawn = Worlds(seed=seed, draws=500).normal("x", ["a", "b"])
        got.append(compute_first_order(drawn[0], drawn[1]))
    assert abs(np.mean(got)) < 4 * np.std(got) / np.sqrt(200)
    bars = rank_inputs(drawn[0], {"b": drawn[1]})
    assert np.std(got) == pytest.approx(bars[0].noise, rel=0.25)


@pytest.mark.property
@given(scale=st.floats(0.01, 100), shift=st.floats(-1e3, 1e3))
def test_shares_do_not_depend_on_units(scale: float, shift: float) -> None:
    x = Worlds(draws=300).normal("x", ["a", "b"])
    y = x[0] + 0.5 * x[1]
    plain = compute_first_order(y, x[0])
    assert compute_first_order(scale * y + shift, np.exp(x[0] / 3)) == pytest.approx(
        plain, abs=1e-6
    )


def test_tornado_of_a_site_ranks_what_moves_it() -> None:
    worlds = Worlds(draws=1000)
    cars = 1e5 * np.exp(0.5 * worlds.normal("cars", ["A"]))
    money = price_study(cars, 0.0, LINE, Offer(), worlds, ["A"])
    bars = make_tornado(money, 0, also={"nothing": worlds.normal("nothing")[0]}, most=50)
    assert bars[0].name == "cars_per_year"
    assert bars[0].at_high > bars[0].at_low
    by_name = {bar.name: bar for bar in bars}
    assert by_name["site_works_usd"].at_high < by_name["site_works_usd"].at_low
    assert abs(by_name["nothing"].index) < 4 * by_name["nothing"].noise
    assert sum(max(bar.index, 0) for bar in bars) < 1.4


def test_flat_results_and_short_draws() -> None:
    assert compute_first_order(np.ones(100), np.arange(100.0)) == 0.0
    assert compute_first_order(np.arange(100.0), np.ones(100)) == 0.0
    assert rank_inputs(np.arange(100.0), {"flat": np.ones(100)}) == []
    with pytest.raises(InputError, match="50 draws"):
        compute_first_order(np.ones(10), np.ones(10))
    with pytest.raises(InputError, match="finite"):
        compute_first_order(np.full(100, np.inf), np.ones(100))


@pytest.mark.parametrize("mean", [-1.0, 0.0, 0.6])
@pytest.mark.parametrize("noise", [0.5, 1.0, 2.0])
def test_value_of_a_sample_is_the_closed_form(mean: float, noise: float) -> None:
    """Normal value, normal sample: EVSI = s L(|mean| / s), s the spread of the posterior mean."""
    worlds = Worlds(draws=10_000)
    truth = mean + worlds.normal("truth")[0]
    seen = see_with_noise(truth, noise, worlds, "sample", log=False)
    got = value_knowing(truth, seen)
    s = 1 / np.sqrt(1 + noise**2)
    want = s * float(compute_unit_normal_loss(abs(mean) / s))
    assert got.value_usd == pytest.approx(want, abs=0.02)
    assert got.value_usd <= got.perfect_usd + 1e-9
    assert got.choice_now == (0 if truth.mean() > 0 else -1)


def test_value_of_perfect_sight_and_of_noise() -> None:
    worlds = Worlds(draws=10_000)
    truth = worlds.normal("truth")[0]
    clear = value_knowing(truth, truth)
    assert clear.value_usd == pytest.approx(clear.perfect_usd, rel=0.01)
    blind = value_knowing(truth, worlds.normal("other")[0])
    assert blind.value_usd < 0.01
    assert value_knowing(truth, np.ones(10_000)).value_usd == 0.0


@pytest.mark.property
def test_a_better_look_is_worth_more_with_common_noise() -> None:
    worlds = Worlds(draws=10_000)
    flow = np.exp(0.5 * worlds.normal("flow")[0])
    npv = 2.0 * flow - 2.4 + 0.5 * worlds.normal("rest")[0]
    worth = [
        value_knowing(npv, see_with_noise(flow, sd, worlds, "count")).value_usd
        for sd in (0.05, 0.3, 1.0, 3.0)
    ]
    assert worth == sorted(worth, reverse=True)
    assert worth[0] > 5 * worth[-1]


def test_knowing_helps_to_choose_between_sites() -> None:
    worlds = Worlds(draws=10_000)
    values = 1.0 + worlds.normal("site", ["A", "B"])
    got = value_knowing(values, values)
    want = np.maximum(values.max(axis=0), 0).mean() - values.mean(axis=1).max()
    assert got.value_usd == pytest.approx(want, rel=0.02)
    assert got.change_share > 0.3


def test_measures_are_ranked_by_what_they_bring_beyond_their_cost() -> None:
    worlds = Worlds(draws=6000)
    flow, rest = np.exp(0.5 * worlds.normal("flow")[0]), worlds.normal("rest")[0]
    npv = 1e6 * (2.0 * flow - 2.4 + 0.3 * rest)
    measures = [
        Measure(name="dear count", truth=flow, sd=0.1, cost_usd=1e6),
        Measure(name="count", truth=flow, sd=0.1, cost_usd=5e3),
        Measure(name="survey", truth=rest, sd=0.1, cost_usd=5e3, log=False),
    ]
    ranked = rank_measures(npv, measures, worlds)
    assert [one.measure.name for one in ranked] == ["count", "survey", "dear count"]
    assert ranked[0].net_usd == pytest.approx(ranked[0].worth.value_usd - 5e3)
    assert ranked[-1].net_usd < 0
    with pytest.warns(CaptureWarning, match="draws are few"):
        rank_measures(npv[:500], [], Worlds(draws=500))
    with pytest.raises(InputError, match="cost of measuring"):
        Measure(name="free lunch", truth=flow, sd=0.1, cost_usd=-1.0)


def test_knowing_without_sense_is_refused() -> None:
    worlds = Worlds(draws=10)
    with pytest.raises(FitError, match="200 draws"):
        value_knowing(np.ones(10), np.ones(10))
    with pytest.raises(InputError, match="match"):
        value_knowing(np.ones(300), np.ones(301))
    with pytest.raises(InputError, match="finite"):
        value_knowing(np.full(300, np.nan), np.ones(300))
    with pytest.raises(InputError, match="spread"):
        see_with_noise(np.ones(10), -1.0, worlds, "count")
    with pytest.raises(InputError, match="log=False"):
        see_with_noise(np.zeros(10), 1.0, worlds, "count")


def first_site(worlds: Worlds) -> object:
    cars = np.full((1, worlds.draws), 1.2e5)
    return price_study(cars, 0.0, LINE, Offer(), worlds, ["first"], irr=False)


def test_a_near_second_site_takes_more_mostly_members() -> None:
    worlds = Worlds(draws=500)
    first = first_site(worlds)
    near, far = (
        price_second(
            first,
            np.full(500, 1e5),
            LINE,
            Offer(),
            worlds,
            "second",
            minutes=minutes,  # type: ignore[arg-type]
        )
        for minutes in (2.0, 15.0)
    )
    assert (near.moved_cars > far.moved_cars).all()
    assert np.median(near.moved_members / near.moved_cars) > 0.7
    assert (near.gain_usd < near.alone_usd).all()
    assert (far.gain_usd > near.gain_usd).all()
    assert np.array_equal(near.alone_usd, far.alone_usd)
    assert np.allclose(near.new_cars + near.moved_cars, 1e5)
    assert near.chance_gain_positive <= (near.alone_usd > 0).mean()


def test_second_site_far_away_is_on_its_own() -> None:
    worlds = Worlds(draws=200)
    second = price_second(
        first_site(worlds),
        np.full(200, 1e5),
        LINE,
        Offer(),
        worlds,
        "second",
        minutes=500.0,  # type: ignore[arg-type]
    )
    assert np.allclose(second.gain_usd, second.alone_usd, rtol=1e-6)


def test_known_homes_replace_the_rule_of_thumb() -> None:
    worlds = Worlds(draws=100)
    members, _ = estimate_moved(1e5, 0.6, 3.0, worlds, nearer_share=0.25)
    assert np.allclose(members, 15_000)
    for wrong in ({"minutes": -1.0}, {"minutes": 1.0, "nearer_share": 2.0}):
        with pytest.raises(InputError):
            estimate_moved(1e5, 0.6, worlds=worlds, **wrong)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="member_share"):
        estimate_moved(1e5, 60.0, 3.0, worlds)


def test_homes_tell_who_lives_nearer() -> None:
    people, first = np.array([100.0, 50.0, 50.0]), np.array([1.0, 5.0, 5.0])
    share = compute_nearer_share(people, first, np.array([9.0, 1.0, np.inf]))
    far = 50 * np.exp(-4 / 5)
    assert share == pytest.approx(far / (100 + 2 * far))
    assert compute_nearer_share(people, first, first) == pytest.approx(0.5)
    for wrong in ((people, first, first[:2]), (-people, first, first), (0 * people, first, first)):
        with pytest.raises(InputError):
            compute_nearer_share(*wrong)


def test_what_sites_take_falls_with_minutes_and_leads_to_sites_apart() -> None:
    worlds = Worlds(draws=300)
    cars = 2.6e5 * np.exp(0.1 * worlds.normal("cars", ["A", "B", "C"]))
    money = price_study(cars, 0.0, LINE, Offer(), worlds, ["A", "B", "C"], irr=False)
    minutes = np.array([[0, 1, 12], [1, 0, 30], [12, 30, 0.0]])
    taken = estimate_taken(money, minutes, worlds)
    assert np.array_equal(taken, taken.T)
    assert (np.diag(taken) == 0).all()
    assert taken[0, 1] > taken[0, 2] > taken[1, 2] > 0
    assert 2 in choose_sites(money.npv_usd.mean(axis=1), 2, taken_usd=taken).chosen
    with pytest.raises(InputError, match="3 x 3"):
        estimate_taken(money, minutes[:2], worlds)
    with pytest.raises(InputError):
        estimate_taken(money, -minutes, worlds)


def test_one_more_car_is_worth_what_the_value_rises_by() -> None:
    worlds = Worlds(draws=50)
    few, many = (
        price_study(np.full((1, 50), yearly), 0.0, LINE, Offer(), worlds, ["A"], irr=False)
        for yearly in (1e5, 1e5 + 1)
    )
    assert np.allclose(many.npv_usd - few.npv_usd, few.npv_usd_car, rtol=1e-4)


def worth(value: np.ndarray, taken: np.ndarray, chosen: tuple[int, ...]) -> float:
    pairs = sum(taken[i, j] for i, j in combinations(chosen, 2))
    return float(value[list(chosen)].sum() - pairs)


@pytest.mark.property
@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), sites=st.integers(1, 8), data=st.data())
def test_best_choice_is_that_of_looking_at_all(seed: int, sites: int, data: st.DataObject) -> None:
    rng = np.random.default_rng(seed)
    most = data.draw(st.integers(0, sites))
    value = rng.normal(1, 2, sites)
    taken = np.triu(rng.uniform(0, 2, (sites, sites)) * (rng.random((sites, sites)) < 0.5), 1)
    taken = taken + taken.T
    cost = rng.uniform(0.5, 2, sites)
    got = choose_sites(value, most, taken_usd=taken, cost_usd=cost, budget_usd=4.0)
    best = max(
        worth(value, taken, chosen)
        for k in range(most + 1)
        for chosen in combinations(range(sites), k)
        if cost[list(chosen)].sum() <= 4.0
    )
    assert got.value_usd == pytest.approx(best, abs=1e-6)
    assert got.gap_share == pytest.approx(0.0, abs=1e-6)
    assert len(got.chosen) <= most


def test_a_stopped_search_bounds_its_gap() -> None:
    rng = np.random.default_rng(0)
    value = rng.uniform(1, 2, 14)
    taken = np.triu(rng.uniform(0, 0.6, (14, 14)), 1)
    taken = taken + taken.T
    best = max(worth(value, taken, chosen) for chosen in combinations(range(14), 6))
    got = choose_sites(value, 6, taken_usd=taken, nodes=1, exactly=True)
    assert got.value_usd == pytest.approx(worth(value, taken, got.chosen))
    assert got.value_usd <= best + 1e-9 <= got.bound_usd + 2e-9
    assert got.gap_share == pytest.approx((got.bound_usd - got.value_usd) / got.bound_usd)
    assert got.value_usd > 0.9 * best


def test_forty_sites_are_chosen_at_once() -> None:
    rng = np.random.default_rng(1)
    value = rng.normal(0, 1e6, 40)
    got = choose_sites(value, 5)
    assert got.chosen == tuple(sorted(np.argsort(-value)[:5].tolist()))
    assert choose_sites(-np.ones(5), 3).chosen == ()
    assert len(choose_sites(-np.ones(5), 3, exactly=True).chosen) == 3


@pytest.mark.parametrize(
    "wrong",
    [
        {"value_usd": []},
        {"value_usd": [np.nan, 1.0]},
        {"most": 9},
        {"most": -1},
        {"taken_usd": [[0, 1], [2, 0]]},
        {"taken_usd": [[0, -1], [-1, 0]]},
        {"cost_usd": [1.0, 2.0]},
        {"cost_usd": [1.0], "budget_usd": 1.0},
    ],
)
def test_choices_without_sense_are_refused(wrong: dict[str, object]) -> None:
    usual: dict[str, object] = {"value_usd": [1.0, 2.0], "most": 1}
    with pytest.raises(InputError):
        choose_sites(**(usual | wrong))  # type: ignore[arg-type]


def test_a_budget_that_buys_nothing_is_said() -> None:
    with pytest.raises(FitError, match="budget"):
        choose_sites([1.0, 2.0], 2, cost_usd=[5.0, 5.0], budget_usd=1.0, exactly=True)

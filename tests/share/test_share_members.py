"""Do tickets and members, and what a second site takes, add up as they must?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from capture.basis import DataError, FitError, InputError, Offer, Worlds
from capture.share import (
    CORE,
    FACTORS,
    VALUES,
    FactorTable,
    ShareFit,
    compare_lengthening,
    draw_rates,
    estimate_moved,
    fit_streams,
    judge_second_site,
    learn_elasticity,
    learn_level,
    make_stream_sheet,
    predict_streams,
    replace_constants,
    simulate_members,
    split_cars,
    spread_members,
)
from capture.share.learn import list_learnable

WORLDS = Worlds(draws=2000)


@pytest.mark.practice
def test_the_three_rates_give_practice_s_member_share() -> None:
    """Joins 5 %, leaving 8 % a month, 2.8 visits: between 45 and 82 %, near 68."""
    share = draw_rates(Offer(), WORLDS).member_share
    low, middle, high = np.quantile(share, [0.05, 0.5, 0.95])
    assert middle == pytest.approx(VALUES.value("member_share"), abs=0.06)
    assert low == pytest.approx(VALUES["member_share"].low, abs=0.1)
    assert high == pytest.approx(VALUES["member_share"].high, abs=0.05)


@pytest.mark.practice
def test_a_mature_exterior_site_has_practice_s_members() -> None:
    """170,000 cars a year have between 1,500 and 7,000 members, near 3,500."""
    two = split_cars(np.full((1, 2000), 170_000.0), Offer(), WORLDS)
    low, middle, high = np.quantile(two.members, [0.05, 0.5, 0.95])
    entry = VALUES["mature_members"]
    assert entry.low < low < entry.value < high < entry.high
    assert middle == pytest.approx(entry.value, rel=0.2)


def test_streams_add_up_and_answer_to_the_plan_s_price() -> None:
    cars = np.full((2, 2000), 90_000.0)
    usual = split_cars(cars, Offer(), WORLDS)
    np.testing.assert_allclose(usual.cars_per_year, cars)
    dear = split_cars(cars, Offer(plan_price_usd_month=40), WORLDS)
    np.testing.assert_allclose(dear.tickets_per_year, usual.tickets_per_year)
    assert (dear.member_cars_per_year <= usual.member_cars_per_year).all()
    ratio = np.median(dear.members / usual.members)
    assert ratio == pytest.approx((40 / 28) ** -0.5, rel=0.02)
    none = split_cars(cars, Offer(plan_offered=False), WORLDS)
    assert (none.member_cars_per_year == 0).all()
    with pytest.raises(InputError, match="must have 2000 draws"):
        split_cars(cars[:, :5], Offer(), WORLDS)


def test_members_settle_where_joins_meet_leaving() -> None:
    rates = draw_rates(Offer(), WORLDS)
    tickets = np.full((240, 2000), 3000.0)
    members = simulate_members(tickets, rates, start=500.0)
    settled = rates.joins_per_ticket * 3000 / rates.leaving_month
    np.testing.assert_allclose(members[-1], settled, rtol=1e-2)
    expected = 500 * (1 - rates.leaving_month) + rates.joins_per_ticket * 3000
    np.testing.assert_allclose(members[0], expected)
    two = split_cars(np.full((1, 2000), 36_000.0) / (1 - rates.member_share), Offer(), WORLDS)
    np.testing.assert_allclose(two.members[0], settled, rtol=1e-9)
    np.testing.assert_allclose(two.joins_month[0], rates.joins_per_ticket * 3000, rtol=1e-9)


def test_members_live_near() -> None:
    minutes = np.array([1.0, 4, 7, 9, 12, 16, 25, np.inf])
    homes = np.array([50.0, 400, 900, 1500, 3000, 5000, 9000, 1000])
    part = spread_members(homes, minutes)
    assert part.sum() == pytest.approx(1)
    assert part[-1] == 0
    assert part[minutes <= 10].sum() == pytest.approx(0.7, abs=1e-6)
    assert (np.diff(part[:-1] / homes[:-1]) < 0).all()
    with pytest.raises(InputError, match="above 0 in some zone"):
        spread_members([0.0, 5.0], [3.0, np.inf])


def test_own_months_move_a_practice_constant() -> None:
    prior = VALUES["leaving_month"]
    few = learn_level(prior, [0.05])
    many = learn_level(prior, [0.05, 0.055, 0.045, 0.052, 0.048] * 5, counts=[200] * 25)
    assert 0.05 < few.value < prior.value
    assert many.value == pytest.approx(0.05, rel=0.03)
    assert many.high / many.low < few.high / few.low < prior.high / prior.low
    assert many.grade == "yours"
    rates = draw_rates(Offer(), WORLDS, values=replace_constants(VALUES, [many]))
    assert np.median(rates.leaving_month) == pytest.approx(many.value, rel=0.01)
    for wrong in ([], [0.0], [float("nan")]):
        with pytest.raises(DataError, match="above 0"):
            learn_level(prior, wrong)
    assert len(list_learnable()) == 5


def test_elasticity_is_learned_from_own_prices() -> None:
    rng = np.random.default_rng(3)
    prior = VALUES["ticket_elasticity"]
    prices = np.tile([11.0, 13.0, 15.0], 16)
    amounts = 2000 * (prices / 13) ** -1.3 * np.exp(0.05 * rng.normal(size=48))
    learned = learn_elasticity(prior, prices, amounts)
    assert learned.low < -1.3 < learned.high
    assert learned.high - learned.low < 0.4 * (prior.high - prior.low)
    two = learn_elasticity(prior, prices[:2], amounts[:2])
    assert two.high - two.low > 0.7 * (prior.high - prior.low)
    upward = learn_elasticity(prior, prices, 2000 * (prices / 13) ** 0.8)
    assert upward.value <= 0
    with pytest.raises(DataError, match="different prices"):
        learn_elasticity(prior, [13.0, 13.0], [5.0, 6.0])


def test_each_stream_has_a_fit_of_its_own(known_maker: Callable) -> None:
    rng = np.random.default_rng(1)
    reference = np.array([FACTORS[name].reference for name in CORE])
    x = np.tile(reference, (60, 1))
    people = CORE.index("log_people")
    x[:, people] = rng.normal(0, 0.6, 60)
    tickets = np.log(0.0025) + 0.05 * x[:, people]
    members = np.log(0.0055) + 0.9 * x[:, people]
    total = np.logaddexp(tickets, members) + 0.1 * rng.normal(size=60)
    share = np.exp(members - np.logaddexp(tickets, members))
    names = [f"Op {i}" for i in range(60)]
    known = known_maker(x, total, np.zeros(60), names, ["exterior"] * 60)
    fits = fit_streams(replace(known, member_share=share))
    assert [fit.stream for fit in fits] == ["tickets", "members"]
    column = [fit.parameters.index("log_people") for fit in fits]
    found = [fit.mixture.coefficient_mean()[c] for fit, c in zip(fits, column, strict=True)]
    assert found == pytest.approx([0.05, 0.9], abs=0.12)
    table = FactorTable(
        ids=("s",), names=CORE, x=reference[None], missing=np.zeros((1, len(CORE)), dtype=bool)
    )
    vehicles = np.full((1, 2000), 20_000.0)
    two = predict_streams(fits, table, vehicles, Offer(), WORLDS, operator="typical")
    middle = np.median(two.member_cars_per_year) / (365 * 20_000)
    assert middle == pytest.approx(0.0055, rel=0.2)
    assert not np.allclose(
        np.argsort(two.tickets_per_year[0]), np.argsort(two.member_cars_per_year[0])
    )
    without = predict_streams(fits, table, vehicles, Offer(plan_offered=False), WORLDS)
    assert (without.member_cars_per_year == 0).all()
    back = ShareFit.from_dict(fits[1].to_dict())
    assert back.stream == "members"
    assert back.values.value("beta_log_people") == 0.7
    with pytest.raises(FitError, match="no known site tells tickets and members apart"):
        fit_streams(known)
    with pytest.raises(InputError, match="stream must be"):
        make_stream_sheet("vans")


def test_stream_bases_add_up_to_the_whole() -> None:
    sheets = [make_stream_sheet(stream) for stream in ("tickets", "members")]
    for name in ("exterior", "in_bay"):
        parts = [sheet.value(f"base_{name}_share") for sheet in sheets]
        assert sum(parts) == pytest.approx(VALUES.value(f"base_{name}_share"))


ZONES = {
    "households": np.array([1000.0, 2000.0, 2000.0, 1000.0]),
    "minutes_first": np.array([2.0, 6.0, 11.0, 15.0]),
    "minutes_second": np.array([15.0, 11.0, 6.0, 2.0]),
}


def test_members_who_live_nearer_move() -> None:
    moved = estimate_moved(60_000, 30_000, **ZONES, worlds=WORLDS)
    where = spread_members(ZONES["households"], ZONES["minutes_first"])
    assert moved.nearer_share == pytest.approx(where[2:].sum())
    assert (np.diff(moved.zone_share) > 0).all()
    # by hand at the practice values: t2^-2 / (t1^-2 + t2^-2)
    fixed = VALUES.override({"distance_power": 2.0, "member_switch_share": 1.0})
    exact = estimate_moved(60_000, 30_000, **ZONES, worlds=WORLDS, values=fixed)
    hand = [15**-2 / (2**-2 + 15**-2), 11**-2 / (6**-2 + 11**-2)]
    assert exact.zone_share[:2] == pytest.approx(hand)
    assert exact.member_cars[0] == pytest.approx(60_000 * where @ exact.zone_share)
    assert (moved.tickets == 0).all()
    half = estimate_moved(60_000, 30_000, **ZONES, worlds=WORLDS, shared_stream_share=0.5)
    assert np.median(half.tickets) == pytest.approx(30_000 * 0.25, rel=0.02)


def test_a_second_site_far_off_takes_nothing() -> None:
    zones = {**ZONES, "minutes_second": np.full(4, np.inf)}
    moved = estimate_moved(60_000, 30_000, **zones, worlds=WORLDS)
    assert (moved.cars == 0).all()
    nearer = {**ZONES, "minutes_second": np.array([1.0, 1.0, 1.0, 1.0])}
    assert estimate_moved(60_000, 30_000, **nearer, worlds=WORLDS).nearer_share == pytest.approx(1)


def test_gain_is_what_is_washed_less_what_moved() -> None:
    moved = estimate_moved(60_000, 30_000, **ZONES, worlds=WORLDS, shared_stream_share=0.3)
    cars = 80_000 * np.exp(0.4 * WORLDS.normal("test second")[0])
    second = judge_second_site(cars, 90_000, moved)
    np.testing.assert_allclose(second.net_draws, np.maximum(cars - moved.cars, 0))
    assert second.moved.mean == pytest.approx(second.moved_members.mean + second.moved_tickets.mean)
    assert second.net.mean == pytest.approx(second.gross.mean - second.moved.mean)
    assert "mostly members" in second.words
    tiny = judge_second_site(np.full(2000, 500.0), 90_000, moved)
    assert tiny.net.low == 0
    assert tiny.net.high == pytest.approx(0, abs=1e-9)
    assert tiny.moved.high == pytest.approx(500)
    assert tiny.chance_mostly_moved == 1
    with pytest.raises(InputError, match="draws"):
        judge_second_site(cars[:5], 90_000, moved)


def test_lengthening_is_set_against_it() -> None:
    moved = estimate_moved(60_000, 30_000, **ZONES, worlds=WORLDS)
    second = judge_second_site(np.full(2000, 40_000.0), 90_000, moved)
    none = compare_lengthening(0.0, second, WORLDS)
    assert none.gain.value == 0
    assert none.chance_longer_wins == 0
    much = compare_lengthening(200_000.0, second, WORLDS)
    assert much.chance_longer_wins > 0.99
    assert much.gain.value == pytest.approx(140_000, rel=0.02)
    with pytest.raises(InputError, match="0 or more"):
        compare_lengthening(-1.0, second, WORLDS)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"households": np.ones(3)}, "one number a zone"),
        ({"households": np.array([1.0, -1, 1, 1])}, "0 or more"),
        ({"shared_stream_share": 1.5}, "must be 0 to 1"),
    ],
)
def test_bad_zones_are_refused(changes: dict, words: str) -> None:
    with pytest.raises(InputError, match=words):
        estimate_moved(1.0, 1.0, worlds=WORLDS, **{**ZONES, **changes})

"""Ten years of months for many sites at once."""

from __future__ import annotations

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import numpy_financial as nf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.basis import InputError, Offer, Worlds
from capture.line import size_line, size_lines
from capture.money import (
    MONTHS,
    VALUES,
    Money,
    Outcome,
    draw_terms,
    price_land_at,
    price_study,
    sum_up,
)
from capture.share import draw_rates

WORLDS = Worlds(draws=200)
LINE = {"capital_usd": 1.5e6, "length_m": 38.0}
IDS = ["A", "B", "C"]


def cars(*yearly: float, cv: float = 0.3) -> np.ndarray:
    noise = np.exp(cv * WORLDS.normal("cars", [str(at) for at in range(len(yearly))]))
    return np.array(yearly)[:, None] * noise


def price(*yearly: float, offer: Offer | None = None, **more: object) -> Money:
    ids = [chr(65 + at) for at in range(len(yearly))]
    return price_study(cars(*yearly), 0.0, LINE, offer or Offer(), WORLDS, ids, **more)  # type: ignore[arg-type]


def ask(low: float, high: float, months: float = 0.0, area: float | None = None) -> object:
    return SimpleNamespace(
        cost_low_usd=low, cost_high_usd=high, months_low=months, months_high=months, area_m2=area
    )


def test_value_and_rate_are_those_of_the_months_laid_out_under_a_peer() -> None:
    money = price(6e4, 1e5, 1.8e5)
    for site in range(3):
        laid = money.schedule(site)
        for draw in range(0, 200, 23):
            rate = money.terms.discount_share[draw]
            before, after = laid.before_debt[draw], laid.after_debt[draw]
            assert money.npv_usd[site, draw] == pytest.approx(nf.npv(rate, before), rel=1e-9)
            assert money.owner_npv_usd[site, draw] == pytest.approx(nf.npv(rate, after), rel=1e-9)
            yearly = (1 + nf.irr(before)) ** 12 - 1
            assert money.irr_share[site, draw] == pytest.approx(yearly, abs=1e-8)


def test_payback_is_that_of_the_months_laid_out() -> None:
    money = price(1.6e5, 2.5e5)
    for site in range(2):
        laid = money.schedule(site)
        spent = -laid.outlays.sum(axis=1)
        assert money.capital_usd[site] == pytest.approx(spent)
        for draw in range(0, 200, 29):
            months = laid.operating[draw][laid.opening[draw] + 1 :][:MONTHS]
            running = np.cumsum(np.append(-spent[draw], months))
            years = money.payback_years[site, draw]
            if running[-1] >= 0:
                assert np.interp(12 * years, np.arange(121), running) == pytest.approx(0, abs=1)
            elif np.isfinite(years):
                tail = months[-12:].mean()
                assert years == pytest.approx((MONTHS - running[-1] / tail) / 12)


@pytest.mark.property
def test_land_ceiling_is_the_price_at_which_value_is_zero() -> None:
    money = price(1.2e5, land=[9e5])
    at_ceiling = price_study(
        money.cars_per_year, 0.0, LINE, Offer(), WORLDS, ["A"],
        land=np.maximum(money.land_ceiling_usd, 0.0), irr=False,
    )  # fmt: skip
    above = money.land_ceiling_usd >= 0
    assert np.abs(at_ceiling.npv_usd[above]).max() < 1e-3
    assert ((money.land_ceiling_usd > 9e5) == (money.npv_usd > 0)).all()
    other = price(1.2e5, land=[5e5])
    assert np.allclose(other.land_ceiling_usd, money.land_ceiling_usd)


def test_land_price_at_a_chance() -> None:
    money = price(4e5, land=[0.0])
    at = float(price_land_at(money, 0.8)[0])
    assert at > 0
    bought = price(4e5, land=[at])
    assert float(bought.chance_npv_positive[0]) == pytest.approx(0.8, abs=0.011)
    with pytest.raises(InputError):
        price_land_at(money, 1.5)


def test_breakeven_pays_costs_and_loan_in_a_mature_year() -> None:
    money = price(1e5)
    mature = money.terms.margin_usd[:, -12:].sum(axis=1)
    need = money.breakeven_cars_day[0] * 365
    laid = money.schedule(0)
    owed = [-(laid.loan[d, laid.opening[d] + 100]) * 12 for d in range(200)]
    reached = (money.cars_per_year[0] >= need).mean()
    assert float(money.chance_breaks_even[0]) == pytest.approx(reached)
    left = need * mature - 12 * money.terms.fixed_usd_month - np.array(owed)
    assert np.abs(left).max() < 1e-3


@pytest.mark.practice
def test_a_usual_wash_is_priced_as_usual() -> None:
    worlds = Worlds(draws=2000)
    money = price_study(np.full((1, 2000), 1.1e5), 0.0, LINE, Offer(), worlds, ["A"])
    terms = money.terms
    net = terms.revenue_usd[:, -1] * (1 - worlds.constant(VALUES["card_fee_share"]))
    assert 7 <= np.median(net / terms.cars_share[:, -1]) <= 14
    assert 0.45 <= np.median(terms.member_share[:, -1]) <= 0.82
    assert 1.3 <= np.median(terms.staff_usd_month * 12 / 1.1e5) <= 4.5
    assert 180 <= np.median(money.breakeven_cars_day) <= 350
    assert 6 <= np.median(money.payback_years) <= 18
    assert 1_500 <= np.median(terms.members[:, -1] * 1.1e5) <= 7_000


@pytest.mark.practice
def test_full_service_labour_is_as_usual() -> None:
    worlds = Worlds(draws=1000)
    full, exterior = (
        draw_terms(Offer(format=kind), worlds)
        for kind in ("full_service", "exterior")  # type: ignore[arg-type]
    )
    labour = full.cost_usd_car - exterior.cost_usd_car + full.staff_usd_month * 12 / 1e5
    assert 6 <= np.median(labour) <= 14


@pytest.mark.property
def test_members_settle_where_joins_meet_leaves() -> None:
    terms = draw_terms(Offer(), WORLDS)
    want = draw_rates(Offer(), WORLDS).member_share
    assert np.allclose(terms.member_share[:, -1], want, atol=2e-3)
    assert (terms.member_share >= 0).all()
    assert (terms.member_share <= 1).all()
    none = draw_terms(Offer(plan_offered=False), WORLDS)
    assert none.member_share.max() == 0


@pytest.mark.property
def test_ramp_years_never_fall_and_end_mature() -> None:
    terms = draw_terms(Offer(), WORLDS)
    years = terms.cars_share.reshape(200, 10, 12).sum(axis=2)
    assert (np.diff(years, axis=1) >= -1e-12).all()
    assert np.allclose(years[:, 3:], 1.0)
    assert np.allclose(years[:, 0], terms.inputs["first_year_share"])
    assert 0.4 <= np.quantile(years[:, 0], 0.05) <= np.quantile(years[:, 0], 0.95) <= 0.75


def test_cars_of_a_first_year_are_scaled_up_to_a_mature_one() -> None:
    mature, young = price(1e5), price(0.58e5, offer=Offer(years_open=1.0))
    assert np.allclose(young.npv_usd, mature.npv_usd)


@pytest.mark.property
def test_more_cars_never_worth_less_and_costs_never_help() -> None:
    few, many = price(8e4), price(8.8e4)
    assert (many.npv_usd >= few.npv_usd).all()
    dear = price(8e4, values=VALUES.override({"chemistry_usd_car": 3.0}))
    assert (dear.npv_usd <= few.npv_usd).all()
    asked = price(8e4, ground=[ask(1e5, 2e5)])
    assert (asked.npv_usd < few.npv_usd - 5e4).all()
    late = price(8e4, ground=[ask(0, 0, months=12)])
    assert (late.opening_months == few.opening_months + 12).all()
    lost = price_study(cars(8e4), 0.1, LINE, Offer(), WORLDS, ["A"])
    assert np.allclose(lost.cars_per_year, 0.9 * few.cars_per_year)


@pytest.mark.property
def test_a_sites_row_does_not_depend_on_its_neighbours() -> None:
    together, alone = price(6e4, 1e5, 1.8e5), price(6e4)
    for name in ("npv_usd", "payback_years", "land_ceiling_usd", "dscr"):
        assert np.array_equal(
            getattr(together, name)[0], getattr(alone, name)[0], equal_nan=True
        ), name
    # the root search calls vector exponentials, whose last bit depends on the place in the array
    assert np.allclose(
        together.irr_share[0], alone.irr_share[0], rtol=1e-9, atol=1e-12, equal_nan=True
    )


def test_blocks_of_sites_give_the_same_rates(monkeypatch: pytest.MonkeyPatch) -> None:
    import capture.money.flows as flows

    whole = price(6e4, 1e5, 1.8e5).irr_share
    monkeypatch.setattr(flows, "_CELLS", 200)
    assert np.allclose(price(6e4, 1e5, 1.8e5).irr_share, whole, atol=1e-9, equal_nan=True)


def test_land_is_yours_or_the_offers_or_by_area() -> None:
    yours = price(1e5, 1e5, land=[7e5, np.nan])
    assert (yours.capital.land_usd[0] == 7e5).all()
    assert np.ptp(yours.capital.land_usd[1]) > 0
    offers = price(1e5, offer=Offer(land_cost_usd=3e5))
    assert (offers.capital.land_usd == 3e5).all()
    big, small = (price(1e5, ground=[ask(0, 0, area=area)]).capital.land_usd for area in (8e3, 4e3))
    assert np.allclose(big, 2 * small)


def test_lines_may_be_a_line_or_a_table() -> None:
    offer = Offer()
    line, table = size_line(98.0, offer), size_lines(np.array([98.0, 98.0]), offer)
    one = price_study(cars(1e5), 0.0, line, offer, WORLDS, ["A"])
    two = price_study(cars(1e5, 1e5), 0.0, table, offer, WORLDS, ["A", "B"])
    assert np.allclose(one.npv_usd[0], two.npv_usd[0], rtol=0.02)
    for kind in ("in_bay", "self_service", "flex", "full_service"):
        bays = Offer(format=kind, bays=3)  # type: ignore[arg-type]
        money = price_study(cars(2e4), 0.0, size_line(15.0, bays), bays, WORLDS, ["A"])
        assert np.isfinite(money.npv_usd).all()


def test_a_wash_that_never_pays_is_said_as_such() -> None:
    money = price(1.0)
    assert np.isinf(money.payback_years).all()
    said = sum_up(money, 0)
    assert said["payback_years"].value is None
    assert said["payback_years"].chance == 0.0
    assert said["payback_years"].said == "never pays back in 100 % of worlds"
    text = json.dumps({name: one.to_dict() for name, one in said.items()}, allow_nan=False)
    assert "NaN" not in text


@pytest.mark.parametrize(
    "change",
    [
        {"ticket_price_usd": 0.5, "plan_price_usd_month": 1.0},
        {"ticket_price_usd": 500.0, "plan_price_usd_month": 1000.0},
        {"land_cost_usd": 0.0},
        {"land_cost_usd": 1e9},
        {"opens_hour": 0, "closes_hour": 24},
    ],
)
@pytest.mark.parametrize("yearly", [0.0, 1e5, 1e8])
def test_extremes_stay_sayable(change: dict[str, float], yearly: float) -> None:
    money = price(yearly, offer=Offer(**change)) if yearly < 1e8 else price_study(
        np.full((1, 200), yearly), 0.0, LINE, Offer(**change), WORLDS, ["A"]
    )  # fmt: skip
    said = {name: one.to_dict() for name, one in sum_up(money, 0).items()}
    json.dumps(said, allow_nan=False)
    assert np.isfinite(money.npv_usd).all()
    assert not np.isnan(money.payback_years).any()


def test_no_loan_needs_no_payments() -> None:
    money = price(1e5, values=VALUES.override({"loan_share": 0.0}))
    assert np.isinf(money.dscr).all()
    assert sum_up(money, 0)["dscr"].said == "needs no loan payments in 100 % of worlds"
    assert np.allclose(money.owner_npv_usd, money.npv_usd)
    assert np.array_equal(money.equity_usd, money.capital_usd)


def test_a_loan_shorter_than_ten_years_is_paid_off() -> None:
    money = price(1e5, values=VALUES.override({"loan_years": 7.0}))
    laid = money.schedule(0)
    assert money.owner_npv_usd[0, 3] == pytest.approx(
        nf.npv(money.terms.discount_share[3], laid.after_debt[3])
    )
    assert laid.loan[3, laid.opening[3] + 90] == 0


def test_fan_is_ordered_and_the_deepest_cash_holds_the_equity() -> None:
    money = price(1e5)
    laid = money.schedule(0)
    fan = laid.fan()
    assert (fan["low"] <= fan["value"]).all()
    assert (fan["value"] <= fan["high"]).all()
    assert (laid.deepest_cash(after_debt=False) >= money.capital_usd[0] - 1e-3).all()
    early = laid.cash_before_building()
    land = np.broadcast_to(money.capital.land_usd, (1, 200))[0]
    assert (early >= land).all()
    assert (early < money.capital_usd[0]).all()
    assert (laid.deepest_cash() >= money.equity_usd[0] - 1e-3).all()


def test_rates_of_return_may_be_left_out() -> None:
    assert np.isnan(price(1e5, irr=False).irr_share).all()


@pytest.mark.parametrize(
    ("yearly", "lost", "more", "part"),
    [
        (np.full((1, 3), 1e5), 0.0, {}, "cars a year"),
        (np.full((1, 200), -1.0), 0.0, {}, "cars a year"),
        (np.full((1, 200), np.nan), 0.0, {}, "cars a year"),
        (np.full((1, 200), 1e9), 0.0, {}, "at most 1e8"),
        (np.full((1, 200), 1e5), 40.0, {}, "lost share must be 0 to 1"),
        (np.full((1, 200), 1e5), 0.0, {"land": [-5.0]}, "land price"),
        (np.full((1, 200), 1e5), 0.0, {"land": [1.0, 2.0]}, "land price"),
        (np.full((1, 200), 1e5), 0.0, {"ground": []}, "one entry per site"),
    ],
)
def test_input_without_sense_is_refused(
    yearly: np.ndarray, lost: float, more: dict[str, object], part: str
) -> None:
    with pytest.raises(InputError, match=part):
        price_study(yearly, lost, LINE, Offer(), WORLDS, ["A"], **more)  # type: ignore[arg-type]


def test_lines_without_a_price_are_refused() -> None:
    with pytest.raises(InputError, match="equipment price is missing"):
        price_study(cars(1e5), 0.0, {"length_m": 38.0}, Offer(), WORLDS, ["A"])
    with pytest.raises(InputError, match="equipment price"):
        price_study(cars(1e5), 0.0, LINE | {"capital_usd": np.inf}, Offer(), WORLDS, ["A"])


@pytest.mark.property
@settings(max_examples=50)
@given(st.lists(st.sampled_from([1.0, 5.0, 9.0, np.inf]), min_size=1, max_size=40))
def test_outcomes_say_how_often_something_exists(draws: list[float]) -> None:
    said = Outcome.of(draws, "years", never="never pays back")
    assert said.chance == pytest.approx(np.isfinite(draws).mean())
    assert (said.said == "") == bool(np.isfinite(draws).all())
    if said.said == "":
        assert said.value == pytest.approx(np.median(draws))
        assert said.mean == pytest.approx(np.mean(draws))
    else:
        assert said.mean is None
    json.dumps(said.to_dict(), allow_nan=False)


def test_outcomes_of_nothing_are_refused() -> None:
    with pytest.raises(InputError):
        Outcome.of([], "years")
    low = Outcome.of([np.nan, 0.1, 0.2, 0.3], "1/year", bad_is_low=True)
    assert low.low is None
    assert low.high is not None


def test_terms_are_shared_and_keyed() -> None:
    more = Worlds(draws=400)
    few, many = draw_terms(Offer(), WORLDS), draw_terms(Offer(), more)
    assert np.array_equal(few.margin_usd, many.margin_usd[:200])
    assert replace(few).loan_months == 240

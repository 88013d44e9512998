"""Are factors the same from the map and from a table, and is the starter sheet as stated?"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from capture.basis import InputError, Offer, Worlds
from capture.share import (
    CORE,
    EXTRA,
    FACTORS,
    VALUES,
    Factor,
    check_known_sites,
    compute_factors,
    compute_ramp_share,
    fit_share,
    list_factors,
    make_factor_table,
    make_prior,
)

#: factor: reference, mean, sd, sign
SHEET = {
    "log_vehicles": (0, -0.3, 0.2, -1),
    "delay": (10, -1 / 90, 0.006, -1),
    "sight": (1, 0.5, 0.3, 1),
    "pull": (1, -0.30, 0.13, -1),
    "passed_first": (0.2, -0.3, 0.2, -1),
    "log_people": (0, 0.25, 0.15, 1),
    "log_price": (0, -0.8, 0.35, -1),
    "plan": (1, 0.35, 0.2, 1),
    "ramp": (0, 1, 0.2, 1),
}
BASES = {"exterior": 0.8, "flex": 0.55, "full_service": 0.3, "in_bay": 0.1, "self_service": 0.04}


@pytest.mark.practice
@pytest.mark.parametrize("name", CORE)
def test_starter_sheet(name: str) -> None:
    factor = FACTORS[name]
    reference, mean, sd, sign = SHEET[name]
    assert factor.reference == reference
    assert factor.prior_mean == pytest.approx(mean, rel=1e-12)
    assert factor.prior_sd == pytest.approx(sd, rel=1e-12)
    assert factor.sign == sign
    assert factor.meaning
    assert "memory" in factor.source


@pytest.mark.practice
def test_starter_bases_and_spreads() -> None:
    for name, share in BASES.items():
        assert VALUES.value(f"base_{name}_share") == pytest.approx(share / 100)
    prior = make_prior(CORE)
    assert prior.sd[:6].tolist() == [0.25, 0.2, 0.2, 0.2, 0.2, 0.2]
    assert prior.group_sd == 0.25
    assert (len(prior.sigma), prior.sigma[0], prior.sigma[-1]) == (64, pytest.approx(0.1), 1.0)
    assert np.ptp(np.diff(np.log(prior.sigma))) < 1e-12
    apart = np.log(prior.sigma / 0.25) / 0.4
    np.testing.assert_allclose(np.diff(prior.log_weight), np.diff(-0.5 * apart**2), rtol=1e-9)


@pytest.mark.practice
def test_reference_site_before_any_known_site() -> None:
    """0.39 / 0.80 / 1.64 % in a trial of the sheet, in line with practice's 0.35 / 0.8 / 1.6."""
    measures = {
        "vehicles_veh_day": [20_000],
        "delay_s": [10],
        "sight": [1],
        "pull": [1],
        "passed_first_share": [0.2],
        "people_10min": [40_000],
        "price_ratio": [1],
        "plan_offered": [1],
        "years_open": [5],
    }
    table = make_factor_table({k: np.array(v, dtype=float) for k, v in measures.items()}, ["ref"])
    assert not table.missing.any()
    fit = fit_share(selection=False)
    rate = fit.predict(table, Worlds(draws=20_000), operator="typical").rate[0]
    low, middle, high = np.quantile(rate, [0.05, 0.5, 0.95]) * 100
    assert low == pytest.approx(0.39, abs=0.015)
    assert middle == pytest.approx(0.80, abs=0.015)
    assert high == pytest.approx(1.64, abs=0.05)


def test_map_and_table_pass_through_the_same_code() -> None:
    offer = Offer(ticket_price_usd=14.3, opens_hour=8, closes_hour=20, years_open=2.0)
    hours = np.zeros((3, 24))
    hours[:, 8:20] = 1 / 16
    hours[:, 0] = 1 / 4
    hours[1, :] = 0
    hours[1, 2] = 1  # drives past only at night, when the wash is closed
    streams = SimpleNamespace(
        site=np.array([0, 0, 1]),
        vehicles_per_day=np.array([9000.0, 5000.0, 21_000.0]),
        hour_share=hours,
        speed_mps=np.array([15.0, 15.0, 20.1168]),
    )
    turning = SimpleNamespace(delay_s=np.array([5.0, 80.0, 30.0]))
    seeing = SimpleNamespace(sight=np.array([0.9, 0.1, 0.6]))
    around = SimpleNamespace(
        pull=np.array([0.5, 2.0]),
        passed_first_share=np.array([0.1, 0.9, np.nan]),
        people_10min=np.array([30_000.0, np.nan]),
        households_10min=np.array([12_000.0, 0.0]),
        income=np.array([12_000 * 80_000.0, 0.0]),
    )
    table = compute_factors(
        streams,
        turning,
        seeing,
        around,
        offer,
        ids=["a", "b"],
        names=[*CORE, "speed", "log_income"],
    )
    known = check_known_sites(
        pd.DataFrame(
            {
                "id": ["a", "b"],
                "cars_per_year": [50_000, 60_000],
                "aadt_veh_day": [14_000, 21_000],
                "delay_s": [5.0, 30.0],
                "sight": [0.9, 0.6],
                "pull": [0.5, 2.0],
                "passed_first_share": [0.1, None],
                "people_10min": [30_000, None],
                "price_ratio": [1.1, 1.1],
                "plan_offered": [1, 1],
                "years_open": [2, 2],
            }
        )
    ).factors
    np.testing.assert_allclose(table.x[:, : len(CORE)], known.x, rtol=1e-12)
    np.testing.assert_array_equal(table.missing[:, : len(CORE)], known.missing)
    assert table.x[1, len(CORE)] == pytest.approx(1.0)
    assert table.x[0, len(CORE) + 1] == pytest.approx(np.log(80 / 75))
    assert table.missing[1, len(CORE) + 1]


def test_rooms_left_out_are_missing_factors() -> None:
    streams = SimpleNamespace(site=np.array([0]), vehicles_per_day=np.array([9000.0]))
    table = compute_factors(streams, None, None, None, Offer(), np.full((1, 9), 8000.0))
    told = dict(zip(table.names, ~table.missing[0], strict=True))
    assert [name for name in told if told[name]] == ["log_vehicles", "log_price", "plan", "ramp"]
    assert table.x[0, 0] == pytest.approx(np.log(8000 / 20_000))
    assert table.x[0, table.names.index("delay")] == 10


def test_a_site_with_nobody_passing_is_refused() -> None:
    streams = SimpleNamespace(site=np.array([0]), vehicles_per_day=np.array([9000.0]))
    with pytest.raises(InputError, match="none at P02; give the site a driveway"):
        compute_factors(streams, None, None, None, Offer(), ids=["P01", "P02"])
    with pytest.raises(InputError, match="number of sites cannot be told"):
        compute_factors(streams, None, None, None, Offer())


@pytest.mark.practice
def test_ramp() -> None:
    years = np.array([0.2, 1, 2, 3, 3.5, 4, 30, np.nan])
    shares = compute_ramp_share(years)
    np.testing.assert_allclose(shares[:-1], [0.58, 0.58, 0.8, 0.95, 0.975, 1, 1])
    assert np.isnan(shares[-1])


def test_registry_refuses_what_cannot_be() -> None:
    with pytest.raises(InputError, match="against its declared sign"):
        Factor(
            name="x", unit="1", reference=0, prior_mean=1, prior_sd=1, sign=-1, spread=1,
            meaning="m", source="s", compute=lambda measures, values: np.zeros(1),
        )  # fmt: skip
    with pytest.raises(InputError, match="0 or more"):
        Factor(
            name="x", unit="1", reference=0, prior_mean=1, prior_sd=-1, sign=1, spread=1,
            meaning="m", source="s", compute=lambda measures, values: np.zeros(1),
        )  # fmt: skip
    with pytest.raises(InputError, match="against its declared sign"):
        list_factors(VALUES.override({"beta_pull": 0.5}))


def test_further_factors_wait_for_three_rows_each() -> None:
    rng = np.random.default_rng(0)
    rows = {"cars_per_year": rng.integers(40_000, 90_000, 60), "aadt_veh_day": 20_000}
    rows["open_h"] = rng.uniform(8, 20, 60)
    known = check_known_sites(pd.DataFrame(rows))
    assert known.factors.names == (*CORE, "log_hours")
    few, many = fit_share(known.take(range(29))), fit_share(known)
    assert few.waiting == ("log_hours",)
    assert many.waiting == ()
    sd = [np.sqrt(fit.mixture.coefficient_covariance()[-1, -1]) for fit in (few, many)]
    assert sd[0] <= 0.1
    assert few.mixture.prior.sd[-1] == 0.1
    assert many.mixture.prior.sd[-1] == pytest.approx(0.3)
    assert set(EXTRA) == {"speed", "log_income", "attractions", "log_hours", "huff"}


def test_an_area_price_that_is_assumed_widens_and_still_answers() -> None:
    streams = SimpleNamespace(site=np.array([0, 1]), vehicles_per_day=np.array([9000.0, 9000.0]))
    prices = SimpleNamespace(pull=np.ones(2), ticket_price_usd=np.array([13.0, np.nan]))
    column = CORE.index("log_price")
    offer = Offer(ticket_price_usd=15)
    table = compute_factors(streams, None, None, prices, offer, ids=["told", "assumed"])
    assert table.x[0, column] == table.x[1, column] == pytest.approx(np.log(15 / 13))
    assert table.unsure is not None
    expected = np.log(18 / 9) / (2 * 1.6448536)
    assert table.unsure[:, column].tolist() == pytest.approx([0, expected])
    draws = fit_share().predict(table, Worlds(draws=4000), residuals=False)
    width = np.log(draws.multiplier_high / draws.multiplier_low)[:, column]
    assert width[1] > 2 * width[0]
    assert (np.abs(width[0] - 2 * 1.6449 * 0.35 * table.x[0, column]) < 0.02).all()
    assert draws.multiplier[1, column] == pytest.approx(draws.multiplier[0, column], abs=0.04)
    spread = np.log(draws.rate).std(axis=1)
    assert spread[1] > spread[0]
    dearer = compute_factors(streams, None, None, prices, Offer(ticket_price_usd=20))
    assert dearer.x[0, column] > table.x[0, column]
    assert table.take([1]).unsure is not None
    assert table.change("log_price", 0.0).unsure[:, column].tolist() == [0, 0]  # type: ignore[index]

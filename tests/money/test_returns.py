"""Value, rate, payback and loans, with numpy-financial beside them."""

from __future__ import annotations

import numpy as np
import numpy_financial as nf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.basis import InputError
from capture.money import (
    compute_annuity,
    compute_balance,
    compute_irr,
    compute_monthly_rate,
    compute_npv,
    compute_payback,
    compute_payment,
)

#: the peer divides by zero inside where() when there is no rate
pytestmark = pytest.mark.filterwarnings("ignore::RuntimeWarning:numpy_financial")

#: no rate or a usable one: the peer divides by zero just above none
RATES = st.just(0.0) | st.floats(1e-6, 0.05)
AMOUNTS = st.lists(st.floats(0, 1e6), min_size=2, max_size=30)


@pytest.mark.property
@settings(max_examples=80)
@given(rate=st.floats(-0.5, 1.0), later=AMOUNTS, first=st.floats(1, 1e6))
def test_npv_is_that_of_the_peer(rate: float, later: list[float], first: float) -> None:
    flows = [-first, *later]
    want = nf.npv(rate, flows)
    assert float(compute_npv(rate, flows)) == pytest.approx(want, rel=1e-9, abs=1e-6)


@pytest.mark.property
@settings(max_examples=60)
@given(first=st.floats(1e3, 1e6), later=st.lists(st.floats(1, 1e6), min_size=2, max_size=24))
def test_irr_is_that_of_the_peer(first: float, later: list[float]) -> None:
    flows = [-first, *later]
    want = nf.irr(flows)
    got = float(compute_irr(flows))
    assert got == pytest.approx(want, abs=1e-8, rel=1e-8)
    assert float(compute_npv(got, flows)) == pytest.approx(0.0, abs=1e-6 * sum(later) + 1e-6)


def test_irr_of_many_rows_at_once_and_of_none() -> None:
    rows = np.array([[-100.0, 60, 60], [-1, -2, -3], [1, 2, 3], [0, 0, 0], [-100, 30, 30]])
    got = compute_irr(rows)
    assert got[0] == pytest.approx(nf.irr(rows[0]))
    assert np.isnan(got[1:4]).all()
    assert got[4] == pytest.approx(nf.irr(rows[4]))


def test_irr_of_long_and_extreme_rows_does_not_overflow() -> None:
    assert np.isfinite(compute_irr([-1.0, *[1e-9] * 300, 1e9]))
    assert float(compute_irr([-1e12, *[1.0] * 10])) < -0.8


@pytest.mark.property
@settings(max_examples=60)
@given(
    loan=st.floats(1, 1e7),
    rate=RATES,
    periods=st.integers(1, 480),
    share=st.floats(0, 1),
)
def test_loans_are_those_of_the_peer(loan: float, rate: float, periods: int, share: float) -> None:
    payment = float(compute_payment(loan, rate, periods))
    assert payment == pytest.approx(-nf.pmt(rate, periods, loan), rel=1e-7)
    paid = int(share * periods)
    left = float(compute_balance(loan, rate, periods, paid))
    assert left == pytest.approx(
        float(-nf.fv(rate, paid, -payment, loan)), rel=1e-5, abs=1e-4 * loan
    )


@pytest.mark.property
@given(rate=RATES, periods=st.integers(1, 400))
def test_annuity_is_that_of_the_peer(rate: float, periods: int) -> None:
    want = -nf.pv(rate, periods, 1.0)
    assert float(compute_annuity(rate, periods)) == pytest.approx(want, rel=1e-6)


def test_monthly_rate_compounds_to_the_yearly() -> None:
    assert (1 + float(compute_monthly_rate(0.1))) ** 12 == pytest.approx(1.1)


@pytest.mark.property
@given(first=st.floats(1, 1e5), later=AMOUNTS)
def test_payback_is_where_the_running_sum_crosses(first: float, later: list[float]) -> None:
    flows = np.array([-first, *later])
    got = float(compute_payback(flows))
    running = np.cumsum(flows)
    if not np.isfinite(got):
        assert running[-1] < 0
        return
    at = np.interp(got, np.arange(flows.size), running)
    assert at == pytest.approx(0.0, abs=1e-6 * first) or got == int(got)
    assert (running[: int(np.ceil(got))] < 0).all()


def test_never_paid_back_is_infinite() -> None:
    assert float(compute_payback([-10.0, 1.0, 1.0])) == np.inf
    assert float(compute_payback([0.0, 1.0])) == 0.0


def test_rates_and_periods_without_sense_are_refused() -> None:
    with pytest.raises(InputError, match="over -1"):
        compute_npv(-1.0, [1.0, 2.0])
    with pytest.raises(InputError, match="1 or more"):
        compute_payment(1.0, 0.01, 0)

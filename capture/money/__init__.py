"""Is it worth it, and how sure are we: cash, returns, land price, value of knowing more."""

from capture.money.capital import Capital, add_capital, price_land
from capture.money.flows import Schedule, solve_irr
from capture.money.pricing import Money, price_study
from capture.money.returns import (
    compute_annuity,
    compute_balance,
    compute_irr,
    compute_monthly_rate,
    compute_npv,
    compute_payback,
    compute_payment,
)
from capture.money.summary import Outcome, price_land_at, sum_up
from capture.money.terms import MONTHS, Terms, draw_terms
from capture.money.values import VALUES

__all__ = [
    "MONTHS",
    "VALUES",
    "Capital",
    "Money",
    "Outcome",
    "Schedule",
    "Terms",
    "add_capital",
    "compute_annuity",
    "compute_balance",
    "compute_irr",
    "compute_monthly_rate",
    "compute_npv",
    "compute_payback",
    "compute_payment",
    "draw_terms",
    "price_land",
    "price_land_at",
    "price_study",
    "solve_irr",
    "sum_up",
]

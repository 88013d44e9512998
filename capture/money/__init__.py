"""Is it worth it, and how sure are we: cash, returns, land price, value of knowing more."""

from capture.money.capital import Capital, add_capital, price_land
from capture.money.choosing import Choice, choose_sites
from capture.money.flows import Schedule, solve_irr
from capture.money.knowing import (
    Measure,
    MeasureWorth,
    Worth,
    compute_unit_normal_loss,
    rank_measures,
    see_with_noise,
    value_knowing,
)
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
from capture.money.second import (
    SECOND_VALUES,
    SecondSite,
    compute_nearer_share,
    estimate_moved,
    estimate_taken,
    price_second,
)
from capture.money.summary import Outcome, price_land_at, sum_up
from capture.money.terms import MONTHS, Terms, draw_terms
from capture.money.tornado import Bar, compute_first_order, make_tornado, rank_inputs
from capture.money.values import VALUES

__all__ = [
    "MONTHS",
    "SECOND_VALUES",
    "VALUES",
    "Bar",
    "Capital",
    "Choice",
    "Measure",
    "MeasureWorth",
    "Money",
    "Outcome",
    "Schedule",
    "SecondSite",
    "Terms",
    "Worth",
    "add_capital",
    "choose_sites",
    "compute_annuity",
    "compute_balance",
    "compute_first_order",
    "compute_irr",
    "compute_monthly_rate",
    "compute_nearer_share",
    "compute_npv",
    "compute_payback",
    "compute_payment",
    "compute_unit_normal_loss",
    "draw_terms",
    "estimate_moved",
    "estimate_taken",
    "make_tornado",
    "price_land",
    "price_land_at",
    "price_second",
    "price_study",
    "rank_inputs",
    "rank_measures",
    "see_with_noise",
    "solve_irr",
    "sum_up",
    "value_knowing",
]

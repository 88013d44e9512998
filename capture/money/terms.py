"""What does one mature yearly car earn month by month, and what does being open cost?

Everything here is shared by all sites of one offer: the trade's uncertain prices and
costs, drawn once per world. Tickets and members are two streams: members come from ticket
visits, stay, visit and leave; cars in all follow the ramp.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import Offer, Sheet, Worlds
from capture.hours import VALUES as HOURS_VALUES
from capture.hours import compute_ramp_share
from capture.money.returns import compute_monthly_rate
from capture.money.values import VALUES
from capture.share import Rates, draw_rates

FloatArray = NDArray[np.float64]
#: months after opening that are looked at
MONTHS: Final = 120
_YEAR: Final = 12
_DAYS: Final = 365.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """Drawn prices, costs and terms of one offer, shape (n,) unless said."""

    #: cash left of one mature yearly car in each open month, USD, shape (n, 120)
    margin_usd: FloatArray
    #: revenue of the same, before fees, USD, shape (n, 120)
    revenue_usd: FloatArray
    #: cars in each open month as a share of mature yearly cars, shape (n, 120)
    cars_share: FloatArray
    #: of them washed under the plan, shape (n, 120)
    member_share: FloatArray
    #: members per mature yearly car at the end of each month, shape (n, 120)
    members: FloatArray
    #: running costs of a car, USD
    cost_usd_car: FloatArray
    #: costs of being open a month, USD
    fixed_usd_month: FloatArray
    #: of those, staff, USD a month
    staff_usd_month: FloatArray
    #: of those, property tax and insurance, USD a month
    tax_usd_month: FloatArray
    #: of those, due already before opening, USD a month
    carry_usd_month: FloatArray
    #: monthly discount rate
    discount_share: FloatArray
    #: lent share of project cost
    loan_share: FloatArray
    #: monthly loan rate
    loan_rate_share: FloatArray
    #: months over which the loan is paid off
    loan_months: int
    #: months from contract to opening, before what the ground adds
    opening_months: FloatArray
    #: of them, construction
    building_months: FloatArray
    #: drawn inputs by name, for the tornado
    inputs: dict[str, FloatArray]


def draw_terms(
    offer: Offer,
    worlds: Worlds,
    *,
    values: Sheet = VALUES,
    ramp_values: Sheet = HOURS_VALUES,
    rates: Rates | None = None,
) -> Terms:
    """Draw what all sites of one offer share.

    Parameters
    ----------
    offer : Offer
        Prices, plan, format, open hours.
    worlds : Worlds
        n draws.
    values, ramp_values : Sheet
        This room's constants, and those of the ramp in the first years.
    rates : Rates, optional
        How members join, wash and leave; the share's own when left out.

    Returns
    -------
    Terms

    Notes
    -----
    Cars a month c_t = ramp_t / 12 of a mature yearly car. Members
    m_t = (1 - leaving) m_(t-1) + joining x (c_t - visits m_(t-1)), so their mature share
    of washes is j v / (j v + leaving).
    """
    drawn = {name: worlds.constant(values[name]) for name in _DRAWN}
    ramp = compute_ramp_share(range(MONTHS), worlds=worlds, values=ramp_values).T
    cars = np.ascontiguousarray(ramp) / _YEAR
    rates = draw_rates(offer, worlds) if rates is None else rates
    member_cars, members = _grow_members(cars, rates, offer)
    gross = (
        (cars - member_cars) * offer.ticket_price_usd
        + members * offer.plan_price_usd_month
        + cars * drawn["upgrade_usd_car"][:, None]
    )
    per_car = _cost_of_car(drawn, offer)
    staff, tax, fixed = _cost_of_month(drawn, offer)
    net = gross * (1.0 - drawn["card_fee_share"][:, None]) - cars * per_car[:, None]
    return Terms(
        margin_usd=net,
        revenue_usd=gross,
        cars_share=cars,
        member_share=member_cars / np.maximum(cars, 1e-300),
        members=members,
        cost_usd_car=per_car,
        fixed_usd_month=fixed,
        staff_usd_month=staff,
        tax_usd_month=tax,
        carry_usd_month=tax * drawn["carry_share"],
        discount_share=compute_monthly_rate(drawn["discount_share"]),
        loan_share=np.clip(drawn["loan_share"], 0.0, 1.0),
        loan_rate_share=drawn["loan_rate_share"] / _YEAR,
        loan_months=max(1, round(values.value("loan_years") * _YEAR)),
        opening_months=np.maximum(np.rint(drawn["opening_months"]), 1.0),
        building_months=np.maximum(np.rint(drawn["building_months"]), 1.0),
        inputs={name: draws for name, draws in drawn.items() if values[name].is_uncertain}
        | {
            "first_year_share": ramp[:, :_YEAR].mean(axis=1),
            "joins_per_ticket": rates.joins_per_ticket,
            "leaving_month": rates.leaving_month,
            "visits_member_month": rates.visits_month,
        },
    )


_DRAWN: Final = (
    "card_fee_share", "upgrade_usd_car", "water_usd_car",
    "energy_kwh_car", "energy_usd_kwh", "chemistry_usd_car", "maintenance_usd_car",
    "staff_exterior", "staff_bays", "wage_usd_h", "labour_flex_usd_car", "labour_full_usd_car",
    "tax_insurance_usd_year", "overhead_usd_year", "bays_overhead_share", "discount_share",
    "loan_share", "loan_rate_share", "carry_share", "opening_months", "building_months",
)  # fmt: skip


def _grow_members(cars: FloatArray, rates: Rates, offer: Offer) -> tuple[FloatArray, FloatArray]:
    member_cars, members = np.zeros_like(cars), np.zeros_like(cars)
    if not offer.plan_offered:
        return member_cars, members
    visits, leaving = rates.visits_month, np.clip(rates.leaving_month, 0.0, 1.0)
    joining = np.clip(rates.joins_per_ticket, 0.0, 1.0)
    now = np.zeros(cars.shape[0])
    for month in range(cars.shape[1]):
        washed = np.minimum(visits * now, cars[:, month])
        member_cars[:, month] = washed
        members[:, month] = now
        now = now * (1.0 - leaving) + joining * (cars[:, month] - washed)
    return member_cars, members


def _cost_of_car(drawn: dict[str, FloatArray], offer: Offer) -> FloatArray:
    cost = (
        drawn["water_usd_car"]
        + drawn["energy_kwh_car"] * drawn["energy_usd_kwh"]
        + drawn["chemistry_usd_car"]
        + drawn["maintenance_usd_car"]
    )
    if offer.format == "flex":
        cost = cost + drawn["labour_flex_usd_car"]
    elif offer.format == "full_service":
        cost = cost + drawn["labour_full_usd_car"]
    return np.asarray(cost)


def _cost_of_month(
    drawn: dict[str, FloatArray], offer: Offer
) -> tuple[FloatArray, FloatArray, FloatArray]:
    people = drawn["staff_exterior"] if offer.is_conveyor else drawn["staff_bays"]
    scale = 1.0 if offer.is_conveyor else drawn["bays_overhead_share"]
    hours = _DAYS * (offer.closes_hour - offer.opens_hour)
    staff = people * drawn["wage_usd_h"] * hours / _YEAR
    tax = scale * drawn["tax_insurance_usd_year"] / _YEAR
    fixed = staff + tax + scale * drawn["overhead_usd_year"] / _YEAR
    return staff, np.asarray(tax), np.asarray(fixed)

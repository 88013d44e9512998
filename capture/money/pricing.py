"""Is a site worth it: value today, rate of return, payback, break-even, land price?

Months run from the contract. Land is paid at once, soft costs evenly until opening, fees
when building starts, hard costs evenly while building, opening costs at opening; then
ten open years; then what is left is sold. Real US dollars before income tax. A month's
cash is linear in mature yearly cars, so all sites share a few sums per world.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Offer, Sheet, Worlds
from capture.hours import VALUES as HOURS_VALUES
from capture.money.capital import Capital, GroundLike, add_capital, fit_rows
from capture.money.flows import Schedule, solve_irr
from capture.money.returns import compute_annuity, compute_balance, compute_payment
from capture.money.terms import MONTHS, Terms, draw_terms
from capture.money.values import VALUES
from capture.share import Rates, compute_ramp_share

FloatArray = NDArray[np.float64]
_YEAR: Final = 12
_DAYS: Final = 365.0
_MOST_CARS: Final = 1e8


@dataclass(frozen=True, slots=True, kw_only=True)
class Money:
    """What each site is worth, in every world; arrays of shape (S, n) unless said."""

    #: S stable ids
    site_ids: tuple[str, ...]
    #: value today of all cash before debt
    npv_usd: FloatArray
    #: value today of the owner's cash after the loan
    owner_npv_usd: FloatArray
    #: yearly rate of return before debt; nan where there is none
    irr_share: FloatArray
    #: value today of one more mature yearly car
    npv_usd_car: FloatArray
    #: years from opening until cash before debt has paid all capital back; inf is never
    payback_years: FloatArray
    #: cars a day at which a mature year pays its costs and loan; inf is never
    breakeven_cars_day: FloatArray
    #: highest land price with a value of zero or more; negative: not even free land pays
    land_ceiling_usd: FloatArray
    #: cash before debt over loan payments, third open year; inf without a loan
    dscr: FloatArray
    #: the same in the first open year
    dscr_first_year: FloatArray
    #: cash before debt in the last open year
    mature_cash_usd_year: FloatArray
    #: everything spent by opening, land included
    capital_usd: FloatArray
    #: cash the owner needs beside the loan by opening
    equity_usd: FloatArray
    #: loan
    loan_usd: FloatArray
    #: months from contract to opening
    opening_months: FloatArray
    #: mature cars a year that are washed
    cars_per_year: FloatArray
    #: share of worlds with a positive value, shape (S,)
    chance_npv_positive: FloatArray
    #: share of worlds in which a mature year pays its costs and loan, shape (S,)
    chance_breaks_even: FloatArray
    #: shared prices and costs
    terms: Terms
    #: what is spent by opening, in parts
    capital: Capital
    #: what a paper must say beside the numbers
    cautions: tuple[str, ...]

    def schedule(self, site: int) -> Schedule:
        """Return one site's payments month by month in every world, for charts and checks."""
        n = self.npv_usd.shape[1]
        row = self.cars_per_year[site]
        return Schedule.lay_out(row, site, self.terms, self.capital, self.opening_months[site], n)


CAUTIONS: Final = (
    "Before income tax, in today's prices; not an appraisal, an offer or investment advice.",
    "After ten years land and works are sold, not the running business; what land, works and "
    "equipment then bring is an assumption: set it to your own view among the numbers of money.",
    "Known sites were chosen and built; an untested parcel may do worse than they did.",
)


def price_study(
    cars_per_year: ArrayLike,
    lost_share: ArrayLike,
    lines: Any,
    offer: Offer,
    worlds: Worlds,
    site_ids: Sequence[str],
    *,
    land: ArrayLike | None = None,
    ground: Sequence[GroundLike] | None = None,
    irr: bool = True,
    values: Sheet = VALUES,
    ramp_values: Sheet = HOURS_VALUES,
    rates: Rates | None = None,
) -> Money:
    """Price sites: ten years of months, in every world.

    Parameters
    ----------
    cars_per_year : array_like of float, shape (S, n)
        Cars that want to be washed in the offer's ``years_open``; before the fourth year
        they are scaled up to a mature year.
    lost_share : array_like of float, scalar, (S,) or (S, n)
        Part of them that the line turns away, 0-1; taken for every year.
    lines : LineTable, Line or mapping
        With ``capital_usd``, ``length_m`` and ``building_area_m2``, each a number or of shape
        (S,) or (S, n).
    site_ids : sequence of str
        S stable ids.
    land : array_like of float, optional
        Land prices, USD, shape (S,) or (S, n); ``nan`` takes the default.
    ground : sequence of Ground, optional
        One per site; asks add cost and delay.
    rates : Rates, optional
        How members join, wash and leave; the share's own when left out.
    irr : bool
        Whether rates of return are solved; leave out when screening very many sites.
    ramp_values : Sheet
        The room of hours' constants, for the first years.

    Returns
    -------
    Money

    Raises
    ------
    InputError
        When shapes do not fit or amounts are negative, not finite or beyond reason.

    Examples
    --------
    >>> import numpy as np
    >>> from capture.basis import Offer, Worlds
    >>> money = price_study(np.full((1, 100), 100_000.0), 0.0,
    ...                     {"capital_usd": 1.5e6, "length_m": 38.0},
    ...                     Offer(), Worlds(draws=100), ["P01"])
    >>> money.npv_usd.shape
    (1, 100)
    """
    shape = (len(site_ids), worlds.draws)
    cars = _check_cars(cars_per_year, lost_share, shape)
    cars = cars / float(compute_ramp_share(np.array(offer.years_open)))
    terms = draw_terms(offer, worlds, values=values, ramp_values=ramp_values, rates=rates)
    capital = add_capital(lines, offer, worlds, site_ids, land=land, ground=ground, values=values)
    opening = np.broadcast_to(terms.opening_months + capital.ground_months, shape)
    capital_usd = np.broadcast_to(capital.total_usd + terms.carry_usd_month * opening, shape)
    loan = np.broadcast_to(terms.loan_share * capital.total_usd, shape)
    npv, per_car, land_worth, owner = _worth(cars, terms, capital, opening, loan)
    sums = np.add.reduceat(terms.margin_usd, np.arange(0, MONTHS, _YEAR), axis=1)
    fixed_year = terms.fixed_usd_month * _YEAR
    cash_year = {at: cars * sums[:, at] - fixed_year for at in (0, 2, -1)}
    paid_year = compute_payment(loan, terms.loan_rate_share, terms.loan_months) * _YEAR
    with np.errstate(divide="ignore", invalid="ignore"):
        need = np.where(sums[:, -1] > 0, (fixed_year + paid_year) / sums[:, -1], np.inf)
        dscr = {at: np.where(paid_year > 0, cash_year[at] / paid_year, np.inf) for at in (0, 2)}
    return Money(
        site_ids=tuple(site_ids),
        npv_usd=npv,
        owner_npv_usd=owner,
        irr_share=(solve_irr(cars, terms, capital, opening) if irr else np.full(shape, np.nan)),
        npv_usd_car=np.broadcast_to(per_car, shape),
        payback_years=_pay_back(cars, capital_usd, terms),
        breakeven_cars_day=np.broadcast_to(need / _DAYS, shape),
        land_ceiling_usd=np.where(
            land_worth > 0,
            capital.land_usd + npv / np.where(land_worth > 0, land_worth, 1.0),
            np.inf,
        ),
        dscr=dscr[2],
        dscr_first_year=dscr[0],
        mature_cash_usd_year=cash_year[-1],
        capital_usd=capital_usd,
        equity_usd=capital_usd - loan,
        loan_usd=loan,
        opening_months=opening,
        cars_per_year=cars,
        chance_npv_positive=(npv > 0).mean(axis=1),
        chance_breaks_even=(cars >= need).mean(axis=1),
        terms=terms,
        capital=capital,
        cautions=CAUTIONS,
    )


def _check_cars(
    cars_per_year: ArrayLike, lost_share: ArrayLike, shape: tuple[int, int]
) -> FloatArray:
    """Return the cars that are washed, shape (S, n)."""
    cars = fit_rows(cars_per_year, shape, "cars a year")
    lost = fit_rows(lost_share, shape, "lost share")
    if (lost > 1).any():
        raise InputError(f"lost share must be 0 to 1, got {lost.max():g}; give a share, not %")
    if (cars > _MOST_CARS).any():
        raise InputError(f"cars a year must be at most 1e8, got {cars.max():.3g}; check the share")
    return np.asarray(np.broadcast_to(cars * (1.0 - lost), shape))


def _worth(
    cars: FloatArray, terms: Terms, capital: Capital, opening: FloatArray, loan: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return value before debt, value of a car, value lost per dollar of land, after debt."""
    rate = terms.discount_share
    shrink = 1.0 / (1.0 + rate)
    months = np.arange(1, MONTHS + 1)
    earned = (terms.margin_usd * shrink[:, None] ** months).sum(axis=1)
    building = np.minimum(terms.building_months, opening)
    at_opening = shrink**opening
    at_start = shrink ** (opening - building)
    at_end = at_opening * shrink**MONTHS
    land_worth = 1.0 + capital.closing_share - capital.land_kept_share * at_end
    until = compute_annuity(rate, opening)
    open_months = compute_annuity(rate, MONTHS)
    npv = (
        -capital.land_usd * land_worth
        - (capital.soft_usd / opening + terms.carry_usd_month) * until
        - capital.fees_usd * at_start
        - capital.hard_usd / building * at_start * compute_annuity(rate, building)
        - capital.pre_opening_usd * at_opening
        + at_opening * (cars * earned - terms.fixed_usd_month * open_months)
        + at_end * capital.works_kept_usd
    )
    paid = compute_payment(loan, terms.loan_rate_share, terms.loan_months)
    years = min(MONTHS, terms.loan_months)
    owed = compute_balance(loan, terms.loan_rate_share, terms.loan_months, MONTHS)
    owner = (
        npv
        + loan * at_start * (1.0 - terms.loan_rate_share * compute_annuity(rate, building))
        - paid * at_opening * compute_annuity(rate, years)
        - owed * at_end
    )
    return npv, np.asarray(at_opening * earned), np.asarray(land_worth), np.asarray(owner)


def _pay_back(cars: FloatArray, capital_usd: FloatArray, terms: Terms) -> FloatArray:
    """Return years from opening until cash has paid the capital back.

    Beyond ten years the last open year goes on unchanged.
    """
    margin = np.concatenate(
        (np.zeros((terms.margin_usd.shape[0], 1)), np.cumsum(terms.margin_usd, axis=1)), axis=1
    )
    draw = np.arange(margin.shape[0])

    def back(month: FloatArray) -> FloatArray:
        at = month.astype(np.int64)
        gained = cars * margin[draw, at] - terms.fixed_usd_month * month - capital_usd
        return np.asarray(gained)

    low, high = np.zeros(cars.shape), np.full(cars.shape, float(MONTHS))
    for _ in range(int(np.ceil(np.log2(MONTHS)))):
        middle = np.floor(0.5 * (low + high))
        reached = back(middle) >= 0
        low, high = np.where(reached, low, middle), np.where(reached, middle, high)
    at_low, at_high = back(low), back(high)
    within = at_high >= 0
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(within, -at_low / (at_high - at_low), 0.0)
        last = cars * (margin[:, -1] - margin[:, -1 - _YEAR]) / _YEAR - terms.fixed_usd_month
        beyond = np.where(last > 0, MONTHS - at_high / np.where(last > 0, last, 1.0), np.inf)
    months = np.where(within, low + part * (high - low), beyond)
    return np.asarray(np.where(capital_usd > 0, months, 0.0) / _YEAR)

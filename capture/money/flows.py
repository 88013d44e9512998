"""How do payments fall month by month, and at what rate are they worth nothing today?

The same timing as :mod:`capture.money.pricing`, laid out in full for one site: charts and
checks read it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.money.capital import Capital
from capture.money.returns import compute_annuity, compute_balance, compute_payment
from capture.money.terms import MONTHS, Terms

FloatArray = NDArray[np.float64]
#: monthly growth between which a rate of return is searched
_LEAST, _MOST = 0.9, 1.5
_YEAR: Final = 12
#: growths that make the bracket small before it is closed
_GUESSES: Final = (0.995, 1.0, 1.006, 1.015, 1.04)
_STEPS: Final = 80
_CLOSE: Final = 1e-13
_CLOSE_USD: Final = 1e-4
#: share of cells still going below which the others are dropped
_WORTH_DROPPING: Final = 0.7
#: cells solved at once
_CELLS: Final = 1 << 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """One site's payments, USD; months from the contract, shape (n, months)."""

    #: land, soft, fees, hard, opening, carry; negative
    outlays: FloatArray
    #: cash from washing less costs of being open
    operating: FloatArray
    #: what is sold at the end
    kept: FloatArray
    #: loan drawn less interest, payments and what is still owed at the end
    loan: FloatArray
    #: month in which building starts, shape (n,)
    starts: NDArray[np.int64]
    #: month of opening, shape (n,)
    opening: NDArray[np.int64]

    @property
    def before_debt(self) -> FloatArray:
        """All cash but the loan's."""
        return np.asarray(self.outlays + self.operating + self.kept)

    @property
    def after_debt(self) -> FloatArray:
        """All cash of the owner."""
        return np.asarray(self.before_debt + self.loan)

    @classmethod
    def lay_out(
        cls,
        cars: FloatArray,
        site: int,
        terms: Terms,
        capital: Capital,
        opening: FloatArray,
        draws: int,
    ) -> Schedule:
        """Lay out one site's payments.

        Parameters
        ----------
        cars : ndarray, shape (n,)
            Mature cars a year that are washed.
        site : int
            Row of the capital's arrays.
        opening : ndarray, shape (n,)
            Months from contract to opening.
        """
        part = _Parts(capital, site, draws)
        month = np.arange(int(opening.max()) + MONTHS + 1)
        opens = opening[:, None]
        builds = np.minimum(terms.building_months, opening)[:, None]
        starts = opens - builds
        before = (month >= 1) & (month <= opens)
        building = (month > starts) & (month <= opens)
        land, soft, hard = part("land_usd"), part("soft_usd"), part("hard_usd")
        outlays = (
            -land * (1.0 + part("closing_share")) * (month == 0)
            - (soft / opens + terms.carry_usd_month[:, None]) * before
            - part("fees_usd") * (month == starts)
            - hard / builds * building
            - part("pre_opening_usd") * (month == opens)
        )
        since = (month - opens).astype(np.int64)
        is_open = (since >= 1) & (since <= MONTHS)
        earned = np.take_along_axis(terms.margin_usd, np.clip(since - 1, 0, MONTHS - 1), axis=1)
        operating = (cars[:, None] * earned - terms.fixed_usd_month[:, None]) * is_open
        kept = (part("works_kept_usd") + land * part("land_kept_share")) * (since == MONTHS)
        lent = terms.loan_share[:, None] * part("total_usd")
        rate = terms.loan_rate_share[:, None]
        paid = compute_payment(lent, rate, terms.loan_months)
        loan = (
            lent * (month == starts)
            - lent * rate * building
            - paid * (is_open & (since <= terms.loan_months))
            - compute_balance(lent, rate, terms.loan_months, MONTHS) * (since == MONTHS)
        )
        return cls(
            outlays=outlays,
            operating=operating,
            kept=kept,
            loan=loan,
            starts=starts[:, 0].astype(np.int64),
            opening=opening.astype(np.int64),
        )

    def fan(self, *, after_debt: bool = False) -> dict[str, FloatArray]:
        """Return the spread of cumulated cash by month since the contract.

        Returns
        -------
        dict of str to ndarray, shape (months,)
            ``low`` (5 %), ``value`` (median), ``high`` (95 %) and ``mean``, USD.
        """
        running = np.cumsum(self.after_debt if after_debt else self.before_debt, axis=1)
        low, value, high = np.quantile(running, [0.05, 0.5, 0.95], axis=0)
        return {"low": low, "value": value, "high": high, "mean": running.mean(axis=0)}

    def cash_before_building(self) -> FloatArray:
        """Return what is spent before building starts (land, soft costs), USD, shape (n,)."""
        month = np.arange(self.outlays.shape[1])
        return np.asarray(-(self.outlays * (month <= self.starts[:, None])).sum(axis=1))

    def deepest_cash(self, *, after_debt: bool = True) -> FloatArray:
        """Return the most cash that the owner is out of pocket at any time, USD, shape (n,)."""
        running = np.cumsum(self.after_debt if after_debt else self.before_debt, axis=1)
        return np.asarray(np.maximum(-running.min(axis=1), 0.0))


class _Parts:
    """One site's row of each capital part, as a column over draws."""

    def __init__(self, capital: Capital, site: int, draws: int) -> None:
        self._capital, self._site, self._draws = capital, site, draws

    def __call__(self, name: str) -> FloatArray:
        array = np.atleast_2d(getattr(self._capital, name))
        row = array[self._site if array.shape[0] > 1 else 0]
        return np.asarray(np.broadcast_to(row, (self._draws,))[:, None])


def solve_irr(cars: FloatArray, terms: Terms, capital: Capital, opening: FloatArray) -> FloatArray:
    """Return the yearly rate of return before debt, shape (S, n).

    ``nan`` where money is lost faster than 72 % a year or never comes back, ``inf`` above
    50 % a month.

    Notes
    -----
    A bracket around the root is closed on the closed form of the discounted payments.
    """
    shape = cars.shape
    rows = max(1, _CELLS // shape[1])
    solved = np.empty(shape)
    for at in range(0, shape[0], rows):
        part = slice(at, at + rows)
        value = _Value.of(cars[part], terms, capital, opening[part], part)
        solved[part] = _solve(value, cars[part].shape)
    return solved


@dataclass(frozen=True, slots=True, kw_only=True)
class _Value:
    """Value today of a block of sites as a function of monthly growth; all broadcast."""

    cars: FloatArray
    opening: FloatArray
    building: FloatArray
    #: months first
    margin: FloatArray
    fixed: FloatArray
    carry: FloatArray
    land: FloatArray
    soft: FloatArray
    fees: FloatArray
    hard: FloatArray
    pre_opening: FloatArray
    kept: FloatArray

    @classmethod
    def of(
        cls, cars: FloatArray, terms: Terms, capital: Capital, opening: FloatArray, part: slice
    ) -> _Value:
        """Gather what one block needs."""

        def rows(amount: FloatArray) -> FloatArray:
            wide = np.atleast_2d(amount)
            return wide[part] if wide.shape[0] > 1 else wide

        land = rows(capital.land_usd)
        return cls(
            cars=cars,
            opening=opening,
            building=np.minimum(terms.building_months, opening),
            margin=np.ascontiguousarray(terms.margin_usd.T),
            fixed=terms.fixed_usd_month,
            carry=terms.carry_usd_month,
            land=land * (1.0 + capital.closing_share),
            soft=rows(capital.soft_usd),
            fees=capital.fees_usd,
            hard=rows(capital.hard_usd),
            pre_opening=capital.pre_opening_usd,
            kept=rows(capital.works_kept_usd) + land * capital.land_kept_share,
        )

    def take(self, which: NDArray[np.bool_]) -> _Value:
        """Return the chosen cells only, flat."""
        whole: dict[str, FloatArray] = {}
        for field in fields(self):
            array = getattr(self, field.name)
            if field.name == "margin":
                wide = array if array.ndim > 2 or array.shape[1:] == which.shape else array[:, None]
                whole["margin"] = np.broadcast_to(wide, (MONTHS, *which.shape))[:, which]
            else:
                whole[field.name] = np.broadcast_to(array, which.shape)[which]
        return _Value(**whole)

    def __call__(self, growth: FloatArray) -> FloatArray:
        """Return the value at a growth a month, of the growth's shape."""
        rate, shrink = growth - 1.0, 1.0 / growth
        earned = np.zeros(growth.shape)
        for month in range(MONTHS - 1, -1, -1):
            earned += self.margin[month]
            earned *= shrink
        at_opening = shrink**self.opening
        at_start = shrink ** (self.opening - self.building)
        until = compute_annuity(rate, self.opening)
        open_months = compute_annuity(rate, MONTHS)
        return np.asarray(
            -self.land
            - (self.soft / self.opening + self.carry) * until
            - self.fees * at_start
            - self.hard / self.building * at_start * compute_annuity(rate, self.building)
            - self.pre_opening * at_opening
            + at_opening * (self.cars * earned - self.fixed * open_months)
            + at_opening * shrink**MONTHS * self.kept
        )


def _solve(value: _Value, shape: tuple[int, ...]) -> FloatArray:
    """Find where a block's value crosses zero: a bracket, then Illinois steps inside it."""
    low, high = np.full(shape, _LEAST), np.full(shape, _MOST)
    at_low, at_high = value(low), value(high)
    none, beyond = at_low <= 0, at_high > 0
    for guess in _GUESSES:
        growth = np.full(shape, guess)
        at = value(growth)
        up, down = (at > 0) & (growth > low), (at <= 0) & (growth < high)
        low, at_low = np.where(up, growth, low), np.where(up, at, at_low)
        high, at_high = np.where(down, growth, high), np.where(down, at, at_high)
    found = ~none & ~beyond
    solved = np.where(beyond, np.inf, np.full(shape, np.nan))
    if found.any():
        ends = (low[found], high[found], at_low[found], at_high[found])
        solved[found] = np.expm1(_YEAR * np.log(_close_in(value.take(found), *ends)))
    return solved


def _close_in(
    value: _Value,
    low: FloatArray,
    high: FloatArray,
    at_low: FloatArray,
    at_high: FloatArray,
) -> FloatArray:
    """Close brackets with Illinois steps, dropping what is done on the way; flat arrays."""
    root = 0.5 * (low + high)
    where, side = np.arange(low.size), np.zeros(low.size)
    for _ in range(_STEPS):
        gap = at_low - at_high
        growth = low + (high - low) * np.where(gap > 0, at_low / np.where(gap > 0, gap, 1.0), 0.5)
        at = value(growth)
        root[where] = growth
        going = (np.abs(at) > _CLOSE_USD) & (high - low > _CLOSE)
        if not going.any():
            break
        up = at > 0
        at_high = np.where(up & (side > 0), 0.5 * at_high, at_high)
        at_low = np.where(~up & (side < 0), 0.5 * at_low, at_low)
        low, at_low = np.where(up, growth, low), np.where(up, at, at_low)
        high, at_high = np.where(up, high, growth), np.where(up, at_high, at)
        side = np.where(up, 1.0, -1.0)
        if going.mean() < _WORTH_DROPPING:
            value, where, side = value.take(going), where[going], side[going]
            low, high = low[going], high[going]
            at_low, at_high = at_low[going], at_high[going]
    return root

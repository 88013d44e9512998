"""How do payments fall month by month, and at what rate are they worth nothing today?

The same timing as :mod:`capture.money.pricing`, laid out in full for one site: charts and
checks read it.
"""

from __future__ import annotations

from dataclasses import dataclass
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
_STEPS: Final = 60
_CLOSE: Final = 1e-12
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
        rate = terms.loan_rate[:, None]
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
    Newton steps kept inside a bracket, on the closed form of the discounted payments.
    """
    shape = cars.shape
    rows = max(1, _CELLS // shape[1])
    wide = {
        name: np.broadcast_to(getattr(capital, name), shape)
        for name in ("land_usd", "soft_usd", "hard_usd", "works_kept_usd")
    }
    solved = np.empty(shape)
    for at in range(0, shape[0], rows):
        part = slice(at, at + rows)
        value = _Value(
            cars[part], terms, capital, opening[part], {k: w[part] for k, w in wide.items()}
        )
        solved[part] = _newton(value, cars[part].shape)
    return solved


class _Value:
    """Value today of a block of sites as a function of monthly growth."""

    def __init__(
        self,
        cars: FloatArray,
        terms: Terms,
        capital: Capital,
        opening: FloatArray,
        wide: dict[str, FloatArray],
    ) -> None:
        self.cars, self.terms, self.capital, self.opening = cars, terms, capital, opening
        self.wide = wide
        self.building = np.minimum(terms.building_months, opening)

    def __call__(self, growth: FloatArray) -> FloatArray:
        rate = growth - 1.0
        shrink = 1.0 / growth
        earned = np.zeros(growth.shape)
        for month in range(MONTHS - 1, -1, -1):
            earned = (earned + self.terms.margin_usd[:, month]) * shrink
        at_opening = shrink**self.opening
        at_start = shrink ** (self.opening - self.building)
        at_end = at_opening * shrink**MONTHS
        wide, capital, terms = self.wide, self.capital, self.terms
        until = compute_annuity(rate, self.opening)
        kept = wide["works_kept_usd"] + wide["land_usd"] * capital.land_kept_share
        return np.asarray(
            -wide["land_usd"] * (1.0 + capital.closing_share)
            - (wide["soft_usd"] / self.opening + terms.carry_usd_month) * until
            - capital.fees_usd * at_start
            - wide["hard_usd"] / self.building * at_start * compute_annuity(rate, self.building)
            - capital.pre_opening_usd * at_opening
            + at_opening
            * (self.cars * earned - terms.fixed_usd_month * compute_annuity(rate, MONTHS))
            + at_end * kept
        )


def _newton(value: _Value, shape: tuple[int, ...]) -> FloatArray:
    """Find where a block's value crosses zero: Illinois steps inside a bracket."""
    low, high = np.full(shape, _LEAST), np.full(shape, _MOST)
    at_low, at_high = value(low), value(high)
    none, beyond = at_low <= 0, at_high > 0
    # a first guess near the usual answer makes the bracket small
    for guess in (0.995, 1.0, 1.005, 1.01, 1.02, 1.05):
        growth = np.full(shape, guess)
        at = value(growth)
        up = (at > 0) & (growth > low)
        down = (at <= 0) & (growth < high)
        low, at_low = np.where(up, growth, low), np.where(up, at, at_low)
        high, at_high = np.where(down, growth, high), np.where(down, at, at_high)
    side = np.zeros(shape)
    for _ in range(_STEPS):
        gap = at_low - at_high
        growth = low + (high - low) * np.where(gap > 0, at_low / np.where(gap > 0, gap, 1.0), 0.5)
        at = value(growth)
        up = at > 0
        at_high = np.where(up & (side > 0), 0.5 * at_high, at_high)
        at_low = np.where(~up & (side < 0), 0.5 * at_low, at_low)
        low, at_low = np.where(up, growth, low), np.where(up, at, at_low)
        high, at_high = np.where(up, high, growth), np.where(up, at_high, at)
        side = np.where(up, 1.0, -1.0)
        done = (high - low < _CLOSE) | (np.abs(at) < 1e-6) | none | beyond
        if done.all():
            break
    best = np.where(np.abs(at_low) < np.abs(at_high), low, high)
    yearly = np.expm1(_YEAR * np.log(best))
    return np.asarray(np.where(none, np.nan, np.where(beyond, np.inf, yearly)))

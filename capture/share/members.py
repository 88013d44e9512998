"""Which cars come by ticket and which by plan, and how many members does a site have?

Ticket buyers are drawn from passing traffic; part of them join a plan, members leave at a
steady rate and wash a few times a month. In the long run members = joins / leaving, so
three practice constants give the split; known sites that tell tickets and members apart
give each stream a fit of its own. Assumes joins in proportion to ticket visits.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from capture.basis import InputError, Offer, Sheet, Worlds
from capture.share.factors import FloatArray
from capture.share.values import VALUES

MONTHS: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """How members come, wash and go, in n worlds."""

    #: joins per ticket visit, shape (n,)
    joins_per_ticket: FloatArray
    #: share of members leaving in a month, shape (n,)
    leaving_month: FloatArray
    #: washes of a member in a month, shape (n,)
    visits_month: FloatArray

    @property
    def member_cars_per_ticket(self) -> FloatArray:
        """Member washes per ticket visit in the long run, shape (n,)."""
        return np.asarray(self.joins_per_ticket / self.leaving_month * self.visits_month)

    @property
    def member_share(self) -> FloatArray:
        """Part of all washes that members bring in the long run, shape (n,)."""
        return np.asarray(self.member_cars_per_ticket / (1 + self.member_cars_per_ticket))


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoStreams:
    """Cars of S sites by ticket and by plan in n worlds, mature."""

    #: shape (S, n)
    tickets_per_year: FloatArray
    #: washes by members, shape (S, n)
    member_cars_per_year: FloatArray
    #: members, shape (S, n)
    members: FloatArray
    #: joins in a month, shape (S, n)
    joins_month: FloatArray

    @property
    def cars_per_year(self) -> FloatArray:
        """Both streams, shape (S, n)."""
        return np.asarray(self.tickets_per_year + self.member_cars_per_year)


def draw_rates(offer: Offer, worlds: Worlds, *, values: Sheet = VALUES) -> Rates:
    """Draw the members' constants, joins answering to the plan's price.

    Parameters
    ----------
    offer : Offer
        Whether a plan is sold, and its price.
    worlds : Worlds
    values : Sheet
        The share's constants, perhaps learned from the user's own months.

    Returns
    -------
    Rates
    """
    joins = worlds.constant(values["joins_per_ticket"])
    answer = np.minimum(worlds.constant(values["join_elasticity"]), 0.0)
    dearer = offer.plan_price_usd_month / values.value("plan_price_usd")
    joins = joins * dearer**answer if offer.plan_offered else np.zeros(worlds.draws)
    return Rates(
        joins_per_ticket=joins,
        leaving_month=worlds.constant(values["leaving_month"]),
        visits_month=worlds.constant(values["visits_member_month"]),
    )


def split_cars(
    cars_per_year: FloatArray, offer: Offer, worlds: Worlds, *, values: Sheet = VALUES
) -> TwoStreams:
    """Split a year's cars into tickets and members.

    Parameters
    ----------
    cars_per_year : ndarray, shape (S, n)
        All cars at the plan's usual price, as the share tells them.
    offer : Offer
    worlds : Worlds
        n draws.
    values : Sheet

    Returns
    -------
    TwoStreams
        At the usual plan price they add up to ``cars_per_year``; a dearer plan has fewer
        joins and so fewer cars.

    Raises
    ------
    InputError
        When the draws do not match.

    Examples
    --------
    >>> worlds = Worlds(draws=200)
    >>> two = split_cars(np.full((1, 200), 90_000.0), Offer(), worlds)
    >>> bool(np.allclose(two.cars_per_year, 90_000))
    True
    >>> 0.55 < float(np.median(two.member_cars_per_year)) / 90_000 < 0.72
    True
    """
    if cars_per_year.shape[-1] != worlds.draws:
        raise InputError(
            f"cars_per_year must have {worlds.draws} draws, got {cars_per_year.shape[-1]}"
        )
    rates = draw_rates(offer, worlds, values=values)
    usual = offer.change(plan_price_usd_month=values.value("plan_price_usd"))
    tickets = cars_per_year * (1 - draw_rates(usual, worlds, values=values).member_share)
    return add_streams_up(tickets, tickets * rates.member_cars_per_ticket, rates)


def add_streams_up(tickets: FloatArray, member_cars: FloatArray, rates: Rates) -> TwoStreams:
    """Make two streams of their cars, with the members behind them."""
    members = member_cars / (MONTHS * rates.visits_month)
    return TwoStreams(
        tickets_per_year=tickets,
        member_cars_per_year=member_cars,
        members=members,
        joins_month=members * rates.leaving_month,
    )


def simulate_members(
    tickets_month: FloatArray, rates: Rates, *, start: ArrayLike = 0.0
) -> FloatArray:
    """Walk the number of members through months.

    Parameters
    ----------
    tickets_month : ndarray, shape (m, n)
        Ticket visits in each month.
    rates : Rates
    start : array_like, shape () or (n,)
        Members before the first month, joined before opening.

    Returns
    -------
    ndarray, shape (m, n)
        Members at the end of each month: M' = M (1 - leaving) + joins per ticket x tickets.
    """
    members = np.empty(tickets_month.shape)
    now = np.broadcast_to(np.asarray(start, dtype=np.float64), tickets_month.shape[1:])
    for month, tickets in enumerate(tickets_month):
        now = now * (1 - rates.leaving_month) + rates.joins_per_ticket * tickets
        members[month] = now
    return members


def spread_members(
    households: ArrayLike,
    minutes: ArrayLike,
    *,
    near_share: float | None = None,
    values: Sheet = VALUES,
) -> FloatArray:
    """Say where a site's members live: which part in each zone.

    Parameters
    ----------
    households : array_like, shape (Z,)
        Households of each zone.
    minutes : array_like, shape (Z,)
        Drive time from each to the site; inf where out of reach.
    near_share : float, optional
        Part of the members within ten minutes; practice's when left out.
    values : Sheet

    Returns
    -------
    ndarray, shape (Z,)
        Sums to 1: households x exp(-minutes / tau), tau such that ``near_share`` holds; where
        the zones cannot hold it, as near to it as they can.

    Raises
    ------
    InputError
        When nobody lives in reach.

    Examples
    --------
    >>> part = spread_members([100, 100, 100, 100], [3, 8, 13, 18], near_share=0.7)
    >>> round(float(part[:2].sum()), 3)
    0.7
    """
    homes = np.asarray(households, dtype=np.float64)
    time = np.asarray(minutes, dtype=np.float64)
    if not (homes[np.isfinite(time)] > 0).any():
        raise InputError("households must be above 0 in some zone in reach; check the zones")
    wanted = values.value("members_near") if near_share is None else near_share

    def part(tau: float) -> FloatArray:
        weight = homes * np.exp(-time / tau)
        return np.asarray(weight / weight.sum())

    low, high = 0.2, 500.0
    for _ in range(60):
        middle = np.sqrt(low * high)
        if part(middle)[time <= 10].sum() > wanted:
            low = middle
        else:
            high = middle
    return part(high)

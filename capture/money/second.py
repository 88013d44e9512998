"""What does a second site take from the first, and what is left as new cash?

Members are people with homes: those who live nearer the second site move their visits
there but pay the same plan, so they bring the owner nothing new. Ticket buyers are
passers-by: only those whose road leads past both sites move.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Offer, Sheet, Sourced, Worlds, practice
from capture.money.capital import fit_rows
from capture.money.pricing import Money, price_study
from capture.money.values import VALUES

FloatArray = NDArray[np.float64]


SECOND_VALUES: Final = Sheet(
    "second site",
    [
        Sourced(
            name="overlap_minutes",
            value=5.0,
            unit="min",
            low=3.0,
            high=8.0,
            source="our own choice, as the pull of rivals falls with minutes",
            grade="invented",
            meaning="drive time over which two sites' homes overlap, e-folding",
        ),
        practice("near_members_share", 0.55, 0.70, 0.85, "share", "members living within 10 min"),
        practice(
            "ticket_overlap_share",
            0.02,
            0.08,
            0.20,
            "share",
            "of the first site's tickets whose road leads past both, sites next door",
        ),
    ],
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondSite:
    """Two sites of one owner; arrays of shape (n,)."""

    #: cars a year that move from the first site, mature
    moved_cars: FloatArray
    #: of them, visits of members
    moved_members: FloatArray
    #: the same as a share of the first site's cars
    moved_share: FloatArray
    #: value today of the second site on its own, USD
    alone_usd: FloatArray
    #: value today of what both bring over the first alone, USD
    gain_usd: FloatArray
    #: cars a year at the second that are new to the owner
    new_cars: FloatArray
    #: share of worlds in which the second adds value
    chance_gain_positive: float
    #: what to know
    cautions: tuple[str, ...]


def estimate_moved(
    first_cars: ArrayLike,
    member_share: ArrayLike,
    minutes: float,
    worlds: Worlds,
    *,
    nearer_share: float | None = None,
    values: Sheet = SECOND_VALUES,
) -> tuple[FloatArray, FloatArray]:
    """Estimate the first site's cars that move to the second, members and tickets.

    Parameters
    ----------
    first_cars : array_like of float, shape (n,)
        Cars a year at the first site.
    member_share : array_like of float, scalar or shape (n,)
        Part of them washed under the plan.
    minutes : float
        Drive time between the sites.
    nearer_share : float, optional
        Part of the members who live nearer the second site, when homes are known.

    Returns
    -------
    tuple of (ndarray, ndarray)
        Member visits and tickets a year that move, shape (n,).

    Notes
    -----
    Without homes: overlap exp(-minutes / tau); of members within reach half the overlap
    moves, since the others still live nearer the first.

    Raises
    ------
    InputError
        When minutes are negative or a share is not within 0 to 1.
    """
    if not (math.isfinite(minutes) and minutes >= 0):
        raise InputError(f"minutes between sites must be 0 or more, got {minutes}; check them")
    if nearer_share is not None and not 0 <= nearer_share <= 1:
        raise InputError(f"nearer_share must be 0 to 1, got {nearer_share}; give a share")
    cars = np.broadcast_to(np.asarray(first_cars, dtype=np.float64), (worlds.draws,))
    share = np.asarray(member_share, dtype=np.float64)
    if not ((share >= 0) & (share <= 1)).all():
        raise InputError("member_share must be 0 to 1 in every world; give a share")
    overlap = np.exp(-minutes / worlds.constant(values["overlap_minutes"]))
    if nearer_share is None:
        members = 0.5 * overlap * worlds.constant(values["near_members_share"])
    else:
        members = np.full(worlds.draws, nearer_share)
    tickets = overlap * worlds.constant(values["ticket_overlap_share"])
    return cars * share * members, cars * (1.0 - share) * tickets


def compute_nearer_share(
    people: ArrayLike,
    first_minutes: ArrayLike,
    second_minutes: ArrayLike,
    *,
    values: Sheet = SECOND_VALUES,
) -> float:
    """Compute which part of the first site's members lives nearer the second.

    Parameters
    ----------
    people : array_like of float, shape (zones,)
        People or households by zone.
    first_minutes, second_minutes : array_like of float, shape (zones,)
        Drive times to either site; ``inf`` where there is no way.

    Returns
    -------
    float
        0 to 1.

    Notes
    -----
    Members are spread as people x exp(-minutes to the first / tau); a home as near to one
    as to the other counts half.

    Raises
    ------
    InputError
        When arrays differ in shape, are negative, or nobody lives in reach of the first.

    Examples
    --------
    >>> compute_nearer_share([100, 100], [2.0, 2.0], [9.0, 1.0])
    0.5
    """
    crowd, first, second = (
        np.asarray(part, dtype=np.float64) for part in (people, first_minutes, second_minutes)
    )
    if not crowd.shape == first.shape == second.shape or crowd.ndim != 1:
        raise InputError(
            f"homes: people and both drive times are needed for every zone, got {crowd.shape}, "
            f"{first.shape}, {second.shape}; match them"
        )
    if not ((crowd >= 0).all() and (first >= 0).all() and (second >= 0).all()):
        raise InputError("homes: people and minutes must be 0 or more in every zone; check them")
    weight = crowd * np.exp(-first / values.value("overlap_minutes"))
    if not weight.sum() > 0:
        raise InputError("homes: nobody lives in reach of the first site; check the zones")
    nearer = np.where(second < first, 1.0, np.where(second == first, 0.5, 0.0))
    return float((weight * nearer).sum() / weight.sum())


def estimate_taken(
    money: Money,
    minutes: ArrayLike,
    worlds: Worlds,
    *,
    values: Sheet = SECOND_VALUES,
) -> FloatArray:
    """Estimate what every two sites would take from each other, for choosing several.

    Parameters
    ----------
    money : Money
        S sites.
    minutes : array_like of float, shape (S, S)
        Drive times between sites; the smaller of both ways counts, ``inf`` is far apart.

    Returns
    -------
    ndarray of float, shape (S, S)
        Mean value today of the cars that both would count, USD; symmetric, 0 on the
        diagonal, for :func:`~capture.money.choosing.choose_sites`.

    Notes
    -----
    Shared cars = overlap x (half of the members near home + tickets past both) of the
    smaller site, each worth a mature yearly car.

    Raises
    ------
    InputError
        When minutes are negative, not a number, or not S x S.
    """
    apart = np.asarray(minutes, dtype=np.float64)
    sites = len(money.site_ids)
    if apart.shape != (sites, sites) or not (apart >= 0).all():
        raise InputError(
            f"minutes between sites must be {sites} x {sites} and 0 or more, got {apart.shape}"
        )
    apart = np.minimum(apart, apart.T)
    share = money.terms.member_share[:, -1]
    part = 0.5 * share * worlds.constant(values["near_members_share"]) + (
        1.0 - share
    ) * worlds.constant(values["ticket_overlap_share"])
    tau = worlds.constant(values["overlap_minutes"])
    taken = np.zeros((sites, sites))
    for one in range(sites):
        for other in range(one + 1, sites):
            if not np.isfinite(apart[one, other]):
                continue
            cars = np.minimum(money.cars_per_year[one], money.cars_per_year[other])
            worth = np.minimum(money.npv_usd_car[one], money.npv_usd_car[other])
            shared = cars * part * np.exp(-apart[one, other] / tau)
            taken[one, other] = taken[other, one] = max(float((shared * worth).mean()), 0.0)
    return taken


def price_second(
    first: Money,
    second_cars: ArrayLike,
    lines: Any,
    offer: Offer,
    worlds: Worlds,
    site_id: str,
    *,
    minutes: float,
    nearer_share: float | None = None,
    lost_share: ArrayLike = 0.0,
    land: ArrayLike | None = None,
    ground: Sequence[Any] | None = None,
    values: Sheet = VALUES,
    second_values: Sheet = SECOND_VALUES,
) -> SecondSite:
    """Price a second site for the owner of a first.

    Parameters
    ----------
    first : Money
        One row: the site that the owner has.
    second_cars : array_like of float, shape (n,)
        Cars a year that the second would wash, moved ones included.
    minutes : float
        Drive time between the sites.
    lines, lost_share, land, ground
        Of the second site, as for :func:`price_study`.
    site_id : str
        Its stable id.
    nearer_share : float, optional
        Part of the members who live nearer the second site, when homes are known.
    second_values : Sheet
        Constants of what moves between two sites of one owner.

    Returns
    -------
    SecondSite

    Notes
    -----
    A moved car washes at the second instead of the first: the owner's revenue and running
    costs of it stay as they were, so gain = value of the second alone - value of the moved
    cars' margin. Costs of being open are not saved at the first.

    Raises
    ------
    InputError
        When ``first`` holds more than one site or numbers are not usable.
    """
    if len(first.site_ids) != 1:
        raise InputError(f"second site: one first site is needed, got {len(first.site_ids)}")
    shape = (1, worlds.draws)
    cars = fit_rows(np.atleast_2d(np.asarray(second_cars, dtype=np.float64)), shape, "second cars")
    alone = price_study(cars, lost_share, lines, offer, worlds, [site_id], land=land,
                        ground=ground, irr=False, values=values)  # fmt: skip
    share = first.terms.member_share[:, -1]
    members, tickets = estimate_moved(
        first.cars_per_year[0], share, minutes, worlds, nearer_share=nearer_share,
        values=second_values,
    )  # fmt: skip
    washed = alone.cars_per_year[0]
    moved = np.minimum(members + tickets, np.minimum(first.cars_per_year[0], washed))
    scale = np.where(members + tickets > 0, moved / np.maximum(members + tickets, 1e-12), 0.0)
    without = price_study(
        (washed - moved)[None, :], 0.0, lines, offer, worlds, [site_id], land=land,
        ground=ground, irr=False, values=values,
    )  # fmt: skip
    gain = without.npv_usd[0]
    return SecondSite(
        moved_cars=moved,
        moved_members=members * scale,
        moved_share=moved / np.maximum(first.cars_per_year[0], 1.0),
        alone_usd=alone.npv_usd[0],
        gain_usd=gain,
        new_cars=washed - moved,
        chance_gain_positive=float((gain > 0).mean()),
        cautions=(
            "Members who move pay no second plan; joins that a nearer site brings are part of "
            "the second site's own cars.",
            "Without members' homes the overlap is a rule of thumb; load them to replace it.",
        ),
    )

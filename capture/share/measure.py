"""What does the map say of each site, summed up over the streams that pass it?

A site's measure is the mean over its streams weighted by their washable vehicles in the
hours the wash is open. The rooms before hand on arrays by stream (R rows) or by site
(S rows); a room left out (None) leaves its measures unknown.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Offer, Sheet, Sourced
from capture.basis.draws import Z95
from capture.share.factors import CORE, FloatArray
from capture.share.table import FactorTable, make_factor_table
from capture.share.values import VALUES


def sum_by_site(site: NDArray[np.int_], amounts: FloatArray, *, sites: int) -> FloatArray:
    """Sum amounts of streams over each site.

    Parameters
    ----------
    site : ndarray of int, shape (R,)
        Which site each stream passes.
    amounts : ndarray, shape (R,) or (R, n)
    sites : int
        S, the number of sites.

    Returns
    -------
    ndarray, shape (S,) or (S, n)

    Examples
    --------
    >>> sum_by_site(np.array([0, 0, 1]), np.array([1.0, 2.0, 5.0]), sites=3).tolist()
    [3.0, 5.0, 0.0]
    """
    total = np.zeros((sites, *amounts.shape[1:]))
    np.add.at(total, site, amounts)
    return total


def weigh_streams(streams: Any, offer: Offer) -> FloatArray:
    """Return each stream's washable vehicles a day within open hours, shape (R,)."""
    flow = np.asarray(streams.vehicles_per_day, dtype=np.float64)
    shape = getattr(streams, "hour_share", None)
    if shape is None:
        return flow
    open_share = np.asarray(shape)[:, offer.opens_hour : offer.closes_hour].sum(axis=1)
    return np.asarray(flow * open_share)


def mean_by_site(
    site: NDArray[np.int_], amounts: ArrayLike, weights: FloatArray, *, sites: int
) -> FloatArray:
    """Average amounts of streams over each site, weighted; NaN where nothing is known.

    Examples
    --------
    >>> mean_by_site(np.array([0, 0]), [10.0, 40.0], np.array([2.0, 1.0]), sites=1).tolist()
    [20.0]
    """
    amount = np.asarray(amounts, dtype=np.float64)
    known = np.isfinite(amount)
    weight = np.where(known, weights, 0.0)
    total = sum_by_site(site, weight, sites=sites)
    summed = sum_by_site(site, weight * np.where(known, amount, 0.0), sites=sites)
    return np.asarray(np.divide(summed, total, out=np.full(sites, np.nan), where=total > 0))


def measure_sites(
    streams: Any,
    turning: Any,
    seeing: Any,
    around: Any,
    offer: Offer,
    vehicles: ArrayLike | None = None,
    *,
    sites: int | None = None,
    values: Sheet = VALUES,
) -> dict[str, FloatArray]:
    """Sum up what the map says of each site.

    Parameters
    ----------
    streams : Streams
        R rows: ``site``, ``vehicles_per_day``, ``hour_share``, ``speed_mps``.
    turning : Turning or None
        ``delay_s``, shape (R,).
    seeing : Seeing or None
        ``sight``, shape (R,).
    around : Around or None
        ``pull``, ``people_10min``, ``households_10min``, ``income`` (of all households),
        ``attractions``, ``huff_share``, ``ticket_price_usd`` of shape (S,) and
        ``passed_first_share`` of shape (R,).
    offer : Offer
        Open hours, price, plan, years open.
    vehicles : array_like, shape (S,) or (S, n), optional
        Washable vehicles a day past each site, both directions; draws are summed up by
        their median. Left out, the streams' medians are added.
    sites : int, optional
        S; taken from ``vehicles`` or ``around`` when left out.
    values : Sheet
        The share's constants.

    Returns
    -------
    dict of str to ndarray of shape (S,)

    Raises
    ------
    InputError
        When the number of sites cannot be told, or an array has another length.
    """
    site = np.asarray(streams.site, dtype=np.int64)
    count = _count_sites(vehicles, around, sites)
    weights = weigh_streams(streams, offer)
    flow = np.asarray(streams.vehicles_per_day, dtype=np.float64)
    total = sum_by_site(site, flow, sites=count) if vehicles is None else _medians(vehicles)

    def by_stream(holder: Any, name: str) -> FloatArray:
        amounts = getattr(holder, name, None)
        if amounts is None:
            return np.full(count, np.nan)
        if np.shape(amounts) != site.shape:
            raise InputError(f"{name} must have one value a stream ({site.size}); pass that many")
        return mean_by_site(site, amounts, weights, sites=count)

    def by_site(name: str) -> FloatArray:
        amounts = getattr(around, name, None)
        if amounts is None:
            return np.full(count, np.nan)
        return np.broadcast_to(np.asarray(amounts, dtype=np.float64), (count,)).copy()

    area_price = by_site("ticket_price_usd")
    usual = values["area_ticket_usd"]
    unsure = np.where(np.isnan(area_price), _log_sd(usual), 0.0)
    area_price = np.where(np.isnan(area_price), usual.value, area_price)
    return {
        "vehicles_veh_day": total,
        "delay_s": by_stream(turning, "delay_s"),
        "sight": by_stream(seeing, "sight"),
        "pull": by_site("pull"),
        "passed_first_share": by_stream(around, "passed_first_share"),
        "people_10min": by_site("people_10min"),
        "price_ratio": offer.ticket_price_usd / area_price,
        "price_log_sd": unsure,
        "plan_offered": np.full(count, float(offer.plan_offered)),
        "years_open": np.full(count, float(offer.years_open)),
        "speed_mps": by_stream(streams, "speed_mps"),
        "income_usd": _each(by_site("income"), by_site("households_10min")),
        "attractions": by_site("attractions"),
        "open_h": np.full(count, float(offer.closes_hour - offer.opens_hour)),
        "huff_share": by_site("huff_share"),
    }


def _log_sd(constant: Sourced) -> float:
    """Return the sd of the log of a positive constant."""
    return float(np.log(constant.high / constant.low)) / (2 * Z95)


def _count_sites(vehicles: ArrayLike | None, around: Any, sites: int | None) -> int:
    if sites is not None:
        return sites
    if vehicles is not None:
        return int(np.shape(vehicles)[0])
    pull = getattr(around, "pull", None)
    if pull is None:
        raise InputError("the number of sites cannot be told; pass vehicles, around or sites")
    return len(pull)


def _each(total: FloatArray, households: FloatArray) -> FloatArray:
    """Return a sum over households for each of them, NaN where there are none."""
    some = households > 0
    return np.asarray(np.divide(total, households, out=np.full(total.shape, np.nan), where=some))


def _medians(vehicles: ArrayLike) -> FloatArray:
    amounts = np.asarray(vehicles, dtype=np.float64)
    return amounts if amounts.ndim == 1 else np.asarray(np.median(amounts, axis=1))


def compute_factors(
    streams: Any,
    turning: Any,
    seeing: Any,
    around: Any,
    offer: Offer,
    vehicles: ArrayLike | None = None,
    *,
    ids: Sequence[str] | None = None,
    names: Sequence[str] = CORE,
    values: Sheet = VALUES,
) -> FactorTable:
    """Compute the factors of S sites from the map; see :func:`measure_sites`.

    Returns
    -------
    FactorTable
        S rows; a factor that no room tells stands at its reference, marked missing.

    Raises
    ------
    InputError
        When a site has no vehicles passing, or arrays do not match.
    """
    count = len(ids) if ids is not None else None
    measures = measure_sites(
        streams, turning, seeing, around, offer, vehicles, sites=count, values=values
    )
    total = measures["vehicles_veh_day"]
    labels = tuple(ids) if ids is not None else tuple(str(row) for row in range(len(total)))
    if not (total > 0).all():
        empty = [label for label, amount in zip(labels, total, strict=True) if not amount > 0]
        raise InputError(
            f"vehicles passing must be above 0 veh/day, got none at {', '.join(empty[:5])}; "
            "give the site a driveway on a road"
        )
    return make_factor_table(measures, labels, names=names, values=values)

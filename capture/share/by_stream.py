"""Which stream brings which part of a site's cars, and what would one change do to the share?

A stream's part is in proportion to its vehicles times exp(beta x) with the stream's own
delay, sight and passed-first share; what is the same for all streams of a site cancels.
For display only: the site's share is computed from the site's mean factors.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Offer, Range, Worlds
from capture.share.factors import FloatArray
from capture.share.fit import ShareFit
from capture.share.measure import mean_by_site, sum_by_site, weigh_streams
from capture.share.predict import ShareDraws, predict_share
from capture.share.table import FactorTable

#: factor: attribute of the room that tells it by stream
_BY_STREAM: Final = {"delay": "delay_s", "sight": "sight", "passed_first": "passed_first_share"}


def share_by_stream(
    draws: ShareDraws,
    streams: Any,
    turning: Any,
    seeing: Any,
    around: Any,
    offer: Offer,
) -> tuple[FloatArray, FloatArray]:
    """Say which part of its site's cars each stream brings, and at which share.

    Parameters
    ----------
    draws : ShareDraws
        The prediction of the S sites.
    streams : Streams
        R rows.
    turning, seeing, around : Turning, Seeing, Around, each may be None
        What they tell by stream.
    offer : Offer
        Open hours.

    Returns
    -------
    tuple of ndarray, both of shape (R,)
        Part of the site's cars (sums to 1 over each site), and the typical share of the
        stream's own vehicles that is washed.

    Raises
    ------
    InputError
        When a room has another number of streams.
    """
    site: NDArray[np.int64] = np.asarray(streams.site, dtype=np.int64)
    flow = weigh_streams(streams, offer)
    sites = len(draws.ids)
    logs = np.zeros(site.size)
    rooms = {"delay": turning, "sight": seeing, "passed_first": around}
    for name, attribute in _BY_STREAM.items():
        amounts = getattr(rooms[name], attribute, None)
        if amounts is None or name not in draws.names:
            continue
        x = np.asarray(amounts, dtype=np.float64)
        if x.shape != site.shape:
            raise InputError(f"{attribute} must have one value a stream ({site.size})")
        middle = mean_by_site(site, x, flow, sites=sites)[site]
        beta = float(draws.beta[draws.names.index(name)].mean())
        logs += np.where(np.isfinite(x), beta * (x - middle), 0.0)
    pull = flow * np.exp(logs)
    total = sum_by_site(site, pull, sites=sites)[site]
    part = np.divide(pull, total, out=np.zeros(site.size), where=total > 0)
    typical = np.exp(np.log(draws.rate).mean(axis=1))
    vehicles = np.asarray(streams.vehicles_per_day, dtype=np.float64)
    whole = sum_by_site(site, vehicles, sites=sites)
    cars = part * (typical * whole)[site]
    return part, np.divide(cars, vehicles, out=np.zeros(site.size), where=vehicles > 0)


def compare_change(
    fit: ShareFit,
    before: FactorTable,
    after: FactorTable,
    worlds: Worlds,
    *,
    format: str = "exterior",
    bays: int = 1,
) -> list[Range]:
    """Say what a change of factors does to the share of each site, in the same worlds.

    Parameters
    ----------
    fit : ShareFit
    before, after : FactorTable
        The same S sites, without and with the change: one more rival, a closed median.
    worlds : Worlds
    format : str
    bays : int

    Returns
    -------
    list of Range
        Share after over share before, for each site.

    Raises
    ------
    InputError
        When the tables name different sites.

    Examples
    --------
    >>> from capture.share import fit_share, make_factor_table
    >>> site = make_factor_table({"pull": np.array([1.0])}, ["site"])
    >>> change = compare_change(fit_share(), site, site.change("pull", 1.5), Worlds(draws=500))
    >>> 0.8 < change[0].value < 0.9
    True
    """
    if before.ids != after.ids:
        raise InputError("a change is compared at the same sites; pass tables with the same names")
    own = fit.draw(worlds)
    rates = [
        predict_share(
            fit, table, worlds, format=format, bays=bays, residuals=False, coefficients=own
        ).rate
        for table in (before, after)
    ]
    return [Range.of(ratio, "1") for ratio in rates[1] / rates[0]]

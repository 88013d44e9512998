"""What do known sites that tell tickets and members apart say of each stream?

Each stream has its own fit on its own sheet: tickets follow passing traffic, members
follow homes. Their cars add up. Assumes that what is known of one stream says nothing of
the other beyond the roads they share.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from capture.basis import FitError, Offer, Sheet, Worlds
from capture.share.factors import CORE, FloatArray
from capture.share.fit import ShareFit, fit_share
from capture.share.known import KnownSites
from capture.share.members import TwoStreams, add_streams_up, draw_rates
from capture.share.predict import predict_share
from capture.share.table import FactorTable
from capture.share.values import VALUES, make_stream_sheet

#: factors of a stream; whether a plan is sold is no factor of either
STREAM_FACTORS: Final = tuple(name for name in CORE if name != "plan")


def fit_streams(known: KnownSites, *, values: Sheet = VALUES) -> tuple[ShareFit, ShareFit]:
    """Fit tickets and members apart, from the known sites that tell them apart.

    Parameters
    ----------
    known : KnownSites
        Rows with a member share between 0 and 1 are used.
    values : Sheet
        The sheet of all cars; each stream's own differs as ``starter.toml`` says.

    Returns
    -------
    tuple of (ShareFit, ShareFit)
        Tickets and members.

    Raises
    ------
    FitError
        When no row tells them apart.
    """
    told = np.flatnonzero((known.member_share > 0) & (known.member_share < 1))
    if told.size == 0:
        raise FitError(
            "no known site tells tickets and members apart; give tickets_per_year or "
            "member_cars_per_year, or use the split by practice"
        )
    rows = known.take(told)
    fits = []
    for stream, part in (("tickets", 1 - rows.member_share), ("members", rows.member_share)):
        fits.append(
            fit_share(
                rows.scale(part),
                factors=STREAM_FACTORS,
                values=make_stream_sheet(stream, values),
                stream=stream,
            )
        )
    return fits[0], fits[1]


def predict_streams(
    fits: tuple[ShareFit, ShareFit],
    table: FactorTable,
    vehicles_veh_day: FloatArray,
    offer: Offer,
    worlds: Worlds,
    *,
    operator: str | None = None,
    values: Sheet = VALUES,
) -> TwoStreams:
    """Predict both streams of S sites from their own fits.

    Parameters
    ----------
    fits : tuple of (ShareFit, ShareFit)
        From :func:`fit_streams`.
    table : FactorTable
        S sites.
    vehicles_veh_day : ndarray, shape (S, n)
    offer : Offer
    worlds : Worlds
    operator : str, optional
        As in :func:`capture.share.predict_share`.
    values : Sheet

    Returns
    -------
    TwoStreams
        Ticket draws and member draws of one world share its roads' vehicles and its
        discount for untried ground, nothing else.
    """
    tickets, members = (
        predict_share(
            fit, table, worlds, format=offer.format, bays=offer.bays, operator=operator
        ).cars_per_year(vehicles_veh_day)
        for fit in fits
    )
    rates = draw_rates(offer, worlds, values=values)
    answer = np.minimum(worlds.constant(values["join_elasticity"]), 0.0)
    dearer = (offer.plan_price_usd_month / values.value("plan_price_usd")) ** answer
    return add_streams_up(tickets, members * dearer * float(offer.plan_offered), rates)

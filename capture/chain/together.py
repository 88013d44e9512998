"""Which of the ranked parcels should be built together, given what they take from each other?

The best standing parcels are walked once more, side by side, so that their cars and cash
stand in the same worlds; the drive times between their driveways say how many of the cars
both would count.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from capture.basis import InputError
from capture.chain.memo import Memo
from capture.chain.pieces import Plans, split_reachable
from capture.chain.request import Request
from capture.chain.screening import Many
from capture.chain.steps import walk_chain
from capture.chain.works import join_works

if TYPE_CHECKING:
    import pandas as pd

#: parcels from the top of the ranking that are looked at together
AMONG = 25
#: drives longer than this take nothing from each other
_FAR_S = 3600.0


def choose_parcels(
    many: Many,
    most: int,
    *,
    exactly: bool = False,
    among: int = AMONG,
    memo: Memo | None = None,
    **asked: Any,
) -> pd.DataFrame:
    """Choose the parcels to build together.

    Parameters
    ----------
    many : Many
    most : int
        How many may be built.
    exactly : bool
        Build that many even if the last lowers the total.
    among : int
        How many from the top of the ranking are looked at.
    memo : Memo, optional
        Remembers steps.
    **asked
        Further fields of the request, as the ranking was made with.

    Returns
    -------
    DataFrame
        Rows of the ranking that are chosen, with ``alone_usd`` (mean value today of each
        alone) and, the same in each row, ``together_usd`` and ``gap_share`` (how far the
        choice may be from the best). Empty when none is worth building.

    Raises
    ------
    InputError
        When no parcel stands, or fewer than one may be built.
    """
    from capture.money import choose_sites, estimate_taken
    from capture.place import compute_drive_seconds, snap

    ranking = many.ranking
    standing = ranking[~ranking["struck"].to_numpy(dtype=bool)].head(among)
    if standing.empty or most < 1:
        raise InputError("choosing: one parcel that stands and one place to build are needed")
    index = {name: at for at, name in enumerate(many.sites.ids)}
    sites = many.sites.take(np.array([index[str(name)] for name in standing["id"]]))
    every = np.arange(len(sites.ids))
    plans = Plans(works=many.works, frontages=many.frontages, values=many.numbers["place"])
    _, frontage, _ = split_reachable(many.place, sites, every, plans)
    # what is cut at one is cut for all, since they are built together
    works = join_works(many.works[name] for name in sites.ids if name in many.works)
    request = Request(
        area=many.area, sites=sites, offer=many.offer, worlds=many.worlds, numbers=many.numbers,
        frontage=frontage, works=works,
        year=many.year, rivals=many.rivals, search="quick", irr=False, **asked,
    )  # fmt: skip
    money = walk_chain(request, memo=memo).money
    network = many.place.network
    spots = snap(network, sites.x, sites.y)
    seconds = np.asarray(compute_drive_seconds(network, spots, limit_s=_FAR_S))
    tail, head = network.segment_tail[spots.segment], network.segment_head[spots.segment]
    minutes = np.minimum(seconds[:, tail], seconds[:, head]) / 60
    np.fill_diagonal(minutes, 0.0)
    value = np.asarray(money.npv_usd).mean(axis=1)
    choice = choose_sites(
        value, min(most, value.size), exactly=exactly,
        taken_usd=estimate_taken(money, minutes, many.worlds),
    )  # fmt: skip
    rows = list(choice.chosen)
    chosen = standing.iloc[rows].reset_index(drop=True)
    return chosen.assign(
        alone_usd=value[rows], together_usd=choice.value_usd, gap_share=choice.gap_share
    )

"""Which of many parcels are worth a visit, and why are the others not?

The chain over all sites in bounded pieces, then one ranking by mean value. A parcel that
cannot be studied (no road in reach, a deal-breaker failed) is struck out with its reason
and stays in the table. Draws are keyed, so the size of the pieces never changes an answer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from capture.basis import DataError, InputError, Offer, Sheet, Worlds
from capture.chain.assumptions import Replaced, load_numbers
from capture.chain.line_choice import LineChoice
from capture.chain.memo import Memo
from capture.chain.pieces import Plans, list_pieces, pick_works, split_reachable
from capture.chain.steps import Chain, Request, Say, find_year, keep_quiet, walk_chain
from capture.chain.works import Works, join_works, say_works
from capture.chain.year_choice import YearChoice

if TYPE_CHECKING:
    import pandas as pd

    from capture.area import Area
    from capture.around import Rivals
    from capture.ground import AnswerBook
    from capture.passing import RoadNote, Volumes
    from capture.passing.layers import Answers
    from capture.place import Frontage, Place, Sites
    from capture.share import KnownSites

FloatArray = NDArray[np.float64]
#: sites walked at once, which bounds memory
PIECE = 250
#: sites up to which the wash is placed on each parcel and rates of return are solved; beyond,
#: a parcel is only asked whether building, lanes and turn fit anywhere
DRAWN = 60
#: how many count as the first
TOP = 5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Many:
    """The chain's main results for S sites, and their ranking."""

    #: the area
    area: Area
    #: roads and buildings
    place: Place
    #: vehicles on every road
    volumes: Volumes
    #: other washes
    rivals: Rivals
    #: the sites as asked for, S of them
    sites: Sites
    #: what is to be built
    offer: Offer
    #: the possible worlds
    worlds: Worlds
    #: every room's built-in numbers
    numbers: Mapping[str, Sheet]
    #: year looked at
    year: int
    #: cars a year, NaN where a site could not be studied, (S, n)
    cars_per_year: NDArray[np.float32]
    #: value today of all cash before debt, NaN where it could not be studied, (S, n)
    npv_usd: NDArray[np.float32]
    #: one row a site, best first, struck-out ones last; text columns ``id``, ``name``,
    #: ``reason``; see :func:`many`
    ranking: pd.DataFrame
    #: what is built or cut at ranked sites, by id
    works: Mapping[str, Works] = field(default_factory=dict)
    #: driveways laid by hand, by id of the site
    frontages: Mapping[str, Frontage] = field(default_factory=dict)


def many(
    area: Area | Path | str,
    sites: Sites | Path | str | None = None,
    offer: Offer | None = None,
    *,
    seed: int = 0,
    draws: int = 1000,
    year: int | None = None,
    replaced: Replaced | None = None,
    known: KnownSites | None = None,
    answers: AnswerBook | None = None,
    rivals: Rivals | None = None,
    ties: Mapping[str, Mapping[str, float]] | None = None,
    columns: Answers | None = None,
    notes: Sequence[RoadNote] = (),
    sales: pd.DataFrame | None = None,
    line: LineChoice | None = None,
    year_choice: YearChoice | None = None,
    works: Mapping[str, Works] | None = None,
    frontages: Mapping[str, Frontage] | None = None,
    top: int = TOP,
    piece: int = PIECE,
    memo: Memo | None = None,
    say: Say = keep_quiet,
) -> Many:
    """Walk the chain for many sites and rank them.

    Parameters
    ----------
    area : Area, Path or str
        An open area, a folder with ``area.toml`` or a bare roads file.
    sites : Sites, Path or str, optional
        A table of sites or a file of parcels; the area's own parcels when left out.
    offer, seed, draws, year, replaced, known, answers, rivals, ties, columns, notes, \
    sales, line, year_choice
        As for :func:`capture.chain.study`.
    works : mapping of str to Works, optional
        Site id -> what would be built or cut there, so that the ranking agrees with the
        site's own study; those of sites that are not ranked are left aside.
    frontages : mapping of str to Frontage, optional
        Site id -> its driveways where they were laid by hand, a table of one site.
    memo, say
        As for :func:`capture.chain.study`.
    top : int
        How many count as the first in ``chance_top``.
    piece : int
        Sites walked at once.

    Returns
    -------
    Many
        ``ranking`` has ``id, name, rank, struck, reason, vehicles_per_day, measured, share,
        share_low, share_high, cars_per_day, cars_per_day_low, cars_per_day_high,
        design_hour_cars, line_length_m, chain_speed_mps, capital_usd, npv_usd, npv_low_usd,
        npv_high_usd, chance_npv_positive, payback_years, land_ceiling_usd, chance_top, fit``
        and the sites' own attributes; with works also ``taken_as_built``, in words. Ranked by
        the mean of the value today.

    Raises
    ------
    InputError, DataError, FitError
        In one sentence that says what to do.
    """
    from capture.area import open_area
    from capture.place import Sites, load_parcels, open_place

    memo = memo or Memo()
    opened = open_area(area) if isinstance(area, str | Path) else area
    numbers = load_numbers(replaced)
    say("reading roads")
    place = open_place(opened, values=numbers["place"])
    if not isinstance(sites, Sites):
        sites = load_parcels(opened, place, None if sites is None else Path(sites))
    if len(sites.ids) == 0:
        raise DataError(f"{sites.source}: there is no parcel to rank; add some")
    if top < 1 or piece < 1:
        raise InputError(f"top and piece must be 1 or more, got {top} and {piece}; change them")
    worlds = Worlds(seed=seed, draws=draws)
    cars = np.full((len(sites.ids), draws), np.nan, dtype=np.float32)
    npv = cars.copy()
    rows: list[dict[str, Any]] = [{} for _ in sites.ids]
    chain: Chain | None = None
    built = pick_works(works or {}, sites.ids)
    plans = Plans(works=built, frontages=frontages or {}, values=numbers["place"])
    done = 0
    for at in list_pieces(sites.ids, piece, built):
        say(f"sites {done + 1} to {done + len(at)} of {len(sites.ids)}")
        done += len(at)
        found, frontage, lost = split_reachable(place, sites, at, plans)
        for k, why in lost.items():
            rows[k] = {"struck": True, "reason": why}
        if not found.size:
            continue
        request = Request(
            area=opened,
            sites=sites.take(found),
            offer=offer or Offer(),
            worlds=worlds,
            numbers=numbers,
            year=find_year(opened, year),
            known=known,
            answers=answers,
            rivals=rivals,
            ties=ties,
            columns=columns,
            notes=tuple(notes),
            sales=sales,
            line=line or LineChoice(),
            year_choice=year_choice,
            frontage=frontage,
            works=join_works(built[sites.ids[k]] for k in found if sites.ids[k] in built),
            search="best" if len(sites.ids) <= DRAWN else "quick",
            irr=len(sites.ids) <= DRAWN,
        )
        chain = walk_chain(request, memo=memo)
        cars[found], npv[found] = chain.cars_per_year, chain.money.npv_usd
        for row, k in enumerate(found):
            rows[k] = _sum_up_site(chain, row)
    if chain is None:
        raise DataError(
            f"{sites.source}: no parcel has a road in reach; is this the roads file of their place?"
        )
    say("ranking")
    if built:
        for told, name in zip(rows, sites.ids, strict=True):
            told["taken_as_built"] = " ".join(say_works(built[name])) if name in built else ""
    return Many(
        area=opened,
        place=place,
        volumes=chain.volumes,
        rivals=chain.rivals,
        sites=sites,
        offer=offer or Offer(),
        worlds=worlds,
        numbers=numbers,
        year=chain.request.year,
        cars_per_year=cars,
        npv_usd=npv,
        ranking=_rank(sites, rows, npv, top),
        works=built,
        frontages=plans.frontages,
    )


def _sum_up_site(chain: Chain, row: int) -> dict[str, Any]:
    """Sum up what the chain says of one site, as a row of the ranking."""
    ground, money = chain.ground[row], chain.money
    share = np.quantile(chain.share.rate[row], [0.5, 0.05, 0.95])
    day = np.quantile(chain.cars_per_year[row] / 365, [0.5, 0.05, 0.95])
    worth = money.npv_usd[row]
    mine = np.asarray(chain.streams.site) == row
    return {
        "struck": ground.status == "fail",
        "reason": "; ".join(ground.reasons),
        "vehicles_per_day": float(np.median(chain.passing[row])),
        "measured": "counted" if chain.streams.measured[mine].all() else "estimated",
        "share": share[0],
        "share_low": share[1],
        "share_high": share[2],
        "cars_per_day": day[0],
        "cars_per_day_low": day[1],
        "cars_per_day_high": day[2],
        "design_hour_cars": float(chain.design_hour_cars[row]),
        "line_length_m": float(chain.lines.length_m[row]),
        "chain_speed_mps": float(chain.lines.chain_speed_mps[row]),
        "capital_usd": float(np.median(money.capital_usd[row])),
        "npv_usd": float(worth.mean()),
        "npv_low_usd": float(np.quantile(worth, 0.05)),
        "npv_high_usd": float(np.quantile(worth, 0.95)),
        "chance_npv_positive": float(money.chance_npv_positive[row]),
        "payback_years": float(np.median(money.payback_years[row])),
        "land_ceiling_usd": float(np.median(money.land_ceiling_usd[row])),
        "fit": ground.fit,
    }


def _rank(
    sites: Sites, rows: list[dict[str, Any]], npv: NDArray[np.float32], top: int
) -> pd.DataFrame:
    """Rank by mean value, struck-out sites last in the order given, nothing dropped."""
    import pandas as pd

    table = pd.DataFrame(rows, index=range(len(rows)))
    table.insert(0, "id", list(sites.ids))
    table.insert(1, "name", list(sites.names))
    standing = ~table["struck"].to_numpy(dtype=bool)
    table["chance_top"] = _chance_top(npv, standing, top)
    order = np.lexsort((np.arange(len(table)), -table["npv_usd"].fillna(-np.inf), ~standing))
    rank = np.full(len(table), np.nan)
    placed = order[: int(standing.sum())]
    rank[placed] = np.arange(1, placed.size + 1)
    table.insert(2, "rank", rank)
    own = sites.attributes.reset_index(drop=True)
    fresh = [name for name in own.columns if name not in table and name != "geometry"]
    return pd.concat([table, own[fresh]], axis=1).iloc[order].reset_index(drop=True)


def _chance_top(npv: NDArray[np.float32], standing: NDArray[np.bool_], top: int) -> FloatArray:
    """Return in which share of the worlds each site is among the first ``top``, (S,)."""
    chance = np.full(len(npv), np.nan)
    inside = np.flatnonzero(standing)
    if inside.size == 0:
        return chance
    worth = npv[inside]
    if inside.size <= top:
        chance[inside] = 1.0
        return chance
    bar = np.partition(worth, inside.size - top, axis=0)[inside.size - top]
    chance[inside] = (worth >= bar).mean(axis=1)
    return chance

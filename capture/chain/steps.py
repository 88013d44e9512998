"""What are the ten steps from a road to a wash line, and what does each hand on?

The first file to read. Every step takes what the steps before it made and returns a frozen
result for all sites at once (one site is a table of one row); draws run along the last
axis, and draw i is the same possible world in every step. A step is remembered under what
it reads, so that a changed input redoes only what stands on it.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field, fields
from functools import partial
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from capture.chain.joints import (
    check_parcels,
    find_land_prices,
    find_stacking,
    find_terrain,
    find_time_zone,
    mean_hour_share,
)
from capture.chain.made import Chain
from capture.chain.memo import Memo, sheet_key
from capture.chain.request import Request, find_year, frame_key, site_key, table_key
from capture.chain.works import check_works, cut_place, lay_seeing, lay_turning
from capture.chain.year_choice import YearChoice

if TYPE_CHECKING:
    from capture.line import LineTable

Say = Callable[[str], None]

__all__ = ["Chain", "Request", "Say", "find_year", "keep_quiet", "remember_chain", "walk_chain"]

#: offer fields that a step reads, so that another field's change leaves it alone
_LIKENESS: Final = ("format",)
_SIGN: Final = ("sign_height_m",)
_SHARE: Final = (
    "format", "bays", "ticket_price_usd", "plan_offered", "years_open", "opens_hour", "closes_hour",
)  # fmt: skip
_HOURS: Final = ("opens_hour", "closes_hour", "format", "plan_offered")
_PLAN: Final = ("plan_offered", "plan_price_usd_month")
_LOT: Final = ("format", "bays", "pay_lanes")


def keep_quiet(_: str) -> None:
    """Say nothing; the usual listener."""


@dataclass(slots=True, kw_only=True)
class _Walk:
    """A request on its way through the steps, with what is remembered."""

    request: Request
    memo: Memo
    say: Say
    #: what has been made so far, by step
    made: dict[str, Any] = field(default_factory=dict)
    #: key of each step's inputs, so that later steps can stand on it
    keys: dict[str, Hashable] = field(default_factory=dict)
    #: results made before for the same request, to be remembered and not made again
    held: Chain | None = None

    def step(self, name: str, make: Callable[[], Any], *reads: Hashable, after: str = "") -> Any:
        """Make or recall one step; ``after`` names the steps that it stands on."""
        key = (name, *reads, *(self.keys[earlier] for earlier in after.split()))
        self.keys[name] = hash(key), name
        held = getattr(self.held, name, None)
        if held is not None:
            make = partial(_return, held)
        self.made[name] = self.memo.recall(name, key, make)
        return self.made[name]

    def same(self, thing: object) -> Hashable:
        """Return a key of a thing by identity."""
        return self.memo.number(thing)

    def offer(self, names: tuple[str, ...]) -> Hashable:
        return tuple(getattr(self.request.offer, name) for name in names)

    def sheet(self, *rooms: str) -> Hashable:
        return tuple(sheet_key(self.request.numbers[room]) for room in rooms)


def _return(thing: Any) -> Any:
    return thing


def walk_chain(request: Request, *, memo: Memo | None = None, say: Say = keep_quiet) -> Chain:
    """Walk from the road to the money for all sites of a request.

    Parameters
    ----------
    request : Request
        What is asked.
    memo : Memo, optional
        Remembers steps between calls.
    say : callable
        Told in a few words what is being done.

    Returns
    -------
    Chain

    Raises
    ------
    InputError, DataError, FitError
        From the room that meets the fault, in one sentence.
    """
    walk = _take_steps(_Walk(request=request, memo=memo or Memo(), say=say))
    names = {item.name for item in fields(Chain)} - {"request"}
    return Chain(request=request, **{name: walk.made[name] for name in names})


def remember_chain(chain: Chain, memo: Memo) -> None:
    """Put a chain's results into a memo, as if it had been walked with that memo.

    What a chain does not keep (walls, draws of the coefficients) is made again.
    """
    _take_steps(_Walk(request=chain.request, memo=memo, say=keep_quiet, held=chain))


def _take_steps(walk: _Walk) -> _Walk:
    for take in (
        _find_place,
        _count_passing,
        _shape_year,
        _turn_in,
        _see,
        _look_around,
        _estimate_share,
        _find_busy_hour,
        _size_lines,
        _check_ground,
        _price,
    ):
        take(walk)
    return walk


def _find_place(walk: _Walk) -> None:
    """Where is the site, and what roads does it face?"""
    from capture.place import add_frontage, open_place

    ask, m = walk.request, walk.made
    walk.say("reading roads")
    walk.step(
        "place",
        lambda: open_place(ask.area, values=ask.numbers["place"]),
        walk.same(ask.area),
        walk.sheet("place"),
    )
    walk.say("finding driveways")
    given = ask.frontage
    walk.step(
        "frontage",
        lambda: (
            add_frontage(
                m["place"], ask.sites, driveways=ask.driveways, values=ask.numbers["place"]
            )
            if given is None
            else given
        ),
        site_key(ask.sites),
        None if ask.driveways is None else ask.driveways.to_json(orient="split"),
        table_key(given),
        after="place",
    )
    check_works(ask.works, ask.ids, m["frontage"])


def _count_passing(walk: _Walk) -> None:
    """Who drives past, in which direction?"""
    from capture.passing import add_streams, add_volumes, draw_vehicles
    from capture.share.measure import sum_by_site

    ask, m = walk.request, walk.made
    values = ask.numbers["passing"]
    walk.say("tying counts to roads and estimating the rest")
    walk.step(
        "volumes",
        lambda: add_volumes(
            ask.area,
            m["place"],
            study_year=ask.year,
            decisions=ask.ties,
            answers=ask.columns,
            values=values,
        ),
        ask.year,
        repr(sorted(ask.ties.items())) if ask.ties else "",
        repr(sorted(ask.columns.items())) if ask.columns else "",
        walk.sheet("passing"),
        after="place",
    )
    walk.step(
        "streams",
        lambda: add_streams(
            ask.area, m["place"], m["volumes"], m["frontage"], notes=ask.notes, values=values
        ),
        repr(ask.notes),
        after="volumes frontage",
    )
    walk.step(
        "vehicles",
        lambda: draw_vehicles(m["streams"], ask.worlds, ask.ids),
        ask.worlds,
        after="streams",
    )
    walk.step(
        "passing",
        lambda: sum_by_site(
            np.asarray(m["streams"].site, np.int64), m["vehicles"], sites=len(ask.ids)
        ),
        after="vehicles",
    )


def _shape_year(walk: _Walk) -> None:
    """How does a year of washing fall into its hours?"""
    from capture.hours import make_year_shape

    ask, m = walk.request, walk.made
    chosen = ask.year_choice or YearChoice()
    walk.say("spreading the year over its hours")
    walk.step(
        "shape",
        lambda: make_year_shape(
            ask.offer, road_hour_share=mean_hour_share(m["volumes"]),
            southern=bool(m["place"].network.projection.centre_lat < 0), sales=ask.sales,
            values=ask.numbers["hours"], **chosen.lay_year(ask.area.read("weather")),
        ),
        walk.offer(_HOURS),
        frame_key(ask.sales),
        chosen,
        walk.sheet("hours"),
        after="volumes",
    )  # fmt: skip


def _turn_in(walk: _Walk) -> None:
    """Can they get in and out, in the hours in which people wash?"""
    from capture.turning import add_turning

    ask, m = walk.request, walk.made
    washing = m["shape"].hour_share
    walk.say("waiting for gaps")
    walk.step(
        "turning",
        lambda: add_turning(
            m["place"], m["volumes"], m["streams"], m["frontage"],
            driving_side=ask.area.driving_side, wash_hour_share=washing,
            values=ask.numbers["turning"], **lay_turning(ask.works, ask.ids, m["frontage"]),
        ),
        washing.tobytes(),
        ask.works.turning_key,
        walk.sheet("turning"),
        after="streams",
    )  # fmt: skip


def _see(walk: _Walk) -> None:
    """Do they see the wash in time?"""
    from capture.seeing import add_seeing, gather_walls

    ask, m = walk.request, walk.made
    values = ask.numbers["seeing"]
    walk.say("looking along the approaches")
    walk.step("terrain", lambda: find_terrain(ask.area, m["place"]), after="place")
    walk.step(
        "walls",
        lambda: gather_walls(
            cut_place(m["place"], ask.works),
            ground=None if m["terrain"] is None else m["terrain"].sample,
            values=values,
        ),
        ask.works.screens_key,
        walk.sheet("seeing"),
        after="place terrain",
    )
    walk.step(
        "seeing",
        lambda: add_seeing(
            m["place"], m["streams"], m["frontage"], offer=ask.offer,
            driving_side=ask.area.driving_side, keep=ask.keep, sites=ask.sites,
            terrain=m["terrain"], walls=m["walls"],
            time_zone=find_time_zone(ask.area, m["place"]), values=values,
            **lay_seeing(ask.works, ask.ids, m["frontage"]),
        ),
        walk.offer(_SIGN),
        ask.keep,
        ask.works.seeing_key,
        walk.sheet("seeing"),
        after="streams walls",
    )  # fmt: skip


def _look_around(walk: _Walk) -> None:
    """Who else washes, and who lives near?"""
    from capture.around import add_around, load_rivals

    ask, m = walk.request, walk.made
    values = ask.numbers["around"]
    walk.say("driving to rivals and people")
    given = ask.rivals
    walk.step(
        "rivals",
        lambda: (
            load_rivals(ask.area, m["place"], on_year=ask.year + 0.5, values=values)
            if given is None
            else given
        ),
        table_key(given),
        ask.year,
        walk.sheet("around"),
        after="place",
    )
    walk.step(
        "around",
        lambda: add_around(
            ask.area, m["place"], m["volumes"], m["streams"], ask.sites, m["rivals"],
            offer=ask.offer, driving_side=ask.area.driving_side, values=values,
        ),
        walk.offer(_LIKENESS),
        after="rivals streams",
    )  # fmt: skip


def _estimate_share(walk: _Walk) -> None:
    """What part of the cars passing is washed?"""
    from capture.share import (
        compute_factors,
        fit_share,
        load_known_sites,
        predict_share,
        split_cars,
    )

    ask, m = walk.request, walk.made
    values = ask.numbers["share"]
    walk.say("estimating the share washed")
    given = ask.known
    walk.step(
        "fit",
        lambda: fit_share(
            load_known_sites(ask.area, values=values) if given is None else given, values=values
        ),
        walk.same(ask.area if given is None else given),
        walk.sheet("share"),
    )
    walk.step("coefficients", lambda: m["fit"].draw(ask.worlds), ask.worlds, after="fit")
    walk.step(
        "factors",
        lambda: compute_factors(
            m["streams"], m["turning"], m["seeing"], m["around"], ask.offer, m["passing"],
            ids=ask.ids, names=m["fit"].names, values=values,
        ),
        walk.offer(_SHARE),
        after="fit passing turning seeing around",
    )  # fmt: skip
    walk.step(
        "share",
        lambda: predict_share(
            m["fit"], m["factors"], ask.worlds, format=ask.offer.format, bays=ask.offer.bays,
            coefficients=m["coefficients"],
        ),
        after="factors coefficients",
    )  # fmt: skip
    # a plan dearer than usual is joined less often, so fewer cars come
    walk.step(
        "cars_per_year",
        lambda: (
            split_cars(
                m["share"].cars_per_year(m["passing"]), ask.offer, ask.worlds, values=values
            ).cars_per_year
        ),
        walk.offer(_PLAN),
        after="share passing",
    )


def _find_busy_hour(walk: _Walk) -> None:
    """How many come in the busiest hour?"""
    from capture.hours import compute_design_hour, estimate_busy_hour

    ask, m = walk.request, walk.made
    walk.say("finding the busy hour")
    walk.step(
        "busy",
        lambda: estimate_busy_hour(
            m["cars_per_year"], m["shape"], ask.worlds, ask.ids, rank=ask.offer.busy_rank,
            values=ask.numbers["hours"],
        ),
        ask.offer.busy_rank,
        after="shape cars_per_year",
    )  # fmt: skip
    walk.step(
        "design_hour_cars",
        lambda: compute_design_hour(
            m["busy"], ask.offer, confidence_share=ask.line.confidence_share
        ),
        ask.offer.headroom_share,
        ask.line.confidence_share,
        after="busy",
    )


def _size_lines(walk: _Walk) -> None:
    """What line does that hour need, and whom does it turn away?"""
    from capture.line import compute_lost_share, size_lines

    ask, m = walk.request, walk.made
    values = ask.numbers["line"]
    walk.say("sizing lines")
    walk.step(
        "lines",
        lambda: size_lines(
            m["design_hour_cars"], ask.offer, package=ask.line.package,
            catalog=ask.line.catalog, values=values,
        ),
        ask.offer,
        ask.line.stations_key,
        walk.sheet("line"),
        after="design_hour_cars",
    )  # fmt: skip
    walk.step(
        "lost_share",
        lambda: compute_lost_share(
            m["cars_per_year"], m["lines"].cars_per_hour[:, None], m["shape"], ask.offer,
            values=values,
        ),
        after="lines shape cars_per_year",
    )  # fmt: skip


def _check_ground(walk: _Walk) -> None:
    """Does it fit on the parcel, and what would end it?"""
    ask, m = walk.request, walk.made
    walk.say("fitting buildings into parcels")
    walk.step(
        "stacking",
        lambda: find_stacking(ask, m["cars_per_year"], m["lines"], m["shape"]),
        ask.line.stacking_places,
        after="lines shape cars_per_year",
    )
    walk.step(
        "ground",
        lambda: check_parcels(ask, m["lines"], m["frontage"], m["stacking"]),
        walk.same(ask.answers),
        ask.search,
        None if m["stacking"] is None else m["stacking"].tobytes(),
        walk.offer(_LOT),
        _size_of(m["lines"]),
        walk.sheet("ground"),
        after="frontage",
    )


def _size_of(lines: LineTable) -> Hashable:
    """Return what a parcel must hold, as a key: many hours ask for the same line."""
    sizes = (lines.building_length_m, lines.building_area_m2, lines.lines)
    return tuple(np.asarray(each).tobytes() for each in sizes)


def _price(walk: _Walk) -> None:
    """Is it worth it?"""
    from capture.money import price_study
    from capture.share import draw_rates

    ask, m = walk.request, walk.made
    land = find_land_prices(ask)
    walk.say("pricing ten years")
    walk.step(
        "money",
        lambda: price_study(
            m["cars_per_year"], m["lost_share"], m["lines"], ask.offer, ask.worlds, ask.ids,
            land=land, ground=m["ground"], irr=ask.irr, values=ask.numbers["money"],
            ramp_values=ask.numbers["hours"],
            rates=draw_rates(ask.offer, ask.worlds, values=ask.numbers["share"]),
        ),
        None if land is None else land.tobytes(),
        ask.irr,
        walk.sheet("money", "hours", "share"),
        after="ground lost_share",
    )  # fmt: skip

"""What if the driveway met the road elsewhere along its frontage, and where best?

Places are laid every few metres in front of the parcel. Assumes that the driveway stays on
its own piece of road; a move onto another piece or road is a driveway by hand.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Sheet
from capture.chain.memo import Memo
from capture.chain.steps import Chain
from capture.chain.whatif import WhatIf, compare, find_chain

if TYPE_CHECKING:
    from capture.chain.single import Study
    from capture.passing import Streams
    from capture.place import Frontage, Place, Sites
    from capture.turning import DrivewayScan

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrivewayProposal:
    """The best place for a driveway along its frontage, and what it would do."""

    #: name of the driveway
    driveway: str
    #: how far along the road it would move from where it is, m; 0 where it is best already
    along_m: float
    #: all places tried, and the one proposed
    scan: DrivewayScan
    #: why, one sentence each
    reasons: tuple[str, ...]
    #: the chain with the driveway there
    change: WhatIf


def pick_driveway(found: Study | Chain, driveway: str | None = None) -> int:
    """Return the row of a driveway by its name; of the busiest where none is named.

    Raises
    ------
    InputError
        When there is none of that name.
    """
    chain = find_chain(found)
    names = chain.frontage.driveway
    if driveway is None:
        flow = np.bincount(
            np.asarray(chain.streams.driveway, np.int64),
            np.asarray(chain.streams.vehicles_per_day, np.float64),
            len(names),
        )
        return int(np.argmax(flow))
    if driveway not in names:
        raise InputError(f"there is no driveway {driveway!r} here; there are {', '.join(names)}")
    return names.index(driveway)


def try_driveway(
    found: Study | Chain, along_m: float, *, driveway: str | None = None, memo: Memo | None = None
) -> WhatIf:
    """Try a driveway elsewhere along its road.

    Parameters
    ----------
    found : Study or Chain
        As it is, one site.
    along_m : float
        How far to move it in the direction in which the map draws its road, m; the nearest
        place tried of those in front of the parcel is taken.
    driveway : str, optional
        Its name; the busiest where left out.
    memo : Memo, optional
        That of the study.

    Raises
    ------
    InputError
        When that lies beyond the frontage, saying how far it reaches.
    """
    chain = find_chain(found)
    row = pick_driveway(chain, driveway)
    laid, along, nearest = _find_nearest(
        chain.place, chain.request.sites, chain.frontage, row, along_m,
        chain.request.numbers["turning"],
    )  # fmt: skip
    return _move(chain, row, laid, nearest, float(along[nearest]), memo)


def put_driveway(
    place: Place, sites: Sites, frontage: Frontage, row: int, along_m: float, *, values: Sheet
) -> Frontage:
    """Return driveways of which one stands elsewhere along its road, as a plan asks.

    Parameters
    ----------
    place : Place
    sites : Sites
        One site.
    frontage : Frontage
        Its driveways.
    row : int
        The one that moves.
    along_m : float
        How far along the road from where it is, m, as in :func:`try_driveway`.
    values : Sheet
        Numbers of turning.

    Raises
    ------
    InputError
        When that lies beyond the frontage, saying how far it reaches.
    """
    laid, _, nearest = _find_nearest(place, sites, frontage, row, along_m, values)
    return _put(frontage, row, laid, nearest)


def _find_nearest(
    place: Place, sites: Sites, frontage: Frontage, row: int, along_m: float, values: Sheet
) -> tuple[Frontage, FloatArray, int]:
    from capture.turning import lay_candidates

    laid, along = lay_candidates(place, frontage, row, polygon=sites.polygons[0], values=values)
    nearest = int(np.argmin(np.abs(along - along_m)))
    if not abs(along[nearest] - along_m) <= values.value("candidate_step_m"):
        raise InputError(
            f"along_m must be {along.min():.0f} to {along.max():.0f} m for this frontage, "
            f"got {along_m}; choose a place in front of the parcel"
        )
    return laid, along, nearest


def propose_driveway(
    found: Study | Chain, *, driveway: str | None = None, memo: Memo | None = None
) -> DrivewayProposal:
    """Propose the best place of a driveway along its frontage, with reasons.

    Every place is judged by the wait to turn in and out and by what drivers see of it, those
    with clear sight triangles and away from corners first; then the chain is walked with the
    driveway there. Parameters as in :func:`try_driveway`.
    """
    from capture.passing import add_streams
    from capture.turning import lay_candidates, scan_driveways

    chain = find_chain(found)
    ask = chain.request
    row = pick_driveway(chain, driveway)
    polygon, values = ask.sites.polygons[0], ask.numbers["turning"]
    laid, _ = lay_candidates(chain.place, chain.frontage, row, polygon=polygon, values=values)
    scan = scan_driveways(
        chain.place,
        chain.volumes,
        chain.frontage,
        row,
        make_streams=lambda places: add_streams(
            ask.area, chain.place, chain.volumes, places, values=ask.numbers["passing"]
        ),
        look=lambda streams, places: _look(chain, streams, places),
        driving_side=ask.area.driving_side,
        polygon=polygon,
        values=values,
        wash_hour_share=chain.shape.hour_share,
        **_repeat_works(chain, row, len(laid)),
    )
    along = float(scan.table["along_m"].iloc[scan.best])
    return DrivewayProposal(
        driveway=chain.frontage.driveway[row],
        along_m=along,
        scan=scan,
        reasons=tuple(scan.reasons),
        change=_move(chain, row, scan.frontage, scan.best, along, memo),
    )


def _move(
    chain: Chain, row: int, laid: Frontage, to: int, along: float, memo: Memo | None
) -> WhatIf:
    name = chain.frontage.driveway[row]
    if along == 0:
        what, frontage = f"driveway {name} where it is", chain.frontage
    else:
        what = f"driveway {name} {abs(along):.0f} m {_say_heading(chain, row, along)}"
        frontage = _put(chain.frontage, row, laid, to)
    request = replace(chain.request, frontage=frontage)
    return compare(chain, request, name="driveway", what=what, memo=memo)


def _say_heading(chain: Chain, row: int, along: float) -> str:
    """Say to which of four sides of the sky a move along the road leads."""
    line = chain.place.network.segment_line(int(chain.frontage.segment[row]))
    east, north = (line[-1] - line[0]) * np.sign(along)
    degrees = float(np.degrees(np.arctan2(east, north))) % 360
    sides = ("to the north", "to the east", "to the south", "to the west")
    return sides[round(degrees / 90) % 4]


def _put(frontage: Frontage, row: int, laid: Frontage, to: int) -> Frontage:
    """Return driveways of which one stands where a candidate does."""
    moved: dict[str, Any] = {}
    for name in ("x", "y", "fraction", "line_x", "line_y", "distance_m"):
        column = np.array(getattr(frontage, name), dtype=np.float64)
        column[row] = getattr(laid, name)[to]
        moved[name] = column
    return replace(frontage, **moved)


def _look(chain: Chain, streams: Streams, places: Frontage) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Look at candidates, each as its own site on the same parcel."""
    from capture.chain.joints import find_terrain
    from capture.chain.works import cut_place
    from capture.seeing import add_seeing

    ask = chain.request
    seen = add_seeing(
        cut_place(chain.place, ask.works),
        streams,
        places,
        offer=ask.offer,
        driving_side=ask.area.driving_side,
        sites=_repeat_site(ask.sites, len(places)),
        terrain=find_terrain(ask.area, chain.place),
        values=ask.numbers["seeing"],
    )
    # a turn that nobody makes has no triangle and so nothing that could be hidden
    short = seen.triangle_seen_m < seen.triangle_needed_m
    return seen.sight, np.asarray(~short.any(axis=1), dtype=bool)


def _repeat_site(sites: Sites, count: int) -> Sites:
    at = np.zeros(count, dtype=np.int64)
    return replace(
        sites,
        ids=tuple(f"{sites.ids[0]} {k}" for k in range(count)),
        names=sites.names * count,
        x=sites.x[at],
        y=sites.y[at],
        lat=sites.lat[at],
        lon=sites.lon[at],
        polygons=sites.polygons * count,
        attributes=sites.attributes.iloc[at].reset_index(drop=True),
    )


def _repeat_works(chain: Chain, row: int, count: int) -> dict[str, NDArray[np.generic]]:
    """Give every candidate the works that are asked for at the driveway that it replaces."""
    from capture.chain.works import lay_turning

    laid = lay_turning(chain.request.works, chain.request.ids, chain.frontage)
    return {name: np.repeat(column[row], count) for name, column in laid.items()}

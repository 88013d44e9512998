"""What if the sign were higher, a hedge cut, or the median open, closed or never crossed?

Each trial changes one thing at one site and sets the chain against what was found. Changes
stand on those already asked for, so that they add up when kept.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from capture.basis import InputError
from capture.chain.memo import Memo
from capture.chain.steps import Chain
from capture.chain.whatif import WhatIf, compare, find_chain
from capture.chain.whatif_driveway import pick_driveway
from capture.chain.works import Driveway, Works

if TYPE_CHECKING:
    import pandas as pd

    from capture.chain.single import Study

#: how near to a driveway screens are listed
SCREEN_REACH_M: Final = 250.0


def try_sign(found: Study | Chain, height_m: float, *, memo: Memo | None = None) -> WhatIf:
    """Try another height of the sign's face above the road, m.

    Raises
    ------
    InputError
        When the offer does not allow that height.
    """
    chain = find_chain(found)
    offer = chain.request.offer
    request = replace(chain.request, offer=offer.change(sign_height_m=height_m))
    what = f"sign at {height_m:g} m instead of {offer.sign_height_m:g} m"
    return compare(chain, request, name="sign", what=what, memo=memo)


def list_screens(found: Study | Chain, *, within_m: float = SCREEN_REACH_M) -> pd.DataFrame:
    """List what could be cut near the driveways, the nearest first.

    Returns
    -------
    DataFrame
        ``osm_id``, ``kind``, ``height_m``, ``height_known``, ``distance_m``.
    """
    import pandas as pd
    import shapely

    from capture.chain.works import cut_place

    chain = find_chain(found)
    screens = cut_place(chain.place, chain.request.works).screens
    mouths = shapely.multipoints(np.column_stack([chain.frontage.x, chain.frontage.y]))
    table = pd.DataFrame(
        {
            "osm_id": np.asarray(screens.osm_id, dtype=np.int64),
            "kind": [str(kind) for kind in screens.kind],
            "height_m": np.asarray(screens.height_m, dtype=np.float64),
            "height_known": np.asarray(screens.height_known, dtype=bool),
            "distance_m": np.asarray(
                shapely.distance(np.asarray(screens.geometry, dtype=object), mouths),
                dtype=np.float64,
            ),
        }
    )
    near = table[table["distance_m"] <= within_m]
    return near.sort_values(["distance_m", "osm_id"], kind="stable").reset_index(drop=True)


def try_cut(
    found: Study | Chain,
    cut: Collection[int] | Mapping[int, float],
    *,
    memo: Memo | None = None,
) -> WhatIf:
    """Try cutting hedges, walls, tree rows or woods.

    Parameters
    ----------
    found : Study or Chain
    cut : collection of int, or mapping of int to float
        Ids in the map, cut to the ground, or each with the height that is left, m; see
        :func:`list_screens`.
    memo : Memo, optional

    Raises
    ------
    InputError
        When nothing is named, or the map has no such id.
    """
    chain = find_chain(found)
    left = dict(cut) if isinstance(cut, Mapping) else dict.fromkeys(cut, 0.0)
    if not left:
        raise InputError("nothing to cut was named; take ids from list_screens")
    works = chain.request.works
    request = replace(
        chain.request, works=replace(works, cut_screens={**works.cut_screens, **left})
    )
    kinds = _name_screens(chain, left)
    what = " and ".join(f"{kinds[k]} {k} cut to {height:g} m" for k, height in left.items())
    return compare(chain, request, name="cut", what=what, memo=memo)


def _name_screens(chain: Chain, ids: Collection[int]) -> dict[int, str]:
    screens = chain.place.screens
    at = {int(osm_id): k for k, osm_id in enumerate(np.asarray(screens.osm_id).tolist())}
    return {
        each: str(screens.kind[at[each]]).replace("_", " ") if each in at else "screen"
        for each in ids
    }


def try_opening(
    found: Study | Chain, *, driveway: str | None = None, memo: Memo | None = None
) -> WhatIf:
    """Try an opening in the raised median in front of a driveway.

    Raises
    ------
    InputError
        When no raised median keeps anybody from turning across there.
    """
    from capture.place.values import RAISED_MEDIAN
    from capture.turning.ways import find_openings

    chain = find_chain(found)
    row = pick_driveway(chain, driveway)
    at = _at(chain, row)
    mine = np.asarray(chain.streams.driveway) == row
    shut = np.asarray(chain.streams.separation) == RAISED_MEDIAN
    shut &= ~find_openings(
        chain.place.network, chain.streams, values=chain.request.numbers["turning"]
    )
    works = chain.request.works
    shut &= at not in set(works.openings)
    kept = at in set(works.near_side_only)
    if not kept and not (mine & shut & ~np.asarray(chain.streams.near_side, dtype=bool)).any():
        raise InputError(
            f"no closed median lies in front of driveway {at[1]}; there is nothing to open"
        )
    opened = replace(
        works,
        openings=frozenset(works.openings) | {at},
        near_side_only=frozenset(works.near_side_only) - {at},
    )
    return _build(chain, opened, "opening", f"median opened at driveway {at[1]}", memo)


def try_closing(
    found: Study | Chain, *, driveway: str | None = None, memo: Memo | None = None
) -> WhatIf:
    """Try a median, or one that is closed, in front of a driveway: nobody turns across."""
    return _keep_near(found, driveway, "closing", "median closed in front of driveway", memo)


def try_near_side_only(
    found: Study | Chain, *, driveway: str | None = None, memo: Memo | None = None
) -> WhatIf:
    """Try a driveway built for near-side turns alone, as a permit may ask."""
    side = "right" if find_chain(found).request.area.driving_side == "right" else "left"
    what = f"only {side} turns in and out at driveway"
    return _keep_near(found, driveway, "near_side_only", what, memo)


def _keep_near(
    found: Study | Chain, driveway: str | None, name: str, what: str, memo: Memo | None
) -> WhatIf:
    chain = find_chain(found)
    at = _at(chain, pick_driveway(chain, driveway))
    works = chain.request.works
    kept = replace(
        works,
        openings=frozenset(works.openings) - {at},
        near_side_only=frozenset(works.near_side_only) | {at},
    )
    return _build(chain, kept, name, f"{what} {at[1]}", memo)


def _at(chain: Chain, row: int) -> Driveway:
    return chain.request.ids[0], chain.frontage.driveway[row]


def _build(chain: Chain, works: Works, name: str, what: str, memo: Memo | None) -> WhatIf:
    return compare(chain, replace(chain.request, works=works), name=name, what=what, memo=memo)

"""How many households live within each of several driving times of each site?

What the model of plan members stands on: members come from home, most of them from within
ten minutes. Uses the same junction ground as the people factor, so that the figures agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from capture.area import Area
from capture.around.people import spread_people
from capture.around.values import VALUES
from capture.around.zones import AMOUNTS, load_zones
from capture.basis import InputError, Sheet
from capture.place import Place, compute_reach, snap

FloatArray = NDArray[np.float64]

#: three, five, seven, ten, fifteen minutes
USUAL_BANDS_S: Final = (180.0, 300.0, 420.0, 600.0, 900.0)
_TILE: Final = 256


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bands:
    """What lives within B driving times of S sites, each including the ones before it."""

    #: driving times, rising, (B,)
    limits_s: FloatArray
    #: people, households, vehicles, income_usd: each (S, B), NaN where not known
    amounts: dict[str, FloatArray]

    @property
    def income_per_household(self) -> FloatArray:
        """Summed income over households, USD a year, (S, B)."""
        homes = self.amounts["households"]
        return np.asarray(
            np.divide(
                self.amounts["income_usd"], homes, out=np.full(homes.shape, np.nan), where=homes > 0
            )
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Homes:
    """Households by junction with the driving time from each to S sites; J junctions."""

    #: metres east and north of each junction, (J, 2)
    xy: FloatArray
    #: households on its ground, (J,)
    households: FloatArray
    #: driving time from each junction to each site, inf beyond the limit, (S, J)
    seconds: FloatArray


def count_in_bands(
    area: Area,
    place: Place,
    sites: Any,
    *,
    limits_s: Sequence[float] = USUAL_BANDS_S,
    values: Sheet = VALUES,
) -> Bands | None:
    """Count what lives within several driving times of each site.

    Parameters
    ----------
    area, place
        What is known.
    sites : Sites
        S rows with ``x`` and ``y``.
    limits_s : sequence of float
        Driving times, rising, each more than 0.
    values : Sheet
        The room's constants.

    Returns
    -------
    Bands or None
        None when the area has no people layer.

    Raises
    ------
    InputError
        When the limits are not rising numbers above 0.
    """
    limits = np.asarray(limits_s, dtype=np.float64)
    if limits.size == 0 or not (
        np.isfinite(limits).all() and (np.diff(limits, prepend=0) > 0).all()
    ):
        raise InputError(
            f"limits_s must be rising and above 0 s, got {list(limits_s)}; reorder them"
        )
    zones = load_zones(area, place)
    if zones is None:
        return None
    people = spread_people(zones, place, values=values)
    here = snap(place.network, sites.x, sites.y)
    count = len(here.segment)
    amounts = {name: np.zeros((count, limits.size)) for name in AMOUNTS}
    for start in range(0, count, _TILE):
        index = np.arange(start, min(start + _TILE, count))
        reach = compute_reach(
            place.network, here.take(index), limit_s=float(limits[-1]), reverse=True
        )
        row = np.repeat(index, np.diff(reach.indptr))
        band = np.searchsorted(limits, reach.seconds, side="left")
        for name in AMOUNTS:
            np.add.at(amounts[name], (row, band), people.amounts[name][reach.node])
    return Bands(
        limits_s=limits, amounts={name: table.cumsum(axis=1) for name, table in amounts.items()}
    )


def time_homes(
    area: Area, place: Place, sites: Any, *, limit_s: float = 900.0, values: Sheet = VALUES
) -> Homes | None:
    """Give every junction's households with the driving time to each of a few sites.

    Tells which homes are nearer to a second site than to the first; parameters as in
    :func:`count_in_bands`.

    Returns
    -------
    Homes or None
        Junctions with households within the limit of any site; None without a people layer.
    """
    zones = load_zones(area, place)
    if zones is None:
        return None
    people = spread_people(zones, place, values=values)
    here = snap(place.network, sites.x, sites.y)
    reach = compute_reach(place.network, here, limit_s=limit_s, reverse=True)
    homes = np.nan_to_num(people.amounts["households"])
    near = np.unique(reach.node)
    near = near[homes[near] > 0]
    seconds = np.full((len(here.segment), place.network.nodes), np.inf)
    seconds[np.repeat(np.arange(len(seconds)), np.diff(reach.indptr)), reach.node] = reach.seconds
    return Homes(
        xy=np.column_stack([place.network.node_x[near], place.network.node_y[near]]),
        households=homes[near],
        seconds=seconds[:, near],
    )

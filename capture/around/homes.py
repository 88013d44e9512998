"""Who lives within the band of each site, and which part of their washing would come?

One search a site, backward in time from the site to the homes; what is summed over the
junctions found is a sparse product. Sites are taken a tile at a time, so that memory stays
flat however many there are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.area import Area
from capture.around.huff import compute_gravity
from capture.around.keep import mark, recall
from capture.around.people import JunctionPeople, spread_people
from capture.around.values import VALUES
from capture.around.zones import AMOUNTS, load_zones
from capture.basis import Sheet
from capture.place import Place, Reach, Snap, compute_reach

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

COLUMNS: Final = ("people_10min", "households_10min", "vehicles_10min", "income", "huff_share")
#: values that decide how rivals draw homes
_GRAVITY: Final = ("huff_power", "huff_floor_s", "huff_limit_s")
#: sites searched at once
_TILE: Final = 256
#: the rim of the roads, as a share of the side of a square as large
_RIM_SHARE: Final = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HomesNearby:
    """What lives within the band of S sites."""

    #: ``COLUMNS``, each (S,), NaN where not known
    columns: dict[str, FloatArray]
    #: share of the people layer that lies within the roads' reach
    inside_share: float
    #: what a reader of the layer should know
    notes: tuple[str, ...]
    #: whether the band of each site runs over the edge of the roads, (S,)
    cut_off: BoolArray


def look_at_homes(
    area: Area,
    place: Place,
    here: Snap,
    there: Snap,
    *,
    size: FloatArray,
    own_size: float,
    values: Sheet = VALUES,
) -> HomesNearby:
    """Sum people in each site's band and share their washing out among all washes.

    Parameters
    ----------
    area, place
        What is known.
    here : Snap
        S sites along roads.
    there : Snap
        K rivals along roads.
    size : ndarray, shape (K,)
        Size of each rival in the gravity model, 0 for one that is not in the market.
    own_size : float
        Size of what is planned.
    values : Sheet
        ``band_s``, ``huff_power``, ``huff_floor_s``, ``huff_limit_s``.

    Returns
    -------
    HomesNearby
        All NaN when the area has no people layer.
    """
    count = len(here.segment)
    columns = {name: np.full(count, np.nan) for name in COLUMNS}
    cut_off = np.zeros(count, dtype=bool)
    zones = load_zones(area, place)
    if zones is None:
        return HomesNearby(columns=columns, inside_share=1.0, notes=(), cut_off=cut_off)
    people = spread_people(zones, place, values=values)
    gravity = tuple(values.value(name) for name in _GRAVITY)
    field = recall(
        place,
        ("field", mark(there.segment, there.fraction, size), gravity),
        lambda: _draw_to_rivals(place, there, size, values),
    )
    rim = recall(place, "rim", lambda: _mark_rim(place))
    held = np.column_stack([*(people.amounts[name] for name in AMOUNTS), rim])
    for start in range(0, count, _TILE):
        index = np.arange(start, min(start + _TILE, count))
        reach = compute_reach(
            place.network, here.take(index), limit_s=values.value("band_s"), reverse=True
        )
        homes, households, vehicles, income, at_rim = _sum(reach, held, np.ones(len(reach.node))).T
        columns["people_10min"][index] = homes
        columns["households_10min"][index] = households
        columns["vehicles_10min"][index] = vehicles
        columns["income"][index] = _divide(income, households)
        columns["huff_share"][index] = _share_homes(people, reach, field, own_size, values)
        cut_off[index] = at_rim > 0
    return HomesNearby(
        columns=columns, inside_share=people.inside_share, notes=zones.notes, cut_off=cut_off
    )


def _sum(reach: Reach, amounts: FloatArray, weights: FloatArray) -> FloatArray:
    """Sum weighted amounts of junctions (N, c) over what each site reaches, shape (S, c)."""
    from scipy.sparse import csr_matrix

    shape = (len(reach.indptr) - 1, len(amounts))
    summed: Any = csr_matrix((weights, reach.node, reach.indptr), shape=shape) @ amounts
    return np.asarray(summed, dtype=np.float64)


def _divide(above: FloatArray, below: FloatArray) -> FloatArray:
    return np.asarray(np.divide(above, below, out=np.full(len(above), np.nan), where=below > 0))


def _draw_to_rivals(place: Place, there: Snap, size: FloatArray, values: Sheet) -> FloatArray:
    """Sum over rivals how strongly each draws the homes at every junction, shape (N,)."""
    field = np.zeros(place.network.nodes)
    active = np.flatnonzero((size > 0) & (there.segment >= 0)) if len(size) else np.empty(0, int)
    if not len(active):
        return field
    reach = compute_reach(
        place.network, there.take(active), limit_s=values.value("huff_limit_s"), reverse=True
    )
    row = np.repeat(active, np.diff(reach.indptr))
    np.add.at(field, reach.node, _gravity(size[row], reach.seconds, values))
    return field


def _gravity(size: ArrayLike, seconds: FloatArray, values: Sheet) -> FloatArray:
    return compute_gravity(
        size, seconds, power=values.value("huff_power"), floor_s=values.value("huff_floor_s")
    )


def _share_homes(
    people: JunctionPeople, reach: Reach, field: FloatArray, own_size: float, values: Sheet
) -> FloatArray:
    """Average over the band's households the share of washing that would come here."""
    homes = people.amounts["households"]
    if np.isnan(homes).all():
        homes = people.amounts["people"]
    mine = _gravity(own_size, reach.seconds, values)
    share = mine / (mine + field[reach.node])
    table = homes[:, None]
    return _divide(
        _sum(reach, table, share)[:, 0], _sum(reach, table, np.ones(len(reach.node)))[:, 0]
    )


def _mark_rim(place: Place) -> FloatArray:
    """Mark junctions at the rim of the roads, beyond which nothing is known, shape (N,)."""
    import shapely

    network = place.network
    points: Any = shapely.points(network.node_x, network.node_y)
    hull: Any = shapely.convex_hull(shapely.multipoints(points))
    rim = _RIM_SHARE * float(np.sqrt(hull.area))
    return np.asarray(shapely.distance(points, hull.boundary) <= rim, dtype=np.float64)

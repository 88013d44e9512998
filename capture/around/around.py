"""Who else washes, who lives and who shops around each site?

Puts together the pull of rivals, the nearest like one, whom the streams have just passed,
people within a band of driving time, a gravity share of washing from home, attractions and
the area's price. What is not known stays NaN and a caution says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.area import Area
from capture.around.attractions import count_attractions
from capture.around.formats import FormatTable, load_format_table
from capture.around.huff import compute_gravity
from capture.around.passed import compute_passed_first, find_beside, find_feeders
from capture.around.people import JunctionPeople, spread_people, sum_in_bands
from capture.around.pull import compute_pull, estimate_area_price, find_nearest_like
from capture.around.rivals import Rivals
from capture.around.values import VALUES
from capture.around.zones import load_zones
from capture.basis import Offer, Sheet
from capture.place import Place, Snap, compute_pair_seconds, compute_reach, snap

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

#: sites searched at once, to keep memory flat
_TILE = 256
#: the rim of the roads, as a share of the side of a square as large
_RIM_SHARE = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Around:
    """What surrounds S sites with K rivals and R streams; made by :func:`add_around`."""

    #: sum of likeness x exp(-time/tau) over rivals in the market, (S,)
    pull: FloatArray
    #: the same if planned rivals open as well, (S,)
    pull_with_planned: FloatArray
    #: driving time to the nearest like rival, inf if none, (S,)
    nearest_like_s: FloatArray
    #: that rival's place in the list, -1 if none, (S,)
    nearest_like: IntArray
    #: driving time from each site to each rival, inf if out of reach, (S, K)
    rival_seconds: FloatArray
    #: likeness of each rival to the offer, 0-1, (K,)
    likeness: FloatArray
    #: which rivals are in the market, (K,)
    counted: BoolArray
    #: share of each stream that has just passed a rival, 0-1, (R,)
    passed_first_share: FloatArray
    #: people within the band, NaN if not known, (S,)
    people_10min: FloatArray
    #: households within the band, (S,)
    households_10min: FloatArray
    #: vehicles of households within the band, (S,)
    vehicles_10min: FloatArray
    #: summed income over households within the band, USD a year, (S,)
    income: FloatArray
    #: share of washing from home in the band that a gravity model sends here, 0-1, (S,)
    huff_share: FloatArray
    #: places that draw trips near the site, (S,)
    attractions: FloatArray
    #: usual price of a single wash of the offered kind, USD, NaN if not known, (S,)
    ticket_price_usd: FloatArray
    #: sentences for each site
    cautions: tuple[tuple[str, ...], ...]
    #: where the figures are from, in words
    sources: tuple[str, ...] = ()


def add_around(
    area: Area,
    place: Place,
    volumes: Any,
    streams: Any,
    sites: Any,
    rivals: Rivals,
    *,
    offer: Offer,
    driving_side: str = "right",
    values: Sheet = VALUES,
    table: FormatTable | None = None,
    planned: bool = False,
) -> Around:
    """Compute what surrounds each site.

    Parameters
    ----------
    area : Area
        Its people and attractions layers are read when there are any.
    place : Place
        Roads and the features of the map.
    volumes : Volumes
        ``edge_vehicles_per_day``, shape (E,): splits streams upstream.
    streams : Streams
        R rows with ``edge`` and ``fraction``.
    sites : Sites
        S rows with ``x`` and ``y``.
    rivals : Rivals
        K washes, see :func:`capture.around.load_rivals`.
    offer : Offer
        Its format decides likeness.
    driving_side : str
        Not used: roads know their directions.
    values : Sheet
        The room's constants.
    table : FormatTable, optional
        Likeness and size by format; the room's own when left out.
    planned : bool
        Count planned rivals as if they were open.

    Returns
    -------
    Around
    """
    del driving_side
    formats = table or load_format_table()
    likeness = formats.weigh(rivals.formats, offer.format)
    counted = rivals.counts(planned=planned)
    here, there = snap(place.network, sites.x, sites.y), _snap_rivals(place, rivals, values)
    seconds = _time_rivals(place, here, there, values)
    weight = np.where(counted, likeness, 0.0)
    with_planned = np.where(rivals.counts(planned=True), likeness, 0.0)
    tau, like = values.value("tau_s"), values.value("like_share")
    pull = compute_pull(seconds, weight, tau_s=tau)
    pull_with_planned = compute_pull(seconds, with_planned, tau_s=tau)
    nearest, nearest_s = find_nearest_like(seconds, weight, like_share=like)
    size = formats.measure_size(rivals.formats, rivals.bays) * counted
    own = float(formats.measure_size([offer.format], [offer.bays])[0])
    homes = _look_at_homes(area, place, here, there, size, own, values)
    return Around(
        pull=pull,
        pull_with_planned=pull_with_planned,
        nearest_like_s=nearest_s,
        nearest_like=nearest,
        rival_seconds=seconds,
        likeness=likeness,
        counted=counted,
        passed_first_share=_find_passed(place, volumes, streams, rivals, weight, values),
        attractions=count_attractions(
            area, place, sites.x, sites.y, within_m=values.value("attraction_m")
        ),
        ticket_price_usd=estimate_area_price(
            seconds,
            weight,
            rivals.price_usd,
            limit_s=values.value("price_limit_s"),
            like_share=values.value("price_like_share"),
            least=values.value("price_least_count"),
        ),
        cautions=tuple(
            _caution(k, rivals, seconds, pull, pull_with_planned, homes)
            for k in range(len(here.segment))
        ),
        sources=_name_sources(area, rivals, homes),
        **homes.columns,
    )


def _snap_rivals(place: Place, rivals: Rivals, values: Sheet) -> Snap:
    reach = values.value("rival_reach_m")
    return snap(place.network, rivals.x, rivals.y, max_distance_m=reach)


def _time_rivals(place: Place, here: Snap, there: Snap, values: Sheet) -> FloatArray:
    if not len(there.segment):
        return np.empty((len(here.segment), 0))
    limit = values.value("rival_limit_s")
    return compute_pair_seconds(place.network, here, there, limit_s=limit)


def _find_passed(
    place: Place, volumes: Any, streams: Any, rivals: Rivals, weight: ArrayLike, values: Sheet
) -> FloatArray:
    network = place.network
    likeness = np.asarray(weight, dtype=np.float64)
    active = likeness > 0
    feeders = find_feeders(network, volumes.edge_vehicles_per_day, values=values)
    beside = find_beside(
        network, rivals.x[active], rivals.y[active], likeness[active], values=values
    )
    return compute_passed_first(
        network, feeders, beside, streams.edge, streams.fraction, values=values
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Homes:
    columns: dict[str, FloatArray]
    inside_share: float
    notes: tuple[str, ...]
    #: whether the band of each site runs over the edge of the roads
    cut_off: BoolArray


def _look_at_homes(
    area: Area, place: Place, here: Snap, there: Snap, size: FloatArray, own: float, values: Sheet
) -> _Homes:
    """Sum people in bands and share their washing out, a tile of sites at a time."""
    count = len(here.segment)
    names = ("people_10min", "households_10min", "vehicles_10min", "income", "huff_share")
    columns = {name: np.full(count, np.nan) for name in names}
    zones = load_zones(area, place)
    if zones is None:
        return _Homes(
            columns=columns, inside_share=1.0, notes=(), cut_off=np.zeros(count, dtype=bool)
        )
    people = spread_people(zones, place, values=values)
    field = _draw_to_rivals(place, there, size, values)
    cut_off = np.zeros(count, dtype=bool)
    edge = _edge_nodes(place)
    limit = values.value("band_s")
    for start in range(0, count, _TILE):
        part = slice(start, min(start + _TILE, count))
        tile = here.take(np.arange(part.start, part.stop))
        reach = compute_reach(place.network, tile, limit_s=limit, reverse=True)
        row = np.repeat(np.arange(len(tile.segment)), np.diff(reach.indptr))
        sums = sum_in_bands(people, reach, limit_s=limit)
        columns["people_10min"][part] = sums["people"]
        columns["households_10min"][part] = sums["households"]
        columns["vehicles_10min"][part] = sums["vehicles"]
        columns["income"][part] = _divide(sums["income_usd"], sums["households"])
        columns["huff_share"][part] = _share_homes(people, reach, row, field, own, values)
        cut_off[part] = np.bincount(row, edge[reach.node], minlength=len(tile.segment)) > 0
    return _Homes(
        columns=columns, inside_share=people.inside_share, notes=zones.notes, cut_off=cut_off
    )


def _divide(above: NDArray[Any], below: NDArray[Any]) -> FloatArray:
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
    people: JunctionPeople,
    reach: Any,
    row: IntArray,
    field: FloatArray,
    own: float,
    values: Sheet,
) -> FloatArray:
    """Average over the band's households the share of washing that would come here."""
    homes = people.amounts["households"]
    if np.isnan(homes).all():
        homes = people.amounts["people"]
    weight = homes[reach.node]
    mine = _gravity(own, reach.seconds, values)
    share = mine / (mine + field[reach.node])
    count = len(reach.indptr) - 1
    return _divide(
        np.bincount(row, weight * share, minlength=count),
        np.bincount(row, weight, minlength=count),
    )


def _edge_nodes(place: Place) -> FloatArray:
    """Mark junctions at the rim of the roads, beyond which nothing is known, shape (N,)."""
    import shapely

    network = place.network
    points: Any = shapely.points(network.node_x, network.node_y)
    hull: Any = shapely.convex_hull(shapely.multipoints(points))
    rim = _RIM_SHARE * float(np.sqrt(hull.area))
    return np.asarray(shapely.distance(points, hull.boundary) <= rim, dtype=np.float64)


def _caution(
    site: int,
    rivals: Rivals,
    seconds: FloatArray,
    pull: FloatArray,
    pull_with_planned: FloatArray,
    homes: _Homes,
) -> tuple[str, ...]:
    said = []
    if pull_with_planned[site] > pull[site] + 0.005:
        names = [
            rivals.names[k] or rivals.ids[k]
            for k in range(len(rivals))
            if rivals.status[k] == "planned" and np.isfinite(seconds[site, k])
        ]
        said.append(
            f"planned: {', '.join(names[:4])}; if built, rivals' pull rises from "
            f"{pull[site]:.2f} to {pull_with_planned[site]:.2f}"
        )
    if homes.cut_off[site]:
        said.append("the ten-minute band runs over the edge of the roads file; people beyond it "
                    "are not counted")  # fmt: skip
    if np.isnan(homes.columns["people_10min"][site]):
        said.append("people nearby are not known; their factor takes its reference")
    return tuple(said)


def _name_sources(area: Area, rivals: Rivals, homes: _Homes) -> tuple[str, ...]:
    said = [
        f"rivals: {len(rivals)} known, {int(rivals.counts().sum())} open",
        *rivals.notes,
        *homes.notes,
    ]
    if homes.inside_share < 0.995:
        said.append(
            f"{1 - homes.inside_share:.0%} of the people layer lies outside the roads and is "
            "not counted"
        )
    layer = area.layers.get("people")
    if layer is not None:
        said.append(f"people: {layer.source or 'your layer'}, spread evenly over each zone")
    return tuple(said)

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
from capture.around.beside import find_beside
from capture.around.feeders import find_feeders
from capture.around.formats import FormatTable, load_format_table
from capture.around.homes import HomesNearby, look_at_homes
from capture.around.keep import mark, recall
from capture.around.passed import compute_passed_first
from capture.around.pull import compute_pull, estimate_area_price, find_nearest_like
from capture.around.rivals import Rivals
from capture.around.values import VALUES
from capture.basis import Offer, Sheet
from capture.place import Place, Snap, compute_pair_seconds, snap

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

#: a rise in pull too small to speak of
_WORTH_SAYING = 0.005


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

    Raises
    ------
    InputError
        For an offer that is not known.
    """
    del driving_side
    formats = table or load_format_table()
    likeness = formats.weigh(rivals.formats, offer.format)
    counted = rivals.counts(planned=planned)
    here, there = snap(place.network, sites.x, sites.y), _snap_rivals(place, rivals, values)
    weighed = _weigh_rivals(place, here, there, rivals, likeness, counted, values)
    homes: HomesNearby = look_at_homes(
        area,
        place,
        here,
        there,
        size=formats.measure_size(rivals.formats, rivals.bays) * counted,
        own_size=float(formats.measure_size([offer.format], [offer.bays])[0]),
        values=values,
    )
    weight = np.where(counted, likeness, 0.0)
    columns: dict[str, Any] = weighed | homes.columns
    return Around(
        **columns,
        likeness=likeness,
        counted=counted,
        passed_first_share=_find_passed(place, volumes, streams, rivals, weight, values),
        attractions=count_attractions(
            area, place, sites.x, sites.y, within_m=values.value("attraction_m")
        ),
        cautions=tuple(_caution(k, rivals, weighed, homes, values) for k in range(len(here))),
        sources=_name_sources(area, rivals, homes),
    )


def _weigh_rivals(
    place: Place,
    here: Snap,
    there: Snap,
    rivals: Rivals,
    likeness: FloatArray,
    counted: BoolArray,
    values: Sheet,
) -> dict[str, Any]:
    """Compute what stands on driving times to rivals: the fields of ``Around`` by name."""
    seconds = _time_rivals(place, here, there, values)
    weight = np.where(counted, likeness, 0.0)
    with_planned = np.where(rivals.counts(planned=True), likeness, 0.0)
    tau = values.value("tau_s")
    nearest, nearest_s = find_nearest_like(seconds, weight, like_share=values.value("like_share"))
    return {
        "rival_seconds": seconds,
        "pull": compute_pull(seconds, weight, tau_s=tau),
        "pull_with_planned": compute_pull(seconds, with_planned, tau_s=tau),
        "nearest_like": nearest,
        "nearest_like_s": nearest_s,
        "ticket_price_usd": estimate_area_price(
            seconds,
            weight,
            rivals.price_usd,
            limit_s=values.value("price_limit_s"),
            like_share=values.value("price_like_share"),
            least=values.value("price_least_count"),
        ),
    }


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
    x, y, held = rivals.x[active], rivals.y[active], likeness[active]
    beside = recall(
        place,
        ("beside", mark(x, y, held), values.value("beside_m"), values.value("across_share")),
        lambda: find_beside(network, x, y, held, values=values),
    )
    return compute_passed_first(
        network, feeders, beside, streams.edge, streams.fraction, values=values
    )


def _caution(
    site: int, rivals: Rivals, weighed: dict[str, Any], homes: HomesNearby, values: Sheet
) -> tuple[str, ...]:
    said = []
    now, later = weighed["pull"][site], weighed["pull_with_planned"][site]
    if later > now + _WORTH_SAYING:
        reached = np.isfinite(weighed["rival_seconds"][site])
        names = [
            rivals.names[k] or rivals.ids[k]
            for k in np.flatnonzero(reached)
            if rivals.status[k] == "planned"
        ]
        said.append(
            f"planned: {', '.join(names[:4])}; if built, rivals' pull rises from "
            f"{now:.2f} to {later:.2f}"
        )
    if homes.cut_off[site]:
        minutes = values.value("band_s") / 60
        said.append(
            f"the {minutes:g}-minute band runs over the edge of the roads file; people beyond it "
            "are not counted"
        )
    if np.isnan(homes.columns["people_10min"][site]):
        said.append("people nearby are not known; their factor takes its reference")
    return tuple(said)


def _name_sources(area: Area, rivals: Rivals, homes: HomesNearby) -> tuple[str, ...]:
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

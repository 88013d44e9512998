"""Where rooms do not meet by themselves: what the chain works out between two of them.

Small joints only: heights of the ground, an hour shape for roads, land prices, parcels
against lines, a time zone that fits the place.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from capture.basis import plain_text, raise_gathered
from capture.basis.offer import MOST_LAND_USD
from capture.chain.request import Request

if TYPE_CHECKING:
    from capture.area import Area
    from capture.ground import Ground
    from capture.hours import YearShape
    from capture.line import LineTable
    from capture.passing import Volumes
    from capture.place import Frontage, Place
    from capture.seeing import Terrain

FloatArray = NDArray[np.float64]
#: degrees of longitude in an hour, and how far a legal zone may stray from the sun's
_DEGREES_AN_HOUR: Final = 15.0
_MOST_ASTRAY_H: Final = 3.5


def find_stacking(
    ask: Request, cars_per_year: FloatArray, lines: LineTable, shape: YearShape
) -> FloatArray | None:
    """Return the lanes that each site's queue asks for, metres in single file, (S,).

    The places chosen, else those that hold the queue on 19 of 20 days, but no fewer than
    is usual at least; None for bays, which have their own rule.
    """
    from capture.line import estimate_stacking_cars

    if not ask.offer.is_conveyor:
        return None
    values, ground = ask.numbers["line"], ask.numbers["ground"]
    if ask.line.stacking_places is not None:
        places = np.full(len(ask.ids), ask.line.stacking_places)
    else:
        found = estimate_stacking_cars(
            np.asarray(cars_per_year).mean(axis=1), lines.cars_per_hour, shape, ask.offer,
            values=values,
        )  # fmt: skip
        places = np.ceil(np.maximum(found - 1e-9, ground["stacking_cars"].low))
    return np.asarray(places * ground.value("car_space_m"))


def count_places(ask: Request, ground: Ground) -> float | None:
    """Return the places for waiting cars of one site: chosen, else those laid on its parcel.

    None where nothing could be laid, which leaves the usual number.
    """
    if ask.line.stacking_places is not None or not ask.offer.is_conveyor or not ground.placements:
        return ask.line.stacking_places
    laid = ground.needs.stacking_m - ground.shortfall.stacking_m
    return float(np.floor(laid / ask.numbers["ground"].value("car_space_m") + 1e-9))


def check_parcels(
    ask: Request, lines: LineTable, frontage: Frontage, stacking_m: FloatArray | None = None
) -> tuple[Ground, ...]:
    """Fit each site's line into its parcel and weigh its deal-breakers, S results."""
    from types import SimpleNamespace

    from capture.ground import check_ground

    mouths: list[list[tuple[float, float]]] = [[] for _ in ask.ids]
    for row, site in enumerate(np.asarray(frontage.site)):
        mouths[site].append((float(frontage.x[row]), float(frontage.y[row])))
    return tuple(
        check_ground(
            ask.sites.polygons[k],
            SimpleNamespace(
                building_length_m=float(lines.building_length_m[k]),
                building_width_m=float(lines.building_area_m2[k] / lines.building_length_m[k]),
                lines=int(lines.lines[k]),
                bays=0 if ask.offer.is_conveyor else int(lines.lines[k]),
            ),
            ask.offer,
            answers=None if ask.answers is None else ask.answers.of(ask.ids[k]),
            driveways=mouths[k],
            stacking_m=None if stacking_m is None else float(stacking_m[k]),
            search=ask.search,
            values=ask.numbers["ground"],
        )
        for k in range(len(ask.ids))
    )


def find_terrain(area: Area, place: Place) -> Terrain | None:
    """Load the area's heights of the ground, where there are any."""
    from capture.seeing import load_terrain

    layer = area.layers.get("terrain")
    if layer is None or layer.path is None:
        return None
    x, y = place.network.node_x, place.network.node_y
    extent_m = (float(x.min()), float(y.min()), float(x.max()), float(y.max()))
    return load_terrain(layer.path, place.network.projection, extent_m=extent_m)


def mean_hour_share(volumes: Volumes) -> FloatArray | None:
    """Average the hour shapes of the area's counted stations, (24,); None where there are none."""
    if not volumes.shapes:
        return None
    mean = np.mean([np.asarray(shape.share).mean(axis=0) for shape, _ in volumes.shapes], axis=0)
    return np.asarray(mean / mean.sum())


def find_land_prices(request: Request) -> FloatArray | None:
    """Return the land price of each site, (S,), NaN where it is not known; None if none is.

    Raises
    ------
    DataError
        Naming every site whose asking price is no price.
    """
    from capture.place.parcels import find_asking, read_prices

    if request.offer.land_cost_usd is not None:
        return np.full(len(request.ids), float(request.offer.land_cost_usd))
    table = request.sites.attributes
    column = find_asking(table)
    if not column:
        return None
    texts = table[column].astype("string").str.strip()
    prices = read_prices(texts)
    # "on request" tells no price; what holds a digit, or endless, is meant to be one
    told = texts.str.contains(r"\d|^[-+]?inf", case=False, regex=True).fillna(False).to_numpy(bool)
    raise_gathered(
        [
            f"{plain_text(request.ids[k], most=40)}: {plain_text(column, most=40)} must be 0 to "
            f"{MOST_LAND_USD:g} USD or empty, got {plain_text(texts.iloc[k], most=40)!r}"
            for k in np.flatnonzero(told & ~((prices >= 0) & (prices <= MOST_LAND_USD)))
        ],
        where=request.sites.source or "sites",
    )
    return prices


def find_time_zone(area: Area, place: Place) -> str | None:
    """Return the area's time zone; None where it cannot be that of the place.

    A bare roads file has the usual time zone, which may be another continent's; the hours
    of low sun are better not said than said by a wrong clock.
    """
    west, east = place.extent[1], place.extent[3]
    noon = datetime(2025, 1, 15, 12, tzinfo=UTC).astimezone(ZoneInfo(area.time_zone))
    offset = noon.utcoffset()
    if offset is None:
        return None
    astray = abs(offset.total_seconds() / 3600 - (west + east) / 2 / _DEGREES_AN_HOUR)
    return area.time_zone if min(astray, 24 - astray) <= _MOST_ASTRAY_H else None

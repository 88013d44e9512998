"""What does the map say of the known sites that stand on it?

Each known site with a latitude and longitude inside the area goes through the same rooms
as a site under study: driveways, streams, turning in, being seen, rivals and people. The
site itself, where the map knows it, is taken out of its own rivals. What the table gives
stays; only empty cells are filled. Assumes that the map stands as it did in the year of
the cars.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import pandas as pd

from capture.area import Area
from capture.basis import FORMATS, CaptureError, Offer, Sheet, plain_text
from capture.place import Place, Sites, add_frontage
from capture.share.cells import read_number
from capture.share.factors import FloatArray
from capture.share.intake import Intake, fill_measures
from capture.share.measure import measure_sites
from capture.share.values import VALUES

#: what the map cannot know of another's wash
_NOT_FROM_MAP: Final = ("plan_offered", "years_open", "open_h", "price_ratio")


def measure_known(
    area: Area,
    place: Place,
    volumes: Any,
    rivals: Any,
    table: pd.DataFrame,
    *,
    terrain: Any = None,
    values: Sheet = VALUES,
    sheets: Mapping[str, Sheet] | None = None,
) -> Intake:
    """Fill what a table of known sites leaves empty with what the map says.

    Parameters
    ----------
    area : Area
    place : Place
    volumes : Volumes
        Vehicles a day of the area's roads.
    rivals : Rivals
        All washes known on the map.
    table : DataFrame
        n rows with columns ``lat``, ``lon`` or a geometry of points, and ``format``; with
        ``ticket_price_usd`` the price against the area's is filled too.
    terrain : Terrain, optional
        Heights of the ground.
    values : Sheet
        The share's constants.
    sheets : mapping of str to Sheet, optional
        Constants of the rooms ``passing``, ``turning``, ``seeing``, ``around``.

    Returns
    -------
    Intake
        The table, filled, and one sentence for each column filled or row that could not be
        measured.
    """
    from capture.seeing import gather_walls

    lat, lon = _read_places(table)
    notes: list[str] = []
    own = _room_sheets(sheets)
    ground = None if terrain is None else terrain.sample
    walls = gather_walls(place, ground=ground, values=own["seeing"])
    found: dict[int, dict[str, float]] = {}
    for row in np.flatnonzero(np.isfinite(lat) & np.isfinite(lon)):
        name = _name(table, int(row))
        try:
            site = _make_site(place, name, lat[row], lon[row])
            offer, priced = _read_offer(table, int(row))
            found[int(row)] = _measure_one(
                area, place, volumes, rivals, site, offer, priced=priced,
                walls=walls, terrain=terrain, values=values, sheets=own,
            )  # fmt: skip
        except CaptureError as error:
            notes.append(f"{name} was not measured on the map: {error}")
    if not found:
        return Intake(table=table.copy(), notes=tuple(notes))
    rows = np.array(sorted(found))
    measures = {key: np.array([found[row][key] for row in rows]) for key in found[int(rows[0])]}
    filled = fill_measures(_with_cv(table, rows, measures.pop("vehicles_cv")), measures, rows=rows)
    return Intake(table=filled.table, notes=(*notes, *filled.notes))


def _read_places(table: pd.DataFrame) -> tuple[FloatArray, FloatArray]:
    if "lat" in table.columns and "lon" in table.columns:
        numbers = [
            [math.nan if (n := read_number(cell)) is None else n for cell in table[name]]
            for name in ("lat", "lon")
        ]
        return np.array(numbers[0], dtype=np.float64), np.array(numbers[1], dtype=np.float64)
    if "geometry" in table.columns:
        points = [None if p is None or p.is_empty else p.centroid for p in table["geometry"]]
        lat = [math.nan if point is None else point.y for point in points]
        lon = [math.nan if point is None else point.x for point in points]
        return np.array(lat, dtype=np.float64), np.array(lon, dtype=np.float64)
    return np.full(len(table), np.nan), np.full(len(table), np.nan)


def _name(table: pd.DataFrame, row: int) -> str:
    given = table["id"].iloc[row] if "id" in table.columns else ""
    return plain_text(given, most=60) or f"row {row + 2}"


def _make_site(place: Place, name: str, lat: float, lon: float) -> Sites:
    from capture.basis import DataError
    from capture.place.sites import explain_outside

    outside = explain_outside(place, lat, lon)
    if outside:
        raise DataError(outside)
    x, y = place.network.projection.to_xy([lat], [lon])
    return Sites(
        ids=(name,),
        names=(name,),
        x=x,
        y=y,
        lat=np.array([lat]),
        lon=np.array([lon]),
        polygons=(None,),
        attributes=pd.DataFrame(index=[0]),
        source="known sites",
    )


def _read_offer(table: pd.DataFrame, row: int) -> tuple[Offer, bool]:
    """Return what a known site sells, and whether its price is told."""
    text = str(table["format"].iloc[row]) if "format" in table.columns else ""
    name = text.strip().lower().replace("-", "_")
    offer = Offer().change(format=name if name in FORMATS else "exterior")
    cell = table["ticket_price_usd"].iloc[row] if "ticket_price_usd" in table.columns else None
    price = read_number(cell)
    return (offer, False) if price is None else (offer.change(ticket_price_usd=price), True)


def _room_sheets(given: Mapping[str, Sheet] | None) -> dict[str, Sheet]:
    from capture.around import VALUES as AROUND
    from capture.passing import VALUES as PASSING
    from capture.seeing import VALUES as SEEING
    from capture.turning import VALUES as TURNING

    built_in = {"passing": PASSING, "turning": TURNING, "seeing": SEEING, "around": AROUND}
    return built_in | dict(given or {})


def _measure_one(
    area: Area,
    place: Place,
    volumes: Any,
    rivals: Any,
    site: Sites,
    offer: Offer,
    *,
    priced: bool,
    walls: Any,
    terrain: Any,
    values: Sheet,
    sheets: Mapping[str, Sheet],
) -> dict[str, float]:
    from capture.around import add_around
    from capture.passing import add_streams
    from capture.seeing import add_seeing
    from capture.turning import add_turning

    side = area.driving_side
    frontage = add_frontage(place, site)
    streams = add_streams(area, place, volumes, frontage, values=sheets["passing"])
    turning = add_turning(
        place, volumes, streams, frontage, driving_side=side, values=sheets["turning"]
    )
    seeing = add_seeing(
        place, streams, frontage, offer=offer, driving_side=side, walls=walls, terrain=terrain,
        values=sheets["seeing"],
    )  # fmt: skip
    apart = np.hypot(rivals.x - site.x[0], rivals.y - site.y[0])
    same = np.array([kind == offer.format for kind in rivals.formats], dtype=np.bool_)
    others = rivals.take(~((apart <= values.value("own_rival_m")) & same))
    around = add_around(
        area, place, volumes, streams, site, others, offer=offer, driving_side=side,
        values=sheets["around"],
    )  # fmt: skip
    measures = measure_sites(streams, turning, seeing, around, offer, sites=1, values=values)
    flow = np.asarray(streams.vehicles_per_day, dtype=np.float64)
    # errors of one site's roads are taken to go together, which is the cautious side
    cv = float((flow * streams.log_sd).sum() / flow.sum()) if flow.sum() > 0 else math.nan
    told = {name: float(numbers[0]) for name, numbers in measures.items()}
    kept = {name: told[name] for name in told if name not in _NOT_FROM_MAP}
    return kept | {"vehicles_cv": cv, "price_ratio": told["price_ratio"] if priced else math.nan}


def _with_cv(table: pd.DataFrame, rows: np.ndarray, cv: FloatArray) -> pd.DataFrame:
    """Give rows whose vehicles are measured on the map that measure's error."""
    told = [read_number(cell) for cell in table["aadt_veh_day"]] if "aadt_veh_day" in table else []
    cells = [read_number(cell) for cell in table["aadt_cv"]] if "aadt_cv" in table else []
    out = np.array([math.nan if c is None else c for c in cells] or [math.nan] * len(table))
    for row, error in zip(rows, cv, strict=True):
        if (not told or told[row] is None) and math.isnan(out[row]):
            out[row] = error
    return table.assign(aadt_cv=out)

"""Which layers of a study leave as GeoPackage or GeoJSON, for other map programs?

All that its map shows: site, driveways, the wash on its parcel, streams, lines of sight,
roads with vehicles a day, counts, rivals, people and the band of ten minutes, each with
its numbers and their sources, in degrees.
"""

from __future__ import annotations

import json
from typing import Any, Final

import numpy as np
import pandas as pd
import shapely

from capture.papers.layers import STREAM_SHOWN_M
from capture.papers.layers import _pick_rays as pick_rays
from capture.papers.pictures import make_rival_table, make_stream_table
from capture.papers.queue_layer import stand_queue

BAND_S: Final = 600.0
#: what leaves of a count's story
COUNT_FIELDS: Final = (
    "count_id", "station", "road", "vehicles_per_day", "log_sd", "year", "heavy_share", "kind",
    "story", "tied_to", "score", "distance_m", "why", "fate",
)  # fmt: skip
LEAST_ROAD: Final = 0.0


def make_layers_out(study: Any) -> dict[str, Any]:
    """Make the layers of a study as GeoDataFrames in EPSG:4326, by name."""
    made = {
        "site": _site(study),
        "driveways": _driveways(study),
        "on_parcel": _on_parcel(study),
        "queue": _queue(study),
        "streams": _streams(study),
        "sight": _sight(study),
        "roads": _roads(study),
        "counts": _counts(study),
        "rivals": _rivals(study),
        "people": _people(study),
        "ten_minutes": _band(study),
    }
    return {name: frame for name, frame in made.items() if len(frame)}


def _frame(study: Any, table: pd.DataFrame, shapes: list[Any]) -> Any:
    import geopandas

    crs = study.place.network.projection.crs
    return geopandas.GeoDataFrame(table, geometry=shapes, crs=crs).to_crs("EPSG:4326")


def _site(study: Any) -> Any:
    sites = study.sites
    shape = sites.polygons[0]
    point = shapely.Point(float(sites.x[0]), float(sites.y[0]))
    table = pd.DataFrame(
        {
            "id": list(sites.ids),
            "name": list(sites.names),
            "cars_per_year": [float(np.median(study.cars_per_year))],
            "share_washed": [float(np.median(study.share.rate[0]))],
            "design_hour_cars": [float(study.design_hour_cars)],
            "line_length_m": [float(study.line.length_m)],
            "npv_mean_usd": [float(np.mean(study.money.npv_usd))],
        }
    )
    return _frame(study, table, [point if shape is None else shape])


def _driveways(study: Any) -> Any:
    frontage = study.frontage
    table = pd.DataFrame(
        {
            "driveway": list(frontage.driveway),
            "proposed": np.asarray(frontage.proposed, dtype=bool),
            "road": [study.place.network.segment_name[int(g)] for g in frontage.segment],
        }
    )
    return _frame(study, table, list(shapely.points(frontage.x, frontage.y)))


def _streams(study: Any) -> Any:
    from capture.place import walk_upstream

    streams = study.streams
    lines = [
        shapely.LineString(
            walk_upstream(
                study.place.network,
                int(streams.edge[r]),
                float(streams.fraction[r]),
                distance_m=STREAM_SHOWN_M,
            )
        )
        for r in range(len(streams.edge))
    ]
    return _frame(study, make_stream_table(study), lines)


def _roads(study: Any) -> Any:
    network, volumes = study.place.network, study.volumes
    daily = np.asarray(volumes.vehicles_per_day, dtype=np.float64)
    kept = np.flatnonzero(np.isfinite(daily) & (daily > LEAST_ROAD))
    table = pd.DataFrame(
        {
            "name": [network.segment_name[int(g)] for g in kept],
            "vehicles_per_day": daily[kept],
            "log_sd": np.asarray(volumes.log_sd)[kept],
            "known_by": np.where(np.asarray(volumes.measured)[kept], "measured", "estimated"),
            "source": [str(volumes.source[int(g)]) for g in kept],
            "osm_way": np.asarray(network.segment_way)[kept],
        }
    )
    return _frame(study, table, [shapely.LineString(network.segment_line(int(g))) for g in kept])


def _rivals(study: Any) -> Any:
    rivals = study.rivals
    if not len(rivals.names):
        return _frame(study, pd.DataFrame({"name": []}), [])
    seconds = np.asarray(study.around.rival_seconds)[0]
    order = np.argsort(np.where(np.isfinite(seconds), seconds, np.inf), kind="stable")
    table = make_rival_table(study)
    return _frame(study, table, list(shapely.points(rivals.x[order], rivals.y[order])))


def _on_parcel(study: Any) -> Any:
    placements = study.ground.placements
    if not placements:
        return _nothing(study)
    parts = [(name, shape) for name, shape in sorted(placements[0].parts.items())]
    parts += [("vacuum bays", stall) for stall in placements[0].stalls]
    table = pd.DataFrame({"part": [name for name, _ in parts]})
    table["arrangement"] = placements[0].arrangement
    return _frame(study, table, [shape for _, shape in parts])


def _queue(study: Any) -> Any:
    """Lay out the cars of the worst Saturday and the places that stay free."""
    standing = stand_queue(study)
    if standing is None:
        return _nothing(study)
    rows = [("car in its place", car) for car in standing.waiting]
    rows += [("place still free", spot) for spot in standing.free]
    rows += [("car with no place, in the street", car) for car in standing.street]
    table = pd.DataFrame({"what": [what for what, _ in rows]})
    return _frame(study, table, [shape for _, shape in rows])


def _sight(study: Any) -> Any:
    """Lay out the lines of sight that the map shows, when they were kept."""
    rays = [ray for found in study.seeing.rays or () for ray in pick_rays(found)]
    if not rays:
        return _nothing(study)
    table = pd.DataFrame({"clear": [clear for clear, _, _ in rays]})
    return _frame(study, table, [shapely.LineString([eye, aim]) for _, eye, aim in rays])


def _counts(study: Any) -> Any:
    table = getattr(study.volumes, "counts", None)
    if table is None or len(table) == 0 or not {"lat", "lon"} <= set(table.columns):
        return _nothing(study)
    kept = table[np.isfinite(table["lat"]) & np.isfinite(table["lon"])].reset_index(drop=True)
    plain = pd.DataFrame({name: kept[name] for name in COUNT_FIELDS if name in kept.columns})
    return _degrees(plain, list(shapely.points(kept["lon"], kept["lat"])))


def _people(study: Any) -> Any:
    zones = study.area.read("people")
    if zones is None or len(zones) == 0 or not hasattr(zones, "geometry"):
        return _nothing(study)
    plain = pd.DataFrame(zones.drop(columns=zones.geometry.name)).reset_index(drop=True)
    return _degrees(plain, list(zones.geometry))


def _degrees(table: pd.DataFrame, shapes: list[Any]) -> Any:
    import geopandas

    return geopandas.GeoDataFrame(table, geometry=shapes, crs="EPSG:4326")


def _nothing(study: Any) -> Any:
    return _frame(study, pd.DataFrame({"name": []}), [])


def _band(study: Any) -> Any:
    from capture.place import compute_band, snap

    site = snap(study.place.network, study.sites.x, study.sites.y)
    band = compute_band(study.place.network, site, limit_s=BAND_S)
    table = pd.DataFrame({"minutes": [BAND_S / 60]})
    return _frame(study, table, [band]) if not band.is_empty else _frame(study, table[:0], [])


def render_geojson(frame: Any) -> str:
    """Render one layer as GeoJSON text, coordinates to a decimetre or so.

    Raises
    ------
    ValueError
        When a number is endless; make it null first.
    """
    plain = frame.copy()
    plain.geometry = shapely.set_precision(frame.geometry.to_numpy(), 1e-6)
    for name in plain.columns:
        if pd.api.types.is_float_dtype(plain[name]):
            plain[name] = plain[name].where(np.isfinite(plain[name]))
    content = json.loads(plain.to_json(na="null", drop_id=True))
    return json.dumps(content, sort_keys=True, allow_nan=False) + "\n"

"""What do buildings, screens and features look like in metres, and how high are they?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from capture.basis import LocalProjection, Sheet, plain_text
from capture.place.network import Floats, Labels, Longs
from capture.place.place import Buildings, Screens
from capture.place.raw import Shapes
from capture.place.tags import parse_height_m

if TYPE_CHECKING:
    import pandas as pd

_WALLS = ("wall", "retaining_wall", "city_wall")


def lay_buildings(shapes: Shapes, plane: LocalProjection, values: Sheet) -> Buildings:
    """Turn outlines into flat rings; a building without height counts one storey.

    Parameters
    ----------
    shapes : Shapes
        Closed rings.
    plane : LocalProjection
        Metres of the network.
    values : Sheet
        ``storey_m``.
    """
    storey = values.value("storey_m")
    heights = [
        parse_height_m(tags.get("height"), tags.get("building:levels"), storey)
        for tags in shapes.tags
    ]
    indptr, x, y = _flatten(shapes, plane)
    return Buildings(
        osm_id=_number_ids(shapes),
        ring_indptr=indptr,
        ring_x=x,
        ring_y=y,
        height_m=np.array([storey if h is None else h for h in heights], dtype=np.float64),
        height_known=np.array([h is not None for h in heights], dtype=bool),
    )


def lay_screens(shapes: Shapes, plane: LocalProjection, values: Sheet) -> Screens:
    """Turn tree rows, hedges, walls and woods into flat lines with heights."""
    kinds = [_screen_kind(tags) for tags in shapes.tags]
    names = {"tree_row": "tree_m", "wood": "tree_m", "hedge": "hedge_m", "wall": "wall_m"}
    known = [parse_height_m(tags.get("height"), None, 1.0) for tags in shapes.tags]
    heights = [
        values.value(names[k]) if h is None else h for k, h in zip(kinds, known, strict=True)
    ]
    indptr, x, y = _flatten(shapes, plane)
    return Screens(
        osm_id=_number_ids(shapes),
        kind=Labels.of(kinds),
        line_indptr=indptr,
        line_x=x,
        line_y=y,
        height_m=np.array(heights, dtype=np.float64),
        height_known=np.array([h is not None for h in known], dtype=bool),
    )


def _screen_kind(tags: Mapping[str, str]) -> str:
    barrier = tags.get("barrier")
    if barrier in _WALLS:
        return "wall"
    if barrier == "hedge":
        return "hedge"
    return "tree_row" if tags.get("natural") == "tree_row" else "wood"


def _number_ids(shapes: Shapes) -> Longs:
    return np.array([int(osm_id[1:]) for osm_id in shapes.osm_id], dtype=np.int64)


def _flatten(shapes: Shapes, plane: LocalProjection) -> tuple[Longs, Floats, Floats]:
    if not len(shapes):
        return shapes.indptr, np.empty(0), np.empty(0)
    x, y = plane.to_xy(shapes.lat, shapes.lon)
    return shapes.indptr, x, y


def lay_features(shapes: Shapes, plane: LocalProjection) -> pd.DataFrame:
    """Make the table of washes, fuel stations and places that draw trips.

    Returns
    -------
    DataFrame
        Columns ``osm_id, kind, name, amenity, shop, lat, lon, x, y, area_m2, tags``.
    """
    import pandas as pd

    indptr, x, y = _flatten(shapes, plane)
    area = _ring_areas(indptr, x, y)
    lat, lon = _middles(shapes, indptr)
    fx, fy = plane.to_xy(lat, lon) if len(shapes) else (np.empty(0), np.empty(0))
    return pd.DataFrame(
        {
            "osm_id": list(shapes.osm_id),
            "kind": [_feature_kind(tags) for tags in shapes.tags],
            "name": [plain_text(tags.get("name", "")) for tags in shapes.tags],
            "amenity": [tags.get("amenity", "") for tags in shapes.tags],
            "shop": [tags.get("shop", "") for tags in shapes.tags],
            "lat": lat.astype(np.float64),
            "lon": lon.astype(np.float64),
            "x": fx,
            "y": fy,
            "area_m2": area,
            "tags": [dict(tags) for tags in shapes.tags],
        }
    )


def _middles(shapes: Shapes, indptr: Longs) -> tuple[Floats, Floats]:
    """Mean place of each shape's points, a ring's last point not counted twice."""
    if not len(shapes):
        return np.empty(0), np.empty(0)
    lat, lon = shapes.lat, shapes.lon
    first, last = indptr[:-1], indptr[1:] - 1
    closed = (last - first > 1) & (lat[first] == lat[last]) & (lon[first] == lon[last])
    count = last - first + 1 - closed

    def mean(values: Floats) -> Floats:
        total = np.add.reduceat(values, first) - np.where(closed, values[last], 0.0)
        middle: Floats = total / count
        return middle

    return mean(lat), mean(lon)


def _feature_kind(tags: Mapping[str, str]) -> str:
    get = tags.get
    if get("amenity") in ("car_wash", "vehicle_wash") or get("building") == "car_wash":
        return "car_wash"
    if get("shop") == "car_wash":
        return "car_wash"
    return "fuel" if get("amenity") == "fuel" else "attraction"


def _ring_areas(indptr: Longs, x: Floats, y: Floats) -> Floats:
    """Area of each closed ring by the shoelace formula, 0 for points and open lines."""
    areas = np.zeros(len(indptr) - 1)
    first, last = indptr[:-1], indptr[1:] - 1
    ring = (last - first >= 3) & (x[first] == x[last]) & (y[first] == y[last])
    for k in np.flatnonzero(ring).tolist():
        part = slice(int(first[k]), int(last[k]) + 1)
        px, py = x[part] - x[first[k]], y[part] - y[first[k]]
        areas[k] = abs(float(px[:-1] @ py[1:] - px[1:] @ py[:-1])) / 2
    return areas

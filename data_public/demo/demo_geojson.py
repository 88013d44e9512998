"""How do the invented layers become GeoJSON? Degrees to 7 decimals, marked in every feature."""

from __future__ import annotations

from typing import Any

from demo_osm import to_latlon
from shapely import Point


def make_feature(geometry: dict[str, Any], properties: dict[str, Any]) -> dict[str, Any]:
    """Make one feature that says that it is invented."""
    return {
        "type": "Feature",
        "properties": {**properties, "source": "invented"},
        "geometry": geometry,
    }


def make_point(spot: Point) -> dict[str, Any]:
    """Turn a spot in metres into a point in degrees."""
    lat, lon = to_latlon(spot.x, spot.y)
    return {"type": "Point", "coordinates": [round(lon, 7), round(lat, 7)]}


def list_degrees(points: Any) -> list[list[float]]:
    """Turn spots in metres into pairs of longitude and latitude."""
    pairs = [to_latlon(x, y) for x, y in points]
    return [[round(lon, 7), round(lat, 7)] for lat, lon in pairs]


def make_collection(name: str, features: list[dict[str, Any]]) -> dict[str, Any]:
    """Tie features into a collection that says that it is invented."""
    return {
        "type": "FeatureCollection",
        "name": name,
        "invented": True,
        "note": "Invented town for demonstration.",
        "features": features,
    }

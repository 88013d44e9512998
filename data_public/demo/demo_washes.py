"""Which other washes stand in the invented town, and what does a planner's table say of them?

All formats, one planned, one closed; some stand on the map as a node, a building, both or a
relation, so that the merging of entries can be tried.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from demo_join import Streets
from demo_osm import to_latlon
from demo_roads import MEDIAN_HALF_M, harrow_y, winder_y
from shapely import Point

#: name, format, road, place along it, bays, opened, closed, price, open hours, how it is mapped
WASHES = (
    ("Blue Heron Wash", "exterior", "tillman", 2750, 1, "2016-05", "", 13.0, 12, "building"),
    ("Suds and Sons", "flex", "winder", 2650, 1, "2009-03", "", 15.0, 11, "node+building"),
    ("Grand Polish Wash", "full_service", "harrow", 2700, 1, "2003-06", "", 24.0, 10, "node"),
    ("Quick Rinse Box", "in_bay", "kettle", 1250, 2, "2012-08", "", 10.0, 24, "relation building"),
    ("Fenwick Fuel and Wash", "fuel", "harrow", -2650, 1, "2014-01", "", 9.0, 24, "building"),
    ("Coin and Foam", "self_service", "tillman", -1750, 5, "1998-04", "", 5.0, 24, "node"),
    ("Handmade Shine", "hand", "winder", -2100, 3, "2019-09", "", 32.0, 9, ""),
    ("Corner Pump Wash", "fuel", "tillman", -2450, 1, "2007-11", "", 8.0, 24, ""),
    ("Sparrow Express Wash", "exterior", "harrow", 1150, 1, "2027-05", "", 12.0, 13, ""),
    ("Old Mill Car Wash", "exterior", "tillman", 800, 1, "1995-07", "2021-10", 11.0, 11, ""),
    ("Weaver Lane Bays", "self_service", "kettle", -1000, 4, "2001-05", "", 5.0, 24, "building"),
    ("Orchard Road Wash", "unknown", "winder", -2650, 1, "", "", "", "", "node"),
)
_MAP_TAGS = {
    "exterior": {"amenity": "car_wash", "automated": "yes", "car_wash": "tunnel"},
    "flex": {"amenity": "car_wash", "automated": "yes", "car_wash": "tunnel"},
    "full_service": {"amenity": "car_wash", "automated": "yes", "self_service": "no"},
    "in_bay": {"amenity": "car_wash", "automated": "yes", "self_service": "no"},
    "fuel": {"amenity": "fuel", "car_wash": "yes"},
    "self_service": {"amenity": "car_wash", "self_service": "yes", "automated": "no"},
    "unknown": {"amenity": "car_wash"},
}


def place_washes(streets: Streets) -> list[dict[str, Any]]:
    """Place the washes beside their roads; returns one mapping each, in metres."""
    placed = []
    for name, kind, road, at, bays, opened, closed, price, hours, on_map in WASHES:
        x, y = float(at), float(at)
        if road == "tillman":
            x = -600.0 + 38.0
        elif road == "harrow":
            y = float(harrow_y(np.array(x))) - MEDIAN_HALF_M - 36.0
        elif road == "winder":
            y = float(winder_y(np.array(x))) + 38.0
        else:
            x, y = _beside_collector(streets, at)
        placed.append(
            {
                "name": name,
                "format": kind,
                "x": x,
                "y": y,
                "bays": bays,
                "opened": opened,
                "closed": closed,
                "price_usd": price,
                "open_hours": hours,
                "on_map": on_map,
                "tags": dict(_MAP_TAGS.get(kind, {})),
            }
        )
    return placed


def _beside_collector(streets: Streets, at: float) -> tuple[float, float]:
    rows = [k for k in range(len(streets.segments)) if streets.road(k).highway == "tertiary"]
    lines = [streets.line(k) for k in rows if streets.line(k).length > 100]
    line = min(lines, key=lambda one: one.centroid.distance(Point(at, -700.0)))
    middle = line.interpolate(0.5, normalized=True)
    return middle.x + 4.0, middle.y - 34.0


def make_rivals(washes: list[dict[str, Any]]) -> pd.DataFrame:
    """Make the table of rivals that a planner keeps; some stand on the map as well."""
    rows = []
    for number, wash in enumerate(washes, start=1):
        lat, lon = to_latlon(wash["x"] + 5.0, wash["y"] - 4.0)
        status = "closed" if wash["closed"] else "planned" if wash["opened"] > "2026" else "open"
        rows.append(
            {
                "id": f"W{number:02d}",
                "name": wash["name"],
                "format": wash["format"],
                "lat": round(lat, 7),
                "lon": round(lon, 7),
                "bays": wash["bays"],
                "status": status,
                "opened": wash["opened"],
                "closed": wash["closed"],
                "price_usd": wash["price_usd"],
                "open_hours_day": wash["open_hours"],
                "source": "invented",
            }
        )
    return pd.DataFrame(rows)

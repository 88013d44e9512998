"""What did the invented town's counters, surveyors and weather station write down?

Each function makes one layer from the true town. Counts carry an error of a few per cent;
every row or feature says that it is invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from demo_features import Parcel
from demo_osm import to_latlon
from demo_roads import MEDIAN_HALF_M, Streets, harrow_y, winder_y
from demo_traffic import GROWTH, spread_people
from shapely import Point, box

COUNT_YEARS = (2022, 2024)
COUNT_ERROR = 0.05
HOURS_WEEKDAY = (
    9,
    6,
    5,
    5,
    9,
    24,
    52,
    78,
    66,
    50,
    49,
    53,
    57,
    57,
    60,
    70,
    79,
    81,
    62,
    46,
    36,
    30,
    20,
    13,
)
HOURS_WEEKEND = (
    16,
    11,
    8,
    6,
    6,
    10,
    18,
    28,
    42,
    56,
    66,
    73,
    78,
    78,
    76,
    73,
    70,
    66,
    58,
    49,
    40,
    33,
    25,
    18,
)
MONTHS = (0.90, 0.93, 0.99, 1.01, 1.05, 1.06, 1.03, 1.05, 1.02, 1.01, 0.98, 0.97)
WEEKDAYS = (0.99, 1.02, 1.04, 1.06, 1.13, 0.96, 0.80)
COUNTER_YEAR = 2023
LOST_DAYS = ("2023-03-14", "2023-03-15", "2023-09-02")


@dataclass(kw_only=True)
class Station:
    """A place at which vehicles are counted."""

    name: str
    segment: int
    spot: Point
    both: bool


def _feature(geometry: dict[str, Any], properties: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": {**properties, "source": "invented"},
        "geometry": geometry,
    }


def _point(spot: Point) -> dict[str, Any]:
    lat, lon = to_latlon(spot.x, spot.y)
    return {"type": "Point", "coordinates": [round(lon, 7), round(lat, 7)]}


def _coordinates(points: Any) -> list[list[float]]:
    pairs = [to_latlon(x, y) for x, y in points]
    return [[round(lon, 7), round(lat, 7)] for lat, lon in pairs]


def _bound(streets: Streets, segment: int) -> str:
    line = streets.line(segment)
    x, y = np.subtract(line.coords[-1], line.coords[0])
    return ("EB" if x > 0 else "WB") if abs(x) > abs(y) else ("NB" if y > 0 else "SB")


def choose_stations(streets: Streets, seed: int) -> list[tuple[int, str]]:
    """Choose the segments counted: most arterials, many collectors, a few streets."""
    rng = np.random.default_rng([seed, 5])
    wanted = {"trunk": 3, "primary": 22, "secondary": 8, "tertiary": 30, "residential": 14}
    chosen: list[tuple[int, str]] = []
    for highway, times in wanted.items():
        pool = [
            k
            for k in range(len(streets.segments))
            if streets.road(k).highway == highway and streets.line(k).length > 60
        ]
        picked = rng.choice(pool, min(times, len(pool)), replace=False)
        chosen += [(int(k), highway) for k in sorted(picked)]
    return chosen


def make_counts(streets: Streets, daily: np.ndarray, seed: int) -> dict[str, Any]:
    """Make yearly counts: points and lines, two-way and by direction, two years."""
    rng = np.random.default_rng([seed, 6])
    features = []
    for number, (segment, highway) in enumerate(choose_stations(streets, seed), start=1):
        road, line = streets.road(segment), streets.line(segment)
        divided = road.name == "Harrow Boulevard"
        one_way = road.oneway and (not divided or number % 2 == 0)
        true = daily[segment] * (2.0 if divided and not one_way else 1.0)
        name = f"H{number:03d}"
        spot = line.interpolate(0.5, normalized=True)
        spot = Point(*(np.array(spot.coords[0]) + rng.normal(0, 3.0, 2)))
        shape = _point(spot)
        if number % 5 == 0:
            shape = {"type": "LineString", "coordinates": _coordinates(line.coords)}
        years = COUNT_YEARS if number % 4 == 0 else COUNT_YEARS[1:]
        if number % 11 == 0:
            years = COUNT_YEARS[:1]
        for year in years:
            level = true * (1 - GROWTH) ** (2024 - year) * rng.lognormal(0, COUNT_ERROR)
            features.append(
                _feature(
                    shape,
                    {
                        "station": name,
                        "road": road.name,
                        "aadt": int(round(level, -1 if level < 2000 else -2)),
                        "year": year,
                        "direction": _bound(streets, segment) if one_way else "both",
                        "heavy_share": {"trunk": 0.09, "primary": 0.045}.get(highway, 0.03),
                    },
                )
            )
    return _collection("counts", features)


def _collection(name: str, features: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "type": "FeatureCollection",
        "name": name,
        "invented": True,
        "note": "Invented town for demonstration.",
        "features": features,
    }


def find_on(streets: Streets, name: str, x: float, y: float) -> int:
    """Find a road's segment nearest to a spot."""
    rows = [k for k in range(len(streets.segments)) if streets.road(k).name == name]
    return min(rows, key=lambda k: streets.line(k).distance(Point(x, y)))


def _profile(hours: tuple[int, ...], lean: float) -> np.ndarray:
    """Shape a day for one direction: ``lean`` moves vehicles from morning to evening."""
    raw = np.array(hours, dtype=float)
    clock = np.arange(24)
    raw = raw * (1 + lean * np.sin((clock - 12.5) / 12 * np.pi))
    return np.asarray(raw / raw.sum())


def make_hourly(streets: Streets, daily: np.ndarray, seed: int) -> tuple[pd.DataFrame, dict]:
    """Make a continuous counter's year of hours, both directions, with three lost days."""
    rng = np.random.default_rng([seed, 7])
    segment = find_on(streets, "Tillman Road", -600.0, 420.0)
    level = daily[segment] * (1 - GROWTH)
    dates = pd.date_range(f"{COUNTER_YEAR}-01-01", f"{COUNTER_YEAR}-12-31", freq="D")
    mean = np.mean(MONTHS) * np.mean(WEEKDAYS)
    rows = []
    for date in dates:
        text = date.date().isoformat()
        if text in LOST_DAYS:
            continue
        day = level * MONTHS[date.month - 1] * WEEKDAYS[date.weekday()] / mean
        day *= rng.lognormal(-0.00125, 0.05)
        hours = HOURS_WEEKEND if date.weekday() >= 5 else HOURS_WEEKDAY
        for bound, part, lean in (("NB", 0.51, -0.16), ("SB", 0.49, 0.16)):
            volume = rng.poisson(day * part * _profile(hours, lean))
            rows += [("C1-invented", bound, text, hour, int(v)) for hour, v in enumerate(volume)]
    table = pd.DataFrame(rows, columns=["station", "direction", "date", "hour", "vehicles"])
    lat, lon = to_latlon(*streets.line(segment).interpolate(0.5, normalized=True).coords[0])
    place = {
        "station": "C1-invented",
        "road": "Tillman Road",
        "lat": round(lat, 7),
        "lon": round(lon, 7),
    }
    return table, place


def make_short(streets: Streets, daily: np.ndarray, seed: int) -> pd.DataFrame:
    """Make one 48-hour count, both directions, a Tuesday and a Wednesday in May 2024."""
    rng = np.random.default_rng([seed, 8])
    segment = find_on(streets, "Winder Creek Parkway", -900.0, float(winder_y(np.array(-900.0))))
    lat, lon = to_latlon(*streets.line(segment).interpolate(0.5, normalized=True).coords[0])
    mean = np.mean(MONTHS) * np.mean(WEEKDAYS)
    rows = []
    for date in pd.date_range("2024-05-14", periods=2):
        day = daily[segment] * MONTHS[4] * WEEKDAYS[date.weekday()] / mean
        for bound, lean in (("EB", -0.12), ("WB", 0.12)):
            volume = rng.poisson(day * 0.5 * _profile(HOURS_WEEKDAY, lean))
            for hour, v in enumerate(volume):
                rows.append(
                    (
                        "S1",
                        "Winder Creek Parkway",
                        round(lat, 7),
                        round(lon, 7),
                        bound,
                        date.date().isoformat(),
                        hour,
                        int(v),
                        "invented",
                    )
                )
    names = ["station", "road", "lat", "lon", "direction", "date", "hour", "vehicles", "source"]
    return pd.DataFrame(rows, columns=names)


#: name, format, x, y (None: beside that road), bays, opened, closed, status, price, hours, map
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


def make_parcels(parcels: list[Parcel]) -> dict[str, Any]:
    """Make the parcels layer."""
    features = []
    for parcel in parcels:
        ring = _coordinates(parcel.shape.exterior.coords)
        features.append(
            _feature(
                {"type": "Polygon", "coordinates": [ring]},
                {
                    "id": parcel.id,
                    "name": f"{parcel.road} {'corner' if parcel.corner else 'lot'}",
                    "road": parcel.road,
                    "acres": round(parcel.shape.area / 4046.8564224, 2),
                    "asking_price_usd": parcel.asking_price_usd,
                    "zoning": parcel.zoning,
                },
            )
        )
    return _collection("parcels", features)


def make_people(seed: int) -> dict[str, Any]:
    """Make 36 zones of a kilometre with people, households, vehicles and summed income."""
    rng = np.random.default_rng([seed, 9])
    features = []
    for number in range(36):
        west, south = -3000 + 1000 * (number % 6), -3000 + 1000 * (number // 6)
        zone = box(west, south, west + 1000, south + 1000)
        density = spread_people(np.array([[west + 500.0, south + 500.0]]))[0]
        households = int(1450 * density * rng.lognormal(0, 0.25))
        income = 71_000 * rng.lognormal(0, 0.22) * (1.15 if south >= 1000 else 1.0)
        features.append(
            _feature(
                {"type": "Polygon", "coordinates": [_coordinates(zone.exterior.coords)]},
                {
                    "zone": f"Z{number + 1:02d}",
                    "population": int(households * rng.uniform(2.2, 2.8)),
                    "households": households,
                    "vehicles": int(households * rng.uniform(1.5, 2.1)),
                    "aggregate_income_usd": int(round(households * income, -3)),
                },
            )
        )
    return _collection("people", features)


def make_weather(seed: int) -> pd.DataFrame:
    """Make a year of days: temperatures in deg C, rain and new snow in mm."""
    rng = np.random.default_rng([seed, 10])
    dates = pd.date_range(f"{COUNTER_YEAR}-01-01", f"{COUNTER_YEAR}-12-31", freq="D")
    season = 9.0 - 15.5 * np.cos(2 * np.pi * (dates.day_of_year.to_numpy() - 20) / 365)
    swing, wet, rows = 0.0, False, []
    for date, mean in zip(dates, season, strict=True):
        swing = 0.72 * swing + rng.normal(0, 3.4)
        wet = bool(rng.random() < (0.46 if wet else 0.26))
        half = rng.uniform(3.0, 5.2) if wet else rng.uniform(4.2, 7.4)
        low, high = mean + swing - half, mean + swing + half
        rain = max(0.3, rng.gamma(0.75, 9.5)) if wet else 0.0
        snow = rain * 9.0 if wet and (low + high) / 2 < 0.5 else 0.0
        rows.append(
            (
                "INVENTED01",
                date.date().isoformat(),
                round(high, 1),
                round(low, 1),
                round(rain, 1),
                round(snow, 0),
            )
        )
    return pd.DataFrame(rows, columns=["STATION", "DATE", "TMAX", "TMIN", "PRCP", "SNOW"])

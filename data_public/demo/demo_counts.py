"""What did the invented town's counters write down?

Yearly counts by point and line, a continuous year of hours and one 48-hour count, each from
the true traffic with an error of a few per cent.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from demo_geojson import list_degrees, make_collection, make_feature, make_point
from demo_join import Streets
from demo_osm import to_latlon
from demo_roads import winder_y
from demo_traffic import GROWTH
from shapely import Point

COUNT_YEARS = (2022, 2024)
COUNT_ERROR = 0.05
#: share of a day in each hour, per mille, before leaning it by direction
HOURS_WEEKDAY = (
    9, 6, 5, 5, 9, 24, 52, 78, 66, 50, 49, 53,
    57, 57, 60, 70, 79, 81, 62, 46, 36, 30, 20, 13,
)  # fmt: skip
HOURS_WEEKEND = (
    16, 11, 8, 6, 6, 10, 18, 28, 42, 56, 66, 73,
    78, 78, 76, 73, 70, 66, 58, 49, 40, 33, 25, 18,
)  # fmt: skip
MONTHS = (0.90, 0.93, 0.99, 1.01, 1.05, 1.06, 1.03, 1.05, 1.02, 1.01, 0.98, 0.97)
WEEKDAYS = (0.99, 1.02, 1.04, 1.06, 1.13, 0.96, 0.80)
COUNTER_YEAR = 2023
LOST_DAYS = ("2023-03-14", "2023-03-15", "2023-09-02")


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
        shape = make_point(spot)
        if number % 5 == 0:
            shape = {"type": "LineString", "coordinates": list_degrees(line.coords)}
        years = COUNT_YEARS if number % 4 == 0 else COUNT_YEARS[1:]
        if number % 11 == 0:
            years = COUNT_YEARS[:1]
        for year in years:
            level = true * (1 - GROWTH) ** (2024 - year) * rng.lognormal(0, COUNT_ERROR)
            features.append(
                make_feature(
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
    return make_collection("counts", features)


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

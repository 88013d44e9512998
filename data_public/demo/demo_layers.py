"""What did the invented town's surveyors and weather station write down?

Parcels for sale, people by zone, a year of daily weather; each says that it is invented.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from demo_counts import COUNTER_YEAR
from demo_features import ACRE_M2, Parcel
from demo_geojson import list_degrees, make_collection, make_feature
from demo_traffic import spread_people
from shapely import box


def make_parcels(parcels: list[Parcel]) -> dict[str, Any]:
    """Make the parcels layer."""
    features = []
    for parcel in parcels:
        ring = list_degrees(parcel.shape.exterior.coords)
        features.append(
            make_feature(
                {"type": "Polygon", "coordinates": [ring]},
                {
                    "id": parcel.id,
                    "name": f"{parcel.road} {'corner' if parcel.corner else 'lot'}",
                    "road": parcel.road,
                    "acres": round(parcel.shape.area / ACRE_M2, 2),
                    "asking_price_usd": parcel.asking_price_usd,
                    "zoning": parcel.zoning,
                },
            )
        )
    return make_collection("parcels", features)


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
            make_feature(
                {"type": "Polygon", "coordinates": [list_degrees(zone.exterior.coords)]},
                {
                    "zone": f"Z{number + 1:02d}",
                    "population": int(households * rng.uniform(2.2, 2.8)),
                    "households": households,
                    "vehicles": int(households * rng.uniform(1.5, 2.1)),
                    "aggregate_income_usd": int(round(households * income, -3)),
                },
            )
        )
    return make_collection("people", features)


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

"""How is a place laid into columns for the cache, and made again from them?"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from capture.basis import LocalProjection
from capture.place.cache import Columns
from capture.place.network import Labels, Network
from capture.place.place import Buildings, Place, Screens

if TYPE_CHECKING:
    import pandas as pd

_PARTS = {"network": Network, "buildings": Buildings, "screens": Screens}
_FEATURE_TEXTS = ("osm_id", "kind", "name", "amenity", "shop")
_FEATURE_NUMBERS = ("lat", "lon", "x", "y", "area_m2")
_NETWORK_PLAIN = ("projection", "driving_side")


def pack_place(place: Place) -> tuple[dict[str, NDArray[Any]], dict[str, Any]]:
    """Lay a place into arrays of plain numbers and a heading of plain values."""
    columns: dict[str, NDArray[Any]] = {}
    for part, kind in _PARTS.items():
        thing = getattr(place, part)
        for field in fields(kind):
            if field.name in _NETWORK_PLAIN:
                continue
            value = getattr(thing, field.name)
            key = f"{part}.{field.name}"
            if isinstance(value, Labels):
                columns[f"{key}.codes"] = np.asarray(value.codes)
                columns[f"{key}.words"] = _bytes("\0".join(value.words))
            else:
                columns[key] = np.asarray(value)
    features = place.features
    for name in _FEATURE_NUMBERS:
        columns[f"features.{name}"] = features[name].to_numpy(dtype=np.float64)
    texts = {name: features[name].tolist() for name in _FEATURE_TEXTS}
    columns["features.texts"] = _bytes(json.dumps({**texts, "tags": features["tags"].tolist()}))
    plane = place.network.projection
    heading = {
        "centre": [plane.centre_lat, plane.centre_lon],
        "driving_side": place.network.driving_side,
        "sha256": place.sha256,
        "extent": list(place.extent),
        "notes": list(place.notes),
    }
    return columns, heading


def unpack_place(columns: Columns, heading: Mapping[str, Any], *, source: str) -> Place:
    """Make a place again from what :func:`pack_place` gave.

    Raises
    ------
    ValueError, KeyError, TypeError
        When the columns are not those of a place.
    """
    made: dict[str, Any] = {}
    for part, kind in _PARTS.items():
        values: dict[str, Any] = {}
        for field in fields(kind):
            key = f"{part}.{field.name}"
            if field.name in _NETWORK_PLAIN:
                continue
            if f"{key}.codes" in columns:
                words = columns[f"{key}.words"].tobytes().decode().split("\0")
                values[field.name] = Labels(columns[f"{key}.codes"], words)
            else:
                values[field.name] = columns[key]
        if part == "network":
            lat, lon = heading["centre"]
            values["projection"] = LocalProjection(centre_lat=lat, centre_lon=lon)
            values["driving_side"] = heading["driving_side"]
        made[part] = kind(**values)
    south, west, north, east = heading["extent"]
    return Place(
        **made,
        features=_features(columns),
        source=source,
        sha256=str(heading["sha256"]),
        extent=(south, west, north, east),
        notes=tuple(heading["notes"]),
    )


def _features(columns: Columns) -> pd.DataFrame:
    import pandas as pd

    table = json.loads(columns["features.texts"].tobytes())
    numbers = {name: np.array(columns[f"features.{name}"]) for name in _FEATURE_NUMBERS}
    return pd.DataFrame({**{n: table[n] for n in _FEATURE_TEXTS}, **numbers, "tags": table["tags"]})


def _bytes(text: str) -> NDArray[np.uint8]:
    return np.frombuffer(text.encode("utf-8", errors="replace"), dtype=np.uint8)

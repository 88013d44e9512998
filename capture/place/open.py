"""How does a roads file become a place: checked, read once, kept for the next time?"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

from capture.basis import DataError, Sheet, plain_text
from capture.place.build import build_network
from capture.place.place import Place
from capture.place.raw import Raw
from capture.place.shapes import lay_buildings, lay_features, lay_screens
from capture.place.values import VALUES

if TYPE_CHECKING:
    from capture.area import Area


def open_place(area: Area, *, values: Sheet = VALUES) -> Place:
    """Read an area's roads, buildings and features.

    Parameters
    ----------
    area : Area
        From :func:`capture.area.open_area`.
    values : Sheet
        Class speeds, heights, reaches.

    Returns
    -------
    Place

    Raises
    ------
    DataError
        When the file is missing, broken, too large, of another kind, or holds no drivable road.
    """
    layer = area.layers["roads"]
    raw = read_roads(area.roads)
    network, notes = build_network(
        raw, driving_side=area.driving_side, values=values, name=area.roads.name
    )
    plane = network.projection
    return Place(
        network=network,
        buildings=lay_buildings(raw.buildings, plane, values),
        screens=lay_screens(raw.screens, plane, values),
        features=lay_features(raw.features, plane),
        source=layer.source or f"roads file {area.roads.name}",
        sha256=hash_file(area.roads),
        extent=(
            float(raw.ref_lat.min()),
            float(raw.ref_lon.min()),
            float(raw.ref_lat.max()),
            float(raw.ref_lon.max()),
        ),
        notes=tuple(notes),
    )


def read_roads(file: Path) -> Raw:
    """Read any supported roads file; a broken one gets one sentence."""
    from capture.place.read_osm import read_osm

    try:
        return read_osm(file)
    except (RuntimeError, ValueError, OSError) as error:
        said = plain_text(str(error).splitlines()[0] if str(error) else "no reason given", most=120)
        raise DataError(
            f"{file.name}: the roads cannot be read ({said}); fetch the extract again"
        ) from None


def hash_file(file: Path) -> str:
    """Return the SHA-256 of a file as hexadecimal text."""
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()

"""Where does each row of a count file lie?

Positions come from the file's geometry, from latitude and longitude, or from easting and
northing in a grid that the heading or the user names. Rows are compared with the area's
extent, so that swapped or wrongly signed degrees are seen.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import DataError, InputError, plain_text
from capture.passing.roles import split_words, to_number

if TYPE_CHECKING:
    from capture.passing.guess import Columns
    from capture.passing.ledger import Ledger

FloatArray = NDArray[np.float64]
#: words in headings that name a grid (from the EPSG registry)
GRIDS: Final = {
    "gk25": "EPSG:3879", "gk24": "EPSG:3878", "gk26": "EPSG:3880", "tm35fin": "EPSG:3067",
    "osgb": "EPSG:27700", "bng": "EPSG:27700", "rd": "EPSG:28992", "lv95": "EPSG:2056",
    "lambert93": "EPSG:2154", "sweref99": "EPSG:3006", "itm": "EPSG:2157",
    "webmercator": "EPSG:3857",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Positions:
    """Where the rows of a table lie; NaN where not known."""

    #: degrees north, (rows,)
    lat: FloatArray
    #: degrees east, (rows,)
    lon: FloatArray
    #: (k, 2) arrays of lon, lat for rows that are lines, else None, (rows,)
    lines: list[FloatArray | None]
    #: why a row has no position, "" when it has one, (rows,)
    why: list[str]


def find_positions(
    table: pd.DataFrame,
    columns: Columns,
    ledger: Ledger,
    *,
    name: str,
    crs: str | None = None,
    extent: tuple[float, float, float, float] | None = None,
) -> Positions:
    """Find where each row lies.

    Parameters
    ----------
    table : DataFrame or GeoDataFrame
        As read; geometry in EPSG:4326.
    columns : Columns
        Names the position columns.
    ledger : Ledger
        Takes down what was changed or left out.
    name : str
        Of the file, for messages.
    crs : str, optional
        Of easting and northing, such as ``"EPSG:3879"``.
    extent : tuple of float, optional
        South, west, north, east of the area.

    Raises
    ------
    InputError
        When easting and northing are given in a grid that nothing names.
    DataError
        When there is no position at all, or none lies in the area.
    """
    shapes = getattr(table, "geometry", None) if hasattr(table, "crs") else None
    if shapes is not None and shapes.notna().any():
        found = _from_geometry(table)
    elif {"lat", "lon"} <= set(columns.roles):
        lat = to_number(table[columns.roles["lat"]]).to_numpy(dtype=np.float64)
        lon = to_number(table[columns.roles["lon"]]).to_numpy(dtype=np.float64)
        found = Positions(lat=lat, lon=lon, lines=[None] * len(table), why=[])
    elif {"x", "y"} <= set(columns.roles):
        found = _from_grid(table, columns, ledger, name=name, crs=crs)
    else:
        half = [r for r in ("lat", "lon", "x", "y") if r in columns.roles]
        more = f"only {half[0]} was found" if half else "none was found"
        raise DataError(
            f"{name}: rows need a position, geometry or a latitude and a longitude column, "
            f"{more}; name the columns in the answers"
        )
    return _fit_extent(found, table["row"], ledger, name=name, extent=extent)


def list_unplaced(table: pd.DataFrame, columns: Columns) -> list[str]:
    """List the stations of a file whose place the file leaves open.

    Parameters
    ----------
    table : DataFrame or GeoDataFrame
        As read.
    columns : Columns
        What its columns hold.

    Returns
    -------
    list of str
        Empty when geometry, degrees or a grid tell the places; ``[""]`` when they do not and
        no column names stations either, so that the file is one station.

    Examples
    --------
    >>> from capture.passing.guess import guess_columns
    >>> table = pd.DataFrame({"Station": ["A", "B", "A"], "Hour": [0, 0, 1], "Volume": [5, 6, 7]})
    >>> list_unplaced(table, guess_columns(table, hourly=True))
    ['A', 'B']
    """
    shapes = getattr(table, "geometry", None) if hasattr(table, "crs") else None
    told = shapes is not None and bool(shapes.notna().any())
    if told or {"lat", "lon"} <= set(columns.roles) or {"x", "y"} <= set(columns.roles):
        return []
    if "station" not in columns.roles:
        return [""]
    return list(dict.fromkeys(_station_names(table[columns.roles["station"]])))


def _station_names(column: pd.Series) -> list[str]:
    """Name stations as they are named in every table of counts."""
    told = column.astype("string").fillna("")
    plain = {text: plain_text(text, most=120) for text in told.unique()}
    return [plain[text] for text in told]


def add_places(
    table: pd.DataFrame, columns: Columns, places: Any, ledger: Ledger, *, name: str
) -> tuple[pd.DataFrame, Columns]:
    """Say where the stations of a file stand that does not say so itself.

    Parameters
    ----------
    table : DataFrame
        As read.
    columns : Columns
        What its columns hold.
    places : mapping or None
        Station -> ``lat`` and ``lon`` in degrees; the station is ``""`` in a file of one.
    ledger : Ledger
        Takes down what was said.
    name : str
        Of the file, for messages.

    Returns
    -------
    tuple of (DataFrame, Columns)
        With columns of degrees; rows of stations without a place stay without one.

    Raises
    ------
    InputError
        When a place is not on Earth.
    """
    lacking = list_unplaced(table, columns) if places else []
    if not lacking:
        return table, columns
    spots = _read_places(places, name)
    stations = (
        _station_names(table[columns.roles["station"]])
        if "station" in columns.roles
        else [""] * len(table)
    )
    told = table.copy()
    for k, part in enumerate(("lat", "lon")):
        told[f"{part} said"] = [spots.get(one, (math.nan, math.nan))[k] for one in stations]
    for one in lacking:
        if one in spots:
            where = f"{spots[one][0]:.5f}, {spots[one][1]:.5f}"
            rows = [row for row, own in zip(table["row"], stations, strict=True) if own == one]
            who = f"station {one}" if one else "the file"
            ledger.note("assumed", rows, f"{who} put at {where}, as you said")
    return told, replace(columns, roles={**columns.roles, "lat": "lat said", "lon": "lon said"})


def _read_places(places: Any, name: str) -> dict[str, tuple[float, float]]:
    spots: dict[str, tuple[float, float]] = {}
    for station, spot in places.items() if isinstance(places, Mapping) else ():
        held = spot if isinstance(spot, Mapping) else {}
        lat, lon = (_degrees(held.get(part)) for part in ("lat", "lon"))
        if not (abs(lat) <= 90 and abs(lon) <= 180):
            raise InputError(
                f"{name}: the place of station {plain_text(station, most=60)!r} must be lat and "
                "lon in degrees; place it again"
            )
        spots[str(station)] = (lat, lon)
    return spots


def _degrees(value: Any) -> float:
    known = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if known else math.nan


def _from_geometry(table: Any) -> Positions:
    shapes = table.geometry.to_numpy()
    lines: list[FloatArray | None] = []
    lat, lon = np.full(len(shapes), np.nan), np.full(len(shapes), np.nan)
    for k, whole in enumerate(shapes):
        point, line = _middle(whole)
        lines.append(line)
        if point is not None:
            lon[k], lat[k] = point
    return Positions(lat=lat, lon=lon, lines=lines, why=[])


def _middle(shape: Any) -> tuple[tuple[float, float] | None, FloatArray | None]:
    """Return the middle of a point or line as lon, lat, and the line's own coordinates."""
    import shapely

    if shape is None or shape.is_empty:
        return None, None
    kind = shape.geom_type
    if kind in ("LineString", "MultiLineString"):
        line = max(shape.geoms, key=lambda p: p.length) if kind == "MultiLineString" else shape
        middle = line.interpolate(0.5, normalized=True)
        return (middle.x, middle.y), shapely.get_coordinates(line)
    point = shape.geoms[0] if kind == "MultiPoint" else shape
    return (point.x, point.y), None


def _from_grid(
    table: pd.DataFrame, columns: Columns, ledger: Ledger, *, name: str, crs: str | None
) -> Positions:
    from pyproj import CRS, Transformer
    from pyproj.exceptions import CRSError

    hx, hy = columns.roles["x"], columns.roles["y"]
    grid = crs or _named_grid([hx, hy, *map(str, table.columns)])
    if grid is None:
        raise InputError(
            f"{name}: columns {hx} and {hy} are metres or feet in a grid that the file does not "
            "name; give crs, such as 'EPSG:3879'"
        )
    try:
        plane = CRS.from_user_input(grid)
    except CRSError:
        raise InputError(
            f"{name}: crs {plain_text(grid, most=60)!r} is not a coordinate system; give one such "
            "as 'EPSG:3879'"
        ) from None
    x = to_number(table[hx]).to_numpy(dtype=np.float64)
    y = to_number(table[hy]).to_numpy(dtype=np.float64)
    lon, lat = Transformer.from_crs(plane, "EPSG:4326", always_xy=True).transform(x, y)
    bad = ~(np.isfinite(lon) & np.isfinite(lat))
    ledger.assume(f"{hx} and {hy} taken as {plane.name} ({grid})")
    return Positions(
        lat=np.where(bad, np.nan, lat),
        lon=np.where(bad, np.nan, lon),
        lines=[None] * len(table),
        why=[],
    )


def _named_grid(headings: list[str]) -> str | None:
    for heading in headings:
        words = split_words(heading)
        for word in words:
            if word in GRIDS:
                return GRIDS[word]
        found = re.search(r"epsg\D?(\d{4,6})", heading.lower())
        if found:
            return f"EPSG:{found[1]}"
        zone = re.search(r"utm[\s_]*(\d{1,2})\s*([ns]?)", heading.lower())
        if zone and 1 <= int(zone[1]) <= 60:
            return f"EPSG:{327 if zone[2] == 's' else 326}{int(zone[1]):02d}"
    return None


def _inside(lat: FloatArray, lon: FloatArray, extent: tuple[float, float, float, float]) -> Any:
    south, west, north, east = extent
    pad_y, pad_x = 0.05 * (north - south) + 1e-4, 0.05 * (east - west) + 1e-4
    return (
        (lat >= south - pad_y)
        & (lat <= north + pad_y)
        & (lon >= west - pad_x)
        & (lon <= east + pad_x)
    )


def _fit_extent(
    found: Positions,
    rows: pd.Series,
    ledger: Ledger,
    *,
    name: str,
    extent: tuple[float, float, float, float] | None,
) -> Positions:
    lat, lon = found.lat.copy(), found.lon.copy()
    off = (np.abs(lat) > 90) | (np.abs(lon) > 180)
    if extent is not None and not _inside(lat, lon, extent).any():
        tries = (
            ("latitude and longitude were swapped, put right", lon, lat),
            ("longitudes had the wrong sign, put right", lat, -lon),
            ("latitudes had the wrong sign, put right", -lat, lon),
        )
        for said, other_lat, other_lon in tries:
            if _inside(other_lat, other_lon, extent).mean() > 0.5:
                ledger.note("changed", rows, said)
                lat, lon = other_lat.copy(), other_lon.copy()
                off = (np.abs(lat) > 90) | (np.abs(lon) > 180)
                break
        else:
            where = ", ".join(f"{v:.3f}" for v in (np.nanmedian(lat), np.nanmedian(lon)))
            raise DataError(
                f"{name}: no count lies in the area (south {extent[0]:.3f}, west {extent[1]:.3f}, "
                f"north {extent[2]:.3f}, east {extent[3]:.3f}), they lie near {where}; check the "
                "coordinate system or the area"
            )
    why = np.where(np.isfinite(lat) & np.isfinite(lon), "", "no position given").astype(object)
    why[off] = "latitude or longitude is not on Earth"
    if extent is not None:
        out = ~_inside(lat, lon, extent) & (why == "")
        why[out] = "lies outside the area"
    bad = why != ""
    return Positions(
        lat=np.where(bad, np.nan, lat),
        lon=np.where(bad, np.nan, lon),
        lines=[None if b else line for b, line in zip(bad, found.lines, strict=True)],
        why=[str(w) for w in why],
    )

"""How does a file of parcels or points become sites, and what of its rows that will not do?

A faulty row refuses the whole file, with every fault named, unless the user said that such
rows are to be left out; then each is told of with its reason and the others are used.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from capture.area import Area, load_table
from capture.area.tables import find_column
from capture.basis import DataError, InputError, Sheet, plain_text, raise_gathered
from capture.place.network import Floats
from capture.place.place import Place
from capture.place.sites import Sites, check_reach, explain_outside, find_unreached, make_points
from capture.place.values import VALUES

if TYPE_CHECKING:
    import pandas as pd

_ID_NAMES: Final = (
    "id", "parcel_id", "parcel", "pin", "apn", "site", "site_id", "parcel_no", "parcel_number",
    "parcelid", "parcelno",
)  # fmt: skip
_NAME_NAMES: Final = (
    "name", "title", "label", "address", "site_address", "situs_address", "situs",
    "property_address", "location_address",
)  # fmt: skip
#: names of the column in which an owner's price may stand
_ASKING_NAMES: Final = (
    "asking_price_usd", "asking_usd", "list_price_usd", "asking_price", "asking", "list_price",
    "total_asking_price",
)  # fmt: skip
MOST_SITES: Final = 1_000_000
#: option of the layer ``parcels`` that says what becomes of faulty rows
BAD_ROWS: Final = "bad_rows"
LEAVE_OUT: Final = "leave out"
_REFUSE: Final = "refuse"

#: place in the table -> what is amiss
Faults = dict[int, str]


def load_parcels(
    area: Area, place: Place, path: Path | None = None, *, values: Sheet = VALUES
) -> Sites:
    """Read many sites: the area's parcels, or a file of points or polygons.

    Parameters
    ----------
    area : Area
        Whose parcel layer is read when no path is given. Its setting ``bad_rows = "leave out"``
        leaves faulty rows out, see :func:`sift_parcels`.
    place : Place
        Roads read from the area.
    path : Path, optional
        CSV with latitude and longitude, GeoJSON, GeoPackage or shapefile.
    values : Sheet
        How far a road may be.

    Returns
    -------
    Sites

    Raises
    ------
    DataError
        One error that names every faulty row.
    """
    if path is None and leaves_out(area):
        return sift_parcels(area, place, values=values)
    sites = read_parcels(area, place, path)
    check_reach(place, sites, values)
    return sites


def find_asking(table: pd.DataFrame) -> str:
    """Find the column in which an owner's price stands, "" when there is none.

    Examples
    --------
    >>> import pandas as pd
    >>> find_asking(pd.DataFrame(columns=["id", "Asking Price ($)"]))
    'Asking Price ($)'
    """
    found = find_column(table, _ASKING_NAMES)
    return "" if found is None else str(found)


def read_prices(told: Any) -> Floats:
    """Read prices as people write them, USD, (S,); NaN where there is none.

    Examples
    --------
    >>> read_prices(["$929,000", "on request", None, 250000])
    array([929000.,     nan,     nan, 250000.])
    """
    import pandas as pd

    texts = pd.Series(told, dtype="object").astype("string")
    plain = texts.str.replace(r"[$,\s]", "", regex=True)
    read = pd.to_numeric(plain, errors="coerce").to_numpy("float64", na_value=np.nan)
    return np.array(read)


def leaves_out(area: Area) -> bool:
    """Whether an area says that faulty rows of its parcels are to be left out.

    Raises
    ------
    InputError
        When it says something else than it may.
    """
    layer = area.layers.get("parcels")
    said = _REFUSE if layer is None else layer.options.get(BAD_ROWS, _REFUSE)
    if said not in (_REFUSE, LEAVE_OUT):
        raise InputError(
            f"area.toml: {BAD_ROWS} of the parcels must be {_REFUSE!r} or {LEAVE_OUT!r}, got "
            f"{plain_text(said, most=40)!r}; change it"
        )
    return said == LEAVE_OUT


def sift_parcels(
    area: Area, place: Place, path: Path | None = None, *, values: Sheet = VALUES
) -> Sites:
    """Read the rows of a file of parcels that will do, and tell of each that will not.

    Parameters
    ----------
    area, place, path, values
        As for :func:`load_parcels`.

    Returns
    -------
    Sites
        ``left_out`` holds a sentence for each row that is not among them.

    Raises
    ------
    DataError
        When no row will do, or the file is no table of places.
    """
    table, source = _read_table(area, path)
    total = len(table)
    told: list[str] = []
    for find in (_find_misshapen, _find_outside, _find_repeated):
        table = _drop(table, find(place, table), told)
        if len(table) == 0:
            raise_gathered(told, where=source)
    sites = _make_sites(place, table, source)
    unreached = find_unreached(place, sites, values)
    rows = table["row"].to_numpy()
    told += [f"row {rows[k]}, {sites.names[k]}: {fault}" for k, fault in unreached.items()]
    if len(unreached) == len(sites):
        raise_gathered(told, where=source)
    kept = sites.take([k for k in range(len(sites)) if k not in unreached])
    if told and len(kept) + len(told) != total:
        raise DataError(f"{source}: rows were lost in reading; report this file")
    return replace(kept, left_out=tuple(told))


def read_parcels(area: Area, place: Place, path: Path | None) -> Sites:
    """Read sites without asking whether a road is near; refuses as :func:`load_parcels`."""
    if path is None and leaves_out(area):
        return sift_parcels(area, place)
    table, source = _read_table(area, path)
    misshapen = _find_misshapen(place, table)
    raise_gathered(_say(table, misshapen), where=source)
    return _make_sites(place, table, source)


def _read_table(area: Area, path: Path | None) -> tuple[Any, str]:
    if path is not None:
        table, source = load_table(path, max_rows=MOST_SITES), Path(path).name
    else:
        table = area.read("parcels")
        if table is None:
            raise DataError(
                f"{area.name}: has no parcels layer; add one to area.toml or name a file"
            )
        layer = area.layers["parcels"]
        source = layer.path.name if layer.path else "parcels"
    import geopandas

    if not isinstance(table, geopandas.GeoDataFrame):
        raise DataError(
            f"{source}: must have columns lat and lon (or latitude and longitude), or shapes; "
            f"found {plain_text(', '.join(map(str, table.columns)), most=120)}; rename or add them"
        )
    if len(table) == 0:
        raise DataError(f"{source}: holds no sites; add rows")
    return table, source


def check_parcels(area: Area) -> None:
    """Refuse an area's parcels where they are no table of places; where there are none, nothing.

    Raises
    ------
    DataError
        When no place can be read from the layer; single faulty rows are not looked for.
    """
    if "parcels" in area.layers:
        _read_table(area, None)


def _say(table: pd.DataFrame, faults: Faults) -> list[str]:
    rows = table["row"].to_numpy()
    return [f"row {rows[k]}: {fault}" for k, fault in sorted(faults.items())]


def _drop(table: Any, faults: Faults, told: list[str]) -> Any:
    """Leave faulty rows out and tell of them; returns a new table."""
    told += _say(table, faults)
    keep = np.ones(len(table), dtype=bool)
    keep[list(faults)] = False
    return table[keep]


def _find_misshapen(_: Place, table: Any) -> Faults:
    import shapely

    shapes = table.geometry.to_numpy()
    empty = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    odd = ~empty & ~np.isin(shapely.get_type_id(shapes), (0, 3, 6))
    faults = dict.fromkeys(
        np.flatnonzero(empty).tolist(), "has no usable place; mend its lat and lon"
    )
    said = "must be a point or polygon; redraw it"
    return {**faults, **dict.fromkeys(np.flatnonzero(odd).tolist(), said)}


def _find_outside(place: Place, table: Any) -> Faults:
    import shapely

    points = _points(table.geometry.to_numpy())
    lat, lon = shapely.get_y(points), shapely.get_x(points)
    south, west, north, east = place.extent
    off = ~((lat >= south) & (lat <= north) & (lon >= west) & (lon <= east))
    at = np.flatnonzero(off).tolist()
    return {k: explain_outside(place, float(lat[k]), float(lon[k])) for k in at}


def _find_repeated(_: Place, table: Any) -> Faults:
    rows = table["row"].to_numpy()
    first: dict[str, int] = {}
    faults: Faults = {}
    for k, name in enumerate(_name_rows(table)):
        if name in first:
            faults[k] = f"id {name!r} stands in row {rows[first[name]]} already; make ids unique"
        else:
            first[name] = k
    return faults


def _name_rows(table: Any) -> list[str]:
    return _column(table, _ID_NAMES, [f"row {row}" for row in table["row"].to_numpy()])


def _points(shapes: Any) -> Any:
    import shapely

    kinds = shapely.get_type_id(shapes)
    return np.where(kinds == 0, shapes, shapely.point_on_surface(shapely.make_valid(shapes)))


def _make_sites(place: Place, table: Any, source: str) -> Sites:
    import shapely

    shapes = table.geometry.to_numpy()
    points = _points(shapes)
    ids = _name_rows(table)
    sites = make_points(
        place, shapely.get_y(points), shapely.get_x(points), tuple(ids),
        tuple(_column(table, _NAME_NAMES, ids)),
        table.drop(columns=table.geometry.name).reset_index(drop=True), source,
        rows=table["row"].to_numpy(),
    )  # fmt: skip
    kinds = shapely.get_type_id(shapes)
    polygons = [_to_metres(place, shape) if kind else None
                for shape, kind in zip(shapes, kinds, strict=True)]  # fmt: skip
    return replace(sites, polygons=tuple(polygons))


def _column(table: Any, names: tuple[str, ...], missing: list[str]) -> list[str]:
    """Return a column of words under one of its names; blanks take what stands in for them."""
    found = find_column(table, names)
    if found is None:
        return missing
    told = table[found]
    words = ["" if blank else plain_text(value, most=80)
             for value, blank in zip(told, told.isna(), strict=True)]  # fmt: skip
    return [word or other for word, other in zip(words, missing, strict=True)]


def _to_metres(place: Place, shape: Any) -> Any:
    """Project a polygon; of several parts the largest is the lot."""
    import shapely

    plane = place.network.projection
    whole = shapely.make_valid(shape)
    parts = [part for part in shapely.get_parts(whole) if part.geom_type == "Polygon"]
    if not parts:
        return None
    largest = max(parts, key=lambda part: float(part.area))

    def project(degrees: Floats) -> Floats:
        return np.column_stack(plane.to_xy(degrees[:, 1], degrees[:, 0]))

    return shapely.transform(largest, project)

"""How are counts fetched from the feature services on which road authorities publish them?

Speaks the public REST form of such layers: describe, count, then pages by offset until the
server says that nothing was left out, or by object ids where it cannot page. Everything
that comes back is untrusted: sizes are bounded, geometry checked, codes and dates decoded.
Nothing is sent but the query.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from capture.basis import DataError, InputError, plain_text
from capture.passing.client import Client, host_of
from capture.passing.roles import ROLES, name_score, split_words
from capture.passing.service_layer import ServiceLayer, as_list, describe_layer

if TYPE_CHECKING:
    import geopandas as gpd

#: told how many rows are there so far and how many the service said, None when it did not
Heard = Callable[[int, int | None], None]
MOST_PAGES: Final = 5_000
#: signs that are kept of a text in a row
MOST_TEXT: Final = 1_000
#: rows between two calls of who listens
HEARD_EVERY: Final = 50


def fetch_counts(
    url: str,
    *,
    extent: tuple[float, float, float, float] | None = None,
    where: str = "1=1",
    client: Client | None = None,
    heard: Heard | None = None,
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Fetch all rows of a layer that lie in an area.

    Parameters
    ----------
    url : str
        Of the layer.
    extent : tuple of float, optional
        South, west, north, east, degrees.
    where : str
        Condition in the service's own language.
    client : Client, optional
        Waits, tries and bounds.
    heard : callable, optional
        Called with rows so far and rows in all (None when the service does not say) as they
        come in; what it raises ends the fetching.

    Returns
    -------
    tuple of (GeoDataFrame in EPSG:4326 with ``row``, list of str)
        The table and remarks on what was decoded or asked for again.

    Raises
    ------
    InputError, DataError
        As :func:`describe_layer`; also when there are no rows, too many, or fewer than said.
    """
    client = client or Client()
    layer = describe_layer(url, client=client)
    base = {"where": where, "outFields": "*", "outSR": "4326", "returnGeometry": "true"}
    base |= _envelope(extent)
    counted = client.ask(f"{layer.url}/query", {**base, "returnCountOnly": "true", "f": "json"})
    total = counted.get("count")
    if isinstance(total, int) and total > client.most_rows:
        raise DataError(
            f"{host_of(url)}: {plain_text(total, most=20)} rows lie in the area, must be up to "
            f"{client.most_rows}; make the area smaller"
        )
    pages = _by_offset(layer, base, client) if layer.pages else _by_ids(layer, base, client)
    features: dict[Any, dict[str, Any]] = {}
    for k, feature in enumerate(_bounded(pages, client.most_rows, url)):
        if heard is not None and k % HEARD_EVERY == 0:
            heard(k, total if isinstance(total, int) else None)
        features.setdefault(_row_id(layer, feature, k), feature)
    if not features:
        raise DataError(f"{host_of(url)}: the layer has no rows in the area; check the extent")
    remarks = [f"{len(features)} rows fetched from layer {layer.name!r}"]
    if isinstance(total, int) and len(features) != total:
        remarks.append(f"the service said {total} rows and gave {len(features)}")
    return _to_table(layer, list(features.values()), remarks), remarks


def _row_id(layer: ServiceLayer, feature: Mapping[str, Any], k: int) -> Any:
    known = feature["properties"].get(layer.id_field)
    return known if isinstance(known, int | str) else ("no id", k)


def _envelope(extent: tuple[float, float, float, float] | None) -> dict[str, str]:
    if extent is None:
        return {}
    south, west, north, east = extent
    return {
        "geometry": f"{west},{south},{east},{north}",
        "geometryType": "esriGeometryEnvelope",
        "inSR": "4326",
        "spatialRel": "esriSpatialRelIntersects",
    }


def _bounded(features: Iterator[dict[str, Any]], most: int, url: str) -> Iterator[dict[str, Any]]:
    for k, feature in enumerate(features):
        if k >= most:
            raise DataError(f"{host_of(url)}: gave more than {most} rows; make the area smaller")
        yield feature


def _by_offset(
    layer: ServiceLayer, base: Mapping[str, str], client: Client
) -> Iterator[dict[str, Any]]:
    """Ask page after page; a page that is not full ends it only if nothing was left out."""
    offset = 0
    first: Any = None
    for _ in range(MOST_PAGES):
        query = {
            **base,
            "f": "geojson" if layer.geojson else "json",
            "resultOffset": str(offset),
            "resultRecordCount": str(layer.page),
            "orderByFields": layer.id_field,
        }
        held = client.ask(f"{layer.url}/query", query)
        got = list(_features(held))
        if got and got[0] == first:
            raise DataError(
                f"{host_of(layer.url)}: the service gives the same rows for every page; ask its "
                "publisher for a file"
            )
        first = got[0] if got else None
        yield from got
        offset += len(got)
        if not got or not _was_cut(held, got, layer.page):
            return
    raise DataError(f"{host_of(layer.url)}: more than {MOST_PAGES} pages; make the area smaller")


def _was_cut(held: Mapping[str, Any], got: list[dict[str, Any]], page: int) -> bool:
    more = held.get("properties")
    said = held.get("exceededTransferLimit")
    if said is None and isinstance(more, dict):
        said = more.get("exceededTransferLimit")
    return bool(said) if said is not None else len(got) >= page


def _by_ids(
    layer: ServiceLayer, base: Mapping[str, str], client: Client
) -> Iterator[dict[str, Any]]:
    """Ask for the object ids and then for runs of them, where a server cannot page."""
    listed = client.ask(f"{layer.url}/query", {**base, "returnIdsOnly": "true", "f": "json"})
    ids = listed.get("objectIds") or []
    if not isinstance(ids, list) or not all(isinstance(one, int) for one in ids):
        raise DataError(f"{host_of(layer.url)}: the list of row numbers is not one; try later")
    step = min(layer.page, 100)
    for start in range(0, min(len(ids), client.most_rows + 1), step):
        part = sorted(ids)[start : start + step]
        query = {
            **base,
            "f": "geojson" if layer.geojson else "json",
            "objectIds": ",".join(map(str, part)),
        }
        yield from _features(client.ask(f"{layer.url}/query", query))


def _features(held: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Bring GeoJSON and the service's own form to one form; rows without a place stay."""
    for one in as_list(held.get("features")):
        if not isinstance(one, dict):
            continue
        properties = one.get("properties", one.get("attributes"))
        properties = properties if isinstance(properties, dict) else {}
        yield {
            "properties": {plain_text(k, most=120): _plain(v) for k, v in properties.items()},
            "geometry": _geometry(one.get("geometry")),
        }


def _plain(value: Any) -> Any:
    """Return a value of a row as a number or a bounded text; nothing for lists and tables."""
    if isinstance(value, str):
        return plain_text(value, most=MOST_TEXT)
    return value if isinstance(value, int | float) else None


def _geometry(held: Any) -> Any:
    """Return a shapely geometry, or None where there is no usable one."""
    import shapely
    from shapely.geometry import shape

    if not isinstance(held, dict):
        return None
    try:
        if "type" in held:
            made = shape(held)
        elif "x" in held:
            made = shapely.Point(float(held["x"]), float(held["y"]))
        elif "paths" in held:
            made = shapely.MultiLineString([path for path in held["paths"] if len(path) > 1])
        elif "points" in held:
            made = shapely.MultiPoint(held["points"])
        else:
            return None
    except (TypeError, ValueError, KeyError, AttributeError, RecursionError, OverflowError,
            shapely.errors.ShapelyError):  # fmt: skip
        return None
    usable = not made.is_empty and all(math.isfinite(v) for v in made.bounds)
    return made if usable else None


def _to_table(
    layer: ServiceLayer, features: list[dict[str, Any]], remarks: list[str]
) -> gpd.GeoDataFrame:
    import geopandas as gpd
    import numpy as np
    import pandas as pd

    columns = {name: [f["properties"].get(name) for f in features] for name in layer.fields}
    table = pd.DataFrame(columns)
    for name, (_, kind, codes) in layer.fields.items():
        if codes:
            table[name] = [codes.get(v, v) for v in table[name]]
            remarks.append(f"codes of field {name} written out")
        if kind == "esriFieldTypeDate":
            moments = pd.to_numeric(table[name], errors="coerce")
            table[name] = pd.to_datetime(moments, unit="ms", errors="coerce").dt.strftime(
                "%Y-%m-%d"
            )
    table = table.rename(columns=_choose_headings(layer, remarks))
    geometry = np.array([f["geometry"] for f in features], dtype=object)
    made = gpd.GeoDataFrame(table, geometry=geometry, crs="EPSG:4326")
    made["row"] = np.arange(1, len(made) + 1)
    return made


def _choose_headings(layer: ServiceLayer, remarks: list[str]) -> dict[str, str]:
    """Call a field by its alias where only the alias says what it is."""
    chosen: dict[str, str] = {}
    used = set(layer.fields)
    for name, (alias, _, _) in layer.fields.items():
        by_name = max(name_score(role, split_words(name)) for role in ROLES)
        by_alias = max(name_score(role, split_words(alias)) for role in ROLES)
        if by_alias > by_name and alias not in used:
            chosen[name] = alias
            used.add(alias)
            remarks.append(f"field {name} goes by its alias {plain_text(alias, most=60)!r}")
    return chosen


def save_counts(table: gpd.GeoDataFrame, path: Path) -> Path:
    """Save fetched rows as GeoJSON, so that an area needs no network afterwards.

    Raises
    ------
    InputError
        When the path does not end in ``.geojson``.
    """
    if path.suffix.lower() != ".geojson":
        raise InputError(f"{path.name}: fetched counts are saved as .geojson; rename it")
    path.parent.mkdir(parents=True, exist_ok=True)
    spare = path.with_suffix(".part")
    spare.write_text(table.drop(columns="row").to_json(drop_id=True), encoding="utf-8")
    spare.replace(path)
    return path

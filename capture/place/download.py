"""How are roads fetched when the area names a place instead of a file?

Through OSMnx from a server that speaks Overpass, once; the answer is kept as files in the
area's folder or the cache folder and read from there ever after, network or not. Such roads
carry no turn restrictions. OSMnx is imported only here. Its settings are one for the whole
program, so downloads take turns.
"""

from __future__ import annotations

import hashlib
import itertools
import json
import urllib.parse
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from threading import Lock
from typing import Any, Final

import numpy as np

from capture.basis import CaptureError, DataError, InputError, plain_text
from capture.place.answers import Ear, Say, take_turn
from capture.place.cache import cache_folder
from capture.place.layers import is_building, is_feature, is_screen
from capture.place.raw import WAY_TAGS, Raw, Shapes
from capture.place.read_graphml import read_graphml

#: largest side of what is downloaded, degrees
MOST_DEGREES: Final = 1.0
#: names under which an area's folder keeps what was downloaded for it
ROADS_FILE: Final = "roads.downloaded.graphml"
SHAPES_FILE: Final = "shapes.downloaded.json"
_TIMEOUT_S: Final = 120
#: wait for a sign that a server is there
_KNOCK_S: Final = 15
_TURN: Final = Lock()
_NOTE: Final = "downloaded roads hold no turn restrictions"
Box = tuple[float, float, float, float]
_TAGS: Final[dict[str, bool | str | list[str]]] = {
    "building": True,
    "amenity": True,
    "shop": True,
    "leisure": True,
    "tourism": True,
    "natural": ["tree_row", "wood"],
    "landuse": ["forest"],
    "barrier": ["hedge", "wall", "retaining_wall", "city_wall"],
}


def fetch_roads(
    options: Mapping[str, Any], *, folder: Path | None = None, say: Say | None = None
) -> tuple[Path, Path]:
    """Fetch a place's roads and shapes, or find them where an earlier call left them.

    Parameters
    ----------
    options : mapping
        ``place`` (a name to look up) or ``bbox`` ([south, west, north, east], degrees);
        optionally ``server`` and ``geocoder`` (addresses of services to use).
    folder : Path, optional
        An area's folder, looked in first: what lies there came with the area.
    say : callable, optional
        Told what is being done, also while an answer comes in; what it raises ends it.

    Returns
    -------
    tuple of Path
        GraphML of the roads, JSON of buildings and features.

    Raises
    ------
    InputError
        When neither a place nor a sensible bbox is given, or an address is none.
    DataError
        When there is no network and no earlier download, or the server refuses.
    """
    wanted = _wanted(options)
    if folder is not None and (folder / ROADS_FILE).is_file() and (folder / SHAPES_FILE).is_file():
        return folder / ROADS_FILE, folder / SHAPES_FILE
    key = hashlib.sha256(json.dumps(wanted, sort_keys=True).encode()).hexdigest()[:24]
    kept = cache_folder() / "downloads" / key
    roads, shapes = kept / "roads.graphml", kept / "shapes.json"
    if not (roads.is_file() and shapes.is_file()):
        kept.mkdir(parents=True, exist_ok=True)
        listener = say or _keep_quiet
        with take_turn(_TURN, listener):
            _download(wanted, roads, shapes, listener)
    return roads, shapes


def _keep_quiet(_: str) -> None:
    """Say nothing; the usual listener."""


def _wanted(options: Mapping[str, Any]) -> dict[str, Any]:
    unknown = set(options) - {"place", "bbox", "server", "geocoder", "notes"}
    if unknown:
        raise InputError(
            f"roads: there is no setting {plain_text(sorted(unknown)[0], most=40)!r} for a "
            "download; known are place, bbox, server, geocoder"
        )
    wanted = {name: value for name, value in options.items() if name != "notes"}
    for name in {"server", "geocoder"} & set(wanted):
        wanted[name] = check_address(wanted[name], name)
    if "bbox" in options:
        wanted["bbox"] = check_bbox(options["bbox"])
    elif not isinstance(options.get("place"), str) or not options["place"].strip():
        raise InputError(
            'roads: a download needs place = "Name, Country" or bbox = [south, west, north, east]; '
            "add one to area.toml"
        )
    return wanted


def check_address(address: Any, name: str) -> str:
    """Return a service's address, or refuse what is not of the web.

    Examples
    --------
    >>> check_address(" https://maps.example/api ", "server")
    'https://maps.example/api'
    """
    text = str(address).strip()
    try:
        parts = urllib.parse.urlsplit(text)
        good = parts.scheme in ("http", "https") and bool(parts.hostname)
    except ValueError:
        good = False
    if not good:
        raise InputError(
            f"roads: {name} must be an address that starts with http:// or https://, got "
            f"{plain_text(text, most=60)!r}; mend it"
        )
    return text


def check_bbox(value: Any) -> Box:
    """Check south, west, north, east in degrees.

    Raises
    ------
    InputError
        When it is not four numbers in that order, on Earth, at most a degree wide and high.
    """
    good = (
        isinstance(value, list | tuple)
        and len(value) == 4
        and all(isinstance(v, int | float) and not isinstance(v, bool) for v in value)
    )
    if not good:
        raise InputError(
            f"roads: bbox must be [south, west, north, east] in degrees, got "
            f"{plain_text(value, most=60)}; mend it"
        )
    south, west, north, east = (float(v) for v in value)
    if not (-90 <= south < north <= 90 and -180 <= west < east <= 180):
        raise InputError(
            f"roads: bbox must be [south, west, north, east] with south below north and west "
            f"below east, got {[south, west, north, east]}; reorder it"
        )
    if north - south > MOST_DEGREES or east - west > MOST_DEGREES:
        raise InputError(
            f"roads: a bbox must be at most {MOST_DEGREES:g} degree wide and high, got "
            f"{east - west:g} x {north - south:g}; take a smaller one or a file"
        )
    return south, west, north, east


@contextmanager
def _settings(ox: Any, wanted: Mapping[str, Any], ear: Ear) -> Iterator[None]:
    """Set up OSMnx for one download, then put its settings back."""
    settings = ox.settings
    kept = {
        name: getattr(settings, name)
        for name in (
            "overpass_url", "overpass_rate_limit", "nominatim_url", "requests_timeout",
            "use_cache", "useful_tags_way", "useful_tags_node", "requests_kwargs",
        )
    }  # fmt: skip
    try:
        settings.use_cache = False
        settings.requests_timeout = _TIMEOUT_S
        # asked before an answer is read, so that a stop need not wait for the whole of it
        settings.requests_kwargs = {"hooks": {"response": ear.hear}}
        settings.useful_tags_way = sorted({*settings.useful_tags_way, *WAY_TAGS, "access"})
        settings.useful_tags_node = sorted({*settings.useful_tags_node, "highway"})
        if "server" in wanted:
            settings.overpass_url = str(wanted["server"]).rstrip("/")
            settings.overpass_rate_limit = False
        if "geocoder" in wanted:
            settings.nominatim_url = str(wanted["geocoder"])
        yield
    finally:
        for name, value in kept.items():
            setattr(settings, name, value)


def _download(wanted: Mapping[str, Any], roads: Path, shapes: Path, say: Say) -> None:
    import osmnx as ox

    ear = Ear(say)
    with _settings(ox, wanted, ear):
        try:
            graph, found = _ask(ox, wanted, ear.say)
            ear.say("writing down what came")
            _write(ox, graph, found, roads, shapes)
        except Exception as error:  # whatever a server's answer makes of the libraries
            if error is ear.ended:
                raise
            raise DataError(_explain(error)) from None


def _ask(ox: Any, wanted: Mapping[str, Any], say: Say) -> tuple[Any, Any]:
    if "bbox" not in wanted:
        say("looking up the place")
    south, west, north, east = wanted.get("bbox") or _geocode(ox, wanted["place"])
    box = (west, south, east, north)
    say("asking for roads")
    _knock(ox)
    graph = ox.graph_from_bbox(
        box, network_type="drive_service", simplify=False, retain_all=True, truncate_by_edge=True
    )
    graph = ox.simplify_graph(graph, edge_attrs_differ=["osmid"])
    say("asking for buildings, shops and washes")
    return graph, _fetch_shapes(ox, box)


def _knock(ox: Any) -> None:
    """Ask whether the server is there; without it OSMnx would wait a minute for its turn."""
    import requests

    status = f"{ox.settings.overpass_url.rstrip('/')}/status"
    head = {"User-Agent": ox.settings.http_user_agent}
    requests.get(status, timeout=_KNOCK_S, headers=head, stream=True, allow_redirects=False).close()


def _geocode(ox: Any, place: str) -> Box:
    west, south, east, north = ox.geocode_to_gdf(place).total_bounds.tolist()
    return check_bbox([south, west, north, east])


def _explain(error: Exception) -> str:
    import requests

    if isinstance(error, CaptureError):
        return str(error)
    said = plain_text(error, most=100)
    if isinstance(error, requests.exceptions.RequestException | OSError):
        return (
            "roads: the map server cannot be reached; connect to the network, or download an "
            ".osm.pbf extract elsewhere and name it as the roads file"
        )
    return f"roads: the map server gave no usable answer ({said}); check the place or bbox"


def _fetch_shapes(ox: Any, box: Box) -> Any:
    try:
        return ox.features_from_bbox(box, _TAGS)
    except ox._errors.InsufficientResponseError:
        return None


def _write(ox: Any, graph: Any, found: Any, roads: Path, shapes: Path) -> None:
    entries = []
    for (kind, number), row in found.iterrows() if found is not None else ():
        tags = {
            str(k): str(v)[:255]
            for k, v in row.items()
            if k not in ("geometry", "nodes", "ways") and isinstance(v, str)
        }
        for lat, lon in _traces(row.geometry):
            entries.append([f"{kind[0]}{number}", tags, lat, lon])
    part = shapes.with_suffix(".part")
    part.write_text(json.dumps(entries), encoding="utf-8")
    unfinished = roads.with_suffix(".part")
    _make_printable(graph)
    ox.save_graphml(graph, unfinished)
    part.replace(shapes)
    unfinished.replace(roads)


def _make_printable(graph: Any) -> None:
    """Drop from a graph's words, in place, the signs that no XML may hold."""
    nodes = (held for _, held in graph.nodes(data=True))
    edges = (held for _, _, held in graph.edges(data=True))
    for held in itertools.chain(nodes, edges):
        for name, value in list(held.items()):
            if isinstance(value, str) and not value.isprintable():
                held[name] = plain_text(value, most=255)
            elif isinstance(value, list):
                held[name] = [plain_text(v, most=255) if isinstance(v, str) else v for v in value]


def _traces(shape: Any) -> Iterator[tuple[list[float], list[float]]]:
    import shapely

    for part in shapely.get_parts(shape):
        line = part.exterior if part.geom_type == "Polygon" else part
        points = shapely.get_coordinates(line)
        yield points[:, 1].tolist(), points[:, 0].tolist()


def read_download(roads: Path, shapes: Path) -> Raw:
    """Read what :func:`fetch_roads` left.

    Parameters
    ----------
    roads, shapes : Path
        The two files.
    """
    raw = read_graphml(roads)
    raw.notes = [_NOTE]
    shapes_found = [
        (osm_id, tags, np.array(lat), np.array(lon))
        for osm_id, tags, lat, lon in json.loads(shapes.read_text(encoding="utf-8"))
    ]
    raw.buildings = Shapes.of([s for s in shapes_found if is_building(s[1].get) and _is_ring(s)])
    raw.features = Shapes.of([s for s in shapes_found if is_feature(s[1].get)])
    raw.screens = Shapes.of([s for s in shapes_found if is_screen(s[1].get) and len(s[2]) > 1])
    return raw


def _is_ring(shape: tuple[str, Any, Any, Any]) -> bool:
    _, _, lat, lon = shape
    return len(lat) >= 4 and bool(lat[0] == lat[-1] and lon[0] == lon[-1])

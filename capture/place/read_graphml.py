"""How is a street graph that OSMnx saved as GraphML read, without OSMnx or networkx?

A streaming reader that refuses document types and entities. Directed edges that run against
each other over the same way become one two-way segment. Geometry is WKT in degrees, else a
straight line; node places may be in a projected system when the graph names it. Such a file
has no buildings, washes or turn restrictions, which the notes say.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final
from xml.parsers import expat

import numpy as np

from capture.basis import DataError, plain_text
from capture.place.network import Floats
from capture.place.raw import WAY_TAGS, Raw, TagRows
from capture.place.tags import HIGHWAYS, is_open_to_cars

_MOST_TEXT: Final = 2_000_000
_MOST_LIST: Final = 2_000
_LINE: Final = re.compile(r"^\s*LINESTRING\s*(?:Z\s*)?\((.*)\)\s*$", re.IGNORECASE)
_NO_OTHERS: Final = "the graph holds no buildings, washes or turn restrictions"


@dataclass(slots=True)
class _Parsed:
    """Elements as they come."""

    keys: dict[str, str] = field(default_factory=dict)
    graph: dict[str, str] = field(default_factory=dict)
    nodes: dict[str, dict[str, str]] = field(default_factory=dict)
    edges: list[tuple[str, str, dict[str, str]]] = field(default_factory=list)


class _Handler:
    """Listens to the XML parser."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self.parsed = _Parsed()
        self.owner: dict[str, str] = self.parsed.graph
        self.data_key: str | None = None
        self.text: list[str] = []
        self.size = 0

    def start(self, name: str, attributes: Mapping[str, str]) -> None:
        name = name.rpartition(":")[2]
        if name == "key":
            self.parsed.keys[attributes.get("id", "")] = attributes.get("attr.name", "")
        elif name == "graph":
            self.owner = self.parsed.graph
        elif name == "node":
            self.owner = self.parsed.nodes.setdefault(attributes.get("id", ""), {})
        elif name == "edge":
            self.owner = {}
            ends = attributes.get("source", ""), attributes.get("target", "")
            self.parsed.edges.append((*ends, self.owner))
        elif name == "data":
            self.data_key, self.text, self.size = attributes.get("key", ""), [], 0

    def characters(self, text: str) -> None:
        if self.data_key is not None:
            self.size += len(text)
            if self.size > _MOST_TEXT:
                raise DataError(f"{self.file.name}: one value is over 2 MB; save the graph again")
            self.text.append(text)

    def end(self, name: str) -> None:
        if name.rpartition(":")[2] == "data" and self.data_key is not None:
            key = self.parsed.keys.get(self.data_key, self.data_key)
            self.owner[key] = "".join(self.text)
            self.data_key = None
        elif name.rpartition(":")[2] in ("node", "edge"):
            self.owner = self.parsed.graph

    def refuse(self, *_: Any) -> None:
        raise DataError(
            f"{self.file.name}: declares a document type or entities, which a roads file never "
            "needs; fetch it from a source you trust"
        )


def _parse(file: Path) -> _Parsed:
    handler = _Handler(file)
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = handler.start
    parser.EndElementHandler = handler.end
    parser.CharacterDataHandler = handler.characters
    parser.StartDoctypeDeclHandler = handler.refuse
    parser.EntityDeclHandler = handler.refuse
    try:
        with file.open("rb") as opened:
            parser.ParseFile(opened)
    except expat.ExpatError as error:
        raise DataError(
            f"{file.name}: the XML breaks off or is damaged in line {error.lineno}; save it again"
        ) from None
    return handler.parsed


def read_graphml(file: Path) -> Raw:
    """Read a street graph that OSMnx saved.

    Parameters
    ----------
    file : Path
        GraphML, simplified or not, projected or in degrees.

    Returns
    -------
    Raw

    Raises
    ------
    DataError
        When it is broken, has no places of nodes, or no edges.
    """
    parsed = _parse(file)
    if not parsed.edges:
        raise DataError(f"{file.name}: the graph has no edges; save the street graph again")
    places, to_degrees = _places(file, parsed)
    maker = _Maker(file, places, to_degrees)
    for source, target, data in parsed.edges:
        maker.take(source, target, data)
    return maker.finish(parsed)


def _places(file: Path, parsed: _Parsed) -> tuple[dict[str, tuple[float, float]], Any]:
    """Latitude and longitude of each node, and how to turn geometry into degrees."""
    crs = parsed.graph.get("crs", "epsg:4326")
    to_degrees = None
    if crs.strip().lower() != "epsg:4326":
        from pyproj import Transformer
        from pyproj.exceptions import CRSError

        try:
            to_degrees = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
        except CRSError:
            raise DataError(
                f"{file.name}: coordinate system {plain_text(crs, most=60)!r} is not known; "
                "project the graph to EPSG:4326"
            ) from None
    places = {}
    for name, data in parsed.nodes.items():
        try:
            x, y = float(data["x"]), float(data["y"])
        except KeyError:
            raise DataError(
                f"{file.name}: node {plain_text(name, most=30)} has no coordinates x and y; save "
                "the graph with OSMnx"
            ) from None
        except ValueError:
            raise DataError(
                f"{file.name}: node {plain_text(name, most=30)} has coordinates that are no "
                "numbers; save the graph again"
            ) from None
        lon, lat = to_degrees.transform(x, y) if to_degrees else (x, y)
        if not (abs(lat) <= 90 and abs(lon) <= 180):
            raise DataError(
                f"{file.name}: node {plain_text(name, most=30)} at {lat:g}, {lon:g} is not on "
                "Earth; save the graph with its coordinate system"
            )
        places[name] = (lat, lon)
    return places, to_degrees


def _items(text: str | None) -> list[str]:
    """Split a value that OSMnx wrote as a list; a plain value is a list of one."""
    if not text or not text.startswith("["):
        return [text] if text else []
    try:
        values = ast.literal_eval(text[:_MOST_TEXT])
    except (ValueError, SyntaxError, MemoryError, RecursionError):
        return [text]
    return [str(value) for value in values[:_MOST_LIST]] if isinstance(values, list) else [text]


class _Maker:
    """Pairs directed edges into ways."""

    def __init__(self, file: Path, places: dict[str, tuple[float, float]], to_degrees: Any) -> None:
        self.file = file
        self.places = places
        self.to_degrees = to_degrees
        self.codes: dict[str, int] = {}
        self.found: dict[tuple[Any, ...], int] = {}
        self.ways: list[tuple[int, dict[str, str | None], list[int], Floats]] = []
        self.extra = -1

    def _code(self, name: str) -> int:
        try:
            return int(name)
        except ValueError:
            return self.codes.setdefault(name, -1_000_000_000_000 - len(self.codes))

    def take(self, source: str, target: str, data: dict[str, str]) -> None:
        if source not in self.places or target not in self.places:
            raise DataError(
                f"{self.file.name}: an edge from {plain_text(source, most=30)} to "
                f"{plain_text(target, most=30)} has an end that is no node; save the graph again"
            )
        highway = next((h for h in _items(data.get("highway")) if h in HIGHWAYS), None)
        if highway is None and data.get("highway"):
            return
        if not is_open_to_cars({"access": next(iter(_items(data.get("access"))), None)}):
            return
        line = self._line(source, target, data)
        ids = _items(data.get("osmid")) or ["0"]
        tags: dict[str, str | None] = {
            key: next(iter(_items(data.get(key))), None) for key in WAY_TAGS
        }
        tags["highway"] = highway or "unclassified"
        tags["oneway"] = "yes"
        middle = tuple(np.round((line[(len(line) - 1) // 2] + line[len(line) // 2]) / 2, 7))
        key = (source, target, tuple(sorted(ids)), middle)
        back = self.found.pop((target, source, tuple(sorted(ids)), middle), None)
        if back is not None:
            self.ways[back][1]["oneway"] = "no"
            return
        self.found[key] = len(self.ways)
        refs = [self._code(source)]
        for _ in range(len(line) - 2):
            refs.append(self.extra)
            self.extra -= 1
        refs.append(self._code(target))
        self.ways.append((self._way_id(ids[0]), tags, refs, line))

    def _way_id(self, text: str) -> int:
        try:
            return int(float(text))
        except (ValueError, OverflowError):
            return 0

    def _line(self, source: str, target: str, data: dict[str, str]) -> Floats:
        ends = np.array([self.places[source], self.places[target]])
        written = _LINE.match(data.get("geometry", ""))
        if written is None:
            return ends
        try:
            points = np.array([p.split()[:2] for p in written[1].split(",")], dtype=np.float64)
        except ValueError:
            raise DataError(
                f"{self.file.name}: the geometry of edge {plain_text(source, most=30)} to "
                f"{plain_text(target, most=30)} is damaged; save the graph again"
            ) from None
        if self.to_degrees is not None:
            points = np.column_stack(self.to_degrees.transform(points[:, 0], points[:, 1]))
        inner = points[1:-1, ::-1]
        return np.vstack([ends[:1], inner, ends[1:]])

    def finish(self, parsed: _Parsed) -> Raw:
        signals = [
            self._code(name)
            for name, data in parsed.nodes.items()
            if data.get("highway") == "traffic_signals"
        ]
        stops = [self._code(n) for n, d in parsed.nodes.items() if d.get("highway") == "stop"]
        crossings = [
            self._code(n) for n, d in parsed.nodes.items() if d.get("highway") == "crossing"
        ]
        counts = [len(refs) for _, _, refs, _ in self.ways]
        lines = np.concatenate([line for *_, line in self.ways] or [np.empty((0, 2))])
        return Raw(
            way_id=np.array([way for way, *_ in self.ways], dtype=np.int64),
            way_tags=TagRows.of([[tags[key] for key in WAY_TAGS] for _, tags, _, _ in self.ways]),
            ref_indptr=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
            ref_id=np.array([ref for _, _, refs, _ in self.ways for ref in refs], dtype=np.int64),
            ref_lat=lines[:, 0],
            ref_lon=lines[:, 1],
            signal_id=np.array(signals, dtype=np.int64),
            stop_id=np.array(stops, dtype=np.int64),
            crossing_id=np.array(crossings, dtype=np.int64),
            notes=[_NO_OTHERS],
        )

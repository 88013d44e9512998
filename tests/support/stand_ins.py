"""Servers on this machine that speak as map, place name and feature services do."""

from __future__ import annotations

import json
import threading
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

#: method, path, query, body -> what is answered as JSON
Answer = Callable[[str, str, dict[str, str], str], Any]


@dataclass(kw_only=True)
class StandIn:
    """A running server."""

    #: its address, without a slash at the end
    address: str = ""
    #: paths and bodies that were asked for
    asked: list[str] = field(default_factory=list)
    #: set while it answers; cleared, it lets every question wait
    answering: threading.Event = field(default_factory=threading.Event)


@contextmanager
def serve(answer: Answer) -> Iterator[StandIn]:
    """Serve JSON answers until the block ends."""
    told = StandIn()
    told.answering.set()

    class Handler(BaseHTTPRequestHandler):
        def _reply(self) -> None:
            size = int(self.headers.get("Content-Length") or 0)
            body = self.rfile.read(size).decode()
            parts = urlsplit(self.path)
            told.asked.append(f"{self.path} {body}")
            told.answering.wait(60)
            query = {name: values[0] for name, values in parse_qs(parts.query).items()}
            held = json.dumps(answer(self.command, parts.path, query, body)).encode()
            try:
                self.send_response(200)
                self.send_header("Content-Type", "application/json")
                self.send_header("Content-Length", str(len(held)))
                self.end_headers()
                self.wfile.write(held)
            except OSError:
                return

        do_GET = _reply
        do_POST = _reply

        def log_message(self, *_: Any) -> None:
            """Stay silent."""

    server = ThreadingHTTPServer(("localhost", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    told.address = f"http://localhost:{server.server_port}"
    yield told
    told.answering.set()
    server.shutdown()
    server.server_close()


def read_elements(osm: Path) -> list[dict[str, Any]]:
    """Read an OSM file as the elements that an Overpass server sends."""
    found: list[dict[str, Any]] = []
    for item in ET.parse(osm).getroot():
        tags = {tag.get("k"): tag.get("v") for tag in item.findall("tag")}
        made: dict[str, Any] = {"type": item.tag, "id": int(item.get("id") or 0)}
        if item.tag == "node":
            made |= {"lat": float(item.get("lat") or 0), "lon": float(item.get("lon") or 0)}
        elif item.tag == "way":
            made["nodes"] = [int(ref.get("ref") or 0) for ref in item.findall("nd")]
        else:
            continue
        found.append(made | ({"tags": tags} if tags else {}))
    return found


def cut_elements(
    elements: list[dict[str, Any]], lat: float, lon: float, reach: float
) -> list[dict[str, Any]]:
    """Keep what lies within so many degrees of a place, ways with all their nodes."""
    inside = {
        one["id"]
        for one in elements
        if one["type"] == "node" and abs(one["lat"] - lat) < reach and abs(one["lon"] - lon) < reach
    }
    ways = [one for one in elements if one["type"] == "way" and inside & set(one["nodes"])]
    kept = inside.union(*(one["nodes"] for one in ways))
    return [one for one in elements if one["type"] == "node" and one["id"] in kept] + ways


def speak_map(elements: list[dict[str, Any]]) -> Answer:
    """Answer as a server of map data and of place names does."""
    nodes = [one for one in elements if one["type"] == "node"]
    ways = [one for one in elements if one["type"] == "way"]
    south, north = (end(one["lat"] for one in nodes) for end in (min, max))
    west, east = (end(one["lon"] for one in nodes) for end in (min, max))
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    place = {
        "place_id": 1, "osm_type": "relation", "osm_id": 5, "lat": str((south + north) / 2),
        "lon": str((west + east) / 2), "display_name": "Nowhere", "class": "boundary",
        "type": "administrative", "importance": 0.5, "place_rank": 16, "addresstype": "city",
        "name": "Nowhere", "boundingbox": [str(south), str(north), str(west), str(east)],
        "geojson": {"type": "Polygon", "coordinates": [ring]},
    }  # fmt: skip

    def answer(method: str, path: str, query: dict[str, str], body: str) -> Any:
        if method == "GET":
            return [place] if path.endswith("/search") else {}
        asked = parse_qs(body)["data"][0]
        roads = '["highway"]' in asked
        kept = [one for one in ways if ("highway" in one.get("tags", {})) == roads]
        return {"version": 0.6, "elements": [*nodes, *kept]}

    return answer


COUNT_FIELDS = [
    {"name": "OBJECTID", "alias": "OBJECTID", "type": "esriFieldTypeOID"},
    {"name": "STATION_ID", "alias": "Station", "type": "esriFieldTypeString"},
    {"name": "FLD_7", "alias": "Annual Average Daily Traffic (AADT)",
     "type": "esriFieldTypeInteger"},
    {"name": "AADT_YEAR", "alias": "Year", "type": "esriFieldTypeSmallInteger"},
    {"name": "ROAD_NAME", "alias": "Road", "type": "esriFieldTypeString"},
]  # fmt: skip


def speak_counts(rows: list[dict[str, Any]], *, page: int = 100) -> Answer:
    """Answer as a feature service of one layer of points does.

    Parameters
    ----------
    rows : list of dict
        Values of ``COUNT_FIELDS`` with ``lat`` and ``lon``.
    page : int
        Most rows in one answer.
    """

    def answer(method: str, path: str, query: dict[str, str], body: str) -> Any:
        if not path.endswith("/query"):
            return {
                "name": "traffic counts", "copyrightText": "Invented county, free to use",
                "geometryType": "esriGeometryPoint", "fields": COUNT_FIELDS,
                "maxRecordCount": page, "supportedQueryFormats": "JSON",
                "advancedQueryCapabilities": {"supportsPagination": True},
            }  # fmt: skip
        west, south, east, north = map(float, query["geometry"].split(","))
        inside = [
            row for row in rows if south <= row["lat"] <= north and west <= row["lon"] <= east
        ]
        if query.get("returnCountOnly") == "true":
            return {"count": len(inside)}
        start = int(query.get("resultOffset", 0))
        part = inside[start : start + page]
        return {
            "exceededTransferLimit": start + page < len(inside),
            "features": [
                {
                    "attributes": {k: v for k, v in row.items() if k not in ("lat", "lon")},
                    "geometry": {"x": row["lon"], "y": row["lat"]},
                }
                for row in part
            ],
        }

    return answer

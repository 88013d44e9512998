"""Downloading, against a server on this machine that speaks Overpass and looks up names."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlparse

import pytest

from capture.area import open_area
from capture.basis import CaptureError
from capture.place import open_place

SOUTH, WEST, NORTH, EAST = 40.0, -90.0, 40.02, -89.98


def _elements() -> list[dict[str, Any]]:
    places = {1: (40.01, -89.99), 2: (40.01, -89.985), 3: (40.015, -89.99), 4: (40.005, -89.99),
              11: (40.011, -89.989), 12: (40.011, -89.988), 13: (40.0115, -89.988)}  # fmt: skip
    nodes: list[dict[str, Any]] = [
        {"type": "node", "id": k, "lat": lat, "lon": lon} for k, (lat, lon) in places.items()
    ]
    nodes[0]["tags"] = {"highway": "traffic_signals"}
    nodes.append({"type": "node", "id": 30, "lat": 40.0101, "lon": -89.9899,
                  "tags": {"amenity": "car_wash", "name": "Suds"}})  # fmt: skip
    ways = [
        {"type": "way", "id": 91, "nodes": [1, 2],
         "tags": {"highway": "primary", "name": "East", "maxspeed": "45 mph", "divider": "median"}},
        {"type": "way", "id": 92, "nodes": [3, 1, 4],
         "tags": {"highway": "secondary", "name": "North", "oneway": "yes"}},
        {"type": "way", "id": 93, "nodes": [11, 12, 13, 11],
         "tags": {"building": "yes", "building:levels": "3"}},
    ]  # fmt: skip
    return nodes + ways


class _Server(BaseHTTPRequestHandler):
    asked: list[str] = []  # noqa: RUF012
    broken = False

    def _answer(self, content: Any, code: int = 200) -> None:
        body = json.dumps(content).encode()
        self.send_response(code)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def do_POST(self) -> None:
        size = int(self.headers["Content-Length"])
        query = parse_qs(self.rfile.read(size).decode())["data"][0]
        self.asked.append(query)
        if self.broken:
            self._answer({"remark": "too busy"}, 400)
            return
        roads = '["highway"]' in query
        keep = [e for e in _elements() if e["type"] == "node" or ("highway" in e["tags"]) == roads]
        self._answer({"version": 0.6, "elements": keep})

    def do_GET(self) -> None:
        self.asked.append(self.path)
        if "search" in urlparse(self.path).path:
            ring = [[WEST, SOUTH], [EAST, SOUTH], [EAST, NORTH], [WEST, NORTH], [WEST, SOUTH]]
            self._answer([{"place_id": 1, "osm_type": "relation", "osm_id": 5, "lat": "40.01",
                           "lon": "-89.99", "display_name": "Nowhere", "class": "boundary",
                           "type": "administrative", "importance": 0.5, "place_rank": 16,
                           "addresstype": "city", "name": "Nowhere",
                           "boundingbox": [str(SOUTH), str(NORTH), str(WEST), str(EAST)],
                           "geojson": {"type": "Polygon", "coordinates": [ring]}}])  # fmt: skip
        else:
            self._answer({})

    def log_message(self, *_: Any) -> None:
        """Stay silent."""


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    monkeypatch.setattr(_Server, "asked", [])
    monkeypatch.setattr(_Server, "broken", False)
    running = ThreadingHTTPServer(("127.0.0.1", 0), _Server)
    threading.Thread(target=running.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{running.server_port}"
    running.shutdown()
    running.server_close()


def _folder(tmp_path: Path, where: str) -> Path:
    folder = tmp_path / "town"
    folder.mkdir()
    (folder / "area.toml").write_text(
        f'name = "Town"\n[layers.roads]\npath = "download"\n{where}\n', encoding="utf-8"
    )
    return folder


BOX = f"bbox = [{SOUTH}, {WEST}, {NORTH}, {EAST}]"


def test_roads_are_fetched_once_and_kept(server: str, tmp_path: Path) -> None:
    folder = _folder(tmp_path, f'{BOX}\nserver = "{server}"')
    place = open_place(open_area(folder))
    network = place.network
    assert sorted(set(network.segment_way.tolist())) == [91, 92]
    east = network.segment_way.tolist().index(91)
    assert network.segment_name[east] == "East"
    assert network.segment_separation[east] == 3
    assert bool(network.node_signal[network.node_id.tolist().index(1)])
    assert place.features["kind"].tolist() == ["car_wash"]
    assert place.buildings.height_known.tolist() == [True]
    asked = len(_Server.asked)
    assert asked >= 2
    again = open_place(open_area(folder), use_cache=False)
    assert len(_Server.asked) == asked, "the second time nothing is asked"
    assert again.network.segments == network.segments
    assert any("no turn restrictions" in note for note in place.notes)


def test_a_place_is_looked_up_by_name(server: str, tmp_path: Path) -> None:
    folder = _folder(tmp_path, f'place = "Nowhere"\nserver = "{server}"\ngeocoder = "{server}/"')
    assert open_place(open_area(folder)).network.segments == 3
    assert any("search" in asked and "Nowhere" in asked for asked in _Server.asked)


def test_osmnx_settings_are_put_back(server: str, tmp_path: Path) -> None:
    import osmnx as ox

    before = (ox.settings.overpass_url, ox.settings.useful_tags_way)
    open_place(open_area(_folder(tmp_path, f'{BOX}\nserver = "{server}"')))
    assert (ox.settings.overpass_url, ox.settings.useful_tags_way) == before


def test_no_network(tmp_path: Path) -> None:
    folder = _folder(tmp_path, f'{BOX}\nserver = "http://127.0.0.1:9"')
    with pytest.raises(CaptureError, match="connect to the network, or download") as caught:
        open_place(open_area(folder))
    assert "\n" not in str(caught.value)


def test_a_server_that_refuses(
    server: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(_Server, "broken", True)
    folder = _folder(tmp_path, f'{BOX}\nserver = "{server}"')
    with pytest.raises(CaptureError, match="gave no usable answer"):
        open_place(open_area(folder))


@pytest.mark.parametrize(
    ("where", "told"),
    [
        ("", "needs place"),
        ('place = " "', "needs place"),
        ("bbox = [1, 2, 3]", "south, west, north, east"),
        ('bbox = ["a", 2, 3, 4]', "south, west, north, east"),
        ("bbox = [41.0, -90.0, 40.0, -89.0]", "south below north"),
        ("bbox = [40.0, -90.0, 45.0, -89.0]", "at most 1 degree"),
        ("bbox = [nan, -90.0, 45.0, -89.0]", "south below north"),
        (f"{BOX}\nspeed = 3", "no setting 'speed'"),
    ],
)
def test_a_download_that_is_not_said_well(where: str, told: str, tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match=told):
        open_place(open_area(_folder(tmp_path, where)))


def test_what_came_with_the_area_is_read_without_asking(server: str, tmp_path: Path) -> None:
    from capture.place.download import ROADS_FILE, SHAPES_FILE, fetch_roads

    options = {"bbox": [SOUTH, WEST, NORTH, EAST], "server": server}
    roads, shapes = fetch_roads(options)
    folder = _folder(tmp_path, f'{BOX}\nserver = "http://localhost:9"')
    (folder / ROADS_FILE).write_bytes(roads.read_bytes())
    (folder / SHAPES_FILE).write_bytes(shapes.read_bytes())
    assert open_place(open_area(folder)).network.segments == 3


def test_who_listens_hears_each_step_and_may_end_it(server: str) -> None:
    from capture.place.download import fetch_roads

    heard: list[str] = []
    fetch_roads({"bbox": [SOUTH, WEST, NORTH, EAST + 0.001], "server": server}, say=heard.append)
    steps = [text for text in heard if text != "an answer comes"]
    assert steps == [
        "asking for roads", "asking for buildings, shops and washes", "writing down what came"
    ]  # fmt: skip
    assert heard.count("an answer comes") >= 2

    class EnoughError(Exception):
        pass

    def stop(text: str) -> None:
        if text == "an answer comes":
            raise EnoughError

    asked = sum("highway" in text for text in _Server.asked)
    with pytest.raises(EnoughError):
        fetch_roads({"bbox": [SOUTH, WEST, NORTH, EAST + 0.002], "server": server}, say=stop)
    assert sum("highway" in text for text in _Server.asked) == asked + 1


@pytest.mark.parametrize("address", ["file:///etc/passwd", "nowhere", "", "http://", "ftp://x"])
def test_only_web_addresses_are_asked(tmp_path: Path, address: str) -> None:
    folder = _folder(tmp_path, f'{BOX}\nserver = "{address}"')
    with pytest.raises(CaptureError, match="must be an address that starts with http"):
        open_place(open_area(folder))


def test_a_server_that_is_not_there_is_said_without_waiting_for_a_turn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import time

    import osmnx as ox

    monkeypatch.setattr(ox.settings, "overpass_url", "http://127.0.0.1:9")
    monkeypatch.setattr(time, "sleep", lambda _: pytest.fail("waited for a turn"))
    with pytest.raises(CaptureError, match="connect to the network, or download"):
        open_place(open_area(_folder(tmp_path, BOX)))

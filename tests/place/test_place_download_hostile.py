"""A map server that means harm, or is broken in odd ways, ends a download with one sentence."""

from __future__ import annotations

import contextlib
import json
import threading
import time
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from capture.area import open_area
from capture.basis import DataError
from capture.place import answers, download, open_place

BOX = "bbox = [40.0, -90.0, 40.02, -89.98]"
NODES = [
    {"type": "node", "id": 1, "lat": 40.01, "lon": -89.99},
    {"type": "node", "id": 2, "lat": 40.01, "lon": -89.985},
    {"type": "node", "id": 3, "lat": 40.015, "lon": -89.985},
]


def make_elements(**tags: Any) -> list[dict[str, Any]]:
    tagged = {"highway": "primary", "name": "East", **tags}
    return [*NODES, {"type": "way", "id": 91, "nodes": [1, 2, 3], "tags": tagged}]


class _Handler(BaseHTTPRequestHandler):
    def do_POST(self) -> None:
        self.rfile.read(int(self.headers["Content-Length"]))
        with contextlib.suppress(OSError):
            self.server.overpass(self)  # type: ignore[attr-defined]

    def do_GET(self) -> None:
        told = self.server.places if "search" in self.path else {}  # type: ignore[attr-defined]
        give(self, told)

    def log_message(self, *_: Any) -> None:
        """Stay silent."""


def give(handler: Any, content: Any, code: int = 200, **headers: str) -> None:
    body = json.dumps(content).encode()
    handler.send_response(code)
    for name, value in {"Content-Length": str(len(body)), **headers}.items():
        handler.send_header(name, value)
    handler.end_headers()
    handler.wfile.write(body)


@pytest.fixture
def server() -> Iterator[Any]:
    running = ThreadingHTTPServer(("127.0.0.1", 0), _Handler)
    running.daemon_threads = True
    running.places = []  # type: ignore[attr-defined]
    threading.Thread(target=running.serve_forever, daemon=True).start()
    yield running
    running.shutdown()
    running.server_close()


def fetch(server: Any, folder: Path, overpass: Callable[[Any], Any], where: str = BOX) -> Any:
    server.overpass = overpass
    address = f"http://127.0.0.1:{server.server_port}"
    (folder / "area.toml").write_text(
        f'[layers.roads]\npath = "download"\n{where}\nserver = "{address}/api"\n'
        f'geocoder = "{address}"\n',
        encoding="utf-8",
    )
    return open_place(open_area(folder))


def refuse(server: Any, folder: Path, overpass: Callable[[Any], Any], where: str = BOX) -> str:
    with pytest.raises(DataError) as caught:
        fetch(server, folder, overpass, where)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_busy_without_end_is_given_up(server, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(answers, "MOST_BUSY", 1)
    assert "is busy; try again later" in refuse(server, tmp_path, lambda h: give(h, {}, 429))


def test_an_answer_without_end_is_stopped(server, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(answers, "MOST_BYTES", 1_000_000)

    def flood(handler: Any) -> None:
        handler.wfile.write(b"HTTP/1.1 200 OK\r\n\r\n")
        for _ in range(2_000):
            handler.wfile.write(b"x" * 100_000)

    assert "sends over 1 MB" in refuse(server, tmp_path, flood)


def test_an_answer_in_drops_is_given_up(server, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(answers, "WHOLE_S", 0.3)

    def drip(handler: Any) -> None:
        handler.wfile.write(b"HTTP/1.1 200 OK\r\n\r\n")
        for _ in range(200):
            handler.wfile.write(b"x")
            time.sleep(0.05)

    started = time.monotonic()
    assert "answers too slowly" in refuse(server, tmp_path, drip)
    assert time.monotonic() - started < 5


def test_no_host_is_asked_that_was_not_named(server, tmp_path) -> None:
    there = f"http://localhost:{server.server_port}/other"
    said = refuse(server, tmp_path, lambda h: give(h, {}, 302, Location=there))
    assert "sends on to localhost; give that address as the server if you trust it" in said


def test_signs_that_no_xml_may_hold_do_not_spoil_what_is_kept(server, tmp_path) -> None:
    elements = make_elements(name="Ea\x00\x01st", ref="\ud800R")
    place = fetch(server, tmp_path, lambda h: give(h, {"elements": elements}))
    assert set(place.network.segment_name) == {"East"}
    assert set(place.network.segment_ref) == {"R"}


@pytest.mark.parametrize(
    "elements",
    [
        [{**make_elements()[-1], "tags": 5}, *NODES],
        [5],
        {"a": 1},
        [*make_elements()[:-1], {**make_elements()[-1], "nodes": "abc"}],
        make_elements(oneway=["yes"]),
        [{**NODES[0], "lat": "x"}, *make_elements()[1:]],
    ],
)
def test_spoilt_answers_are_said(server, tmp_path, elements) -> None:
    assert refuse(server, tmp_path, lambda h: give(h, {"elements": elements})).startswith("roads")


@pytest.mark.parametrize("corner", [None, "x", float("nan")])
def test_a_place_with_a_spoilt_outline_is_said(server, tmp_path, corner) -> None:
    ring = [[corner, 40.0], [-89.98, 40.0], [-89.98, 40.02], [corner, 40.0]]
    server.places = [
        {"place_id": 1, "lat": "40.01", "lon": "-89.99", "display_name": "</script>{{7}}",
         "importance": 0.5, "boundingbox": ["40.0", "40.02", "-90.0", "-89.98"],
         "geojson": {"type": "Polygon", "coordinates": [ring]}}
    ]  # fmt: skip
    said = refuse(server, tmp_path, lambda h: give(h, {}), 'place = "Nowhere"')
    assert "no usable answer" in said


def test_waiting_for_another_download_can_be_ended() -> None:
    class EndedError(Exception):
        pass

    def end(_: str) -> None:
        raise EndedError

    turn = threading.Lock()
    with turn, pytest.raises(EndedError), answers.take_turn(turn, end):
        pass
    assert not turn.locked()
    assert download._TURN.locked() is False

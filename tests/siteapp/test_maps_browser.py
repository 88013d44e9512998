"""Is the ground changed by a click, a screen printed whole, a map tiled when tiles are there?"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from siteapp.workspace import Inputs, Workspace

pytestmark = pytest.mark.browser

SLOW_MS = 120_000
SITE = "parcel:P04"
TILE = b'<svg xmlns="http://www.w3.org/2000/svg" width="256" height="256"/>'


@pytest.fixture
def page(watched: Any, app: Any) -> Iterator[Any]:
    space = Workspace(app.workspace)
    kept = space.add("maps", Inputs(area=str(app.area), site=SITE, draws=200))
    made = watched.page
    made.set_default_timeout(SLOW_MS)
    made.goto(f"{app.address}turning?study={kept.id}")
    made.locator(".st-key-strip").wait_for()
    rest(made)
    yield made
    assert watched.requests == []


@pytest.fixture
def tiles() -> Iterator[tuple[str, list[str]]]:
    """A stand-in for a tile server: its address and the paths that were asked for."""
    asked: list[str] = []

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_response(200)
            self.send_header("Content-Type", "image/svg+xml")
            self.end_headers()
            self.wfile.write(TILE)

        def log_message(self, *_: Any) -> None:
            """Keep quiet."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Answer)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}/{{z}}/{{x}}/{{y}}.svg", asked
    server.shutdown()


def rest(page: Any) -> None:
    for _ in range(2):
        page.wait_for_timeout(300)
        page.locator("[data-test-script-state='notRunning']").first.wait_for()


def plan_of(app: Any) -> Any:
    return Workspace(app.workspace).studies()[0].inputs.plan


def test_click_on_the_map_puts_the_sign_and_undo_takes_it_back(page, app) -> None:
    page.get_by_text("puts the sign", exact=True).click()
    rest(page)
    frame = page.frame_locator("iframe[title*='folium']")
    drawn = frame.locator(".leaflet-container")
    drawn.scroll_into_view_if_needed()
    page.wait_for_timeout(1500)
    box = drawn.bounding_box()
    drawn.click(position={"x": box["width"] / 2 + 20, "y": box["height"] / 2 + 14})
    page.get_by_text("The sign put here").wait_for()
    rest(page)
    page.get_by_role("button", name="Keep this").first.click()
    page.get_by_text("Taken as built here").wait_for()
    assert set(plan_of(app)[SITE]["sign"]) == {"D1", "D2"}
    rest(page)
    page.get_by_role("button", name="Undo", exact=True).click()
    page.get_by_text("Taken as built here").wait_for(state="detached")
    assert plan_of(app) == {}


def test_way_is_driven_in_the_app_and_the_screen_prints_without_its_controls(page) -> None:
    frame = page.frame_locator("iframe[title*='folium']")
    slider = frame.get_by_role("slider", name="Seconds on the way to the driveway")
    slider.wait_for()
    before = frame.locator(".site-drive-said").inner_text()
    slider.press("ArrowRight")
    assert frame.locator(".site-drive-said").inner_text() != before
    page.emulate_media(media="print")
    assert page.get_by_test_id("stSidebar").is_hidden()
    assert page.get_by_text("A click on the map").is_hidden()
    assert page.locator(".st-key-strip").is_visible()
    assert page.locator("iframe[title*='folium']").is_visible()
    assert frame.locator(".site-key").is_visible()
    assert frame.locator(".site-drive").is_hidden()
    page.emulate_media(media="screen")


def test_tiles_are_laid_when_a_server_is_there_and_missed_by_nobody_else(page, app, tiles) -> None:
    address, asked = tiles
    space = Workspace(app.workspace)
    space.keep_setting("tiles", address)
    page.reload()
    frame = page.frame_locator("iframe[title*='folium']")
    frame.locator("img.leaflet-tile-loaded").first.wait_for(state="attached")
    assert any(Path(path).suffix == ".svg" for path in asked)
    space.keep_setting("tiles", "http://127.0.0.1:9/{z}/{x}/{y}.png")
    page.reload()
    frame.locator(".leaflet-ground-pane canvas").wait_for(state="attached")
    assert frame.locator("[aria-label^='Site ']").count() > 0
    space.keep_setting("tiles", "")

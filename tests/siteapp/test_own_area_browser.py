"""Can someone make an area of their own, from files or from servers, and get a first study?"""

from __future__ import annotations

import json
import re
import zipfile
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from stand_ins import cut_elements, read_elements, serve, speak_map

pytestmark = pytest.mark.browser

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"
SLOW_MS = 40_000
COUNTS = (
    b"Road;Latitude;Longitude;AADT;Year\n"
    b"Tillman Road;43.6050;-87.3074;31000;2024\n"
    b"Tillman Road;43.6050;-87.3074;-5;2024\n"
)


def settle(page: Any) -> None:
    for _ in range(2):
        page.wait_for_timeout(300)
        page.locator("[data-test-script-state='notRunning']").first.wait_for()


def open_area_screen(watched: Any, app: Any) -> Any:
    page = watched.page
    page.set_default_timeout(SLOW_MS)
    page.goto(app.address)
    page.get_by_role("heading", name="Area", level=1).wait_for()
    settle(page)
    page.get_by_text("Make an area of your own").click()
    page.get_by_label("Name of the place").wait_for()
    return page


def name_it(page: Any, name: str) -> None:
    page.get_by_label("Name of the place").fill(name)
    page.keyboard.press("Tab")
    settle(page)


def place_site(page: Any, at: str) -> str:
    page.get_by_role("link", name="Sites", exact=True).click()
    page.get_by_role("heading", name="Sites", level=1).wait_for()
    settle(page)
    page.get_by_label("Type latitude, longitude").fill(at)
    page.get_by_role("button", name="Place it there").click()
    page.locator(".st-key-strip").wait_for()
    settle(page)
    return str(page.locator(".st-key-strip").inner_text())


def pack_parcels() -> bytes:
    """Pack the demo's parcels with one that has no place."""
    told = json.loads((DEMO / "parcels.geojson").read_text(encoding="utf-8"))
    told["features"][3]["geometry"] = None
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("county/parcels.geojson", json.dumps(told))
        archive.writestr("county/read me.txt", "from the county")
    return packed.getvalue()


def complaints(watched: Any) -> list[str]:
    return [text for text in watched.errors if "404 (Not Found)" not in text]


def test_own_files_in_three_steps_become_a_first_study(watched, make_app) -> None:
    page = open_area_screen(watched, make_app())
    page.get_by_role("button", name="Make and open it").click()
    page.get_by_text("A roads file is needed").wait_for()
    name_it(page, "Mill Town")
    page.locator(".st-key-own-roads input[type=file]").set_input_files(DEMO / "roads.osm")
    settle(page)
    page.get_by_role("button", name="Make and open it").click()
    page.get_by_text("What is known so far").wait_for()
    settle(page)
    page.get_by_text("none yet, so every figure is estimated").wait_for()

    page.get_by_text("Use a counts file of your own").click()
    page.locator("[class*='st-key-own-counts'] input[type=file]").set_input_files(
        {"name": "town counts.csv", "mimeType": "text/csv", "buffer": COUNTS}
    )
    done = page.get_by_role("region", name="What was done with your file", exact=True)
    done.wait_for()
    assert "left out" in done.inner_text()
    page.get_by_role("button", name="Use these counts").click()
    page.get_by_text("2. Counts: given").wait_for()
    settle(page)

    page.get_by_text("Add rivals, parcels, people").click()
    boxes = {"rivals": DEMO / "rivals.csv", "people": DEMO / "people.geojson"}
    for kind, file in boxes.items():
        page.locator(f"[class*='st-key-own-{kind}-'] input[type=file]").set_input_files(file)
    page.locator("[class*='st-key-own-parcels-'] input[type=file]").set_input_files(
        {"name": "county.zip", "mimeType": "application/zip", "buffer": pack_parcels()}
    )
    settle(page)
    page.get_by_role("button", name="Add to the area").click()
    page.get_by_text("not given: washes with known yearly cars, daily weather").wait_for()
    settle(page)
    assert page.get_by_text("1 other file(s) left aside: read me.txt").count() == 1

    page.get_by_role("link", name="Sites", exact=True).click()
    page.get_by_text("row 4: has no usable place").first.wait_for()
    page.get_by_role("button", name="Go on with the 39 good rows").click()
    page.get_by_text("Rows of the parcels file: 39 used, 1 left out").wait_for()
    settle(page)
    first = place_site(page, "43.6050,-87.3074")
    assert "pass a day" in first
    page.get_by_role("link", name="Passing", exact=True).click()
    page.get_by_role("heading", name="Passing", level=1).wait_for()
    settle(page)
    page.get_by_role("tab", name="Every count").click()
    assert page.get_by_text("row 2 of own-town-counts.csv").count() > 0
    assert complaints(watched) == []
    assert watched.requests == []


def test_roads_are_fetched_by_name_stopped_and_offline_is_said(watched, make_app, tmp_path) -> None:
    page = open_area_screen(watched, make_app())
    name_it(page, "Fetched Town")
    page.get_by_text("fetch by the name of a place").click()
    settle(page)
    page.get_by_text("Servers that are asked").click()

    def fill(label: str, text: str) -> None:
        page.get_by_label(re.compile(label)).fill(text)
        page.keyboard.press("Tab")
        settle(page)

    fill("Place to look up", "Nowhere")
    fill("Address of the roads server", "http://localhost:9")
    fill("Address of the place names server", "http://localhost:9")
    page.get_by_role("button", name="Make and open it").click()
    page.get_by_text("connect to the network, or download an").wait_for()
    settle(page)
    town = cut_elements(read_elements(DEMO / "roads.osm"), 43.6050, -87.3074, 0.012)
    with serve(speak_map(town)) as server:
        fill("Address of the roads server", server.address)
        fill("Address of the place names server", server.address)
        server.answering.clear()
        page.get_by_role("button", name="Make and open it").click()
        page.get_by_text("Making the area: looking up the place").wait_for()
        page.get_by_role("button", name="Cancel").click()
        page.get_by_text("Stopped; nothing was changed.").wait_for()
        assert not list((tmp_path / "areas").glob("*/area.toml"))
        server.answering.set()
        settle(page)
        page.get_by_role("button", name="Make and open it").click()
        page.get_by_text("What is known so far").wait_for()
        settle(page)
        assert any("search" in asked and "Nowhere" in asked for asked in server.asked)
    assert page.get_by_text("OpenStreetMap contributors, fetched on").count() > 0
    kept = {each.name for each in next((tmp_path / "areas").glob("fetched-town*")).iterdir()}
    assert kept == {"area.toml", "roads.downloaded.graphml", "shapes.downloaded.json"}
    assert "pass a day" in place_site(page, "43.6050,-87.3074")
    assert complaints(watched) == []


def test_the_first_screen_has_an_address_of_its_own(watched, app) -> None:
    page = watched.page
    page.set_default_timeout(SLOW_MS)
    page.goto(f"{app.address}area")
    page.get_by_role("heading", name="Area", level=1).wait_for()
    settle(page)
    assert page.get_by_text("Page not found").count() == 0
    assert page.get_by_role("link", name="Area", exact=True).count() == 1

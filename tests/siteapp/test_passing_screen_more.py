"""Road works, services, stations without a place, columns of every file, ties by clicking."""

from __future__ import annotations

import re
import sqlite3
from typing import Any

import pytest
from stand_ins import serve, speak_counts

pytestmark = pytest.mark.browser

SLOW_MS = 40_000
SITE = (43.6050, -87.3074)
HOURS = "Station,Date,Hour,Volume\n" + "".join(
    f"{name},2024-05-0{day},{hour},{100 + 40 * hour}\n"
    for name in ("West", "East")
    for day in (7, 8)
    for hour in range(24)
)


def settle(page: Any) -> None:
    for _ in range(2):
        page.wait_for_timeout(300)
        page.locator("[data-test-script-state='notRunning']").first.wait_for()


def open_passing(watched: Any, app: Any, *, tab: str = "") -> Any:
    """Open the screen on a new study of a parcel, so that tests do not meet."""
    page = watched.page
    page.set_default_timeout(SLOW_MS)
    page.goto(app.address)
    page.get_by_role("heading", level=1).wait_for()
    settle(page)
    page.get_by_role("button", name="New study").click()
    settle(page)
    page.get_by_role("link", name="Sites", exact=True).click()
    page.get_by_role("heading", name="Sites", level=1).wait_for()
    settle(page)
    page.get_by_label("Type latitude, longitude").fill(f"{SITE[0]},{SITE[1]}")
    page.get_by_role("button", name="Place it there").click()
    page.locator(".st-key-strip").wait_for()
    settle(page)
    page.get_by_role("link", name="Passing", exact=True).click()
    page.get_by_role("heading", name="Passing", level=1).wait_for()
    settle(page)
    if tab:
        page.get_by_role("tab", name=tab).click()
    return page


def choose(page: Any, label: str, typed: str) -> None:
    box = page.get_by_role("combobox", name=re.compile(label))
    box.click()
    box.fill(typed)
    page.keyboard.press("Enter")
    settle(page)


def strip(page: Any) -> str:
    return str(page.locator(".st-key-strip").inner_text())


def wait_for_strip(page: Any, before: str, *, same: bool) -> None:
    page.wait_for_function(
        "([before, same]) => { const s = document.querySelector('.st-key-strip');"
        " return s && (s.innerText === before) === same; }",
        arg=[before, same],
    )
    settle(page)


def complaints(watched: Any) -> list[str]:
    return [text for text in watched.errors if "404 (Not Found)" not in text]


def test_road_works_change_the_streams_are_struck_and_undone(watched, app) -> None:
    page = open_passing(watched, app, tab="Road works")
    before = strip(page)
    page.get_by_text("No road works or other dated changes are noted").wait_for()
    choose(page, "Road, those past the site first", "Tillman Road")
    page.get_by_label("What happens").fill("one lane <b>shut</b>")
    page.keyboard.press("Tab")
    page.get_by_text("For good, such as a road that is closed").click()
    settle(page)
    page.get_by_label("Vehicles meanwhile").fill("40")
    page.keyboard.press("Tab")
    settle(page)
    page.get_by_role("button", name="Add this note").click()
    wait_for_strip(page, before, same=False)
    table = page.get_by_role("region", name=re.compile("Road works and other dated changes"))
    assert "one lane <b>shut</b>" in table.inner_text()
    assert table.inner_text().count("Tillman Road") >= 2
    with sqlite3.connect(app.workspace) as base:
        (kept,) = base.execute("SELECT inputs FROM studies ORDER BY changed DESC").fetchone()
    assert '"factor": 0.4' in kept
    choose(page, "A note of your own", "Tillman Road")
    page.get_by_role("button", name="Strike it").click()
    wait_for_strip(page, before, same=True)
    assert page.get_by_role("button", name="Bring it back").count() == 1
    page.get_by_role("button", name="Undo").click()
    wait_for_strip(page, before, same=False)
    assert complaints(watched) == []
    assert watched.requests == []


def test_counts_are_fetched_from_a_service_and_used(watched, app) -> None:
    rows = [
        {"OBJECTID": k, "STATION_ID": f"S{k:03d}", "FLD_7": 9000 + k, "AADT_YEAR": 2024,
         "ROAD_NAME": "Tillman Road", "lat": SITE[0] + k / 1e5, "lon": SITE[1]}
        for k in range(1, 251)
    ]  # fmt: skip
    rows.append({**rows[0], "OBJECTID": 999, "lat": 10.0})
    page = open_passing(watched, app, tab="Count files")
    page.get_by_text("Fetch counts from a feature service").click()
    with serve(speak_counts(rows)) as server:
        page.get_by_label("Address of the layer").fill("file:///etc/passwd")
        page.get_by_role("button", name="Look at it").click()
        page.get_by_text("must start with http:// or https://").wait_for()
        page.get_by_label("Address of the layer").fill(f"{server.address}/Counts/FeatureServer/0")
        page.get_by_role("button", name="Look at it").click()
        fields = page.get_by_role("region", name="What the layer holds")
        fields.wait_for()
        assert "Annual Average Daily Traffic" in fields.inner_text()
        settle(page)
        server.answering.clear()
        page.get_by_role("button", name="Fetch the rows").click()
        page.get_by_text("Fetching: asking how many rows there are").wait_for()
        page.get_by_role("button", name="Cancel").click()
        page.get_by_text("Stopped; nothing was changed.").wait_for()
        server.answering.set()
        settle(page)
        page.get_by_role("button", name="Fetch the rows").click()
        page.get_by_text("250 rows fetched from layer 'traffic counts'").wait_for()
        settle(page)
        assert sum("resultOffset" in asked for asked in server.asked) >= 3
    page.get_by_role("button", name="Use these counts").click()
    page.get_by_text("own-traffic-counts.geojson").first.wait_for()
    settle(page)
    page.get_by_role("link", name="Area", exact=True).click()
    page.get_by_role("heading", name="Area", level=1).wait_for()
    known = page.get_by_role("region", name="What is known and what is missing").inner_text()
    assert re.search(r"/Counts/FeatureServer/0, fetched on \d{4}-\d\d-\d\d", known)
    assert "Invented county, free to use" in known
    assert complaints(watched) == []


def test_hours_without_a_place_are_put_at_a_count_and_at_degrees(watched, app) -> None:
    page = open_passing(watched, app, tab="Count files")
    page.get_by_text("Use a counts file of your own").click()
    page.locator("[class*='st-key-own-counts'] input[type=file]").set_input_files(
        {"name": "hours.csv", "mimeType": "text/csv", "buffer": HOURS.encode()}
    )
    page.get_by_text("Say where at least one station stands").wait_for()
    settle(page)
    choose(page, "Where this count stands", "H058")
    page.get_by_role("button", name="Put it there").click()
    page.get_by_text("1 of 2 placed").wait_for()
    settle(page)
    assert page.get_by_text("no position given").count() == 1
    page.get_by_label("Latitude, longitude").fill("43.6050, -87.3074")
    page.get_by_role("button", name="Put it at these degrees").click()
    page.get_by_text("2 of 2 placed").wait_for()
    settle(page)
    done = page.get_by_role("region", name="What was done with your file", exact=True)
    assert "station East put at 43.60500, -87.30740, as you said" in done.inner_text()
    ties = page.get_by_role("region", name=re.compile("Counts of the file, 2, and")).inner_text()
    assert "Upholder Road" in ties
    assert "Tillman Road" in ties
    page.get_by_role("button", name="Use these counts").click()
    page.get_by_text("own-hours.csv").first.wait_for()
    settle(page)
    page.get_by_role("tab", name="Every count").click()
    assert page.get_by_text("East, not named").count() > 0
    assert complaints(watched) == []


def test_count_is_tied_by_clicking_the_map_and_undone(watched, app) -> None:
    page = open_passing(watched, app)
    choose(page, "Choose a count", "H058")
    page.get_by_text("Tie it to another road: click that road").click()
    settle(page)
    frame = page.frame_locator("iframe[title*='folium']").first
    frame.locator(".leaflet-container").wait_for()
    page.wait_for_timeout(1500)
    box = page.locator("iframe[title*='folium']").first.bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    story = page.get_by_role("region", name="The story of count H058")
    story.get_by_text("tied by you").first.wait_for()
    settle(page)
    page.get_by_role("button", name="Undo").click()
    story.get_by_text("tied by you").first.wait_for(state="hidden")
    assert "Upholder Road: sure" in story.inner_text()
    assert complaints(watched) == []

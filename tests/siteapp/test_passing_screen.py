"""Can a count be tied to another road and back, and a counts file of one's own be taken in?"""

from __future__ import annotations

import re
import sqlite3
from typing import Any

import pytest

pytestmark = pytest.mark.browser

SLOW_MS = 30_000
CSV = (
    b"Road;Latitude;Longitude;Traffic 2024\n"
    b"<img src=x onerror=alert(1)>;43.6050;-87.3074;31000\n"
    b"Nowhere;10.0;10.0;500\n"
)


def settle(page: Any) -> None:
    for _ in range(2):
        page.wait_for_timeout(300)
        page.locator("[data-test-script-state='notRunning']").first.wait_for()


def open_passing(watched: Any, app: Any) -> Any:
    page = watched.page
    page.set_default_timeout(SLOW_MS)
    page.goto(app.address)
    page.get_by_role("heading", level=1).wait_for()
    settle(page)
    page.get_by_role("link", name="Sites", exact=True).click()
    page.get_by_role("heading", name="Sites", level=1).wait_for()
    settle(page)
    box = page.get_by_role("combobox", name=re.compile("Choose a parcel"))
    box.click()
    box.fill("P01")
    page.get_by_role("option", name="P01", exact=True).click()
    settle(page)
    page.locator(".st-key-strip").wait_for()
    page.get_by_role("link", name="Passing", exact=True).click()
    page.get_by_role("heading", name="Passing", level=1).wait_for()
    settle(page)
    return page


def choose(page: Any, label: str, typed: str) -> None:
    box = page.get_by_role("combobox", name=re.compile(label))
    box.click()
    box.fill(typed)
    page.keyboard.press("Enter")
    settle(page)


def strip(page: Any) -> str:
    return str(page.locator(".st-key-strip").inner_text())


def complaints(watched: Any) -> list[str]:
    return [text for text in watched.errors if "404 (Not Found)" not in text]


def test_count_is_tied_elsewhere_by_keyboard_and_taken_back(watched, app) -> None:
    page = open_passing(watched, app)
    before = strip(page)
    choose(page, "Choose a count", "H058")
    story = page.get_by_role("region", name="The story of count H058")
    assert "Upholder Road: sure" in story.inner_text()
    page.get_by_role("button", name="It belongs to no road here").click()
    settle(page)
    page.wait_for_function(
        "before => document.querySelector('.st-key-strip')?.innerText !== before", arg=before
    )
    assert "left untied by you" in story.inner_text()
    with sqlite3.connect(app.workspace) as base:
        (kept,) = base.execute("SELECT inputs FROM studies ORDER BY changed DESC").fetchone()
    assert "H058|upholder road" in kept
    page.get_by_role("button", name="Take my decision back").click()
    page.wait_for_function(
        "before => document.querySelector('.st-key-strip')?.innerText === before", arg=before
    )
    assert not complaints(watched)
    assert not watched.requests


def test_own_file_is_shown_asked_about_and_used(watched, app) -> None:
    page = open_passing(watched, app)
    page.get_by_role("tab", name="Count files").click()
    page.get_by_text("Use a counts file of your own").click()
    page.locator("input[type=file]").set_input_files(
        {"name": "city.csv", "mimeType": "text/csv", "buffer": CSV}
    )
    page.get_by_text("Say which column holds the vehicles a day").wait_for()
    assert page.get_by_role("button", name="Use these counts").count() == 0
    choose(page, "Which column holds the vehicles a day", "Traffic 2024")
    done = page.get_by_role("region", name="What was done with your file", exact=True)
    done.wait_for()
    assert "lies outside the area" in done.inner_text()
    page.get_by_role("button", name="Use these counts").click()
    files = page.get_by_role("region", name="What was done with your files", exact=True)
    page.wait_for_function("() => document.body.innerText.includes('own-city.csv')")
    settle(page)
    page.get_by_role("tab", name="Count files").click()
    assert "own-city.csv" in files.inner_text()
    page.get_by_role("tab", name="Every count").click()
    assert page.get_by_text("row 2 of own-city.csv").count() > 0
    assert page.locator("img[src=x]").count() == 0
    assert not complaints(watched)
    assert not watched.requests

"""Can one try a rival by a click and leave a known site out with one press, in a browser?"""

from __future__ import annotations

import re
from typing import Any

import pytest

pytestmark = pytest.mark.browser

HARMLESS = ("404 (Not Found)",)
SLOW_MS = 90_000
FOREIGN = {"image-alt", "empty-table-header", "presentation-role-conflict"}
TABS = {
    "Rivals & people": ("Rivals", "Passed first", "People"),
    "Share": (
        "Why this share", "Sites you know", "How far to trust it", "What it would take",
        "First and second site",
    ),
}  # fmt: skip


@pytest.fixture
def page(watched: Any, app: Any) -> Any:
    made = watched.page
    made.set_default_timeout(SLOW_MS)
    made.goto(app.address)
    made.get_by_role("heading", level=1).wait_for()
    go(made, "Sites")
    box = made.get_by_role("combobox", name=re.compile("Choose a parcel"))
    box.click()
    box.fill("P04")
    made.get_by_role("option", name="P04", exact=True).click()
    made.locator(".st-key-strip").wait_for()
    yield made
    assert watched.requests == []
    assert [e for e in watched.errors if not any(word in e for word in HARMLESS)] == []


def go(page: Any, screen: str) -> None:
    page.get_by_role("link", name=screen, exact=True).click()
    page.get_by_role("heading", name=screen, level=1).wait_for()
    rest(page)


def rest(page: Any) -> None:
    for _ in range(2):
        page.wait_for_timeout(300)
        page.locator("[data-test-script-state='notRunning']").first.wait_for()


def strip(page: Any) -> str:
    return str(page.locator(".st-key-strip").inner_text())


def test_click_tries_a_rival_and_keeping_it_moves_the_strip(page) -> None:
    go(page, "Rivals & people")
    before = strip(page)
    frame = page.frame_locator("iframe[title*='folium']")
    frame.locator(".leaflet-ground-pane canvas").wait_for()
    ground = frame.locator("#map_div")
    box = ground.bounding_box()
    ground.click(position={"x": box["width"] * 0.58, "y": box["height"] * 0.42})
    page.get_by_role("heading", name="One more wash there").wait_for()
    page.get_by_text("the share washed goes from").wait_for()
    page.get_by_role("button", name="Keep it in the list").click()
    page.get_by_text("Changes you made to the list: 1").wait_for()
    rest(page)
    after = strip(page)
    assert after != before
    page.reload()
    page.get_by_text("Changes you made to the list: 1").click()
    rest(page)
    assert strip(page) == after
    page.get_by_role("button", name=re.compile("^Take back")).click()
    page.get_by_text("Changes you made to the list: 1").wait_for(state="detached")
    rest(page)
    assert strip(page) == before


def test_one_press_leaves_a_known_site_out(page) -> None:
    go(page, "Share")
    before = strip(page)
    page.get_by_role("tab", name="Sites you know").click()
    page.get_by_role("button", name="Leave K36 out").press("Enter")
    page.get_by_text("1 left out of the fit").wait_for()
    rest(page)
    assert strip(page) != before
    assert page.get_by_role("tab", selected=True).inner_text() == "Sites you know"
    page.get_by_role("button", name="Undo").click()
    page.get_by_text("none left out of the fit").wait_for()
    rest(page)
    assert strip(page) == before


def test_map_behind_a_closed_tab_shows_the_town_once_opened(page) -> None:
    go(page, "Share")
    page.get_by_role("tab", name="First and second site").click()
    page.get_by_text("The squares that most would move from").wait_for()
    scale = page.frame_locator("iframe[title*='folium']").locator(".leaflet-control-scale-line")
    scale.get_by_text(re.compile(r"^(1|2) mi$|^[0-9]+ ft$")).wait_for(timeout=20_000)


@pytest.mark.parametrize(("screen", "width"), [("Share", 390), ("Rivals & people", 1280)])
def test_every_part_is_open_to_all(page, screen, width) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    go(page, screen)
    page.set_viewport_size({"width": width, "height": 900})
    for tab in TABS[screen]:
        page.get_by_role("tab", name=tab).click()
        rest(page)
        assert page.get_by_test_id("stException").count() == 0
        assert page.get_by_test_id("stAlert").count() == 0, tab
        found = axe.Axe().run(page).response["violations"]
        grave = [
            (fault["id"], [node["html"][:120] for node in fault["nodes"]][:3])
            for fault in found
            if fault["impact"] in {"serious", "critical"} and fault["id"] not in FOREIGN
        ]
        assert grave == [], tab

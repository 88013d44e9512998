"""Can a newcomer place a site, read the strip, ask why, and change a number, with no network?"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser

#: what the toolkit itself says when a page is opened by its own address
HARMLESS = ("404 (Not Found)",)
SCREENS = (
    "Area", "Sites", "Passing", "Turning in & seeing", "Rivals & people", "Share", "Busy hour",
    "Line", "Money", "Compare", "Papers", "Trail",
)  # fmt: skip
SLOW_MS = 30_000


def open_app(watched: Any, app: Any) -> Any:
    page = watched.page
    page.set_default_timeout(SLOW_MS)
    page.goto(app.address)
    page.get_by_role("heading", level=1).wait_for()
    return page


def settle(page: Any) -> None:
    """Wait until the app has finished what it was asked."""
    for _ in range(2):
        page.wait_for_timeout(250)
        page.locator("[data-test-script-state='notRunning']").first.wait_for()


def go(page: Any, screen: str) -> None:
    page.get_by_role("link", name=screen, exact=True).click()
    page.get_by_role("heading", name=screen, level=1).wait_for()
    settle(page)


def read_strip(page: Any) -> str:
    return str(page.locator(".st-key-strip").inner_text())


def wait_for_other_strip(page: Any, before: str) -> str:
    page.wait_for_function(
        "before => { const s = document.querySelector('.st-key-strip');"
        " return s && s.innerText !== before; }",
        arg=before,
    )
    settle(page)
    return read_strip(page)


def wait_for_strip(page: Any, wanted: str) -> None:
    page.wait_for_function(
        "wanted => document.querySelector('.st-key-strip')?.innerText === wanted", arg=wanted
    )


def place_parcel(page: Any, parcel: str) -> None:
    go(page, "Sites")
    box = page.get_by_role("combobox", name=re.compile("Choose a parcel"))
    box.click()
    box.fill(parcel)
    page.get_by_role("option", name=parcel, exact=True).click()
    settle(page)
    page.locator(".st-key-strip").wait_for()


def complaints(watched: Any) -> list[str]:
    return [text for text in watched.errors if not any(word in text for word in HARMLESS)]


def test_click_on_the_map_places_a_site_and_the_strip_answers(watched, app) -> None:
    page = open_app(watched, app)
    go(page, "Sites")
    frame = page.frame_locator("iframe[title*='folium']")
    ground = frame.locator("#map_div")
    ground.wait_for()
    frame.locator(".leaflet-ground-pane canvas").wait_for()
    box = ground.bounding_box()
    ground.click(position={"x": box["width"] / 2, "y": box["height"] / 2})
    page.locator(".st-key-strip").wait_for()
    strip = read_strip(page)
    for words in ("pass a day", "are washed", "washed a day", "in design hour", "line at"):
        assert words in strip
    assert re.search(r"pay back|paid back", strip)
    assert watched.requests == []
    assert complaints(watched) == []


def test_every_screen_opens_without_a_fault(watched, app) -> None:
    page = open_app(watched, app)
    place_parcel(page, "P04")
    for screen in SCREENS:
        go(page, screen)
        settle(page)
        assert page.get_by_test_id("stException").count() == 0, screen
        assert page.locator(".st-key-strip").count() == 1, screen
    assert watched.requests == []
    assert complaints(watched) == []


def test_why_opens_with_equation_inputs_and_sources(watched, app) -> None:
    page = open_app(watched, app)
    place_parcel(page, "P04")
    for key in ("passing", "share", "cars", "hour", "line", "pay"):
        page.locator(f".st-key-why-{key} button").press("Enter")
        dialog = page.get_by_role("dialog")
        dialog.locator(".katex").first.wait_for()
        dialog.locator("summary").wait_for()
        said = dialog.inner_text()
        assert "Weakest input" in said, key
        assert "What went in" in said, key
        page.keyboard.press("Escape")
        dialog.wait_for(state="detached")
    assert complaints(watched) == []


def test_changed_number_moves_the_strip_and_survives_a_reload(watched, app) -> None:
    page = open_app(watched, app)
    place_parcel(page, "P07")
    go(page, "Money")
    before = read_strip(page)
    price = page.get_by_label("Price of a single wash, $")
    price.fill("19")
    price.press("Enter")
    after = wait_for_other_strip(page, before)
    page.reload()
    wait_for_strip(page, after)
    assert page.get_by_label("Price of a single wash, $").input_value() == "19.00"
    assert complaints(watched) == []


def test_keyboard_keeps_its_place_and_undo_brings_the_number_back(watched, app) -> None:
    page = open_app(watched, app)
    place_parcel(page, "P10")
    go(page, "Money")
    before = read_strip(page)
    price = page.get_by_label("Price of a single wash, $")
    # a box is painted with its least value for a moment before its own arrives
    page.wait_for_function(
        "[...document.querySelectorAll('input')].some(box => Number(box.value) > 0"
        " && box.ariaLabel === 'Price of a single wash, $')"
    )
    was = price.input_value()
    price.focus()
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Enter")
    wait_for_other_strip(page, before)
    focused = page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert focused == "Price of a single wash, $"
    assert price.input_value() != was
    page.get_by_role("button", name="Undo").click()
    settle(page)
    for _ in range(3):
        if price.input_value() == was:
            break
        page.get_by_role("button", name="Undo").click()
        settle(page)
    assert price.input_value() == was
    assert read_strip(page) == before
    assert complaints(watched) == []


def test_work_survives_a_crash_of_the_app(watched, make_app) -> None:
    running = make_app()
    page = open_app(watched, running)
    place_parcel(page, "P09")
    strip = read_strip(page)
    running.kill()
    running.start()
    page.goto(running.address)
    wait_for_strip(page, strip)


def test_bad_coordinates_get_one_clear_sentence(watched, app) -> None:
    page = open_app(watched, app)
    go(page, "Sites")
    for typed in ("0,0", "-98.5,40.0", "abc", "91,500"):
        page.get_by_label("Type latitude, longitude").fill(typed)
        page.get_by_role("button", name="Place it there").click()
        alert = page.get_by_test_id("stAlert")
        alert.first.wait_for()
        said = alert.first.inner_text()
        assert len(said) > 20
        assert "Traceback" not in said
    assert page.get_by_test_id("stException").count() == 0


def test_units_switch_to_metres(watched, app) -> None:
    page = open_app(watched, app)
    place_parcel(page, "P04")
    before = read_strip(page)
    assert " ft" in before
    page.get_by_text("metres, km").click()
    after = wait_for_other_strip(page, before)
    assert "m/min" in after
    page.get_by_text("feet, miles").click()
    assert wait_for_other_strip(page, after) == before


def test_forty_parcels_are_ranked_and_struck_ones_say_why(watched, app) -> None:
    page = open_app(watched, app)
    go(page, "Compare")
    page.get_by_role("button", name="Rank the parcels").click()
    table = page.get_by_role("region", name="Parcels by rank")
    table.wait_for()
    standing = table.get_by_role("row").count() - 1
    tab = page.get_by_role("tab", name=re.compile("Struck out"))
    struck = int(re.search(r"\d+", tab.inner_text())[0])
    assert (standing + struck, struck > 0) == (40, True)
    tab.click()
    reasons = page.get_by_role("region", name="each with its reason").locator("tbody tr")
    reasons.first.wait_for()
    assert reasons.count() == struck
    for row in reasons.all():
        assert len(row.locator("td").last.inner_text()) > 3
    go(page, "Sites")
    go(page, "Compare")
    table.wait_for()
    assert page.get_by_test_id("stException").count() == 0
    assert complaints(watched) == []


@pytest.mark.slow
@pytest.mark.parametrize("width", [1280, 390])
def test_no_serious_access_fault_of_ours(watched, app, width) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = open_app(watched, app)
    place_parcel(page, "P04")
    theirs = {"image-alt", "empty-table-header", "presentation-role-conflict"}
    grave = []
    for screen in SCREENS:
        page.set_viewport_size({"width": 1280, "height": 900})
        go(page, screen)
        page.set_viewport_size({"width": width, "height": 900})
        settle(page)
        for fault in axe.Axe().run(page).response["violations"]:
            if fault["impact"] in {"serious", "critical"} and fault["id"] not in theirs:
                grave.append((screen, fault["id"], fault["nodes"][0]["html"][:120]))
    assert grave == []


def test_another_area_opens_beside_the_kept_work(watched, make_app, tmp_path) -> None:
    from siteapp.own_area import write_area
    from siteapp.workspace import Inputs, Workspace

    roads = (Path(__file__).resolve().parents[2] / "data_public/demo/roads.osm").read_bytes()
    other = write_area(tmp_path, name="Mill Town", roads=("r.osm", roads), layers={})
    demo = str(Path(__file__).resolve().parents[2] / "data_public/demo")
    Workspace(tmp_path / "work.sqlite").add("kept work", Inputs(area=demo, site="parcel:P04"))
    running = make_app(other)
    page = open_app(watched, running)
    page.get_by_text("Mill Town", exact=False).first.wait_for()
    names = [kept.name for kept in Workspace(tmp_path / "work.sqlite").studies()]
    assert sorted(names) == ["New area", "kept work"]
    assert complaints(watched) == []


def test_strip_stays_in_view_while_inputs_change(watched, app) -> None:
    page = open_app(watched, app)
    place_parcel(page, "P04")
    go(page, "Line")
    page.get_by_label("Pay lanes").scroll_into_view_if_needed()
    settle(page)
    page.mouse.move(800, 500)
    page.mouse.wheel(0, 1500)
    page.wait_for_timeout(300)
    top = page.locator(".st-key-strip").bounding_box()["y"]
    assert -1 <= top < 120

"""Is the way to a site driven by keyboard and without motion? Does a map keep its layers?"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from capture.basis import LocalProjection, escape_text
from capture.papers.drive import MOST_S, make_drive
from capture.papers.maps import make_map, render_map
from capture.papers.marks import MapLayer, mark_area, mark_point

PLANE = LocalProjection(centre_lat=40.0, centre_lon=-75.0)
HOSTILE = "</script><script>window.struck=1</script><img src=x onerror='window.struck=1'>{{7*191}}"


def make_way(name: str, steps: int = 6) -> dict[str, Any]:
    """Make a drive north over a few seconds, hidden first, then in view."""
    lat, lon = PLANE.to_latlon(np.zeros(steps), np.arange(steps) * 15.0)
    grid = np.rint(np.column_stack([lat, lon]) * 1e7).astype(np.int64)
    return {
        "name": escape_text(name),
        "line": np.diff(grid, axis=0, prepend=0).ravel().tolist(),
        "turn": [0] * steps,
        "view": ["0000", "0000", *["1010"] * (steps - 2)],
        "far": [escape_text(f"{name} {k}") for k in range(steps)],
        "said": [escape_text(f"{name} seen {k}") for k in range(steps)],
        "events": [[2, escape_text(f"{name} passed")], [steps - 1, "The driveway"]],
        "aims": [[40.001, -75.0]] * 3,
    }


def render(*, drive: dict[str, Any] | None = None, memory: str = "map") -> str:
    lat, lon = (float(v[0]) for v in PLANE.to_latlon([0.0], [0.0]))
    layers = [MapLayer(name="The site", marks=(mark_point(lat, lon, "site", title="P01"),))]
    made = make_map(layers, centre=(lat, lon), zoom=17, drive=drive, memory=memory, inline=False)
    return render_map(made, title="Map")


def open_page(watched: Any, tmp_path: Any, text: str, name: str = "map.html") -> Any:
    path = tmp_path / name
    path.write_text(text, "utf-8")
    watched.page.goto(path.as_uri())
    watched.page.wait_for_function("window.siteMapDrawn === true")
    return watched.page


def make_plan(*names: str) -> dict[str, Any]:
    return {
        "names": ["sign", "building", "driveway", "letters"],
        "ways": [make_way(name) for name in names],
        "open": True,
    }


@pytest.mark.browser
def test_way_is_driven_by_keyboard_and_says_what_is_in_view(watched, tmp_path) -> None:
    page = open_page(watched, tmp_path, render(drive=make_plan("Mill Road", "Oak Street")))
    slider = page.get_by_role("slider", name="Seconds on the way to the driveway")
    said = page.locator(".site-drive-said")
    assert "5 s to go" in said.inner_text()
    slider.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert "3 s to go" in said.inner_text()
    assert "Mill Road seen 2" in str(slider.get_attribute("aria-valuetext"))
    assert page.locator(".site-drive-now").inner_text() == "Mill Road passed"
    dashes = page.evaluate(
        "[...document.querySelectorAll('.leaflet-overlay-pane path')]"
        ".map((p) => p.getAttribute('stroke-dasharray'))"
    )
    assert dashes.count("2 6") == 1  # only the building front is hidden by then
    page.keyboard.press("End")
    assert "At the driveway" in said.inner_text()
    assert page.get_by_role("button", name="Again").is_visible()
    page.locator(".site-drive select").select_option(label="Oak Street")
    assert "Oak Street seen 0" in said.inner_text()
    assert watched.requests == []
    assert watched.errors == []


@pytest.mark.browser
def test_way_drives_by_itself_unless_less_motion_is_asked_for(watched, tmp_path) -> None:
    page = open_page(watched, tmp_path, render(drive=make_plan("Mill Road")))
    page.get_by_role("button", name="Drive", exact=True).click()
    page.wait_for_function(
        "document.querySelector('.site-drive-said').textContent.includes('At the driveway')"
    )
    page.emulate_media(reduced_motion="reduce")
    page.reload()
    page.wait_for_function("window.siteMapDrawn === true")
    step = page.get_by_role("button", name="Next second")
    step.click()
    page.wait_for_timeout(1500)
    assert "4 s to go" in page.locator(".site-drive-said").inner_text()


@pytest.mark.browser
def test_hostile_names_stay_text_while_driving(watched, tmp_path) -> None:
    page = open_page(watched, tmp_path, render(drive=make_plan(HOSTILE, HOSTILE)))
    page.keyboard.press("Tab")
    page.locator(".site-drive input").fill("3")
    shown = page.locator(".site-drive").inner_text()
    assert "<img src=x" in shown
    assert "{{7*191}}" in shown
    assert page.evaluate("window.struck") is None
    assert page.locator(".site-drive img").count() == 0
    assert watched.errors == []


@pytest.mark.browser
def test_layers_are_remembered_map_by_map_over_a_reload(watched, tmp_path) -> None:
    page = open_page(watched, tmp_path, render(memory="rivals"), "a.html")
    open_panel = "document.querySelector('.site-panel').open = true"
    page.evaluate(open_panel)
    page.get_by_label("The site").uncheck()
    page.reload()
    page.wait_for_function("window.siteMapDrawn === true")
    assert page.locator("[aria-label='P01']").count() == 0
    page = open_page(watched, tmp_path, render(memory="turning"), "b.html")
    assert page.locator("[aria-label='P01']").count() == 1


@pytest.mark.browser
def test_a_map_on_paper_has_a_key_of_what_is_on(watched, tmp_path) -> None:
    page = open_page(watched, tmp_path, render())
    page.emulate_media(media="print")
    page.wait_for_function("document.querySelector('.site-key').children.length === 1")
    assert page.locator(".site-key").inner_text().strip() == "the site"
    assert page.locator(".site-panel").is_hidden()
    assert page.locator(".site-print").is_hidden()


@pytest.mark.property
def test_fine_shapes_are_kept_to_a_centimetre() -> None:
    import shapely

    box = shapely.box(10.0, 20.0, 12.1, 25.8)
    mark = mark_area(box, "queue-car", PLANE, fine=True)
    steps = np.array(mark.shape[0], dtype=float).reshape(-1, 2).cumsum(axis=0) / 1e7
    x, y = PLANE.to_xy(steps[:, 0], steps[:, 1])
    drawn = shapely.Polygon(np.column_stack([x, y]))
    assert shapely.hausdorff_distance(drawn, box) < 0.02
    assert mark.to_page()["f"] == 1


def test_drive_of_a_study_ends_at_its_driveway_and_is_plain_json(demo_study) -> None:
    drive = make_drive(demo_study)
    assert json.loads(json.dumps(drive)) == drive
    assert len(drive["ways"]) == len(demo_study.streams.edge)
    plane = demo_study.place.network.projection
    for r, way in enumerate(drive["ways"]):
        count = len(way["view"])
        assert 2 <= count <= MOST_S + 1
        assert {len(way[name]) for name in ("turn", "far", "said")} == {count}
        spots = np.array(way["line"], dtype=float).reshape(-1, 2).cumsum(axis=0) / 1e7
        x, y = plane.to_xy(spots[:, 0], spots[:, 1])
        row = int(demo_study.streams.driveway[r])
        frontage = demo_study.frontage
        end = np.hypot(x[-1] - frontage.line_x[row], y[-1] - frontage.line_y[row])
        assert end < 15.0
        steps = np.hypot(np.diff(x), np.diff(y))
        assert np.median(steps) == pytest.approx(float(demo_study.streams.speed_mps[r]), rel=0.1)
        assert way["events"][-1][0] == count - 1
        assert "driveway" in way["events"][-1][1]


def test_hostile_rival_on_the_way_is_escaped(hostile_study) -> None:
    told = json.dumps(make_drive(hostile_study))
    assert "<script>" not in told
    assert "{{7*191}}" not in told


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 390])
def test_drive_has_no_access_fault(watched, tmp_path, width) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    watched.page.set_viewport_size({"width": width, "height": 800})
    page = open_page(watched, tmp_path, render(drive=make_plan("Mill Road", "Oak Street")))
    page.evaluate("document.querySelector('.site-drive').open = true")
    page.locator(".site-drive input").fill("3")
    found = axe.Axe().run(page).response["violations"]
    assert [v["id"] for v in found if v["impact"] in {"serious", "critical"}] == []

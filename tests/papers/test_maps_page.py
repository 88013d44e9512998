"""Does a map draw with the network cut off, and does text from outside stay text?"""

from __future__ import annotations

import re
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from capture.basis import InputError, LocalProjection
from capture.papers.background import keep_background, make_background
from capture.papers.look import LOOKS
from capture.papers.maps import make_map, render_map
from capture.papers.marks import MapLayer, mark_area, mark_line, mark_point

PLANE = LocalProjection(centre_lat=40.0, centre_lon=-75.0)
HOSTILE = (
    "{{7*191}}",
    "<script>window.struck=1</script>",
    "<img src=x onerror='window.struck=1'>",
    "`${window.struck=1}`",
    "{% for i in range(3) %}a{% endfor %}",
    "{#hidden#}",
    "</script><script>window.struck=1</script>",
    "\\u003cscript\\u003ewindow.struck=1\\u003c/script\\u003e",
    "'\"); window.struck=1; //",
)


def make_grid_place(side: int = 6, step_m: float = 200.0) -> SimpleNamespace:
    """Make a small square net of streets with houses."""
    at = np.arange(side) * step_m
    lines = [[(at[0], y), (at[-1], y)] for y in at] + [[(x, at[0]), (x, at[-1])] for x in at]
    points = np.array(lines, dtype=float).reshape(-1, 2)
    lat, lon = PLANE.to_latlon(points[:, 0], points[:, 1])
    network = SimpleNamespace(
        projection=PLANE,
        node_x=points[:, 0],
        node_y=points[:, 1],
        node_lat=lat,
        node_lon=lon,
        geom_x=points[:, 0],
        geom_y=points[:, 1],
        geom_indptr=np.arange(0, len(points) + 1, 2),
        segment_class=np.arange(len(lines)) % 9,
    )
    houses = np.array([shapely.box(x + 20, y + 20, x + 60, y + 50) for x in at for y in at])
    return SimpleNamespace(network=network, buildings=SimpleNamespace(polygons=houses))


def make_hostile_layers() -> list[MapLayer]:
    lat, lon = (float(v[0]) for v in PLANE.to_latlon([500.0], [500.0]))
    return [
        MapLayer(
            name=name,
            marks=(
                mark_point(lat, lon, "rival", title=name, lines=((name, name),), label=name),
                mark_line([(0, 0), (900, 900)], "stream-near", PLANE, title=name),
                mark_area(shapely.box(0, 0, 300, 300), "parcel", PLANE, title=name),
            ),
            words={"rival": name},
        )
        for name in HOSTILE
    ]


def render(layers: list[MapLayer], place: SimpleNamespace, **more: object) -> str:
    ground = make_background(place)
    made = make_map(layers, background=ground, inline=False, **more)
    return render_map(made, title="{{7*191}} <b>map</b>", background=ground)


@pytest.mark.regression
def test_no_name_is_evaluated_as_template() -> None:
    page = render(make_hostile_layers(), make_grid_place(), credits=HOSTILE)
    body = page.rpartition("siteMap.draw(")[2]
    assert "1337" not in body
    assert "<script>window.struck" not in page
    assert "<img src=x" not in page
    for mark in ("{{", "{%", "{#", "`", "${"):
        assert mark not in body, mark
    assert "<title>&lt;b&gt;" not in page
    assert "&#123;&#123;7*191" in page


@pytest.mark.browser
def test_hostile_names_are_shown_as_text(watched, tmp_path) -> None:
    path = tmp_path / "map.html"
    path.write_text(render(make_hostile_layers(), make_grid_place(), credits=HOSTILE), "utf-8")
    page = watched.page
    page.goto(path.as_uri())
    page.wait_for_function("window.siteMapDrawn === true")
    assert page.evaluate("window.struck") is None
    said = page.inner_text("body")
    assert "{{7*191}}" in said
    assert "1337" not in said
    assert "<img src=x onerror='window.struck=1'>" in said
    page.locator(".site-mark").first.hover(force=True)
    assert page.evaluate("window.struck") is None
    assert watched.requests == []
    assert watched.errors == []


@pytest.mark.browser
def test_export_opens_from_disk_without_a_request(watched, tmp_path) -> None:
    place = make_grid_place()
    lat, lon = (float(v[0]) for v in PLANE.to_latlon([500.0], [500.0]))
    layers = [MapLayer(name="The site", marks=(mark_point(lat, lon, "site", title="P01"),))]
    path = tmp_path / "map.html"
    path.write_text(render(layers, place), "utf-8")
    page = watched.page
    page.goto(path.as_uri())
    page.wait_for_function("window.siteMapDrawn === true")
    assert page.evaluate("document.documentElement.lang") == "en"
    assert "maximum-scale" not in page.content()
    assert page.locator("[aria-label='P01']").count() == 1
    drawn = page.evaluate(
        "(() => { const c = document.querySelector('.leaflet-ground-pane canvas');"
        " const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;"
        " let n = 0; for (let i = 3; i < d.length; i += 4) { if (d[i]) n += 1; } return n; })()"
    )
    assert drawn > 5000
    page.locator("summary").press("Enter")
    box = page.get_by_label("The site")
    page.locator("summary").press("Enter")
    box.uncheck()
    assert page.locator("[aria-label='P01']").count() == 0
    assert watched.requests == []
    assert watched.errors == []


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 390])
def test_export_has_no_access_fault(watched, tmp_path, width) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    place = make_grid_place()
    lat, lon = (float(v[0]) for v in PLANE.to_latlon([500.0], [500.0]))
    layers = [MapLayer(name="The site", marks=(mark_point(lat, lon, "site", title="P01"),))]
    path = tmp_path / "map.html"
    path.write_text(render(layers, place), "utf-8")
    watched.page.set_viewport_size({"width": width, "height": 800})
    watched.page.goto(path.as_uri())
    watched.page.wait_for_function("window.siteMapDrawn === true")
    found = axe.Axe().run(watched.page).response["violations"]
    assert [v["id"] for v in found if v["impact"] in {"serious", "critical"}] == []


@pytest.mark.property
def test_same_map_same_bytes() -> None:
    place = make_grid_place()
    assert render(make_hostile_layers(), place) == render(make_hostile_layers(), place)


def test_page_names_no_address_that_it_would_fetch() -> None:
    page = render([], make_grid_place())
    assert re.findall(r"""<link[^>]+href=["'](?!data:)|\bsrc=["'](?!data:)[^"']+""", page) == []
    assert "url(images" not in page
    assert "sourceMappingURL" not in page


@pytest.mark.property
def test_background_is_within_a_metre_and_a_half_of_the_roads() -> None:
    rng = np.random.default_rng(3)
    place = make_grid_place()
    points = np.column_stack([np.linspace(0, 1000, 60), rng.normal(0, 5, 60).cumsum()])
    place.network.geom_x, place.network.geom_y = points[:, 0], points[:, 1]
    place.network.geom_indptr = np.array([0, 60])
    place.network.segment_class = np.array([2])
    bundles = __import__("json").loads(make_background(place).script[18:-1])["roads"][1]
    steps = np.array(bundles[0][0], dtype=float).reshape(-1, 2).cumsum(axis=0) / 1e5
    x, y = PLANE.to_xy(steps[:, 0], steps[:, 1])
    drawn = shapely.LineString(np.column_stack([x, y]))
    assert shapely.hausdorff_distance(drawn, shapely.LineString(points)) < 1.5 + 0.8
    assert len(steps) < 60


def test_background_says_how_much_it_left_out(monkeypatch) -> None:
    monkeypatch.setattr("capture.papers.background.MOST_BUILDINGS", 10)
    ground = make_background(make_grid_place())
    assert ground.buildings == (10, 36)
    assert ground.roads == (12, 12)


def test_background_is_packed_once_per_place() -> None:
    place = make_grid_place()
    assert keep_background(place) is keep_background(place)
    assert keep_background(make_grid_place()) is not keep_background(place)


@pytest.mark.parametrize(
    "url",
    [
        "javascript:alert(1)//{z}{x}{y}",
        "https://tiles.example/{{7*191}}/{z}/{x}/{y}.png",
        "https://tiles.example/{z}/{x}.png",
        "https://tiles.example/{z}/{x}/{y}/{evil}.png",
        "https://tiles.example/{z}/{x}/{y}'><script>",
    ],
)
def test_odd_tile_address_is_refused(url) -> None:
    with pytest.raises(InputError, match="tiles: the address must start with http"):
        make_map([], tiles_url=url)


@pytest.mark.browser
def test_unreachable_tiles_leave_the_background(watched, tmp_path) -> None:
    place = make_grid_place()
    path = tmp_path / "map.html"
    page_text = render([], place, tiles_url="https://tiles.example/{z}/{x}/{y}.png")
    path.write_text(page_text, "utf-8")
    watched.page.goto(path.as_uri())
    watched.page.wait_for_function("window.siteMapDrawn === true")
    assert all(url.startswith("https://tiles.example/") for url in watched.requests)
    assert watched.page.locator(".leaflet-ground-pane canvas").count() == 1


def test_every_look_can_be_told_without_colour() -> None:
    roads = [look for key, look in LOOKS.items() if key.startswith("road-")]
    assert len({(look.width, look.dash) for look in roads}) == len(roads)
    for first, second in (("sight-clear", "sight-blocked"), ("stream-near", "stream-far")):
        assert LOOKS[first].dash != LOOKS[second].dash
    shapes = {(LOOKS[k].shape, LOOKS[k].fill) for k in ("site", "rival", "rival-like", "count")}
    assert len(shapes) == 4


@pytest.mark.browser
def test_tiles_from_this_machine_are_laid_under_the_background(watched, tmp_path) -> None:
    """A stand-in tile server on this machine: its tiles are drawn, its credit stays text."""
    import http.server
    import threading

    asked = []

    class Tiles(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_response(200)
            self.send_header("Content-Type", "image/svg+xml")
            self.end_headers()
            self.wfile.write(b'<svg xmlns="http://www.w3.org/2000/svg" width="256" height="256"/>')

        def log_message(self, *_: object) -> None:
            return

    server = http.server.ThreadingHTTPServer(("localhost", 0), Tiles)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        url = f"http://localhost:{server.server_port}/{{z}}/{{x}}/{{y}}.svg"
        page = render([], make_grid_place(), tiles_url=url, tiles_credit="{{7*191}} <b>x</b>")
        path = tmp_path / "map.html"
        path.write_text(page, "utf-8")
        watched.page.goto(path.as_uri())
        watched.page.locator(".leaflet-tile-loaded").first.wait_for()
        said = watched.page.locator(".leaflet-control-attribution").inner_text()
    finally:
        server.shutdown()
        server.server_close()
    assert asked
    assert "{{7*191}} <b>x</b>" in said
    assert "1337" not in said
    assert watched.errors == []

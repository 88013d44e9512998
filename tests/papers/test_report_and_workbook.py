"""Do report, workbook and layers hold what the study says, open elsewhere, and run nothing?"""

from __future__ import annotations

import dataclasses
import io
import re

import geopandas
import numpy as np
import openpyxl
import pytest

from capture.papers.argument import make_argument
from capture.papers.drawing import Axis, Drawing
from capture.papers.figures import draw_line, draw_map, draw_queue, draw_share
from capture.papers.layers_out import make_layers_out, render_geojson
from capture.papers.pictures import make_queue_table, make_share_table, make_station_table
from capture.papers.report import Part, make_report, render_report_html, render_report_pdf
from capture.papers.tables import write_geopackage
from capture.papers.workbook import make_sheets, render_workbook

HOSTILE = '</text><script>window.struck=1</script> #panic("x") {{7*191}} =1+1'


@pytest.fixture(scope="module")
def report(demo_study):
    return make_report(demo_study, date="1 May 2024", author="A. Planner")


def test_report_says_the_argument_and_where_it_is_weak(report, demo_study) -> None:
    page = render_report_html(report)
    for claim in make_argument(demo_study):
        assert claim.said in page
    for words in ("What we do not know", "Where the numbers come from", "invented demo data",
                  "A. Planner", "1 May 2024", "per passing"):  # fmt: skip
        assert words in page
    assert page.count("<svg") == 6
    for caution in demo_study.cautions[:3]:
        assert caution[:40].replace("'", "&#x27;") in page


def test_pdf_is_short_and_tagged(report) -> None:
    pdf = render_report_pdf(report)
    assert pdf.startswith(b"%PDF-")
    assert 4 <= max(map(int, re.findall(rb"/Count (\d+)", pdf))) <= 7
    assert b"/MarkInfo" in pdf
    assert b"/Lang" in pdf


def test_same_report_same_bytes(report) -> None:
    assert render_report_pdf(report) == render_report_pdf(report)


@pytest.mark.regression
def test_hostile_text_is_printed_as_text(report) -> None:
    hostile = dataclasses.replace(
        report,
        heading=HOSTILE,
        fact=HOSTILE,
        footer=HOSTILE,
        parts=(
            Part(kind="heading", text=HOSTILE),
            Part(kind="text", text=HOSTILE),
            Part(kind="list", items=(HOSTILE,)),
        ),
    )
    assert render_report_pdf(hostile).startswith(b"%PDF-")
    page = render_report_html(hostile)
    assert "<script" not in page
    assert "{{" not in page


@pytest.mark.regression
def test_hostile_text_in_a_picture_stays_text() -> None:
    drawing = Drawing(10, 10, HOSTILE)
    drawing.text(0, 0, HOSTILE)
    assert "<script" not in drawing.render()


@pytest.mark.browser
def test_html_report_opens_without_a_request(watched, report, tmp_path) -> None:
    path = tmp_path / "report.html"
    path.write_text(render_report_html(report), "utf-8")
    watched.page.goto(path.as_uri())
    assert watched.page.locator("h2").count() >= 6
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    found = axe.Axe().run(watched.page).response["violations"]
    assert [v["id"] for v in found if v["impact"] in {"serious", "critical"}] == []
    assert watched.requests == []
    assert watched.errors == []


def test_pictures_hold_what_the_tables_say(demo_study) -> None:
    stations = make_station_table(demo_study)
    line = draw_line(stations, "us")
    assert line.count("<rect") == (stations["length_m"] > 0).sum()
    share = draw_share(make_share_table(demo_study))
    assert "share washed here" in share
    queue = draw_queue(make_queue_table(demo_study), demo_study.queue.stacking_places)
    assert "19 of 20" in queue
    assert "the site" in draw_map(demo_study)


@pytest.mark.property
@pytest.mark.parametrize(("low", "high"), [(0, 1), (-8.3, 9.1), (0, 97), (0, 0.0123), (5, 5)])
def test_ticks_lie_on_the_axis_and_are_even(low, high) -> None:
    ticks = np.array(Axis(low=low, high=high, start=0, end=100).ticks())
    assert 1 <= len(ticks) <= 12
    assert (ticks >= low - 1e-9).all()
    assert (ticks <= high + 1e-9).all()
    if len(ticks) > 2:
        assert np.allclose(np.diff(ticks), np.diff(ticks)[0])


def test_workbook_opens_and_holds_values_not_formulas(demo_study) -> None:
    book = openpyxl.load_workbook(io.BytesIO(render_workbook(demo_study)))
    assert {"About", *make_sheets(demo_study)} == set(book.sheetnames)
    kinds = {cell.data_type for sheet in book for row in sheet for cell in row}
    assert "f" not in kinds
    first = book["Argument"]
    cars = next(row for row in first.iter_rows(values_only=True) if row[0] == "washed a day")
    assert cars[1] == pytest.approx(np.median(demo_study.cars_per_year) / 365, rel=1e-5)
    assert cars[6] == "step.year"


@pytest.mark.property
def test_same_workbook_same_bytes(demo_study) -> None:
    assert render_workbook(demo_study) == render_workbook(demo_study)


def test_layers_open_in_other_programs(demo_study, tmp_path) -> None:
    layers = make_layers_out(demo_study)
    assert {"site", "driveways", "streams", "roads", "rivals", "ten_minutes"} == set(layers)
    path = tmp_path / "layers.gpkg"
    write_geopackage(layers, path)
    for name, frame in layers.items():
        back = geopandas.read_file(path, layer=name)
        assert len(back) == len(frame), name
        assert back.crs == "EPSG:4326"
    west, south, east, north = layers["roads"].total_bounds
    assert west < float(demo_study.sites.lon[0]) < east
    assert south < float(demo_study.sites.lat[0]) < north
    streams = geopandas.read_file(io.StringIO(render_geojson(layers["streams"])))
    assert len(streams) == len(layers["streams"])
    assert "Infinity" not in render_geojson(layers["roads"])

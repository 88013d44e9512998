"""Does a report hold what the study says, print the same each time, and run nothing?"""

from __future__ import annotations

import dataclasses
import re
import shutil
import struct
import subprocess
import zlib
from pathlib import Path

import numpy as np
import pytest

from capture.basis import InputError, Offer
from capture.basis.text import escape_text
from capture.chain import study
from capture.papers.argument import make_argument
from capture.papers.logo import MOST_BYTES, check_logo
from capture.papers.printing import find_fonts
from capture.papers.report import make_report
from capture.papers.report_html import render_report_html
from capture.papers.report_parts import list_layers
from capture.papers.report_pdf import render_report_pdf
from capture.papers.words import say_lengths

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"


def draw_png(width: int, height: int) -> bytes:
    """Make a PNG of one colour."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        body = kind + content
        return struct.pack(">I", len(content)) + body + struct.pack(">I", zlib.crc32(body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    rows = (b"\x00" + b"\x20\x60\x70" * width) * height
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )  # fmt: skip


def read_pdf(pdf: bytes) -> str:
    """Read the words of a PDF with another program."""
    program = shutil.which("pdftotext")
    if program is None:
        pytest.skip("pdftotext is not installed")
    done = subprocess.run(
        [program, "-layout", "-", "-"], input=pdf, capture_output=True, check=True
    )
    return done.stdout.decode("utf-8")


@pytest.fixture(scope="module")
def report(demo_study):
    return make_report(demo_study, date="1 May 2024", author="A. Planner")


@pytest.fixture(scope="module")
def pdf(report) -> bytes:
    return render_report_pdf(report)


def test_report_says_the_argument_and_where_it_is_weak(report, demo_study) -> None:
    page = render_report_html(report)
    for claim in make_argument(demo_study):
        assert claim.said in page
    for words in ("What we do not know", "Where the numbers come from", "invented demo data",
                  "estimated", "A. Planner", "1 May 2024", "per passing", "CC0 1.0",
                  "Deal-breakers", "The queue", "Water and power"):  # fmt: skip
        assert words in page
    assert page.count("<svg") == 10
    for caution in demo_study.cautions:
        assert escape_text(say_lengths(caution)[1:60]) in page


def test_printed_pages_say_the_same_as_the_page_for_screens(pdf, report, demo_study) -> None:
    text = " ".join(read_pdf(pdf).split())
    for claim in make_argument(demo_study):
        assert claim.said in text
    for section in report.sections:
        for part in section.parts:
            if part.kind == "heading":
                assert part.text in text
    for station in demo_study.line.stations:
        assert station.name in text


def test_pdf_has_six_pages_at_most_and_can_be_read_aloud(pdf) -> None:
    assert pdf.startswith(b"%PDF-")
    assert 4 <= max(map(int, re.findall(rb"/Count (\d+)", pdf))) <= 6
    assert b"/MarkInfo" in pdf
    assert b"/Lang" in pdf
    assert b"pdfuaid" in pdf


def test_pdf_is_set_in_the_face_that_comes_along(pdf) -> None:
    faces = set(re.findall(rb"/FontName\s*/[A-Z]{6}\+([A-Za-z-]+)", pdf))
    assert faces
    assert all(face.startswith(b"SourceSansPro") for face in faces)
    licence = (find_fonts()[0].parent / "LICENSE.txt").read_text("utf-8", "replace")
    assert "SIL Open Font License" in licence


@pytest.mark.property
def test_same_report_same_bytes(report, pdf, demo_study) -> None:
    assert render_report_pdf(report) == pdf
    again = make_report(demo_study, date="1 May 2024", author="A. Planner")
    assert again == report
    assert b"CreationDate" not in pdf or b"D:1970" in pdf


def test_report_without_a_date_names_the_year(demo_study) -> None:
    assert "for the year 2024" in make_report(demo_study).footer


def test_layers_are_told_with_their_words_and_what_is_missing(demo_study) -> None:
    table = list_layers(demo_study.area)
    assert set(table["known"]) == {"invented demo data", "not given"}
    assert (table["source"].str.len() > 0).all()


def test_a_fail_is_said_on_the_cover(demo_study) -> None:
    assert demo_study.ground.status == "fail"
    assert "fails" in make_report(demo_study).fact


@pytest.mark.parametrize(
    ("site", "offer", "system", "pages"),
    [
        ("parcel:P02", Offer(format="in_bay", bays=3), "us", 5),
        ("43.6058,-87.3080", Offer(), "metric", 6),
        ("parcel:P30", Offer(format="full_service"), "us", 6),
    ],
)
def test_every_kind_of_site_fits_its_pages(site, offer, system, pages) -> None:
    made = study(DEMO, site, offer, draws=60, year=2024)
    printed = render_report_pdf(make_report(made, system=system))
    assert max(map(int, re.findall(rb"/Count (\d+)", printed))) <= pages
    assert ("The line to scale" in render_report_html(make_report(made))) == offer.is_conveyor


@pytest.mark.regression
def test_hostile_names_are_printed_as_names(hostile_study) -> None:
    text = read_pdf(render_report_pdf(make_report(hostile_study, author="#x {{7*191}} <b>")))
    assert "1337" not in text
    assert "{{7*191}}" in text
    assert '#panic("x")' in text
    assert "<script>" in text
    assert "*b* _c_" in text


@pytest.mark.regression
def test_hostile_names_never_run_in_html(hostile_study) -> None:
    page = render_report_html(make_report(hostile_study, author="#x {{7*191}} <b>"))
    assert "<script" not in page
    assert not re.search(r"\{\{|\$\{", re.sub(r"<svg.*?</svg>", "", page, flags=re.S))


@pytest.mark.browser
def test_html_report_opens_without_a_request(watched, report, tmp_path) -> None:
    path = tmp_path / "report.html"
    path.write_text(render_report_html(report), "utf-8")
    watched.page.goto(path.as_uri())
    assert watched.page.locator("h2").count() >= 8
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    found = axe.Axe().run(watched.page).response["violations"]
    assert [v["id"] for v in found if v["impact"] in {"serious", "critical"}] == []
    assert watched.requests == []
    assert watched.errors == []


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (draw_png(40, 20), "png"),
        (b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 2"><rect width="4" height="2" '
         b'fill="#a00"/></svg>', "svg"),
    ],
)  # fmt: skip
def test_own_logo_stands_on_the_cover(demo_study, report, pdf, content, kind) -> None:
    own = make_report(demo_study, date="1 May 2024", author="A. Planner", logo=content)
    assert own.logo is not None
    assert own.logo.kind == kind
    assert dataclasses.replace(own, logo=None) == report
    assert render_report_pdf(own) != pdf
    assert own.logo.uri in render_report_html(own)


def test_jpeg_logo_is_measured() -> None:
    head = b"\xff\xd8\xff\xe0\x00\x04\x00\x00\xff\xc0\x00\x0b\x08\x00\x10\x00\x20\x01\x01\x11\x00"
    assert check_logo(head + bytes(8)).kind == "jpg"
    huge = head.replace(b"\x08\x00\x10\x00\x20", b"\x08\xff\xff\x00\x20")
    with pytest.raises(InputError, match="pixels a side"):
        check_logo(huge + bytes(8))
    with pytest.raises(InputError, match="broken"):
        check_logo(b"\xff\xd8\xff\xe0\x00\x04")


SVG = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">{}</svg>'


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "up to"),
        (bytes(MOST_BYTES + 1), "up to"),
        (b"GIF89a....", "PNG, JPEG or SVG"),
        (draw_png(40, 20)[:20], "broken"),
        (draw_png(1, 1)[:16] + struct.pack(">II", 90_000, 1) + draw_png(1, 1)[24:], "pixels"),
        (SVG.format("<script>1</script>").encode(), "only draw"),
        (SVG.format("<foreignObject/>").encode(), "only draw"),
        (SVG.format('<rect onload="x()"/>').encode(), "run anything"),
        (SVG.format('<use xlink:href="file:///etc/passwd"/>').encode(), "point into itself"),
        (SVG.format("<image href='#a'/>").encode(), "only draw"),
        (SVG.format("<style>@import 'x'</style>").encode(), "fetch nothing"),
        (SVG.format('<rect style="fill:url(http://x)"/>').encode(), "fetch nothing"),
        (b'<!DOCTYPE svg [<!ENTITY a "b">]>' + SVG.format("&a;").encode(), "DOCTYPE"),
        (SVG.format("<g>").encode(), "not well-formed"),
        (b'<?xml-stylesheet href="http://a/b.css"?>' + SVG.format("").encode(), "style sheet"),
        (b"<html><svg/></html>", "outermost"),
        (SVG.format("").encode("utf-16"), "PNG, JPEG or SVG"),
        (b"<svg>\xff\xfe</svg>", "UTF-8"),
    ],
)
def test_unsafe_or_large_logos_are_refused(content, words) -> None:
    with pytest.raises(InputError, match=words):
        check_logo(content)


def test_numbers_on_the_cover_are_the_study_s(report, demo_study) -> None:
    day = float(np.median(demo_study.cars_per_year)) / 365
    assert float(report.facts[0].said.replace(",", "")) == pytest.approx(day, rel=5e-3)
    chance = float(np.asarray(demo_study.money.chance_npv_positive)[0])
    assert float(report.facts[2].said.rstrip(" %")) == pytest.approx(100 * chance, rel=0.06)

"""Do papers open in programs that are not ours: a spreadsheet, a map library, a PDF reader?

The programs are looked for and left out, saying so, where they are not installed.
"""

from __future__ import annotations

import csv
import io
import itertools
import json
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import geopandas
import openpyxl
import pytest

from capture.papers import write_report_papers, write_screen_papers
from capture.papers.layers_out import make_layers_out, render_geojson
from capture.papers.workbook import render_ranking_workbook, render_workbook

#: every sheet as a CSV file of its own: comma, quote, UTF-8, values as stored, all sheets
ALL_SHEETS = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1"


def need(*programs: str) -> Any:
    missing = [name for name in programs if shutil.which(name) is None]
    return pytest.mark.skipif(bool(missing), reason=f"not installed: {', '.join(missing)}")


def run(*command: str | Path, within_s: float = 120) -> str:
    done = subprocess.run(
        [str(word) for word in command], capture_output=True, text=True, timeout=within_s,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


def convert(path: Path, to: str, folder: Path) -> None:
    home = (folder / "office").resolve().as_uri()
    run(
        "soffice", "--headless", "--norestore", f"-env:UserInstallation={home}", "--convert-to",
        to, "--outdir", folder, path,
    )  # fmt: skip


def read_office(content: bytes, folder: Path, name: str) -> dict[str, list[list[str]]]:
    """Open a workbook in LibreOffice and read back every sheet, by its name."""
    path = folder / f"{name}.xlsx"
    path.write_bytes(content)
    convert(path, ALL_SHEETS, folder)
    return {
        file.stem.removeprefix(f"{name}-"): list(csv.reader(io.StringIO(file.read_text("utf-8"))))
        for file in folder.glob(f"{name}-*.csv")
    }


def assert_same_cells(content: bytes, sheets: dict[str, list[list[str]]]) -> None:
    book = openpyxl.load_workbook(io.BytesIO(content))
    assert set(sheets) == set(book.sheetnames)
    for sheet in book:
        rows = list(sheet.iter_rows(values_only=True))
        read = sheets[sheet.title]
        assert len(read) == len(rows), sheet.title
        for ours, theirs in zip(rows, read, strict=True):
            for value, text in zip(ours, theirs, strict=False):
                if isinstance(value, int | float) and text.endswith("%"):
                    assert float(text[:-1]) / 100 == pytest.approx(value, abs=5.1e-3)
                elif isinstance(value, int | float):
                    assert float(text) == pytest.approx(value, rel=1e-12), (sheet.title, value)
                else:
                    assert text == (value or ""), sheet.title


@need("soffice")
def test_workbook_reads_the_same_in_a_spreadsheet(demo_study, tmp_path) -> None:
    content = render_workbook(demo_study, date="1 May 2024")
    assert_same_cells(content, read_office(content, tmp_path, "study"))


@need("soffice")
def test_ranking_reads_the_same_in_a_spreadsheet(demo_many, tmp_path) -> None:
    content = render_ranking_workbook(demo_many)
    assert_same_cells(content, read_office(content, tmp_path, "ranking"))


@need("soffice")
def test_hostile_names_stay_text_in_a_spreadsheet(hostile_study, tmp_path) -> None:
    sheets = read_office(render_workbook(hostile_study), tmp_path, "study")
    cells = [cell for rows in sheets.values() for row in rows for cell in row]
    assert any("=1+1" in cell for cell in cells)
    assert [cell for cell in cells if cell.startswith("=")] == []


@need("soffice", "pdftotext", "pdfinfo")
def test_printed_workbook_has_no_error_and_every_sheet(demo_study, tmp_path) -> None:
    path = tmp_path / "study.xlsx"
    path.write_bytes(render_workbook(demo_study, date="1 May 2024"))
    convert(path, "pdf", tmp_path)
    text = run("pdftotext", "-layout", tmp_path / "study.pdf", "-")
    assert not re.search(r"#(NAME|REF|VALUE|DIV/0|NUM|N/A)|Err:\d|###", text)
    for name in ("Line schedule", "Deal-breakers", "Cautions", "Sources"):
        assert re.search(rf"^\s*{name}\s+\d+ / \d+\s*$", text, re.MULTILINE), name


@pytest.fixture(scope="module")
def packages(demo_study, demo_many, tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("outside")
    write_report_papers(demo_study, folder, date="1 May 2024", author="Ann Onymous")
    write_screen_papers(demo_many, folder)
    return {
        "layers": folder / "layers.gpkg",
        "parcels": folder / "parcels.gpkg",
        "report": folder / "report.pdf",
    }


@need("ogrinfo")
def test_every_layer_opens_with_ogrinfo(demo_study, packages) -> None:
    said = run("ogrinfo", "-so", "-al", "-ro", packages["layers"])
    blocks = {block.split("\n", 1)[0].strip(): block for block in said.split("Layer name:")[1:]}
    frames = {name: frame for name, frame in make_layers_out(demo_study).items() if len(frame)}
    assert set(blocks) == set(frames)
    for name, frame in frames.items():
        block = blocks[name]
        assert int(re.search(r"Feature Count: (\d+)", block)[1]) == len(frame), name
        assert re.search(r'ID\["EPSG",4326\]\]\s*(Data axis|$)', block), name
        fields = re.findall(r"^(\w+): (?:String|Real|Integer|Integer64|Date)", block, re.MULTILINE)
        assert set(fields) == set(frame.columns) - {frame.geometry.name}, name
        west, south, east, north = frame.total_bounds
        extent = re.search(r"Extent: \(([-\d.]+), ([-\d.]+)\) - \(([-\d.]+), ([-\d.]+)\)", block)
        assert [float(part) for part in extent.groups()] == pytest.approx(
            [west, south, east, north], abs=2e-6
        ), name


@need("ogrinfo")
def test_older_map_programs_take_the_packages_without_a_warning(packages) -> None:
    for name in ("layers", "parcels"):
        done = subprocess.run(
            ["ogrinfo", "-so", "-al", "-ro", packages[name]], capture_output=True, text=True,
            timeout=60, check=True,
        )  # fmt: skip
        assert "Warning" not in done.stderr + done.stdout, name


@need("ogrinfo")
def test_geojson_layers_open_with_ogrinfo(demo_study, tmp_path) -> None:
    for name, frame in make_layers_out(demo_study).items():
        path = tmp_path / f"{name}.geojson"
        path.write_text(render_geojson(frame), "utf-8")
        told = json.loads(run("ogrinfo", "-json", "-so", "-al", path)) if _has_json() else None
        if told is None:
            said = run("ogrinfo", "-so", "-al", path)
            assert f"Feature Count: {len(frame)}" in said, name
        else:
            assert told["layers"][0]["featureCount"] == len(frame), name


def _has_json() -> bool:
    return "-json" in subprocess.run(
        ["ogrinfo", "--help"], capture_output=True, text=True, check=False
    ).stdout  # fmt: skip


def test_layers_open_with_geopandas_in_the_same_place(demo_study, packages) -> None:
    for name, frame in make_layers_out(demo_study).items():
        if len(frame):
            read = geopandas.read_file(packages["layers"], layer=name)
            assert read.crs == "EPSG:4326"
            assert len(read) == len(frame)
            assert read.total_bounds == pytest.approx(frame.total_bounds, abs=1e-9)
    parcels = geopandas.read_file(packages["parcels"], layer="parcels")
    assert len(parcels) == 40


@need("pdfinfo", "pdffonts")
def test_report_names_itself_and_holds_its_fonts(packages) -> None:
    told = dict(
        line.split(":", 1)
        for line in run("pdfinfo", packages["report"]).splitlines()
        if ":" in line
    )
    assert told["Title"].strip().endswith("site report")
    assert told["Author"].strip() == "Ann Onymous"
    assert told["Tagged"].strip() == "yes"
    assert told["JavaScript"].strip() == "no"
    fonts = run("pdffonts", packages["report"]).splitlines()[2:]
    assert fonts
    for line in fonts:
        embedded, subset, unicode_map = line.split()[-5:-2]
        assert (embedded, subset, unicode_map) == ("yes", "yes", "yes"), line


@need("pdfinfo")
def test_report_pictures_say_what_they_show_and_headings_are_nested(packages) -> None:
    raw = packages["report"].read_bytes()
    assert b"/Lang(en" in raw.replace(b"/Lang (", b"/Lang(")
    parts = run("pdfinfo", "-struct", packages["report"])
    pictures = len(re.findall(r"^\s*Figure", parts, re.MULTILINE))
    assert pictures >= 6
    assert raw.count(b"/Alt") >= pictures
    levels = [int(level) for level in re.findall(r"^\s*H(\d)\b", parts, re.MULTILINE)]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))


@need("pdftotext")
def test_report_can_be_read_aloud_in_order(packages, demo_study) -> None:
    text = run("pdftotext", packages["report"], "-")
    assert demo_study.sites.names[0] in text[:400]
    assert text.index("pass a day") < text.index("are washed")
    assert "\ufffd" not in text

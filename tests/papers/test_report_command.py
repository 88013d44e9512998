"""Does one command leave every paper, the same each time, and refuse what cannot be printed?"""

from __future__ import annotations

import json
from pathlib import Path

import openpyxl
import pytest

import capture
from capture.__main__ import main

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"
STUDY = ["study", str(DEMO), "--site", "parcel:P01", "--draws", "60", "--quiet", "--papers"]
LOGO = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 2"><rect width="4" height="2"/></svg>'
)


def list_files(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_one_command_leaves_every_paper_the_same_each_time(tmp_path, capsys) -> None:
    (tmp_path / "logo.svg").write_text(LOGO, "utf-8")
    for name in ("a", "b"):
        given = ["--out", str(tmp_path / name), "--author", "=A & B", "--date", "1 May 2024"]
        assert main([*STUDY, *given, "--logo", str(tmp_path / "logo.svg")]) == 0
    first, second = list_files(tmp_path / "a"), list_files(tmp_path / "b")
    assert {"study.json", "map.html", "report.pdf", "report.html", "study.xlsx", "layers.gpkg",
            "layers/roads.geojson", "layers/counts.geojson"} <= set(first)  # fmt: skip
    assert [name for name in first if first[name] != second[name]] == []
    assert capsys.readouterr().out.count("report.pdf") == 2
    assert b"=A &amp; B" in first["report.html"]
    told = json.loads(first["study.json"])
    again = capture.open(tmp_path / "a" / "study.json")
    assert again.design_hour_cars == pytest.approx(told["design_hour_cars"], rel=1e-5)


def test_ranking_has_its_workbook(tmp_path) -> None:
    assert main(["screen", str(DEMO), "--draws", "40", "--quiet", "--papers", "--out",
                 str(tmp_path)]) == 0  # fmt: skip
    book = openpyxl.load_workbook(tmp_path / "ranking.xlsx")
    assert book["Ranking"].max_row == 41
    assert (tmp_path / "parcels.geojson").is_file()


@pytest.mark.parametrize(
    ("content", "words"), [(b"GIF89a", "PNG, JPEG or SVG"), (None, "cannot be read")]
)
def test_logo_that_cannot_be_printed_is_refused_before_any_work(tmp_path, capsys, content, words):
    path = tmp_path / "logo"
    if content is not None:
        path.write_bytes(content)
    out = tmp_path / "out"
    assert main([*STUDY, "--out", str(out), "--logo", str(path)]) == 2
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1
    assert not out.exists()


def test_client_s_own_figures_can_be_withheld(tmp_path, capsys) -> None:
    offer = {"ticket_price_usd": 17.37, "plan_price_usd_month": 33.91, "land_cost_usd": 1287653}
    (tmp_path / "own.json").write_text(json.dumps(offer), "utf-8")
    given = ["--offer", str(tmp_path / "own.json"), "--set", "money.tax_insurance_usd_year=81239"]
    for name, more in (("plain", []), ("hidden", ["--withhold"])):
        assert main([*STUDY, *given, *more, "--out", str(tmp_path / name)]) == 0
    capsys.readouterr()
    plain, hidden = list_files(tmp_path / "plain"), list_files(tmp_path / "hidden")
    assert set(plain) == set(hidden)
    told = json.loads(hidden["study.json"])
    assert "price of a single wash" in told["withheld"]
    assert "own number money.tax_insurance_usd_year" in told["withheld"]
    for figure in (b"17.37", b"33.91", b"1287653", b"1,287,653", b"81239", b"81,239"):
        for name in ("study.json", "report.html", "map.html"):
            assert figure not in hidden[name], (figure, name)
    assert all(figure in plain["study.json"] for figure in (b"17.37", b"33.91", b"81239"))

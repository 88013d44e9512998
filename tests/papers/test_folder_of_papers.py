"""Are the files of one command there, whole, and openable by others?"""

from __future__ import annotations

import csv
import json

import geopandas
import pytest

from capture.basis import DataError
from capture.papers import write_screen_papers, write_study_papers
from capture.papers.folder import write_whole


def test_study_files_are_there(demo_study, tmp_path) -> None:
    written = write_study_papers(demo_study, tmp_path / "new" / "folder")
    assert sorted(path.name for path in written) == ["map.html", "study.json"]
    assert json.loads(written[0].read_text("utf-8"))["site"]["id"] == "P04"
    assert not list((tmp_path / "new" / "folder").glob("*.part"))


def test_screening_files_hold_every_parcel(demo_many, tmp_path) -> None:
    write_screen_papers(demo_many, tmp_path)
    with (tmp_path / "ranking.csv").open(newline="", encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    ids = set(demo_many.sites.ids)
    assert {row["id"] for row in rows} == ids
    for row in rows:
        assert row["rank"] or row["reason"], row["id"]
    layer = geopandas.read_file(tmp_path / "parcels.gpkg", layer="parcels")
    assert set(layer["id"]) == ids
    assert layer.crs == "EPSG:4326"
    assert "What the map shows" in (tmp_path / "map.html").read_text("utf-8")


@pytest.mark.property
def test_screening_files_are_the_same_each_time(demo_many, tmp_path) -> None:
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        write_screen_papers(demo_many, tmp_path / name)
    for name in ("ranking.csv", "parcels.gpkg", "map.html"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes(), name


def test_folder_that_cannot_be_made_is_said(tmp_path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(DataError, match="cannot be written"):
        write_whole(tmp_path / "file" / "below.txt", "x")


@pytest.mark.browser
@pytest.mark.parametrize("kind", ["study", "many"])
def test_maps_open_from_disk_with_every_layer(watched, demo_study, demo_many, tmp_path, kind):
    if kind == "study":
        write_study_papers(demo_study, tmp_path)
        layers = ["People", "Minutes' drive", "Lines of sight", "Traffic past the site"]
        layers += ["Roads by vehicles a day", "Traffic counts", "Rival washes", "The site"]
    else:
        write_screen_papers(demo_many, tmp_path)
        layers = ["Roads by vehicles a day", "Rival washes", "Parcels by rank"]
    page = watched.page
    page.goto((tmp_path / "map.html").as_uri())
    page.wait_for_function("window.siteMapDrawn === true")
    for name in layers:
        box = page.get_by_label(name, exact=True)
        assert box.count() == 1, name
        box.set_checked(not box.is_checked())
    assert watched.requests == []
    assert watched.errors == []

"""May an area from somebody else read files of the machine? Only where its user allows it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from capture.__main__ import main
from capture.area import load_table, open_area
from capture.area.inside import MAY_READ_VARIABLE, is_allowed, list_allowed
from capture.basis import DataError

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"
SECRET = "id,aadt,lat,lon\nsecret,2,43.6,-87.3\n"


@pytest.fixture
def town(tmp_path: Path) -> Path:
    """A folder with roads, beside a file and a folder that are none of its business."""
    folder = tmp_path / "town"
    folder.mkdir()
    (folder / "roads.osm").write_text("<osm/>", encoding="utf-8")
    (tmp_path / "secret.csv").write_text(SECRET, encoding="utf-8")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "counts.csv").write_text(SECRET, encoding="utf-8")
    return folder


def name_counts(town: Path, path: str) -> Path:
    (town / "area.toml").write_text(
        f'[layers.roads]\npath = "roads.osm"\n[layers.counts]\npath = "{path}"\n', "utf-8"
    )
    return town


def link(town: Path, target: Path) -> str:
    try:
        (town / "linked.csv").symlink_to(target)
    except OSError:
        pytest.skip("this machine makes no links")
    return "linked.csv"


@pytest.mark.parametrize(
    "path", ["../secret.csv", "{root}/secret.csv", "sub/../../secret.csv", "up/secret.csv", "link"]
)
def test_a_file_outside_is_refused_in_one_sentence(town, path) -> None:
    (town / "up").symlink_to(town.parent)
    if path == "link":
        path = link(town, town.parent / "secret.csv")
    with pytest.raises(DataError, match=r"lies outside the area's folder; copy .* --may-read"):
        open_area(name_counts(town, path.format(root=town.parent.as_posix())))


def test_what_is_outside_is_not_even_looked_for(town) -> None:
    messages = []
    for path in ("../secret.csv", "../no_such_file.csv"):
        with pytest.raises(DataError) as caught:
            open_area(name_counts(town, path))
        messages.append(str(caught.value).replace(path, ""))
    assert messages[0] == messages[1]


def test_roads_outside_are_refused_too(town) -> None:
    (town.parent / "roads.osm").write_text("<osm/>", encoding="utf-8")
    (town / "area.toml").write_text('[layers.roads]\npath = "../roads.osm"\n', "utf-8")
    with pytest.raises(DataError, match=r"layers.roads: '../roads.osm' lies outside"):
        open_area(town)


def test_files_inside_are_taken_however_they_are_written(town) -> None:
    (town / "sub").mkdir()
    (town / "sub" / "counts.csv").write_text(SECRET, encoding="utf-8")
    for path in ("sub/counts.csv", "sub/../sub/counts.csv", (town / "sub/counts.csv").as_posix()):
        table = open_area(name_counts(town, path)).read("counts")
        assert table["id"].tolist() == ["secret"]
    name_counts(town, link(town, town / "sub" / "counts.csv"))
    assert open_area(town).read("counts") is not None


def test_a_folder_reached_by_a_link_is_its_own(town) -> None:
    name_counts(town, "counts.csv")
    (town / "counts.csv").write_text(SECRET, encoding="utf-8")
    alias = town.parent / "alias"
    alias.symlink_to(town)
    assert open_area(alias).read("counts") is not None


def test_the_user_allows_a_folder_and_no_other(town, monkeypatch) -> None:
    allowed = town.parent / "elsewhere"
    name_counts(town, "../elsewhere/counts.csv")
    with pytest.raises(DataError, match="lies outside"):
        open_area(town)
    assert open_area(town, may_read=[allowed]).read("counts") is not None
    monkeypatch.setenv(MAY_READ_VARIABLE, os.pathsep.join(["/no/such/folder", str(allowed)]))
    assert open_area(town).read("counts") is not None
    name_counts(town, "../secret.csv")
    with pytest.raises(DataError, match="lies outside"):
        open_area(town, may_read=[allowed])


def test_an_area_cannot_allow_itself(town) -> None:
    (town / "area.toml").write_text('may_read = [".."]\n[layers.roads]\npath = "roads.osm"\n')
    with pytest.raises(DataError, match="there is no field 'may_read'"):
        open_area(town)


def test_the_command_takes_the_folder(town, capsys) -> None:
    import shutil

    shutil.copyfile(DEMO / "roads.osm", town.parent / "elsewhere" / "roads.osm")
    (town / "area.toml").write_text('[layers.roads]\npath = "../elsewhere/roads.osm"\n')
    assert main(["area", str(town)]) == 2
    assert "allow its folder with --may-read" in capsys.readouterr().err
    assert main(["area", str(town), "--may-read", str(town.parent / "elsewhere")]) == 0


@pytest.mark.property
def test_a_folder_whose_name_starts_the_same_is_another(tmp_path) -> None:
    assert not is_allowed(tmp_path / "town2" / "a.csv", list_allowed(tmp_path / "town"))
    assert is_allowed(tmp_path / "town" / "a.csv", list_allowed(tmp_path / "town"))
    assert not is_allowed(Path("a\x00b"), list_allowed(tmp_path))


POINTER = (
    '<OGRVRTDataSource><OGRVRTLayer name="x"><SrcDataSource>{}</SrcDataSource>'
    "<GeometryType>wkbPoint</GeometryType></OGRVRTLayer></OGRVRTDataSource>"
)


@pytest.mark.parametrize("ending", [".geojson", ".json", ".gpkg", ".shp", ".fgb"])
def test_a_shape_file_that_only_points_elsewhere_is_refused(tmp_path, ending) -> None:
    file = tmp_path / f"counts{ending}"
    file.write_text(POINTER.format(DEMO / "counts.csv"), "utf-8")
    with pytest.raises(DataError, match="holds something else"):
        load_table(file)


def test_a_raster_that_only_points_elsewhere_is_refused(tmp_path) -> None:
    pytest.importorskip("rasterio")
    from capture.place import open_place
    from capture.seeing import load_terrain

    file = tmp_path / "heights.tif"
    file.write_text('<VRTDataset rasterXSize="1" rasterYSize="1"></VRTDataset>', "utf-8")
    projection = open_place(open_area(DEMO)).network.projection
    with pytest.raises(DataError, match="only points at heights kept elsewhere"):
        load_terrain(file, projection, extent_m=(0.0, 0.0, 10.0, 10.0))

"""Tables from outside: read as they are, rows kept, faults said with their row."""

from __future__ import annotations

import json
import warnings
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely

from capture.area import load_table
from capture.basis import DataError


def _write(tmp_path: Path, content: bytes | str, name: str = "t.csv") -> Path:
    file = tmp_path / name
    file.write_bytes(content.encode() if isinstance(content, str) else content)
    return file


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
def test_signs_between_cells(sign: str, tmp_path: Path) -> None:
    text = "\n".join(sign.join(row) for row in (["id", "aadt"], ["a", "12"], ["b", "7.5"]))
    table = load_table(_write(tmp_path, text))
    assert table["aadt"].tolist() == [12.0, 7.5]
    assert table["row"].tolist() == [2, 3]


@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "latin-1", "utf-16"])
def test_letters_in_any_code(code: str, tmp_path: Path) -> None:
    table = load_table(_write(tmp_path, "näme,n\nTöölö,1\n".encode(code)))
    assert table["näme"].tolist() == ["Töölö"]


def test_points_from_columns_of_degrees(tmp_path: Path) -> None:
    text = "id,Latitude,LNG\na,40.5,-90\nb,,\nc,400,1\nd,x,y\n"
    table = load_table(_write(tmp_path, text))
    assert isinstance(table, geopandas.GeoDataFrame)
    assert table.crs == "EPSG:4326"
    assert table.geometry.iloc[0].equals(shapely.Point(-90, 40.5))
    assert table.geometry.isna().tolist() == [False, True, True, True]
    assert len(table) == 4, "no row is dropped"


def test_codes_keep_their_zeros_and_blanks_stay_blank(tmp_path: Path) -> None:
    table = load_table(_write(tmp_path, "pin,n,w\n007,1,\n012,,\n"))
    assert table["pin"].tolist() == ["007", "012"]
    assert table["n"].isna().tolist() == [False, True]
    assert table["w"].isna().all()


def test_rows_are_lines_of_the_file(tmp_path: Path) -> None:
    text = 'id,note\na,"two\nlines"\n\n\nb,x\n'
    assert load_table(_write(tmp_path, text))["row"].tolist() == [3, 6]


def test_a_short_row_is_filled(tmp_path: Path) -> None:
    table = load_table(_write(tmp_path, "a,b,c\n1,2\n"))
    assert table["c"].isna().tolist() == [True]


def test_formulas_and_markup_stay_text(tmp_path: Path) -> None:
    table = load_table(_write(tmp_path, 'id,name\n1,"=HYPERLINK(""x"")"\n2,<b>{{7*191}}</b>\n'))
    assert table["name"].tolist() == ['=HYPERLINK("x")', "<b>{{7*191}}</b>"]


@pytest.mark.parametrize(
    ("content", "name", "told"),
    [
        (b"", "t.csv", "empty"),
        (b"<!DOCTYPE html><html></html>", "t.csv", "web page"),
        (b"PK\x03\x04 sheet", "t.csv", "export the sheet as CSV"),
        (b"a,b\n1,\x002\n", "t.csv", "no text"),
        (b"a,b\n1,2,3\n", "t.csv", "row 2: has 3 cells, the heading has 2"),
        (b"a,a\n1,2\n", "t.csv", "'a' stands twice"),
        (b",,\n1,2,3\n", "t.csv", "column names"),
        (b"x", "t.xlsx", "must end in one of"),
        (b"x", "noending", "must end in one of"),
        (b"{", "t.geojson", "not readable as geojson"),
        (b'{"type":"FeatureCollection","features":[]}', "t.geojson", "holds no"),
        (b"[1, 2]", "t.geojson", "not readable as geojson|holds no"),
        (b"SQLite format 3\0 broken", "t.gpkg", "not readable as gpkg"),
        (b"\0\0\x27\x0a", "t.shp", "not readable as shp"),
    ],
)
def test_bad_tables(content: bytes, name: str, told: str, tmp_path: Path) -> None:
    with pytest.raises(DataError, match=told) as caught:
        load_table(_write(tmp_path, content, name))
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith(name)


def test_missing_folder_and_size(tmp_path: Path) -> None:
    with pytest.raises(DataError, match="cannot be read"):
        load_table(tmp_path / "gone.csv")
    with pytest.raises(DataError, match="this is a folder"):
        load_table(tmp_path)
    file = _write(tmp_path, "a\n" + "1\n" * 100)
    with pytest.raises(DataError, match="must be under"):
        load_table(file, max_bytes=50)
    with pytest.raises(DataError, match="at most 10 rows"):
        load_table(file, max_rows=10)


def _shapes(crs: Any = "EPSG:4326") -> geopandas.GeoDataFrame:
    points = [shapely.Point(-90, 40), shapely.Point(-90.001, 40.001)]
    table = geopandas.GeoDataFrame({"id": ["a", "b"]}, geometry=points, crs="EPSG:4326")
    return table.to_crs(crs)


@pytest.mark.parametrize("name", ["t.geojson", "t.gpkg", "t.shp"])
@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:32615"])
def test_shapes_in_any_system_come_in_degrees(name: str, crs: str, tmp_path: Path) -> None:
    if name == "t.geojson":
        crs = "EPSG:4326"
    _shapes(crs).to_file(tmp_path / name)
    table = load_table(tmp_path / name)
    assert table.crs == "EPSG:4326"
    np.testing.assert_allclose(table.geometry.x, [-90, -90.001], atol=1e-6)
    assert table["row"].tolist() == [1, 2]
    with pytest.raises(DataError, match="at most 1 features"):
        load_table(tmp_path / name, max_rows=1)


def test_a_shapefile_that_does_not_say_its_system(tmp_path: Path) -> None:
    _shapes().to_file(tmp_path / "t.shp")
    (tmp_path / "t.prj").unlink()
    with pytest.raises(DataError, match="does not say its coordinate system"):
        load_table(tmp_path / "t.shp")


def _feature(ring: list[list[float]], mark: object) -> str:
    return json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                {
                    "type": "Feature",
                    "properties": {"n": value},
                    "geometry": {"type": "Polygon", "coordinates": [shape]},
                }
                for value, shape in ((mark, ring), ("b", [[0, 0], [1, 0], [1, 1], [0, 0]]))
            ],
        }
    )


@pytest.mark.regression
def test_unclosed_ring_is_refused_in_one_sentence(tmp_path: Path) -> None:
    text = _feature([[0, 0], [1, 0], [1, 1]], "a")
    with pytest.raises(DataError, match="broken shape"):
        load_table(_write(tmp_path, text, "t.geojson"))


@pytest.mark.regression
def test_reader_warnings_never_reach_the_terminal(tmp_path: Path) -> None:
    text = _feature([[0, 0], [1, 0], [1, 1], [0, 0]], float("nan"))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert len(load_table(_write(tmp_path, text, "t.geojson"))) == 2


@pytest.mark.regression
def test_of_several_layers_none_is_taken_unsaid(tmp_path):
    import pandas as pd
    import pyogrio

    file = tmp_path / "two.gpkg"
    frame = geopandas.GeoDataFrame({"a": [1]}, geometry=[shapely.Point(1, 2)], crs="EPSG:4326")
    frame.to_file(file, layer="first")
    styles = pd.DataFrame({"style": ["x"]})
    pyogrio.write_dataframe(styles, file, layer="layer_styles", append=True)
    assert load_table(file)["a"].tolist() == [1]
    frame.to_file(file, layer="second")
    with pytest.raises(DataError, match=r"holds 2 layers \(first, second\)"):
        load_table(file)


@pytest.mark.regression
def test_a_broken_file_is_said_without_the_machines_folders(tmp_path):
    (tmp_path / "people.geojson").write_text("{")
    with pytest.raises(DataError) as said:
        load_table(tmp_path / "people.geojson")
    assert str(tmp_path) not in str(said.value)


def test_titles_above_the_names_and_an_office_s_way_of_naming_are_read(tmp_path: Path) -> None:
    file = tmp_path / "county.csv"
    file.write_text(
        "Assessor extract\nPrinted 05/14/2025,,,\n\n"
        ' PARCEL ID#,LATITUDE (DD),Longitude,Asking Price ($)\n41-1,43.5,-87.3,"$929,000"\n'
    )
    table = load_table(file)
    assert table["row"].to_list() == [5]
    assert table.geometry.y.to_list() == [43.5]
    assert table.geometry.x.to_list() == [-87.3]


def test_a_row_of_numbers_is_not_taken_for_the_names(tmp_path: Path) -> None:
    file = tmp_path / "odd.csv"
    file.write_text("lat\n43.5,-87.3\n")
    with pytest.raises(DataError, match="row 2: has 2 cells, the heading has 1"):
        load_table(file)

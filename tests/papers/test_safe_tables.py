"""Do tables leave without a formula in them, and with the same bytes each time?"""

from __future__ import annotations

import csv
import io

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely

from capture.basis import DataError
from capture.papers.tables import make_safe_table, render_csv, write_geopackage

FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", '=HYPERLINK("x")', "  =2"]


@pytest.mark.regression
def test_no_cell_starts_a_formula() -> None:
    text = render_csv(pd.DataFrame({"=name": FORMULAS, "x": np.arange(len(FORMULAS))}))
    rows = list(csv.reader(io.StringIO(text)))
    for row in rows:
        assert row[0][:1] not in "=+-@\t\r", row
    assert len(rows) == len(FORMULAS) + 1


def test_numbers_stay_numbers_and_negatives_stay_negative() -> None:
    safe = make_safe_table(pd.DataFrame({"npv_usd": [-1234567.891, np.inf, np.nan]}))
    assert safe["npv_usd"].to_list()[:2] == [-1234570.0, "never"]
    assert render_csv(pd.DataFrame({"a": [np.nan, 1.5]})) == 'a\n""\n1.5\n'


def test_yes_no_and_lists_are_said() -> None:
    safe = make_safe_table(pd.DataFrame({"struck": [True, False], "why": [["b", "a"], None]}))
    assert safe["struck"].to_list() == ["yes", "no"]
    assert safe["why"].to_list() == ["a; b", ""]


def frame() -> geopandas.GeoDataFrame:
    return geopandas.GeoDataFrame(
        {"name": ["{{7*191}}", None], "payback": [np.inf, 3.0], "ok": [True, False]},
        geometry=[shapely.Point(-75, 40), shapely.Point(-75.1, 40)],
        crs="EPSG:4326",
    )


def test_geopackage_comes_back_whole_and_the_same(tmp_path) -> None:
    first, second = tmp_path / "a.gpkg", tmp_path / "b.gpkg"
    for path in (first, second):
        write_geopackage(
            {"parcels": frame(), "rivals": frame().iloc[:1], "none": frame()[:0]}, path
        )
    assert first.read_bytes() == second.read_bytes()
    back = geopandas.read_file(first, layer="parcels")
    assert back["name"].to_list()[0] == "{{7*191}}"
    assert np.isnan(back["payback"][0])
    assert back.crs == "EPSG:4326"
    assert list(geopandas.list_layers(first)["name"]) == ["parcels", "rivals"]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.gpkg", "b.gpkg"]


def test_geopackage_that_cannot_be_written_is_said(tmp_path) -> None:
    with pytest.raises(DataError, match=r"x\.gpkg: cannot be written"):
        write_geopackage({"parcels": frame()}, tmp_path / "gone" / "x.gpkg")

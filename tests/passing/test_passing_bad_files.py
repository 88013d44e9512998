# ruff: noqa: E501
"""Bad count files: each kind gets one clear sentence, or is put right and listed."""

from __future__ import annotations

import json

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from capture.basis import CaptureError, DataError, InputError
from capture.passing.load import load_counts
from capture.passing.moments import read_clock, read_dates

EXTENT = (40.0, -75.1, 40.1, -75.0)
HEAD = "station,road,lat,lon,aadt,year\n"
GOOD = "A1,Main St,40.05,-75.05,12000,2023\n"


def _point(**properties):
    return {
        "type": "Feature",
        "properties": properties,
        "geometry": {"type": "Point", "coordinates": [-75.05, 40.05]},
    }


def _geojson(*features):
    return json.dumps({"type": "FeatureCollection", "features": list(features)})


#: name of the file, what it holds, kind of error, words of the sentence
REFUSED = {
    "empty": ("c.csv", b"", DataError, "the file is empty"),
    "blank lines": ("c.csv", b"\n\n \n", DataError, "only blank lines"),
    "headings alone": ("c.csv", HEAD, DataError, "has headings but no rows"),
    "no headings": ("c.csv", "1,40.05,-75.05,12000\n2,40.06,-75.05,900\n", DataError, "not headings"),
    "one column": ("c.csv", "aadt\n1200\n1300\n", DataError, "only one column"),
    "headings twice": ("c.csv", "id,lat,lon,aadt,aadt\n1,40.05,-75.05,1,2\n", DataError, "more than once"),
    "ragged": ("c.csv", HEAD + "A1,Main\nA2,Oak\nA3,Elm\n", DataError, "most rows do not have 6 columns"),
    "open quote": ("c.csv", HEAD + 'A1,"Main,40.05,-75.05,1,2023\n' + GOOD * 3, DataError, "no usable|most rows|columns"),
    "web page": ("c.csv", "<!DOCTYPE html><html>log in</html>", DataError, "holds a web page"),
    "JSON named csv": ("c.csv", '{"features": []}', DataError, "holds JSON"),
    "spreadsheet named csv": ("c.csv", b"PK\x03\x04abc", DataError, "spreadsheet; unpack it or save"),
    "old spreadsheet": ("c.csv", b"\xd0\xcf\x11\xe0abc", DataError, "an old spreadsheet"),
    "PDF named csv": ("c.csv", b"%PDF-1.7 abc", DataError, "is a PDF"),
    "gzip named csv": ("c.csv", b"\x1f\x8b\x08abc", DataError, "gzip-packed"),
    "NUL bytes": ("c.csv", b"a,b\n\x00\x01,2\n", DataError, "NUL bytes"),
    "UTF-16 cut short": ("c.csv", b"\xff\xfea\x00b", DataError, "UTF-16 text is cut short"),
    "spreadsheet": ("c.xlsx", b"PK\x03\x04abc", DataError, r"must be \.csv"),
    "no ending": ("counts", HEAD + GOOD, DataError, "no ending"),
    "JSON cut short": ("c.geojson", _geojson(_point(aadt=1))[:-9], DataError, "cut short or broken"),
    "JSON list": ("c.geojson", "[1, 2]", DataError, "must be a GeoJSON FeatureCollection"),
    "server error": ("c.geojson", '{"error": {"code": 500}}', DataError, "server's error message"),
    "no features": ("c.geojson", _geojson(), DataError, "has no features"),
    "deep JSON": ("c.geojson", "[" * 100_000, DataError, "cut short or broken"),
    "polygons": (
        "c.geojson",
        _geojson({"type": "Feature", "properties": {"aadt": 5}, "geometry": {
            "type": "Polygon", "coordinates": [[[0, 0], [0, 1], [1, 1], [0, 0]]]}}),
        DataError,
        "must be points or lines, got Polygon",
    ),
    "no geometry at all": (
        "c.geojson",
        _geojson({"type": "Feature", "properties": {"aadt": 5, "station": "A"}, "geometry": None}),
        DataError,
        "rows need a position",
    ),
    "not a GeoPackage": ("c.gpkg", b"SQLite format 3\x00 but not", DataError, "not readable as a map file"),
    "shape alone": ("c.shp", b"\x00\x00'\n", DataError, r"c\.shx must lie beside it"),
    "no volume column": ("c.csv", "station,lat,lon\nA,40.05,-75.05\n", InputError, "no column looks like vehicles a day"),
    "two volume columns": (
        "c.csv",
        "station,lat,lon,adt,daily volume\nA,40.05,-75.05,900,950\n",
        InputError,
        r"which column is vehicles on an average day.*daily volume or adt|adt or daily volume",
    ),
    "unsure volume column": (
        "c.csv",
        "station,lat,lon,traffic\nA,40.05,-75.05,900\n",
        InputError,
        "with one of: traffic",
    ),
    "no position": ("c.csv", "station,aadt\nA,900\n", DataError, "rows need a position.*none was found"),
    "half a position": ("c.csv", "station,lat,aadt\nA,40.05,900\n", DataError, "only lat was found"),
    "grid unnamed": ("c.csv", "station,easting,northing,aadt\nA,512000,4430000,900\n", InputError, "give crs"),
    "all volumes missing": ("c.csv", HEAD + "A1,Main,40.05,-75.05,,2023\n", DataError, "no vehicles given"),
    "all volumes text": ("c.csv", HEAD + "A1,Main,40.05,-75.05,many,2023\n", CaptureError, "not a number|which column"),
    "all negative": ("c.csv", HEAD + "A1,Main,40.05,-75.05,-5,2023\n", CaptureError, "negative|which column"),
    "all zero": ("c.csv", HEAD + "A1,Main,40.05,-75.05,0,2023\n", DataError, "taken as not counted"),
    "all forecasts": ("c.csv", HEAD + "A1,Main,40.05,-75.05,900,2045\n", DataError, "a forecast, not a count"),
    "all elsewhere": ("c.csv", HEAD + "A1,Main,10.05,20.05,900,2023\n", DataError, "no count lies in the area"),
    "off the Earth": ("c.csv", HEAD + "A1,Main,140.05,-275.05,900,2023\n", CaptureError, "no count lies|rows need"),
    "too many columns": ("c.csv", ",".join(f"c{k}" for k in range(500)) + "\n" + ",".join("1" * 500) + "\n", DataError, "1 to 400 columns"),
    "hours with no clock": ("h.csv", "station,lat,lon,volume\nA,40.05,-75.05,90\n", DataError, "tells the hour"),
    "hours all unreadable": ("h.csv", "station,lat,lon,hour,volume\nA,40.05,-75.05,noon,90\n", CaptureError, "hour"),
    "hours all negative": ("h.csv", "station,lat,lon,hour,volume\nA,40.05,-75.05,7,-90\n", CaptureError, "negative|which column"),
}  # fmt: skip


@pytest.mark.parametrize("kind", REFUSED)
def test_a_bad_file_gets_one_clear_sentence(tmp_path, kind):
    name, holds, error, words = REFUSED[kind]
    path = tmp_path / name
    path.write_bytes(holds if isinstance(holds, bytes) else holds.encode())
    with pytest.raises(error, match=words) as caught:
        load_counts(path, study_year=2026, extent=EXTENT, hourly=True if name == "h.csv" else None)
    said = str(caught.value)
    assert said.startswith((path.name.split(".")[0], "a count file", str(path)))
    assert "\n" not in said
    assert 20 < len(said) < 600


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(DataError, match="there is no such count file"):
        load_counts(tmp_path / "no.csv", study_year=2026)
    with pytest.raises(DataError, match="is a folder"):
        load_counts(tmp_path, study_year=2026)


def test_too_large_a_file(tmp_path, monkeypatch):
    monkeypatch.setattr("capture.passing.reading.MOST_BYTES", 10)
    path = tmp_path / "c.csv"
    path.write_text(HEAD + GOOD)
    with pytest.raises(DataError, match="must be under"):
        load_counts(path, study_year=2026)


#: rows after a good one, words in the table of what was done, vehicles expected or None
MENDED = {
    "missing volume": ("A2,Oak,40.06,-75.05,,2023\n", "no vehicles given", None),
    "not counted sign": ("A2,Oak,40.06,-75.05,n/a,2023\n", "no vehicles given", None),
    "text volume": ("A2,Oak,40.06,-75.05,closed,2023\n", "not a number", None),
    "negative": ("A2,Oak,40.06,-75.05,-1,2023\n", "negative", None),
    "zero": ("A2,Oak,40.06,-75.05,0,2023\n", "taken as not counted", None),
    "absurd": ("A2,Oak,40.06,-75.05,9999999,2023\n", "which no road carries", None),
    "infinite": ("A2,Oak,40.06,-75.05,inf,2023\n", "infinite|not a number", None),
    "forecast": ("A2,Oak,40.06,-75.05,900,2045\n", "a forecast", None),
    "ancient": ("A2,Oak,40.06,-75.05,900,1900\n", "a year before 1950", None),
    "year missing": ("A2,Oak,40.06,-75.05,900,\n", "taken as 5 years old", 900),
    "elsewhere": ("A2,Oak,41.06,-75.05,900,2023\n", "lies outside the area", None),
    "off the Earth": ("A2,Oak,140.06,-75.05,900,2023\n", "not on Earth", None),
    "no position": ("A2,Oak,,,900,2023\n", "no position given", None),
    "twice": (GOOD, "the same count stands twice", None),
    "two figures": ("A1,Main St,40.05,-75.05,13000,2023\n", "their mean used", None),
    "earlier year": ("A1,Main St,40.05,-75.05,11000,2019\n", "an earlier year", None),
    "total line": ("Total,,40.05,-75.05,24000,2023\n", "a total or average line", None),
    "thousands comma": ('A2,Oak,40.06,-75.05,"12,345",2023\n', "made 2", 12345),
    "unit in the cell": ("A2,Oak,40.06,-75.05,850 vpd,2023\n", "made 2", 850),
    "short row": ("A2,Oak\n", "too few or too many cells", None),
}  # fmt: skip


@pytest.mark.parametrize("kind", MENDED)
def test_a_bad_row_is_listed_and_the_rest_used(tmp_path, kind):
    row, words, expected = MENDED[kind]
    path = tmp_path / "c.csv"
    path.write_text(HEAD + GOOD + row)
    found = load_counts(path, study_year=2026, extent=EXTENT)
    assert found.done["why"].str.contains(words).any(), found.done
    volumes = found.counts.set_index("station")["vehicles_per_day"]
    assert 11_900 < volumes["A1"] < 12_600
    assert len(volumes) == (1 if expected is None else 2)
    if expected is not None:
        assert volumes["A2"] == expected
    if kind != "short row":
        by = found.done.groupby("what")["rows"].sum()
        assert by["used"] + by.get("left out", 0) + by.get("set aside", 0) == 2


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("station,lat,lon,aadt\nA1,-75.05,40.05,12000\n", "swapped, put right"),
        ("station,lat,lon,aadt\nA1,40.05,75.05,12000\n", "wrong sign, put right"),
        ("station,lat,lon,aadt\nA1,-40.05,-75.05,12000\n", "latitudes had the wrong sign"),
        ("Traffic counts of Springfield\n\nstation,lat,lon,aadt\nA1,40.05,-75.05,12000\n", "above the headings"),
        ("station;lat;lon;aadt\nA1;40,05;-75,05;12000\n", "semicolons"),
        ("station;lat;lon;DTV\nA1;40.05;-75.05;12.000\n", "taken as thousands"),
        ("station\tlat\tlon\taadt\nA1\t40.05\t-75.05\t12000\n", "tabs"),
        ("station,lat,lon,aadt (thousands)\nA1,40.05,-75.05,12\n", "multiplied by 1000"),
        ("station,lat,lon,AAWDT\nA1,40.05,-75.05,12720\n", "divided by 1.06"),
    ],
)  # fmt: skip
def test_a_crooked_file_is_put_right_and_said(tmp_path, text, words):
    path = tmp_path / "c.csv"
    path.write_text(text)
    found = load_counts(path, study_year=2026, extent=EXTENT)
    assert found.done["why"].str.contains(words).any(), found.done
    count = found.counts.iloc[0]
    assert (count["lat"], count["lon"]) == pytest.approx((40.05, -75.05))
    assert count["vehicles_per_day"] == pytest.approx(12_000)


def test_hostile_names_are_kept_harmless(tmp_path):
    path = tmp_path / "c.csv"
    path.write_text(HEAD + 'A1,"<script>\x07alert(1)</script>{{7*7}}",40.05,-75.05,12000,2023\n')
    road = load_counts(path, study_year=2026, extent=EXTENT).counts["road"].iloc[0]
    assert "\x07" not in road
    assert len(road) <= 120


@pytest.mark.parametrize("ending", ["gpkg", "shp", "geojson", "fgb"])
@pytest.mark.parametrize("epsg", [4326, 3857, 26918])
def test_map_files_in_any_system_come_out_the_same(tmp_path, ending, epsg):
    table = gpd.GeoDataFrame(
        {"station": ["A1", "A2"], "aadt": [12_000, 900]},
        geometry=[
            shapely.Point(-75.05, 40.05),
            shapely.LineString([(-75.06, 40.05), (-75.04, 40.05)]),
        ][: 1 if ending == "shp" else 2]
        + ([shapely.Point(-75.05, 40.06)] if ending == "shp" else []),
        crs=4326,
    )
    path = tmp_path / f"c.{ending}"
    table.to_crs(epsg).to_file(path)
    counts = load_counts(path, study_year=2026, extent=EXTENT).counts.sort_values("station")
    assert counts["lat"].iloc[0] == pytest.approx(40.05, abs=1e-6)
    assert counts["vehicles_per_day"].tolist() == [12_000, 900]


def test_a_shapefile_without_its_system_is_refused(tmp_path):
    table = gpd.GeoDataFrame({"aadt": [5]}, geometry=[shapely.Point(500_000, 4_400_000)], crs=26918)
    table.to_file(tmp_path / "c.shp")
    (tmp_path / "c.prj").unlink()
    with pytest.raises(DataError, match="names no coordinate system"):
        load_counts(tmp_path / "c.shp", study_year=2026)


@pytest.mark.parametrize(
    ("headings", "epsg", "crs"),
    [
        (("UTM18N_Easting", "UTM18N_Northing"), 32618, None),
        (("x_epsg_26918", "y_epsg_26918"), 26918, None),
        (("easting", "northing"), 2272, "EPSG:2272"),
        (("X", "Y"), 3857, "EPSG:3857"),
    ],
)
def test_a_grid_is_named_by_heading_or_user(tmp_path, headings, epsg, crs):
    from pyproj import Transformer

    x, y = Transformer.from_crs(4326, epsg, always_xy=True).transform(-75.05, 40.05)
    path = tmp_path / "c.csv"
    path.write_text(f"station,{headings[0]},{headings[1]},aadt\nA,{x},{y},900\n")
    count = load_counts(path, study_year=2026, extent=EXTENT, crs=crs).counts.iloc[0]
    assert (count["lat"], count["lon"]) == pytest.approx((40.05, -75.05), abs=1e-5)


def test_a_crs_that_is_none_is_refused(tmp_path):
    path = tmp_path / "c.csv"
    path.write_text("station,easting,northing,aadt\nA,500000,4400000,900\n")
    with pytest.raises(InputError, match="crs 'nonsense' is not a coordinate system"):
        load_counts(path, study_year=2026, crs="nonsense")


def test_axles_are_halved_and_corrected(tmp_path):
    from capture.passing.shapes import make_season_factors

    path = tmp_path / "c.csv"
    path.write_text("station,lat,lon,axles,hours,date\nA,40.05,-75.05,40000,48,2024-05-14\n")
    count = load_counts(path, study_year=2026, extent=EXTENT).counts.iloc[0]
    expected = 40_000 / 2 * 0.95 / 2 * make_season_factors()[4, 1]
    assert count["vehicles_per_day"] == pytest.approx(expected)
    assert "axle factor" in count["story"]


@pytest.mark.parametrize("day", ["-1", "0", "1e999", "inf", "99999-01-01", "1066-10-14"])
def test_days_that_no_calendar_of_ours_holds_are_no_days(day):
    days, _ = read_dates(pd.Series(["2024-05-14", day]))
    assert str(days[0].date()) == "2024-05-14"
    assert pd.isna(days[1])


@pytest.mark.filterwarnings("error")
def test_a_clock_without_end_is_no_clock():
    hours, _ = read_clock(pd.Series(["7", "inf", "-inf", "nan"]))
    assert hours[0] == 7.0
    assert np.isnan(hours[1:]).all()

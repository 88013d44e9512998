"""Do the layers of a study open in other map programs, and hold what the study says?"""

from __future__ import annotations

import io

import geopandas

from capture.papers.layers_out import make_layers_out, render_geojson
from capture.papers.tables import write_geopackage


def test_layers_open_in_other_programs(demo_study, tmp_path) -> None:
    layers = make_layers_out(demo_study)
    assert set(layers) == {
        "site", "driveways", "on_parcel", "queue", "streams", "sight", "roads", "counts", "rivals",
        "people", "ten_minutes",
    }  # fmt: skip
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


def test_layers_hold_what_the_study_found(demo_study) -> None:
    layers = make_layers_out(demo_study)
    assert len(layers["counts"]) == len(demo_study.volumes.counts)
    people = float(layers["people"]["people"].sum()) if "people" in layers["people"] else 0
    zones = demo_study.area.read("people")
    assert len(layers["people"]) == len(zones)
    assert people == 0 or people == float(zones["people"].sum())
    parcel = layers["site"].geometry.iloc[0].buffer(2e-5)
    assert layers["on_parcel"].geometry.within(parcel).all()
    assert set(layers["on_parcel"]["part"]) >= {"building", "vacuum bays"}
    for frame in layers.values():
        assert "Infinity" not in render_geojson(frame)


def test_hostile_names_stay_text_in_layers(hostile_study, tmp_path) -> None:
    layers = make_layers_out(hostile_study)
    path = tmp_path / "layers.gpkg"
    write_geopackage(layers, path)
    back = geopandas.read_file(path, layer="rivals")
    assert back["name"].str.startswith("'=1+1").all()
    named = geopandas.read_file(io.StringIO(render_geojson(layers["rivals"])))
    assert named["name"].str.contains("{{7*191}}", regex=False).all()

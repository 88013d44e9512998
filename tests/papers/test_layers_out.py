"""Do the layers of a study open in other map programs, and hold what the study says?"""

from __future__ import annotations

import io

import geopandas

from capture.papers.layers_out import make_layers_out, render_geojson
from capture.papers.tables import write_geopackage


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

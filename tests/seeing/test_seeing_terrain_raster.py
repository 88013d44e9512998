"""Ground heights from a GeoTIFF, in degrees and in metres of another projection."""

from __future__ import annotations

import numpy as np
import pytest

from capture.basis import DataError, LocalProjection
from capture.seeing import load_terrain

PLANE = LocalProjection(centre_lat=43.6, centre_lon=-87.3)
EXTENT_M = (-900.0, -900.0, 900.0, 900.0)


def _hill(x, y):
    return 180.0 + 30.0 * np.exp(-((x - 200.0) ** 2 + (y + 100.0) ** 2) / (2 * 250.0**2))


def _write(path, crs, west, north, cell, columns, rows, to_metres):
    rasterio = pytest.importorskip("rasterio")
    from rasterio.transform import from_origin

    across, down = np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5)
    x, y = to_metres(west + across * cell, north - down * cell)
    with rasterio.open(
        path, "w", driver="GTiff", width=columns, height=rows, count=1, dtype="float32",
        crs=crs, transform=from_origin(west, north, cell, cell), nodata=-9999.0,
    ) as file:  # fmt: skip
        file.write(_hill(x, y).astype("float32"), 1)


def _in_degrees(lon, lat):
    return PLANE.to_xy(lat, lon)


def _in_utm(east, north):
    from pyproj import Transformer

    lon, lat = Transformer.from_crs(32616, 4326, always_xy=True).transform(east, north)
    return PLANE.to_xy(lat, lon)


@pytest.mark.parametrize("kind", ["degrees", "metres"])
def test_raster_gives_the_hill_back(tmp_path, kind):
    path = tmp_path / "ground.tif"
    if kind == "degrees":
        _write(path, 4326, -87.3150, 43.6110, 0.0001, 300, 220, _in_degrees)
    else:
        from pyproj import Transformer

        there = Transformer.from_crs(4326, 32616, always_xy=True)
        east, north = there.transform(-87.3, 43.6)
        _write(path, 32616, east - 1200.0, north + 1200.0, 10.0, 240, 240, _in_utm)
    ground = load_terrain(path, PLANE, extent_m=EXTENT_M, cell_m=10.0)
    x = np.array([200.0, -600.0, 0.0, 450.0])
    y = np.array([-100.0, 500.0, 0.0, -100.0])
    assert ground.sample(x, y) == pytest.approx(_hill(x, y), abs=0.6)


def test_broken_raster_gets_one_sentence(tmp_path):
    pytest.importorskip("rasterio")
    path = tmp_path / "ground.tif"
    path.write_bytes(b"II*\x00 nothing")
    with pytest.raises(DataError, match=r"ground\.tif") as told:
        load_terrain(path, PLANE, extent_m=EXTENT_M)
    assert "\n" not in str(told.value)

"""Reading heights of the ground, and refusing what is not one."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from capture.basis import DataError, InputError, LocalProjection
from capture.seeing import Terrain, load_terrain

PLANE = LocalProjection(centre_lat=40.0, centre_lon=-90.0)
EXTENT = (-200.0, -200.0, 200.0, 200.0)


def grid(tmp_path: Path, text: str, name: str = "ground.asc") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def metres(tmp_path: Path, fill: str = "") -> Path:
    """A plane that rises 1 m in 10 m to the east, in metres."""
    rows = "\n".join(" ".join(str(float(x)) for x in range(-30, 31)) for _ in range(61))
    head = "ncols 61\nnrows 61\nxllcenter -300\nyllcenter -300\ncellsize 10\nNODATA_value -9999\n"
    return grid(tmp_path, head + (fill or rows))


def test_heights_in_metres(tmp_path: Path) -> None:
    ground = load_terrain(metres(tmp_path), PLANE, extent_m=EXTENT)
    assert ground.sample([0.0, 105.0], [0.0, 50.0]) == pytest.approx([0.0, 10.5])
    assert float(ground.sample(1e6, 0.0)) == pytest.approx(20.0)


def test_heights_in_degrees_rise_to_the_north(tmp_path: Path) -> None:
    rows = "\n".join(" ".join([str(200.0 - i)] * 101) for i in range(101))
    head = "ncols 101\nnrows 101\nxllcorner -90.05\nyllcorner 39.95\ncellsize 0.001\n"
    ground = load_terrain(grid(tmp_path, head + rows), PLANE, extent_m=EXTENT, cell_m=10.0)
    south, north = ground.sample([0.0, 0.0], [-150.0, 150.0])
    assert north > south
    assert float(ground.sample(0.0, 0.0)) == pytest.approx(150.0, abs=1.5)


def test_holes_take_the_nearest_height(tmp_path: Path) -> None:
    rows = ["5.0"] * 60 * 61 + ["-9999"] * 61
    ground = load_terrain(metres(tmp_path, " ".join(rows)), PLANE, extent_m=EXTENT)
    assert (ground.height_m == 5.0).all()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "not an ESRI ASCII grid"),
        ("ncols 3\nnrows 3\ncellsize x\n", "not an ESRI ASCII grid"),
        ("ncols 3\nnrows 3\nxllcorner 0\nyllcorner 0\ncellsize 10\n1 2 3 4", "9 heights|cut short"),
        ("ncols 1\nnrows 3\nxllcorner 0\nyllcorner 0\ncellsize 10\n1 2 3", "cannot be used"),
        ("ncols 2\nnrows 2\nxllcorner 9e6\nyllcorner 0\ncellsize 10\n1 2 3 4", "does not cover"),
        ("ncols 2\nnrows 2\nxllcorner 0\nyllcorner 0\ncellsize 10\nNODATA_value 1\n1 1 1 1",
         "no height is known"),
    ],
)  # fmt: skip
def test_bad_grids(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(DataError, match=said):
        load_terrain(grid(tmp_path, text), PLANE, extent_m=EXTENT)


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(DataError, match="cannot be read"):
        load_terrain(tmp_path / "none.asc", PLANE, extent_m=EXTENT)


def test_other_rasters_say_what_they_need(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "rasterio", None)
    with pytest.raises(DataError, match="rasterio, which is not installed"):
        load_terrain(tmp_path / "ground.tif", PLANE, extent_m=EXTENT)


def test_terrain_refuses_what_cannot_be() -> None:
    with pytest.raises(InputError, match="at least 2 by 2"):
        Terrain(height_m=np.zeros((1, 5)), west=0.0, south=0.0, cell_m=1.0)
    with pytest.raises(InputError, match="every height"):
        Terrain(height_m=np.full((2, 2), np.nan), west=0.0, south=0.0, cell_m=1.0)

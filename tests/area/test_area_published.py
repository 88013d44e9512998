"""Printed figures: places given in other coordinate systems, and tables as the formats say."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas
import pytest
import shapely
from published import assert_printed, load_rows, name_row

from capture.area import load_table


def read_place(inputs: dict[str, Any], folder: Path) -> Any:
    if "geojson" in inputs:
        file = folder / "place.geojson"
        point = {"type": "Point", "coordinates": inputs["geojson"]}
        feature = {"type": "Feature", "geometry": point, "properties": {"prop0": "value0"}}
        file.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    else:
        file = folder / "place.gpkg"
        point = shapely.Point(inputs["x"], inputs["y"])
        geopandas.GeoDataFrame({"id": ["a"]}, geometry=[point], crs=inputs["crs"]).to_file(file)
    return load_table(file).geometry.iloc[0]


def read_cells(inputs: dict[str, Any], folder: Path) -> list[str]:
    file = folder / "table.csv"
    file.write_bytes(inputs["csv"].encode())
    table = load_table(file).drop(columns="row")
    assert len(table) == 1
    return [str(cell) for cell in table.iloc[0]]


CHECKS: dict[str, Callable[[dict[str, Any], Path], float]] = {
    "lat": lambda inputs, folder: read_place(inputs, folder).y,
    "lon": lambda inputs, folder: read_place(inputs, folder).x,
    "cells": lambda inputs, folder: len(read_cells(inputs, folder)),
    "signs": lambda inputs, folder: len(read_cells(inputs, folder)[1]),
}


@pytest.mark.published
@pytest.mark.parametrize("row", load_rows("area"), ids=name_row)
def test_printed(row: dict[str, Any], tmp_path: Path) -> None:
    assert_printed(row, CHECKS[row["check"]](row["inputs"], tmp_path))

"""Sight in the demo town against the same rays asked of plain shapely."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from capture.area import open_area
from capture.basis import Offer
from capture.passing import add_streams, add_volumes
from capture.place import add_frontage, load_parcels, open_place
from capture.seeing import RAY_COLUMNS, VALUES, add_seeing

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"
HEIGHT_M = (6.0, VALUES.value("front_m"), VALUES.value("object_m"), 1.0668, 1.0668)


def lowest(lines: Any, things: Any, ends: np.ndarray, which: str) -> tuple[Any, Any, np.ndarray]:
    """Rays, things that they cross, and the ray's least height over each."""
    tree = shapely.STRtree(things)
    ray, thing = tree.query(lines, predicate=which)
    parts = shapely.intersection(lines[ray], np.asarray(things, dtype=object)[thing])
    low = np.empty(len(ray))
    for i, (n, part) in enumerate(zip(ray.tolist(), parts, strict=True)):
        points = shapely.get_coordinates(part)
        (x0, y0, z0), (x1, y1, z1) = ends[n]
        along = np.array([x1 - x0, y1 - y0])
        share = ((points - [x0, y0]) @ along) / (along @ along)
        low[i] = (z0 + share * (z1 - z0)).min()
    return ray, thing, low


@pytest.mark.property
def test_demo_rays_agree_with_shapely() -> None:
    area = open_area(DEMO)
    place = open_place(area)
    frontage = add_frontage(place, load_parcels(area, place))
    streams = add_streams(area, place, add_volumes(area, place), frontage)
    rng = np.random.default_rng(3)
    some = streams.take(np.sort(rng.choice(len(streams), 30, replace=False)))
    made = add_seeing(place, some, frontage, offer=Offer(), driving_side="right", keep=True)
    table = np.vstack(made.rays)
    at = {name: i for i, name in enumerate(RAY_COLUMNS)}
    target = table[:, at["target"]].astype(int)
    ends = np.stack(
        [
            np.column_stack([table[:, at["eye_x"]], table[:, at["eye_y"]],
                             np.full(len(table), VALUES.value("eye_m"))]),
            np.column_stack([table[:, at["target_x"]], table[:, at["target_y"]],
                             np.array(HEIGHT_M)[target]]),
        ],
        axis=1,
    )  # fmt: skip
    lines = shapely.linestrings(ends[:, :, :2])
    expected = np.ones(len(table), dtype=bool)
    ray, thing, low = lowest(lines, place.buildings.polygons, ends, "intersects")
    expected[ray[low < place.buildings.height_m[thing]]] = False
    ray, thing, low = lowest(lines, place.screens.geometry, ends, "intersects")
    expected[ray[low < place.screens.height_m[thing]]] = False
    # leave out rays near bridges and those that end in a building, which have rules of their own
    network = place.network
    decks = [
        shapely.LineString(network.segment_line(int(g)))
        for g in np.flatnonzero(network.segment_bridge)
    ]
    odd = np.unique(shapely.STRtree(decks).query(lines, predicate="dwithin", distance=1.0)[0])
    inside = shapely.STRtree(place.buildings.polygons).query(
        shapely.points(ends[:, 1, :2]), predicate="intersects"
    )[0]
    kept = np.setdiff1d(np.arange(len(table)), np.concatenate([odd, inside]))
    assert len(kept) > 8_000
    got = table[:, at["clear"]] > 0
    assert 0.5 < got[kept].mean() < 1.0
    assert (got[kept] == expected[kept]).all()

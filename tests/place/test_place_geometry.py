"""Snapping, bands, the path upstream, against shapely and by hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import shapely
from osm_text import OsmText, cross

from capture.area import open_area
from capture.basis import InputError
from capture.place import (
    VALUES,
    Network,
    Place,
    compute_band,
    compute_drive_seconds,
    locate,
    open_place,
    snap,
    walk_upstream,
)


@pytest.fixture
def network(extract: Callable[[str], Place]) -> Network:
    return extract("demo").network


def _lines(network: Network) -> list[shapely.LineString]:
    return [shapely.LineString(network.segment_line(g)) for g in range(network.segments)]


@pytest.mark.parametrize("spread", [20.0, 800.0])
def test_snap_finds_the_nearest_road(network: Network, spread: float) -> None:
    rng = np.random.default_rng(3)
    k = rng.integers(0, network.nodes, 200)
    x = network.node_x[k] + rng.normal(0, spread, 200)
    y = network.node_y[k] + rng.normal(0, spread, 200)
    got = snap(network, x, y)
    lines = np.array(_lines(network))
    points = shapely.points(x, y)
    for m in range(200):
        assert got.distance_m[m] == pytest.approx(
            shapely.distance(lines, points[m]).min(), abs=1e-7
        )
        line = lines[got.segment[m]]
        assert line.project(points[m], normalized=True) == pytest.approx(
            got.fraction[m], abs=1e-6
        ) or line.distance(points[m]) == pytest.approx(got.distance_m[m], abs=1e-7)
        on = line.interpolate(got.fraction[m], normalized=True)
        assert np.hypot(on.x - got.x[m], on.y - got.y[m]) < 1e-5
        assert np.hypot(x[m] - got.x[m], y[m] - got.y[m]) == pytest.approx(got.distance_m[m])


def test_snap_far_outside_and_within_a_bound(network: Network) -> None:
    far = snap(network, [50_000.0, -50_000.0], [0.0, 60_000.0])
    assert (far.segment >= 0).all()
    lines = np.array(_lines(network))
    want = [
        shapely.distance(lines, shapely.Point(50_000, 0)).min(),
        shapely.distance(lines, shapely.Point(-50_000, 60_000)).min(),
    ]
    np.testing.assert_allclose(far.distance_m, want)
    none = snap(network, [50_000.0], [0.0], max_distance_m=100.0)
    assert none.segment.tolist() == [-1]
    assert np.isinf(none.distance_m[0])
    assert snap(network, [np.nan], [0.0]).segment.tolist() == [-1]


def test_snap_to_some_classes(network: Network) -> None:
    rng = np.random.default_rng(5)
    x, y = rng.uniform(-2000, 2000, (2, 100))
    got = snap(network, x, y, classes=[2])
    assert (network.segment_class[got.segment] == 2).all()
    allowed = np.array(_lines(network))[network.segment_class == 2]
    want = [shapely.distance(allowed, p).min() for p in shapely.points(x, y)]
    np.testing.assert_allclose(got.distance_m, want, atol=1e-7)


def test_side_of_the_road(tmp_path: Path) -> None:
    town = OsmText()
    town.node(1, 0, 0)
    town.node(2, 0, 500)
    town.way(9, [1, 2], {"highway": "primary"})
    network = open_place(open_area(town.save(tmp_path)), use_cache=False).network
    got = snap(network, [-10.0, 10.0], [0.0, 0.0])
    assert got.side.tolist() == [1, -1]


def test_locate_is_the_inverse_of_snap(network: Network) -> None:
    rng = np.random.default_rng(9)
    segments, fractions = rng.integers(0, network.segments, 300), rng.random(300)
    at = locate(network, segments, fractions)
    back = snap(network, at.x, at.y)
    np.testing.assert_allclose(back.distance_m, 0, atol=1e-6)
    same = back.segment == segments
    assert same.mean() > 0.95, "others lie where two roads cross or touch"
    np.testing.assert_allclose(back.fraction[same], fractions[same], atol=1e-6)


def test_wrong_positions_are_refused(network: Network) -> None:
    with pytest.raises(InputError, match="fraction must be 0 to 1"):
        locate(network, [0], [1.5])
    with pytest.raises(InputError, match="segment must be 0 to"):
        locate(network, [network.segments], [0.5])
    with pytest.raises(InputError, match="must be more than 0 m"):
        snap(network, [0.0], [0.0], max_distance_m=-1.0)
    with pytest.raises(InputError, match="x and y must be alike"):
        snap(network, [0.0, 1.0], [0.0])


@pytest.mark.parametrize("reverse", [False, True])
def test_a_band_holds_what_is_reached_and_little_else(network: Network, reverse: bool) -> None:
    at = snap(network, [0.0], [0.0])
    limit = 150.0
    band = compute_band(network, at, limit_s=limit, reverse=reverse)
    assert band.is_valid
    assert band.geom_type == "MultiPolygon"
    times = compute_drive_seconds(network, at, reverse=reverse)[0]
    nodes = shapely.points(network.node_x, network.node_y)
    assert shapely.covers(band, nodes[times <= limit]).all()
    clear = VALUES.value("band_reach_m") + 2 * VALUES.value("band_cell_m")
    reached = shapely.MultiPoint(nodes[times <= limit])
    outside = nodes[(times > limit + 60) & (shapely.distance(nodes, reached) > 8 * clear)]
    assert len(outside) > 50
    assert not shapely.covers(band, outside).any()
    holes = [shapely.Polygon(h).area for part in band.geoms for h in part.interiors]
    assert all(area >= 0.8 * VALUES.value("band_hole_m2") for area in holes)


def test_bands_grow(network: Network) -> None:
    at = snap(network, [0.0], [0.0])
    areas = [compute_band(network, at, limit_s=s).area for s in (60.0, 120.0, 240.0)]
    assert areas[0] < areas[1] < areas[2]


def test_a_band_is_cut_where_time_runs_out(tmp_path: Path) -> None:
    network = open_place(open_area(cross(2000.0).save(tmp_path)), use_cache=False).network
    east = int(np.flatnonzero(network.segment_way == 12)[0])
    band = compute_band(network, locate(network, [east], [0.5]), limit_s=30.0)
    middle = locate(network, [east], [0.5])
    west, south, east_x, north = band.bounds
    assert west == pytest.approx(middle.x[0] - 300, abs=100)
    assert east_x == pytest.approx(middle.x[0] + 300, abs=100)
    assert north - south < 250


@pytest.mark.parametrize("limit", [0.0, np.inf, np.nan])
def test_a_band_needs_a_limit(network: Network, limit: float) -> None:
    with pytest.raises(InputError):
        compute_band(network, snap(network, [0.0], [0.0]), limit_s=limit)


def test_upstream_follows_the_road_through_a_junction(tmp_path: Path) -> None:
    network = open_place(open_area(cross(500.0).save(tmp_path)), use_cache=False).network
    east = int(np.flatnonzero(network.segment_way == 12)[0])
    edge = int(network.segment_edge_forward[east])
    path = walk_upstream(network, edge, 0.4, distance_m=450.0)
    steps = np.hypot(*np.diff(path, axis=0).T)
    assert steps.sum() == pytest.approx(450.0, abs=1e-6)
    end = locate(network, [east], [0.4])
    np.testing.assert_allclose(path[-1], [end.x[0], end.y[0]], atol=1e-6)
    assert path[0, 0] == pytest.approx(end.x[0] - 450, abs=0.5)
    assert np.ptp(path[:, 1]) < 0.5, "straight on, not round the corner"


def test_upstream_stops_where_the_road_begins(tmp_path: Path) -> None:
    network = open_place(open_area(cross(500.0).save(tmp_path)), use_cache=False).network
    west = int(np.flatnonzero(network.segment_way == 14)[0])
    path = walk_upstream(network, int(network.segment_edge_forward[west]), 0.5, distance_m=5000.0)
    assert np.hypot(*np.diff(path, axis=0).T).sum() == pytest.approx(250, abs=0.5)


def test_upstream_takes_the_same_name_round_a_bend(tmp_path: Path) -> None:
    town = OsmText()
    places = [(0, 0), (200, 0), (200, -200), (-200, 0)]
    for k, (x, y) in enumerate(places, start=1):
        town.node(k, x, y)
    town.way(8, [1, 2], {"highway": "primary", "name": "Main"})
    town.way(9, [3, 1], {"highway": "primary", "name": "Main"})
    town.way(10, [4, 1], {"highway": "primary", "name": "Other"})
    network = open_place(open_area(town.save(tmp_path)), use_cache=False).network
    main = int(np.flatnonzero(network.segment_way == 8)[0])
    path = walk_upstream(network, int(network.segment_edge_forward[main]), 0.5, distance_m=200.0)
    assert path[0, 1] < path[-1, 1] - 50, "from the south, where Main comes from"


def test_upstream_arguments(network: Network) -> None:
    for edge, fraction, metres in ((-1, 0.5, 10.0), (0, 1.5, 10.0), (0, 0.5, 0.0)):
        with pytest.raises(InputError, match="upstream"):
            walk_upstream(network, edge, fraction, distance_m=metres)

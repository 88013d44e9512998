"""The room as the chain uses it: demo and a bare extract."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from capture.area import open_area
from capture.basis import Worlds
from capture.passing import add_streams, add_volumes, draw_vehicles
from capture.place import add_frontage, load_parcels, open_place

DEMO = Path(__file__).parents[2] / "data_public" / "demo"


@pytest.fixture(scope="module")
def demo():
    area = open_area(DEMO)
    place = open_place(area)
    volumes = add_volumes(area, place, study_year=2026)
    frontage = add_frontage(place, load_parcels(area, place))
    return area, place, volumes, frontage, add_streams(area, place, volumes, frontage)


def test_every_piece_has_a_volume_and_a_spread(demo):
    _, place, volumes, _, _ = demo
    assert np.isfinite(volumes.vehicles_per_day).all()
    assert (volumes.vehicles_per_day > 0).all()
    assert (volumes.log_sd > 0.02).all()
    assert len(volumes.source) == place.network.segments
    assert 100 < volumes.measured.sum() < place.network.segments
    assert np.isnan(volumes.year[~volumes.measured]).all()
    assert all(
        s.startswith("estimated")
        for s, m in zip(volumes.source, volumes.measured, strict=True)
        if not m
    )


@pytest.mark.property
def test_directions_add_up_to_the_piece(demo):
    _, place, volumes, _, _ = demo
    summed = np.bincount(
        place.network.edge_segment,
        weights=volumes.edge_vehicles_per_day,
        minlength=place.network.segments,
    )
    np.testing.assert_allclose(summed, volumes.vehicles_per_day, rtol=1e-12)


def test_a_dual_road_gives_one_stream_a_carriageway(demo):
    streams = demo[-1]
    dual = np.flatnonzero(streams.separation == 3)
    assert len(dual) >= 4
    for f in np.unique(streams.driveway[dual]):
        rows = streams.take(streams.driveway == f)
        assert len(rows) == 2
        assert rows.near_side.tolist() == [True, False]
        turn = abs((rows.direction_deg[0] - rows.direction_deg[1] + 180) % 360 - 180)
        assert turn > 150


def test_near_side_is_the_right_hand_one(demo):
    _, _, _, frontage, streams = demo
    for k in range(len(streams)):
        f = int(streams.driveway[k])
        angle = np.radians(streams.direction_deg[k])
        dx, dy = frontage.x[f] - frontage.line_x[f], frontage.y[f] - frontage.line_y[f]
        right = dx * np.cos(angle) - dy * np.sin(angle) > 0
        if streams.separation[k] != 3:
            assert right == streams.near_side[k], k


def test_hours_are_shares_and_follow_the_counted_direction(demo):
    _, _, _, _, streams = demo
    np.testing.assert_allclose(streams.hour_share.sum(axis=1), 1.0)
    on = [k for k in range(len(streams)) if streams.road[k] == "Tillman Road"]
    assert all("by direction" in streams.hour_source[k] for k in on)
    assert not np.allclose(streams.hour_share[on[0]], streams.hour_share[on[1]])


@pytest.mark.property
def test_sites_on_one_road_share_their_world(demo):
    streams = demo[-1]
    worlds = Worlds(seed=3, draws=64)
    whole = draw_vehicles(streams, worlds)
    np.testing.assert_array_equal(draw_vehicles(streams.take([3, 7]), worlds), whole[[3, 7]])
    assert (whole > 0).all()


def test_without_counts_the_class_table_speaks(tmp_path):
    (tmp_path / "roads.osm").write_bytes((DEMO / "roads.osm").read_bytes())
    area = open_area(tmp_path / "roads.osm")
    place = open_place(area)
    volumes = add_volumes(area, place, study_year=2026)
    assert not volumes.measured.any()
    assert (volumes.log_sd > 0.4).all()
    assert "no count in the area" in volumes.source[0]
    own = np.asarray(place.network.segment_class)
    medians = [np.median(volumes.vehicles_per_day[own == k]) for k in (2, 4, 6)]
    assert medians[0] > medians[1] > medians[2]

"""Does a driveway put on the map lie on the road that was meant, and only by its parcel?"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from capture.area import open_area
from capture.basis import InputError
from capture.chain import load_numbers, study
from capture.chain.own_driveway import MOST_DRIVEWAYS, check_by_parcel, put_on_road
from capture.place import add_frontage, find_sites, open_place

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"
VALUES = load_numbers({})["place"]


@pytest.fixture(scope="module")
def corner():
    area = open_area(DEMO)
    place = open_place(area)
    sites = find_sites(area, place, "parcel:P04")
    return place, sites, add_frontage(place, sites)


def spot_of(place, x, y):
    lat, lon = place.network.projection.to_latlon([x], [y])
    return float(lat[0]), float(lon[0])


def test_driveway_goes_to_the_other_road_with_its_mouth_on_the_edge(corner):
    place, sites, frontage = corner
    assert len(frontage) == 2
    other = 1
    lat, lon = spot_of(place, frontage.line_x[other] - 9.0, frontage.line_y[other] - 6.0)
    moved = put_on_road(place, sites, frontage, "D1", lat, lon, values=VALUES)
    names = place.network.segment_name
    assert names[int(moved.segment[0])] == names[int(frontage.segment[other])]
    assert names[int(moved.segment[0])] != names[int(frontage.segment[0])]
    assert moved.driveway == frontage.driveway
    edge = shapely.boundary(sites.polygons[0])
    mouth = shapely.Point(moved.x[0], moved.y[0])
    assert edge.distance(mouth) < 1e-6
    line = shapely.LineString(place.network.segment_line(int(moved.segment[0])))
    assert line.distance(shapely.Point(moved.line_x[0], moved.line_y[0])) < 1e-6
    assert not moved.proposed[0]
    assert moved.side[0] == frontage.side[other]
    assert moved.x[1] == frontage.x[1]
    assert frontage.proposed[0]


def test_one_more_driveway_is_added_and_walks_through_the_chain(corner):
    place, sites, frontage = corner
    lat, lon = spot_of(place, frontage.x[0], frontage.y[0] - 8.0)
    more = put_on_road(place, sites, frontage, "D3", lat, lon, values=VALUES)
    assert more.driveway == ("D1", "D2", "D3")
    assert more.site.dtype == frontage.site.dtype
    made = study(DEMO, "parcel:P04", draws=100, year=2024, frontage=more)
    assert made.streams.driveway.max() == 2
    assert np.isfinite(made.cars_per_year).all()


def test_a_spot_far_away_is_refused_in_one_sentence(corner):
    place, sites, frontage = corner
    lat, lon = spot_of(place, float(sites.x[0]) + 400.0, float(sites.y[0]))
    with pytest.raises(InputError, match="within 60 m of the parcel, got"):
        put_on_road(place, sites, frontage, "D1", lat, lon, values=VALUES)
    with pytest.raises(InputError, match="sign: the spot must be within"):
        check_by_parcel(place, sites, lat, lon, what="sign", values=VALUES)
    near = spot_of(place, float(sites.x[0]), float(sites.y[0]))
    full = replace(frontage.take([0] * MOST_DRIVEWAYS), driveway=tuple("abcdefgh"))
    with pytest.raises(InputError, match="may have 8 driveways"):
        put_on_road(place, sites, full, "new", *near, values=VALUES)

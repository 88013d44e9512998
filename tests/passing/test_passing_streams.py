# ruff: noqa: E501
"""Streams past driveways: sides, corners, dual roads, notes, worlds they share."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from capture.area import open_area
from capture.basis import InputError, Worlds
from capture.passing import RoadNote, add_streams, add_volumes, draw_vehicles
from capture.passing.values import VALUES
from capture.passing.works import find_notes, read_notes
from capture.place import add_frontage, find_sites, open_place

MAIN = {"highway": "primary", "name": "Main Road", "lanes": 4}
SIDE = {"highway": "secondary", "name": "Side Road", "lanes": 2}
CROSS = [
    (MAIN, [(-1500, 0), (0, 0), (1500, 0)]),
    (SIDE, [(0, -1500), (0, 0), (0, 1500)]),
]


@pytest.fixture
def walk(tmp_path, latlon, draw_roads):
    """Walk from ways and a site to its streams."""

    def walked(ways, x, y, *, area_toml="", counts="", **more):
        draw_roads(tmp_path / "roads.osm", ways)
        layers = '[layers.roads]\npath = "roads.osm"\n'
        if counts:
            (tmp_path / "counts.csv").write_text(counts)
        text = "study_year = 2026\n" + (area_toml if "driving_side" in area_toml else "") + layers
        text += "" if "driving_side" in area_toml else area_toml
        text += '[layers.counts]\npath = "counts.csv"\n' if counts else ""
        (tmp_path / "area.toml").write_text(text)
        area = open_area(tmp_path)
        place = open_place(area)
        volumes = add_volumes(area, place)
        lat, lon = latlon(x, y)
        frontage = add_frontage(place, find_sites(area, place, f"{lat},{lon}"))
        return volumes, add_streams(area, place, volumes, frontage, **more), place

    return walked


def _counts(latlon, *rows):
    lines = ["station,road,lat,lon,aadt,year,direction,heavy_share"]
    for k, (x, y, road, aadt, direction) in enumerate(rows):
        lat, lon = latlon(x, y)
        lines.append(f"S{k},{road},{lat:.6f},{lon:.6f},{aadt},2026,{direction},0.1")
    return "\n".join(lines)


@pytest.mark.parametrize(("side", "near"), [("right", 270.0), ("left", 90.0)])
def test_the_near_side_is_the_one_people_drive_on(walk, side, near):
    toml = f'driving_side = "{side}"\n'
    _, streams, _ = walk(CROSS, 700, 30, area_toml=toml)
    assert len(streams) == 2
    assert streams.direction_deg[streams.near_side].tolist() == pytest.approx([near], abs=1)
    assert streams.lanes.tolist() == [2, 2]


def test_heavy_vehicles_are_taken_out_and_directions_halve(walk, latlon):
    counts = _counts(latlon, (700, 0, "Main Road", 20_000, "both"))
    _, streams, _ = walk(CROSS, 700, 30, counts=counts)
    assert streams.measured.all()
    assert streams.vehicles_per_day.tolist() == pytest.approx([9_000, 9_000], rel=1e-6)
    assert streams.heavy_share.tolist() == [0.1, 0.1]
    assert (streams.split_log_sd > 0).all()


def test_directions_counted_apart_stay_apart(walk, latlon):
    counts = _counts(
        latlon, (700, 0, "Main Road", 12_000, "EB"), (700, 0, "Main Road", 8_000, "WB")
    ).replace("S1,", "S0,")
    _, streams, _ = walk(CROSS, 700, 30, counts=counts)
    east = np.abs(streams.direction_deg - 90) < 45
    assert streams.vehicles_per_day[east].tolist() == pytest.approx([10_800], rel=1e-6)
    assert streams.vehicles_per_day[~east].tolist() == pytest.approx([7_200], rel=1e-6)
    assert (streams.split_log_sd == 0).all()


def test_a_one_way_street_has_one_stream_and_both_its_sides_are_near(walk):
    oneway = ({**MAIN, "oneway": "yes"}, CROSS[0][1])
    for y in (30, -30):
        _, streams, _ = walk([oneway, CROSS[1]], 700, y)
        assert len(streams) == 1
        assert streams.near_side.tolist() == [True]
        assert streams.separation.tolist() != [3]


def test_a_dual_road_gives_the_far_carriageway_behind_a_median(walk, latlon):
    east = ({**MAIN, "oneway": "yes", "lanes": 2}, [(-1500, -9), (0, -9), (1500, -9)])
    west = ({**MAIN, "oneway": "yes", "lanes": 2}, [(1500, 9), (0, 9), (-1500, 9)])
    cross = (SIDE, [(0, -1500), (0, -9), (0, 9), (0, 1500)])
    counts = _counts(latlon, (700, -9, "Main Road", 30_000, "both"))
    _, streams, place = walk([east, west, cross], 700, -40, counts=counts)
    assert streams.separation.tolist() == [3, 3]
    assert streams.near_side.tolist() == [True, False]
    assert streams.direction_deg.tolist() == pytest.approx([90, 270], abs=1)
    assert streams.vehicles_per_day.tolist() == pytest.approx([13_500, 13_500], rel=0.01)
    x = [
        np.interp(f, [0, 1], place.network.edge_line(int(e))[[0, -1], 0])
        for e, f in zip(streams.edge, streams.fraction, strict=True)
    ]
    assert x[0] == pytest.approx(x[1], abs=3)


@pytest.mark.parametrize("x", [30, 75, 300, 860])
def test_the_far_carriageway_is_never_the_near_one(walk, x):
    """Also where the two begin at one node, and at the ends of their pieces."""
    avenue = {"highway": "primary", "name": "Park Avenue", "oneway": "yes"}
    ways = [
        ({"highway": "primary", "name": "Park Avenue"}, [(-900, 0), (0, 0)]),
        (avenue, [(0, 0), (60, -9), (400, -9), (900, -9)]),
        (avenue, [(900, 9), (500, 9), (60, 9), (0, 0)]),
        (SIDE, [(400, -500), (400, -9)]),
        (SIDE, [(500, 9), (500, 500)]),
    ]
    _, streams, _ = walk(ways, x, -45)
    park = streams.take([name == "Park Avenue" for name in streams.road])
    assert len(park) == 2
    turn = abs((park.direction_deg[0] - park.direction_deg[1] + 180) % 360 - 180)
    assert turn > 140
    assert park.near_side.tolist() == [True, False]


def test_turners_at_a_corner_are_counted_once(walk, latlon):
    counts = _counts(
        latlon, (700, 0, "Main Road", 20_000, "both"), (0, 700, "Side Road", 8_000, "both")
    )
    _, streams, _ = walk(CROSS, 40, 40, counts=counts)
    assert set(streams.road) == {"Main Road", "Side Road"}
    turn = VALUES.value("corner_turn_share")
    west = (np.abs(streams.direction_deg - 270) < 45).argmax()
    east = (np.abs(streams.direction_deg - 90) < 45).argmax()
    north = (streams.direction_deg < 45).argmax()
    south = (np.abs(streams.direction_deg - 180) < 45).argmax()
    turners = turn * 0.9 * 4_000
    assert streams.vehicles_per_day[west] == pytest.approx(9_000, rel=1e-6)
    assert streams.vehicles_per_day[south] == pytest.approx(3_600, rel=1e-6)
    assert streams.vehicles_per_day[north] == pytest.approx(3_600 - turners, rel=1e-6)
    assert streams.vehicles_per_day[east] == pytest.approx(9_000 - turners, rel=1e-6)
    assert streams.corner_group[west] == streams.corner_group[north] >= 0
    assert streams.corner_group[south] == streams.corner_group[east] >= 0
    assert streams.corner_group[west] != streams.corner_group[south]
    assert "counted once" in streams.source[north]


@pytest.mark.property
@pytest.mark.parametrize("many", [1, 2, 3])
def test_one_road_passed_at_several_driveways_counts_once(walk, latlon, many, tmp_path):
    import pandas as pd

    volumes, plain, place = walk(CROSS, 700, 30)
    area = open_area(tmp_path)
    spots = [latlon(660 + 40 * k, 12) for k in range(many)]
    lat, lon = latlon(700, 30)
    sites = find_sites(area, place, f"{lat},{lon}")
    given = pd.DataFrame(
        {
            "site": [sites.ids[0]] * many,
            "driveway": [f"d{k}" for k in range(many)],
            "lat": [s[0] for s in spots],
            "lon": [s[1] for s in spots],
        }
    )
    streams = add_streams(area, place, volumes, add_frontage(place, sites, driveways=given))
    assert len(streams) == 2 * many
    assert streams.vehicles_per_day.sum() == pytest.approx(plain.vehicles_per_day.sum())
    whole = streams.vehicles_per_day / (1 - streams.corner_share)
    assert whole.tolist() == pytest.approx([plain.vehicles_per_day[0]] * (2 * many))


def test_a_mid_block_site_has_no_corner(walk):
    _, streams, _ = walk(CROSS, 700, 30)
    assert (streams.corner_group == -1).all()
    assert (streams.corner_share == 0).all()


def test_an_older_count_spreads_wider(walk, latlon):
    fresh = _counts(latlon, (700, 0, "Main Road", 20_000, "both"))
    _, new, _ = walk(CROSS, 700, 30, counts=fresh)
    _, old, _ = walk(CROSS, 700, 30, counts=fresh.replace("2026", "2012"))
    assert (old.log_sd > new.log_sd + 0.05).all()
    assert (old.year == 2012).all()


WORKS = RoadNote(
    road="Main Rd", starts=date(2026, 1, 1), ends=date(2026, 7, 1), factor=0.5, why="widening"
)


def test_road_works_change_the_stream_for_their_part_of_the_year(walk):
    _, plain, _ = walk(CROSS, 700, 30)
    _, noted, _ = walk(CROSS, 700, 30, notes=[WORKS])
    share = 182 / 365
    assert noted.vehicles_per_day / plain.vehicles_per_day == pytest.approx(1 - 0.5 * share)
    assert (noted.log_sd > plain.log_sd).all()
    assert "widening, from 2026-01-01 to 2026-07-01: vehicles x0.50" in noted.notes[0]
    _, later, _ = walk(CROSS, 700, 30, notes=[replace(WORKS, starts=date(2030, 1, 1), ends=None)])
    np.testing.assert_array_equal(later.vehicles_per_day, plain.vehicles_per_day)
    assert "does not touch 2026" in later.notes[0]
    _, other, _ = walk(CROSS, 700, 30, notes=[replace(WORKS, road="Side Road")])
    assert other.notes == ["", ""]


def test_notes_in_area_toml_are_read(walk, latlon):
    lat, lon = latlon(700, 0)
    note = (
        "[[layers.roads.notes]]\n"
        f"lat = {lat}\nlon = {lon}\nreach_m = 100.0\nstarts = 2026-01-01\nfactor = 1.2\n"
        'low = 1.1\nhigh = 1.3\nwhy = "bypass closed"\n'
    )
    _, streams, _ = walk(CROSS, 700, 30, area_toml=note)
    assert "bypass closed" in streams.notes[0]
    _, far, _ = walk(CROSS, -900, 30, area_toml=note)
    assert far.notes == ["", ""]
    assert find_notes(None) == []


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"road": "A", "factor": 1.0}, "starts must be given; why must be given"),
        ({"road": "A", "starts": "soon", "factor": 1.0, "why": "x"}, "must be a day such as"),
        ({"road": "A", "starts": "2026-01-01", "factor": "x", "why": "x"}, "factor must be a number"),
        ({"road": "A", "starts": "2026-01-01", "factor": 0.0, "why": "x"}, "factor must be above 0"),
        ({"starts": "2026-01-01", "factor": 1.0, "why": "x"}, "a road or a lat and lon"),
        ({"road": "A", "starts": "2026-01-01", "ends": "2025-01-01", "factor": 1.0, "why": "x"}, "ends must not be before"),
        ({"road": "A", "starts": "2026-01-01", "factor": 0.5, "low": 0.8, "why": "x"}, "low <= factor <= high"),
        ({"road": "A", "starts": "2026-01-01", "factor": 1.0, "why": "x", "when": 1}, "no field 'when'"),
    ],
)  # fmt: skip
def test_bad_notes_are_refused(row, words):
    with pytest.raises(InputError, match=words):
        read_notes([row])


@pytest.mark.property
def test_worlds_are_keyed_by_road(walk, latlon):
    counts = _counts(latlon, (700, 0, "Main Road", 20_000, "both"))
    _, streams, _ = walk(CROSS, 40, 40, counts=counts)
    worlds = Worlds(seed=1, draws=4000)
    drawn = np.log(draw_vehicles(streams, worlds))
    on_main = [k for k in range(len(streams)) if streams.road[k] == "Main Road"]
    a, b = (drawn[k] - np.log(streams.vehicles_per_day[k]) for k in on_main)
    assert np.corrcoef(a, b)[0, 1] > 0.9
    assert a.std() == pytest.approx(streams.log_sd[on_main[0]], rel=0.06)
    assert np.median(a) == pytest.approx(0, abs=0.01)
    other = next(k for k in range(len(streams)) if streams.road[k] == "Side Road")
    c = drawn[other] - np.log(streams.vehicles_per_day[other])
    assert abs(np.corrcoef(a, c)[0, 1]) < 0.1
    flipped = streams.take(np.arange(len(streams))[::-1])
    np.testing.assert_array_equal(
        draw_vehicles(flipped, worlds)[::-1], draw_vehicles(streams, worlds)
    )


def test_estimated_roads_share_a_level(walk):
    _, streams, _ = walk(CROSS, 40, 40)
    assert not streams.measured.any()
    drawn = np.log(draw_vehicles(streams, Worlds(seed=1, draws=4000)))
    on_main = next(k for k in range(len(streams)) if streams.road[k] == "Main Road")
    other = next(k for k in range(len(streams)) if streams.road[k] == "Side Road")
    shared = streams.shared_log_sd[on_main] * streams.shared_log_sd[other]
    expected = shared / (streams.log_sd[on_main] * streams.log_sd[other])
    assert expected > 0.1
    assert np.corrcoef(drawn[on_main], drawn[other])[0, 1] == pytest.approx(expected, abs=0.05)

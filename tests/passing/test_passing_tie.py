"""Counts tied to the right road among parallel ones, and what a user decides."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from capture.basis import DataError, InputError
from capture.passing.decisions import TieDecisions, find_unknown, make_key
from capture.passing.names import compute_likeness, plain_name, split_refs
from capture.passing.spread import carry_counts, find_conflicts, split_over_carriageways
from capture.passing.tie import tie_counts

ARTERIAL = {"highway": "primary", "name": "Harrow Boulevard", "lanes": 2, "oneway": "yes"}
FRONTAGE = {"highway": "residential", "name": "Harrow Frontage Road"}
MILL = {"highway": "tertiary", "name": "Mill Lane"}
RAMP = {"highway": "motorway_link", "oneway": "yes"}
DUAL = [
    (ARTERIAL, [(-1000, -8), (0, -8), (1000, -8)]),
    (ARTERIAL, [(1000, 8), (0, 8), (-1000, 8)]),
    (FRONTAGE, [(-1000, -30), (0, -30), (1000, -30)]),
    (MILL, [(0, -600), (0, -30), (0, -8), (0, 8), (0, 600)]),
    ({"highway": "motorway", "ref": "I 95", "oneway": "yes"}, [(-1000, 300), (1000, 300)]),
    (RAMP, [(-200, 300), (100, 285), (300, 250), (400, 100)]),
]  # fmt: skip


def _tie(place, counts, **more):
    ties = tie_counts(place.network, counts, **more)
    return ties, [place.network.segment_name[int(g)] if g >= 0 else None for g in ties["segment"]]


def test_name_tells_the_arterial_from_its_frontage_road(open_roads, counts_table):
    _, place = open_roads(DUAL)
    counts = counts_table(
        {"x": 300, "y": -24, "road": "Harrow Blvd"},
        {"x": 300, "y": -14, "road": "Harrow Frontage Rd"},
    )
    ties, names = _tie(place, counts)
    assert names == ["Harrow Boulevard", "Harrow Frontage Road"]
    assert ties["why"].str.contains("m off").all()
    assert (ties[["distance_score", "name_score", "bearing_score", "class_score"]] <= 1).all(
        axis=None
    )


def test_without_a_name_two_roads_as_near_are_ambiguous(open_roads, counts_table):
    _, place = open_roads(
        [
            ({"highway": "primary", "name": "North Way"}, [(-500, 10), (500, 10)]),
            ({"highway": "primary", "name": "South Way"}, [(-500, -10), (500, -10)]),
        ]
    )
    ties, _ = _tie(place, counts_table({"x": 0, "y": 1}))
    assert ties["ambiguous"].tolist() == [True]
    assert "ambiguous with" in ties["why"].iloc[0]
    assert ties["rival_segment"].iloc[0] != ties["segment"].iloc[0]


@pytest.mark.parametrize(("bearing", "south"), [(90.0, True), (270.0, False)])
def test_bearing_picks_the_carriageway(open_roads, counts_table, bearing, south):
    _, place = open_roads(DUAL)
    counts = counts_table(
        {"x": 300, "y": 0, "road": "Harrow Boulevard", "direction_deg": bearing, "two_way": False}
    )
    ties, _ = _tie(place, counts)
    line = place.network.segment_line(int(ties["segment"].iloc[0]))
    assert (line[:, 1].mean() < 0) == south


def test_a_two_way_count_of_a_dual_road_is_halved(open_roads, counts_table):
    _, place = open_roads(DUAL)
    counts = counts_table({"x": 300, "y": -8, "road": "Harrow Boulevard", "two_way": True})
    ties, _ = _tie(place, counts)
    assert not ties["ambiguous"].iloc[0]
    row = {**counts.iloc[0].to_dict(), **ties.iloc[0].to_dict(), "aged_vehicles_per_day": 20_000.0}
    parts = split_over_carriageways(place.network, row)
    assert [p[1] for p in parts] == [10_000.0, 10_000.0]
    first, second = (place.network.segment_line(p[0])[:, 1].mean() for p in parts)
    assert first * second < 0
    split = {**row, "split_share": 0.6, "direction_deg": 90.0}
    assert sorted(p[1] for p in split_over_carriageways(place.network, split)) == [
        8_000.0,
        12_000.0,
    ]
    one = {**row, "two_way": False, "direction_deg": 270.0}
    ((segment, volume, _, _),) = split_over_carriageways(place.network, one)
    assert volume == 20_000.0
    assert place.network.segment_line(segment)[:, 1].mean() > 0


def test_ramps_get_counts_only_when_named(open_roads, counts_table):
    _, place = open_roads(DUAL)
    counts = counts_table(
        {"x": 100, "y": 290, "road": "I-95"}, {"x": 100, "y": 290, "road": "I-95 ramp to Mill Lane"}
    )
    ties = tie_counts(place.network, counts)
    links = np.asarray(place.network.segment_link)[ties["segment"]]
    assert links.tolist()[0] is False


def test_a_line_count_follows_its_bearing(open_roads, counts_table, latlon):
    _, place = open_roads(DUAL)
    (lat_a, lon_a), (lat_b, lon_b) = latlon(0, -220), latlon(0, -180)
    line = np.array([[lon_a, lat_a], [lon_b, lat_b]])
    counts = counts_table({"x": 0, "y": -200, "line": line})
    _, names = _tie(place, counts)
    assert names == ["Mill Lane"]


def test_nothing_near_stays_untied_and_says_so(open_roads, counts_table):
    _, place = open_roads(DUAL)
    ties, _ = _tie(place, counts_table({"x": 500, "y": -300}))
    assert ties["segment"].tolist() == [-1]
    assert "no road that fits within 60 m" in ties["why"].iloc[0]


def test_a_users_decision_wins_and_is_kept(open_roads, counts_table, latlon, tmp_path):
    _, place = open_roads(DUAL)
    counts = counts_table({"x": 300, "y": -24, "road": "Harrow Blvd"})
    key = make_key(counts.iloc[0].to_dict())
    kept = TieDecisions(tmp_path / "deep" / "ties.json")
    lat, lon = latlon(310, -30)
    kept.decide(key, lat=lat, lon=lon)
    ties, names = _tie(place, counts, decisions=TieDecisions(kept.path).load())
    assert names == ["Harrow Frontage Road"]
    assert ties["decided"].tolist() == [True]
    assert "by you" in ties["why"].iloc[0]
    kept.decide(key)
    ties, names = _tie(place, counts, decisions=kept.load())
    assert names == [None]
    assert ties["why"].tolist() == ["left untied by you"]


def test_bad_decisions_are_refused(tmp_path):
    kept = TieDecisions(tmp_path / "ties.json")
    assert kept.load() == {}
    with pytest.raises(InputError, match="degrees within 90 and 180"):
        kept.decide("a", lat=123.0, lon=0.0)
    for text in ("[]", "{", '{"a": 3}', '{"a": {"lat": 1}}', '{"a": {"lat": "x", "lon": 2}}'):
        kept.path.write_text(text)
        with pytest.raises(DataError, match="not a list of decisions"):
            kept.load()


def _ready(place, counts):
    ties = tie_counts(place.network, counts)
    ready = counts.merge(ties, on="count_id")
    ready["aged_vehicles_per_day"], ready["aged_log_sd"] = (
        ready["vehicles_per_day"],
        ready["log_sd"],
    )
    return carry_counts(place.network, ready)


ROAD = [
    ({"highway": "secondary", "name": "Long Road"}, [(x, 0) for x in range(0, 4001, 500)]),
    ({"highway": "residential", "name": "A"}, [(500, 0), (500, 300)]),
    ({"highway": "residential", "name": "B"}, [(1000, 0), (1000, 300)]),
    ({"highway": "secondary", "name": "Cross Road"}, [(2000, -300), (2000, 0), (2000, 300)]),
    ({"highway": "secondary", "name": "Far Road"}, [(3000, -300), (3000, 0), (3000, 300)]),
]


def test_a_count_is_carried_to_the_next_equal_junction_and_fades_beyond(open_roads, counts_table):
    _, place = open_roads(ROAD)
    carried, counts = _ready(place, counts_table({"x": 250, "y": 0, "road": "Long Road"}))
    assert counts["fate"].tolist() == ["both directions of this carriageway"]
    west = place.network.geom_x.min()
    at = {
        round((place.network.segment_line(c.segment)[:, 0].mean() - west) / 250) * 250: c
        for c in carried
    }
    order = [at[k] for k in sorted(at)]
    assert [c.equal_junctions for c in order] == sorted(c.equal_junctions for c in order)
    assert at[250].variance == pytest.approx(0.01)
    assert at[750].equal_junctions == 0
    assert at[2500].equal_junctions == 1
    assert all(a.variance <= b.variance for a, b in pairwise(order))
    assert at[2500].variance - at[1500].variance > 0.25**2
    assert {place.network.segment_name[c.segment] for c in carried} == {"Long Road"}


PARTS = [
    ({"highway": "primary", "name": "Park Avenue", "lanes": 4}, [(-1000, 0), (0, 0)]),
    ({"highway": "primary", "name": "Park Avenue", "oneway": "yes"}, [(0, 0), (60, -9), (900, -9)]),
    ({"highway": "primary", "name": "Park Avenue", "oneway": "yes"}, [(900, 9), (60, 9), (0, 0)]),
]


def test_a_count_is_halved_where_its_road_parts_and_doubled_where_it_joins(
    open_roads, counts_table
):
    _, place = open_roads(PARTS)
    oneway = np.asarray(place.network.segment_oneway)
    whole, _ = _ready(
        place, counts_table({"x": -500, "y": 0, "road": "Park Avenue", "two_way": True})
    )
    assert sorted(round(np.exp(c.log_vehicles)) for c in whole if oneway[c.segment]) == [5000, 5000]
    east = {"x": 500, "y": -9, "road": "Park Avenue", "two_way": False, "direction_deg": 90.0}
    half, _ = _ready(place, counts_table(east))
    assert [round(np.exp(c.log_vehicles)) for c in half if not oneway[c.segment]] == [20_000]


def test_two_counts_that_disagree_on_one_stretch_are_listed(open_roads, counts_table):
    _, place = open_roads(ROAD)
    carried, counts = _ready(
        place,
        counts_table(
            {"x": 250, "y": 0, "road": "Long Road"},
            {"x": 1500, "y": 0, "road": "Long Road", "vehicles_per_day": 25_000.0},
            {"x": 2500, "y": 0, "road": "Long Road", "vehicles_per_day": 90_000.0},
        ),
    )
    found = find_conflicts(place.network, counts, carried)
    assert found[["count_a", "count_b"]].to_numpy().tolist() == [["c#1", "c#2"]]
    assert found["ratio"].tolist() == [2.5]


def test_names():
    assert plain_name("MAIN ST.") == "main street"
    assert compute_likeness("N Main St", "Main Street") == 0.9
    assert compute_likeness("Mannerheimintie", "MANNERHEIMINTIE") == 1.0
    assert compute_likeness("", "Main") == 0.0
    assert split_refs("US 40;MD 7") == {"us40", "md7"}


@pytest.mark.parametrize(("lat", "lon"), [(np.nan, np.nan), (43.6, np.nan), (np.inf, 0.0)])
def test_a_count_without_a_position_stays_untied_and_says_so(open_roads, counts_table, lat, lon):
    _, place = open_roads(DUAL)
    counts = counts_table({"x": 300, "y": -14}, {"x": 300, "y": -24}).assign(station=["A", "B"])
    counts.loc[1, ["lat", "lon"]] = lat, lon
    ties, names = _tie(place, counts)
    assert names[0] is not None
    assert names[1] is None
    assert "no position is given" in ties["why"].iloc[1]


@pytest.mark.parametrize(
    "spot",
    [{"lat": 43.6}, {"lat": np.nan, "lon": 1.0}, {"lat": 91.0, "lon": 0.0},
     {"lat": 1.0, "lon": 1.0, "x": 1.0}, {"lat": "1", "lon": "2"}],
)  # fmt: skip
def test_a_tie_that_is_no_position_is_refused(open_roads, counts_table, spot):
    _, place = open_roads(DUAL)
    with pytest.raises(InputError, match=r"tie of count A9 \(mill lane\) must be lat and lon"):
        tie_counts(place.network, counts_table({"x": 0, "y": 0}),
                   decisions={"A9|mill lane|43.6|1.0": spot})  # fmt: skip


def test_ties_of_counts_that_are_not_there_are_said(open_roads, counts_table):
    _, place = open_roads(DUAL)
    counts = counts_table({"x": 300, "y": -14, "road": "Mill Lane"})
    mine = {make_key(row): {} for row in counts.to_dict("records")}
    ties, _ = _tie(place, counts, decisions=mine)
    assert find_unknown(mine, ties) == []
    gone = {**mine, **{f"Z{k}|<b>|1|2": {} for k in range(8)}}
    (said,) = find_unknown(gone, ties)
    assert said.startswith("8 tie(s) by hand are not used, since the area has no such count: Z0")
    assert "Z5" in said
    assert "Z6" not in said

"""Do ties and columns settled by hand, and a counts file of one's own, reach the chain?"""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from capture.area import open_area
from capture.basis import CaptureError, DataError, InputError
from capture.papers.passing_layers import (
    find_count_near,
    list_roads_near,
    make_tied_layer,
    say_heading,
)
from capture.papers.passing_tables import (
    make_count_table,
    make_hour_table,
    make_note_table,
    make_story_table,
)
from capture.passing import add_streams
from capture.passing.reading import read_count_file
from siteapp import engine
from siteapp.count_answers import get_files
from siteapp.count_columns import find_answers, guess
from siteapp.own_counts import Told, add_counts, keep_given
from siteapp.own_notes import get_notes
from siteapp.own_ties import get_columns, get_ties
from siteapp.workspace import Inputs

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"
CSV = b"id,road,lat,lon,aadt,year\nA1,Tillman Road,43.6050,-87.3074,31000,2024\n"


@pytest.fixture(scope="module")
def inputs():
    return Inputs(area=str(DEMO), site="parcel:P01", draws=300)


@pytest.fixture(scope="module")
def brief(inputs):
    return engine.get_brief(inputs)


@pytest.fixture(scope="module")
def table(brief):
    return make_count_table(brief)


def test_tie_by_hand_reaches_the_streams_and_is_said(inputs, brief, table) -> None:
    count = table[table["station"] == "H030"].iloc[0]
    x, y = float(brief.sites.x[0]), float(brief.sites.y[0])
    roads = list_roads_near(brief.place, x - 250, y, within_m=300)
    upholder = roads[roads["name"] == "Upholder Road"].iloc[0]
    spot = {"lat": float(upholder["lat"]), "lon": float(upholder["lon"])}
    moved = engine.get_brief(inputs.change(ties={count["key"]: spot}))
    told = make_count_table(moved)
    row = told[told["key"] == count["key"]].iloc[0]
    assert (row["tied_to"], row["tie"], row["remark"]) == (
        "Upholder Road", "tied by you", "decided by you"
    )  # fmt: skip
    on = [road == "Upholder Road" for road in brief.streams.road]
    before = brief.streams.vehicles_per_day[on].sum()
    assert moved.streams.vehicles_per_day[on].sum() > 2 * before
    loose = make_count_table(engine.get_brief(inputs.change(ties={count["key"]: {}})))
    row = loose[loose["key"] == count["key"]].iloc[0]
    assert (row["tied_to"], row["tie"]) == ("no road", "left untied by you")


def test_every_count_stands_in_the_table_and_on_the_map(brief, table) -> None:
    assert sorted(table["key"]) == sorted(brief.volumes.counts["key"])
    assert (np.diff(table["from_site_m"]) >= 0).all()
    assert (table["low"] < table["today_veh_day"]).all()
    assert (table["today_veh_day"] < table["high"]).all()
    layer = make_tied_layer(brief.place, brief.volumes, table, chosen=table["key"].iloc[3])
    looks = [mark.look for mark in layer.marks if mark.kind == "point"]
    assert len(looks) == len(table) + 1
    assert looks.count("count-chosen") == 1
    for row in brief.volumes.conflicts.to_dict("records"):
        for end in ("count_a", "count_b"):
            told = table.loc[table["count_id"] == row[end], "conflicts"].iloc[0]
            assert row["why"] in told


def test_continuous_count_says_both_kinds_of_mean(table) -> None:
    told = table.loc[table["station"] == "C1-invented", "how_read"].iloc[0]
    assert "30,614 by average of averages, 30,609 by plain mean" in told


def test_distances_follow_the_readers_units(brief) -> None:
    feet = make_story_table(brief.streams, study_year=2026)["source"].iloc[0]
    metres = make_story_table(brief.streams, study_year=2026, system="metric")["source"].iloc[0]
    assert "571 ft along the road" in feet
    assert "174 m along the road" in metres


def test_hours_add_up_to_the_day_of_each_stream(brief) -> None:
    hours = make_hour_table(brief.streams)
    daily = hours.groupby("stream", sort=False)["vehicles_per_hour"].sum()
    np.testing.assert_allclose(daily, brief.streams.vehicles_per_day, rtol=1e-9)
    assert len(daily) == len(brief.streams)


def test_streams_of_one_road_and_heading_have_names_of_their_own(brief) -> None:
    twice = brief.streams.take([0, 0, 1])
    names = make_story_table(twice, study_year=2026)["stream"]
    assert names.is_unique


def test_dated_note_names_the_streams_that_it_touches(brief, tmp_path) -> None:
    copy = tmp_path / "town"
    shutil.copytree(DEMO, copy, ignore=shutil.ignore_patterns("*.py", "__pycache__"))
    text = (copy / "area.toml").read_text(encoding="utf-8")
    note = '[[layers.roads.notes]]\nroad = "Tillman Road"\nstarts = 2026-07-01\nfactor = 0.5\n'
    (copy / "area.toml").write_text(
        text.replace("[layers.counts]", note + 'why = "widening"\n\n[layers.counts]'),
        encoding="utf-8",
    )
    area = open_area(copy)
    streams = add_streams(area, brief.place, brief.volumes, brief.chain.frontage)
    rows = make_note_table(area, streams, study_year=2026)
    assert rows[["road", "why", "starts", "ends"]].iloc[0].tolist() == [
        "Tillman Road", "widening", "2026-07-01", "for good"
    ]  # fmt: skip
    assert rows["streams"].iloc[0].count("Tillman Road") == 2
    assert "Upholder" not in rows["streams"].iloc[0]
    assert make_note_table(area, streams, study_year=2025)["year_share"].iloc[0] == 0


@pytest.mark.parametrize(
    "ties",
    [{"a": {"lat": 40.0}}, {"a": {"lat": 95.0, "lon": 1.0}}, {"a": [1, 2]},
     {"a": {"lat": True, "lon": 1.0}}, {"a": {"lat": "x", "lon": 1.0}}],
)  # fmt: skip
def test_spoilt_ties_are_refused_in_a_sentence(ties) -> None:
    with pytest.raises(DataError, match="tie by hand"):
        get_ties(Inputs(ties=ties))


def test_click_chooses_the_nearest_count_within_reach(table) -> None:
    row = table.iloc[5]
    assert find_count_near(table, row["lat"] + 1e-5, row["lon"], within_m=50) == row["key"]
    assert find_count_near(table, row["lat"] + 1, row["lon"], within_m=50) == ""
    assert find_count_near(table.head(0), 0, 0, within_m=50) == ""


def test_carriageways_of_a_dual_road_are_told_apart(brief) -> None:
    network = brief.place.network
    g = int(np.flatnonzero(np.asarray(network.segment_opposite) >= 0)[0])
    x, y = network.segment_line(g).mean(axis=0)
    names = list_roads_near(brief.place, float(x), float(y), within_m=60)["name"].tolist()
    road = network.segment_name[g]
    assert sum(name.startswith(f"{road}, going ") for name in names) == 2
    assert say_heading(91) == "going east"


def test_corrected_column_reaches_the_volumes(inputs, brief) -> None:
    table, _ = read_count_file(DEMO / "counts.geojson")
    roles = {taken.column: taken.role for taken in guess(table, {}).taken}
    told = find_answers(table, {**roles, "heavy_share": ""}, {})
    assert told["heavy_share"] == told["heavy"] == ""
    asked = inputs.change(columns=told)
    assert get_columns(asked, brief.area, stamp=0.0) == {"counts.geojson": told}
    plain = engine.get_brief(asked)
    assert np.isfinite(brief.volumes.counts["heavy_share"].astype(float)).sum() > 70
    assert np.isfinite(plain.volumes.counts["heavy_share"].astype(float)).sum() == 0


def test_what_was_said_of_another_files_columns_is_left_alone(inputs, brief) -> None:
    asked = inputs.change(columns={"aadt": "NOT THERE"})
    assert get_columns(asked, brief.area, stamp=0.0) is None
    assert engine.get_brief(asked).volumes.counts.equals(brief.volumes.counts)


def test_correction_frees_the_role_that_a_column_held() -> None:
    table = pd.DataFrame({"lat": [40.1], "lon": [-75.0], "aadt": [9000], "other": [8000]})
    wanted = {"lat": "lat", "lon": "lon", "aadt": "", "other": "aadt"}
    assert find_answers(table, wanted, {}) == {"aadt": "other"}
    wanted = {"lat": "lat", "lon": "lon", "aadt": "", "other": ""}
    assert find_answers(table, wanted, {}) == {"aadt": ""}
    wanted = {"lat": "lat", "lon": "lon", "aadt": "aadt", "other": ""}
    assert find_answers(table, wanted, {}) == {}


@pytest.mark.parametrize("beside", [True, False])
def test_own_file_joins_a_copy_and_the_area_stays(tmp_path, inputs, brief, beside) -> None:
    path = keep_given(tmp_path / "given", [("My counts.CSV", CSV)]).path
    before = {item.name: item.read_bytes() for item in DEMO.iterdir() if item.is_file()}
    made = add_counts(
        brief.area, tmp_path / "areas", path,
        Told(called='my "counts".csv', source='given by you: my "counts".csv',
             columns={"station": "id"}),
        beside=beside,
    )  # fmt: skip
    assert {item.name: item.read_bytes() for item in DEMO.iterdir() if item.is_file()} == before
    area = open_area(made)
    assert area.name == brief.area.name
    assert area.invented
    assert area.study_year == brief.area.study_year
    assert set(area.layers) == set(brief.area.layers)
    said = area.layers["counts"].note + area.layers["counts"].source
    assert 'given by you: my "counts".csv' in said
    study = engine.get_brief(inputs.change(area=str(made)))
    stations = set(study.volumes.counts["station"])
    assert "A1" in stations
    assert ("H030" in stations) is beside
    assert "C1-invented" in stations


def test_own_file_can_be_given_to_bare_roads(tmp_path, brief) -> None:
    bare = tmp_path / "roads.osm"
    shutil.copyfile(DEMO / "roads.osm", bare)
    path = keep_given(tmp_path / "given", [("c.csv", CSV)]).path
    made = add_counts(
        open_area(bare), tmp_path / "areas", path, Told(called="c.csv", source="you"), beside=True
    )  # fmt: skip
    assert set(open_area(made).layers) == {"roads", "counts"}


def test_given_file_of_an_unknown_kind_is_refused(tmp_path) -> None:
    with pytest.raises(InputError, match="counts must end in one of"):
        keep_given(tmp_path, [("counts.xlsx", b"PK")])
    with pytest.raises(InputError, match="counts must end in one of"):
        keep_given(tmp_path, [("../../etc/passwd", b"x")])
    assert not list(tmp_path.iterdir())


def test_answers_about_a_given_file_are_kept_with_the_copy(tmp_path, inputs, brief) -> None:
    unclear = b"Road;Latitude;Longitude;Traffic 2024\nTillman Road;43.6050;-87.3074;31000\n"
    path = keep_given(tmp_path / "given", [("City 2024.csv", unclear)]).path
    table, _ = read_count_file(path)
    columns = guess(table, {})
    assert [question.role for question in columns.questions if question.needed] == ["aadt"]
    made = add_counts(
        brief.area, tmp_path / "areas", path,
        Told(called="City 2024.csv", source="city", columns={"aadt": "Traffic 2024"}),
        beside=True,
    )  # fmt: skip
    asked = inputs.change(area=str(made))
    told = make_count_table(engine.get_brief(asked))
    assert "row 2 of own-city-2024.csv" in set(told["station"])
    files = get_files(asked, year=2026).files
    assert [file.name for file in files][-1] == "own-city-2024.csv"


def test_each_counts_file_has_columns_of_its_own(inputs, brief, tmp_path) -> None:
    file = DEMO / "count_48h.csv"
    table, _ = read_count_file(file)
    roles = {taken.column: taken.role for taken in guess(table, {}).taken}
    told = find_answers(table, {**roles, "direction": ""}, {})
    assert told == {"direction": ""}
    asked = inputs.change(columns={"count_48h.csv": told, "gone.csv": {"aadt": "x"}})
    assert get_columns(asked, brief.area, stamp=0.0) == {"count_48h.csv": told}
    study = engine.get_brief(asked)
    whole, plain = brief.volumes.columns, study.volumes.columns
    changed = (whole != plain).any(axis=1)
    assert plain[changed][["file", "column", "taken_for"]].to_numpy().tolist() == [
        ["count_48h.csv", "direction", "not used"]
    ]
    made = add_counts(
        brief.area, tmp_path / "areas", keep_given(tmp_path, [("c.csv", CSV)]).path,
        Told(called="c.csv", source="you"), beside=True,
        settled=get_columns(asked, brief.area, stamp=0.0),
    )  # fmt: skip
    copy = engine.get_brief(inputs.change(area=str(made))).volumes.columns
    row = copy[(copy["file"] == "count_48h.csv") & (copy["column"] == "direction")]
    assert row["taken_for"].tolist() == ["not used"]


def test_what_an_older_study_said_of_columns_is_about_the_first_file(inputs, brief) -> None:
    bare = inputs.change(columns={"heavy_share": "", "heavy": ""})
    assert get_columns(bare, brief.area, stamp=0.0) == {
        "counts.geojson": {"heavy_share": "", "heavy": ""}
    }


def test_copy_of_an_area_keeps_the_names_and_licences_of_its_files(tmp_path, brief) -> None:
    given = keep_given(tmp_path, [("County Counts.csv", CSV)]).path
    told = Told(called="County Counts.csv", source="the county", licence="free to use")
    first = add_counts(brief.area, tmp_path / "areas", given, told, beside=True)
    second = add_counts(open_area(first), tmp_path / "areas", given, told, beside=True)
    layer = open_area(second).layers["counts"]
    assert layer.path.name == "counts.geojson"
    assert layer.options["short_counts"] == [
        "count_48h.csv", "own-county-counts.csv", "own-county-counts-2.csv"
    ]  # fmt: skip
    assert layer.options["files"]["own-county-counts.csv"]["licence"] == "free to use"
    assert "the county, free to use" in layer.note


def test_spoilt_road_notes_are_refused_in_a_sentence(inputs) -> None:
    good = {"road": "Tillman Road", "starts": "2026-07-01", "factor": 0.5, "why": "works"}
    assert get_notes(inputs.change(notes=[good]))[0].factor == 0.5
    assert get_notes(inputs.change(notes=[{**good, "struck": True}])) == ()
    for bad, words in (
        ("x", "must be a table of fields"),
        ({**good, "factor": "0.5"}, "factor must be a number"),
        ({**good, "starts": "soon"}, "starts must be a day"),
        ({**good, "price": 1}, "there is no field 'price'"),
        ({k: v for k, v in good.items() if k != "road"}, "a road or a lat and lon"),
    ):
        with pytest.raises(CaptureError, match=words):
            get_notes(inputs.change(notes=[bad]))
    with pytest.raises(DataError, match="at most 200"):
        get_notes(inputs.change(notes=[good] * 201))


def test_road_notes_and_columns_are_made_again_from_the_study_file(inputs, tmp_path) -> None:
    from capture import open as reopen
    from capture.papers.study_json import render_study

    note = {"road": "Tillman Road", "starts": "2026-03-01", "ends": "2026-08-31", "factor": 0.5,
            "why": "one lane shut"}  # fmt: skip
    asked = inputs.change(notes=[note], columns={"count_48h.csv": {"direction": ""}}, draws=200)
    made = engine.get_study(asked)
    path = tmp_path / "study.json"
    path.write_text(render_study(made), encoding="utf-8")
    again = reopen(path, area=DEMO)
    assert again.chain.request.notes == made.chain.request.notes
    assert again.chain.request.columns == {"count_48h.csv": {"direction": ""}}
    np.testing.assert_array_equal(again.cars_per_year, made.cars_per_year)

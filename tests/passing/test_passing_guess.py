"""What a column is taken for, what is asked, and what is remembered."""

from __future__ import annotations

import pandas as pd
import pytest

from capture.basis import DataError, InputError
from capture.passing.directions import read_directions, read_two_way
from capture.passing.guess import guess_columns, make_signature
from capture.passing.load import load_counts
from capture.passing.memory import ColumnMemory
from capture.passing.moments import read_clock, read_dates
from capture.passing.roles import to_number

#: headings as authorities of several countries and services write them -> what they are
HEADINGS = {
    "AADT": "aadt", "AADT_2019": "year column", "Annual Average Daily Traffic": "aadt",
    "DTV_Kfz": "aadt", "TMJA": "aadt", "KVL": "aadt", "IMD": "aadt", "veh/day": "aadt",
    "Latitude": "lat", "LNG": "lon", "Station_ID": "station", "Zählstelle": "station",
    "Road_Name": "road", "Straße": "road", "Route_Number": "ref", "Count Year": "year",
    "Jahr": "year", "Année": "year", "vuosi": "year", "Datum": "date", "Richtung": "direction",
    "DIRECTION": "direction", "TRUCK_PCT": "heavy_share", "FACILITY_TYPE": "two_way",
}  # fmt: skip
VALUES = {
    "aadt": [1200, 45_000], "lat": [40.1, 40.2], "lon": [-75.0, -75.1], "station": ["A1", "B2"],
    "road": ["Main St", "Oak Ave"], "ref": ["US 40", "MD 7"], "year": [2021, 2022],
    "date": ["2024-05-14", "2024-05-15"], "direction": ["NB", "SB"], "heavy_share": [4, 7],
    "two_way": ["1-way", "2-way"],
}  # fmt: skip


@pytest.mark.parametrize("heading", [h for h in HEADINGS if HEADINGS[h] != "year column"])
def test_headings_of_many_countries(heading):
    role = HEADINGS[heading]
    found = guess_columns(pd.DataFrame({heading: VALUES[role], "other": ["?", "!"]}))
    assert found.roles.get(role) == heading, found.table()


@pytest.mark.parametrize(
    "heading", ["Future AADT", "AADT_COMBINATION", "Truck AADT", "AADT year", "K_Factor", "remark"]
)
def test_what_must_not_be_taken_for_the_volume(heading):
    found = guess_columns(pd.DataFrame({heading: [1200, 45_000], "AADT": [900, 1000]}))
    assert found.roles["aadt"] == "AADT"


def test_values_decide_between_degrees_and_metres():
    degrees = guess_columns(pd.DataFrame({"x": [-75.1], "y": [40.1], "aadt": [5]}))
    metres = guess_columns(pd.DataFrame({"x": [512_000], "y": [4_430_000], "aadt": [5]}))
    assert (degrees.roles["lon"], degrees.roles["lat"]) == ("x", "y")
    assert (metres.roles["x"], metres.roles["y"]) == ("x", "y")


def test_every_column_is_told_of():
    found = guess_columns(pd.DataFrame({"Lat": [1.0], "Lon": [2.0], "ADT": [5], "Remark": ["a"]}))
    table = found.table().set_index("column")
    assert table.loc["Remark", "taken_for"] == "not used"
    assert table["why"].str.len().gt(5).all()
    assert table["confidence"].between(0, 1).all()


def test_years_side_by_side_use_the_latest_and_tell_the_rest(tmp_path):
    path = tmp_path / "c.csv"
    path.write_text(
        "station,lat,lon,AADT_2019,AADT_2021,AADT_2023\nA,40,-75,900,950,1000\nB,40.01,-75,800,,\n"
    )
    found = load_counts(path, study_year=2026)
    counts = found.counts.set_index("station")
    assert counts.loc["A", ["vehicles_per_day", "year"]].tolist() == [1000, 2023]
    assert counts.loc["B", ["vehicles_per_day", "year"]].tolist() == [800, 2019]
    assert "2019: 900" in counts.loc["A", "story"]
    assert counts.loc["A", "history"] == ((2019.0, 900.0), (2021.0, 950.0), (2023.0, 1000.0))


UNSURE = "station,lat,lon,traffic,flow\nA,40,-75,900,950\n"


def test_an_unsure_column_is_asked_answered_and_remembered(tmp_path):
    path, memory = tmp_path / "c.csv", tmp_path / "memory.json"
    path.write_text(UNSURE)
    with pytest.raises(InputError, match=r"answers=\{'aadt': heading\} with one of: traffic, flow"):
        load_counts(path, study_year=2026, memory=memory)
    asked = []

    def ask(question):
        asked.append(question.role)
        return "flow" if question.role == "aadt" else ""

    first = load_counts(path, study_year=2026, memory=memory, ask=ask)
    assert first.counts["vehicles_per_day"].tolist() == [950]
    assert "aadt" in asked
    again = load_counts(path, study_year=2026, memory=memory)
    assert again.counts["vehicles_per_day"].tolist() == [950]
    other = load_counts(path, study_year=2026, memory=memory, answers={"aadt": "traffic"})
    assert other.counts["vehicles_per_day"].tolist() == [900]
    assert load_counts(path, study_year=2026, memory=memory).counts[
        "vehicles_per_day"
    ].tolist() == [900]
    told = again.columns.set_index("column")["why"]
    assert told["flow"] == "you said so"


def test_answers_are_checked():
    table = pd.DataFrame({"a": [1], "b": [2]})
    with pytest.raises(InputError, match="there is no role 'speed'"):
        guess_columns(table, answers={"speed": "a"})
    with pytest.raises(InputError, match="column 'c', which the file lacks"):
        guess_columns(table, answers={"aadt": "c"})


def test_a_spoilt_memory_is_refused(tmp_path):
    for text in ("[1]", "{", '{"a": 1}', '{"a": {"b": 2}}'):
        (tmp_path / "m.json").write_text(text)
        with pytest.raises(DataError, match="not a memory of column answers"):
            ColumnMemory(tmp_path / "m.json").recall("x")


def test_the_signature_knows_a_file_again():
    assert make_signature(["A", "b ", "row"]) == make_signature(["B", "a"])
    assert make_signature(["a", "b"]) != make_signature(["a", "c"])


@pytest.mark.parametrize(
    ("labels", "bearings", "both"),
    [
        (["NB", "southbound", "E"], [0, 180, 90], [False, False, False]),
        (["Both", "NB & SB", "combined"], [None] * 3, [True] * 3),
        ([1, 5, 3], [0, 180, 90], [False] * 3),
        ([1, 2, 1], [None] * 3, [None] * 3),
        ([45.0, 225.0, 0.0], [45, 225, 0], [False] * 3),
        (["to town", None, ""], [None] * 3, [None] * 3),
    ],
)
def test_directions(labels, bearings, both):
    read, _ = read_directions(pd.Series(labels))
    assert [None if d.bearing_deg != d.bearing_deg else d.bearing_deg for d in read] == bearings
    assert [d.both for d in read] == both


def test_two_way_words():
    assert read_two_way(pd.Series(["Y", "n", "Two-Way", "1-way", "?"]), heading="two_way") == [
        True, False, True, False, None,
    ]  # fmt: skip
    assert read_two_way(pd.Series(["yes", "no"]), heading="one_way") == [False, True]


@pytest.mark.parametrize(
    ("written", "day", "said"),
    [
        ("2024-05-14", "2024-05-14", ""),
        ("14.5.2024", "2024-05-14", ""),
        ("5/14/2024", "2024-05-14", ""),
        ("14/5/2024", "2024-05-14", ""),
        ("3/4/2024", "2024-03-04", "month first"),
        (20240514, "2024-05-14", ""),
        ("20240514", "2024-05-14", ""),
        ("5/14/24", "2024-05-14", ""),
    ],
)
def test_days(written, day, said):
    days, remark = read_dates(pd.Series([written]))
    assert str(days[0].date()) == day
    assert said in remark


@pytest.mark.parametrize(
    ("written", "hour"),
    [("07:00", 7), ("7 AM", 7), ("12 a.m.", 0), ("12:30 PM", 12.5), ("19:00-20:00", 19),
     ("2024-05-14T19:15:00", 19.25), ("25:00", None), ("noon", None)],
)  # fmt: skip
def test_clocks(written, hour):
    got = read_clock(pd.Series([written]))[0][0]
    assert got == hour if hour is not None else got != got


def test_hours_one_to_twenty_four_end_then():
    hours, how = read_clock(pd.Series(range(1, 25)))
    assert hours.tolist() == list(range(24))
    assert "ends then" in how


def test_numbers_as_people_write_them():
    written = pd.Series(["1,234", "1 234", "1234,5", "12'345", "900 veh/day", "", "x", "1.5e3"])
    assert to_number(written).fillna(-1).tolist() == [
        1234, 1234, 1234.5, 12345, 900, -1, -1, 1500,
    ]  # fmt: skip

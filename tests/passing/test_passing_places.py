"""Where do the stations of an hourly file stand when the file does not say, or only in part?"""

from __future__ import annotations

import pandas as pd
import pytest

from capture.basis import DataError, InputError
from capture.passing import load_counts
from capture.passing.guess import guess_columns
from capture.passing.places import list_unplaced

SPOT = {"lat": 43.6050, "lon": -87.3074}


def make_hours(*stations: str) -> pd.DataFrame:
    rows = [
        {"Station": name, "Date": f"2024-05-0{day}", "Hour": hour, "Volume": 100 + 40 * hour}
        for name in stations
        for day in (7, 8)
        for hour in range(24)
    ]
    table = pd.DataFrame(rows)
    return table.assign(row=range(2, len(table) + 2))


def test_places_said_by_station_reach_the_counts_and_the_rest_is_told() -> None:
    table = make_hours("West", "East")
    found = load_counts(table, study_year=2026, defaults={"places": {"West": SPOT}})
    assert found.counts[["station", "lat", "lon"]].to_numpy().tolist() == [
        ["West", SPOT["lat"], SPOT["lon"]]
    ]
    told = found.done.set_index("why")
    assert told.loc["no position given", ["what", "rows"]].tolist() == ["left out", 48]
    assert told.loc["station West put at 43.60500, -87.30740, as you said", "rows"] == 48


def test_a_file_of_one_station_is_placed_as_a_whole() -> None:
    table = make_hours("A").drop(columns="Station")
    assert list_unplaced(table, guess_columns(table, hourly=True)) == [""]
    found = load_counts(table, study_year=2026, defaults={"places": {"": SPOT}})
    assert found.counts["lat"].tolist() == [SPOT["lat"]]


def test_rows_without_a_place_take_their_stations_own() -> None:
    table = make_hours("West").assign(lat=SPOT["lat"], lon=SPOT["lon"])
    table.loc[:9, ["lat", "lon"]] = None
    found = load_counts(table, study_year=2026)
    whole = load_counts(make_hours("West").assign(**SPOT), study_year=2026)
    assert found.counts["vehicles_per_day"].tolist() == whole.counts["vehicles_per_day"].tolist()
    assert found.counts["lat"].tolist() == [SPOT["lat"]]


def test_places_that_the_file_says_itself_are_not_overruled() -> None:
    table = make_hours("West").assign(**SPOT)
    found = load_counts(
        table, study_year=2026, defaults={"places": {"West": {"lat": 1.0, "lon": 2.0}}}
    )
    assert found.counts["lat"].tolist() == [SPOT["lat"]]


def test_no_station_placed_is_refused_with_the_reason() -> None:
    with pytest.raises(DataError, match=r"no usable interval is left \(48 row\(s\): no position"):
        load_counts(make_hours("West"), study_year=2026, defaults={"places": {"East": SPOT}})


@pytest.mark.parametrize(
    "spot", [{"lat": 95.0, "lon": 0.0}, {"lat": "x", "lon": 0.0}, {"lat": True, "lon": 0}, 7, {}]
)
def test_places_off_the_earth_are_refused(spot: object) -> None:
    with pytest.raises(InputError, match="place of station 'West' must be lat and lon"):
        load_counts(make_hours("West"), study_year=2026, defaults={"places": {"West": spot}})

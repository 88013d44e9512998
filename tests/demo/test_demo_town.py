"""Is the invented town what it says: the same bytes each time, plausible, complete, marked?"""

import importlib.util
import json
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely

from capture.area import open_area
from capture.place import ROAD_CLASSES, SEPARATIONS, load_parcels, open_place, snap

DEMO = Path(__file__).parents[2] / "data_public" / "demo"


def _load(name):
    spec = importlib.util.spec_from_file_location(name, DEMO / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


make_demo = _load("make_demo")


@pytest.fixture(scope="module")
def area():
    return open_area(DEMO)


@pytest.fixture(scope="module")
def place(area):
    return open_place(area)


@pytest.fixture(scope="module")
def other_town(tmp_path_factory):
    return make_demo.make_town(3, tmp_path_factory.mktemp("town3"))


def test_same_seed_same_bytes(tmp_path):
    made = make_demo.make_town(make_demo.DEFAULT_SEED, tmp_path)
    files = sorted(p.name for p in made.iterdir())
    assert files == sorted(p.name for p in DEMO.iterdir() if p.suffix not in (".py", ""))
    for name in files:
        assert (made / name).read_bytes() == (DEMO / name).read_bytes(), name


def test_small_enough_to_ship():
    assert sum(p.stat().st_size for p in DEMO.iterdir() if p.is_file()) < 3_000_000


def test_another_seed_is_another_town(other_town):
    assert (other_town / "roads.osm").read_bytes() != (DEMO / "roads.osm").read_bytes()
    assert open_area(other_town).name == open_area(DEMO).name


@pytest.mark.parametrize("path", [p.name for p in DEMO.iterdir() if p.is_file()])
def test_every_data_file_says_invented(path):
    if not path.endswith(".py"):
        assert "invented" in (DEMO / path).read_text(encoding="utf-8").lower()


def test_every_layer_is_marked_with_source_and_licence(area):
    assert area.invented
    for kind, layer in area.layers.items():
        assert layer.invented, kind
        assert "invented" in layer.source, kind
        assert "CC0" in layer.licence, kind


def test_network_has_what_a_town_has(place):
    network = place.network
    length = network.segment_length_m
    names = set(network.segment_name)
    assert 1350 <= network.segments <= 1650
    assert 500 <= len(place.buildings) <= 700
    assert np.median(length) < 250
    assert {"Harrow Boulevard", "Tillman Road", "Winder Creek Parkway", "Orchard Bypass"} <= names
    classes = {ROAD_CLASSES[k] for k in set(network.segment_class.tolist())}
    assert {"trunk", "primary", "secondary", "tertiary", "residential"} <= classes
    assert len(network.banned_from) >= 10
    assert network.node_signal.sum() >= 8
    assert set(place.screens.kind) == {"tree_row", "hedge", "wall", "wood"}


def test_arterials_are_separated_as_told(place):
    network = place.network
    names = np.array(network.segment_name)
    divided = names == "Harrow Boulevard"
    assert network.segment_oneway[divided].all()
    assert (network.segment_opposite[divided] >= 0).mean() > 0.9
    tillman = network.segment_separation[names == "Tillman Road"]
    assert {SEPARATIONS[k] for k in tillman.tolist()} == {"two_way_left_turn_lane"}
    one_way_streets = network.segment_oneway & (network.segment_class >= 6)
    assert one_way_streets.sum() > 10


def test_every_junction_reaches_every_other(place):
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    network = place.network
    ones = np.ones(network.edges)
    graph = coo_matrix(
        (ones, (network.edge_tail, network.edge_head)), shape=(network.nodes, network.nodes)
    )
    _, label = connected_components(graph, directed=True, connection="strong")
    assert np.bincount(label).max() / network.nodes > 0.97


def test_counts_fit_the_class_of_their_road(area):
    counts = area.read("counts")
    assert len(counts) >= 60
    assert set(counts["year"]) == {2022, 2024}
    assert set(counts.geom_type) == {"Point", "LineString"}
    assert (counts["direction"] != "both").sum() >= 2
    both = counts[counts["direction"] == "both"].groupby("road")["aadt"].mean()
    for road in ("Harrow Boulevard", "Tillman Road", "Winder Creek Parkway"):
        assert 14_000 <= both[road] <= 36_000
    streets = both[both.index.str.endswith((" Street", " Lane"))]
    assert (streets < 1_500).all()
    assert both[both.index.str.endswith("Avenue")].between(2_500, 9_500).all()


def test_hourly_year_has_its_lost_days_and_level(area):
    hours = area.read("hourly_counts")
    assert set(hours["direction"]) == {"NB", "SB"}
    days = hours.groupby("direction")["date"].nunique()
    assert (days == 362).all()
    daily = hours["vehicles"].sum() / 362
    counted = area.read("counts")
    tillman = counted[(counted["road"] == "Tillman Road") & (counted["direction"] == "both")]
    assert tillman["aadt"].min() * 0.8 < daily < tillman["aadt"].max() * 1.2
    options = area.layers["hourly_counts"].options
    assert options["road"] == "Tillman Road"
    assert abs(options["lat"] - 43.6) < 0.03


def test_short_count_is_48_hours_both_ways():
    table = pd.read_csv(DEMO / "count_48h.csv")
    assert len(table) == 2 * 48
    assert table.groupby(["direction", "date"])["hour"].nunique().eq(24).all()


def test_rivals_are_of_all_formats_one_planned_one_closed(area, place):
    rivals = area.read("rivals")
    assert len(rivals) == 12
    assert rivals["format"].nunique() >= 8
    assert rivals["status"].value_counts().to_dict() == {"open": 10, "planned": 1, "closed": 1}
    washes = place.features[place.features["kind"] == "car_wash"]
    kinds = {name[0] for name in washes["osm_id"]}
    assert kinds == {"n", "w", "r"}


def test_parcels_stand_free_beside_roads(area, place):
    parcels = load_parcels(area, place)
    assert parcels.ids == tuple(f"P{k:02d}" for k in range(1, 41))
    shapes = np.array(parcels.polygons, dtype=object)
    tree = shapely.STRtree(shapes)
    one, other = tree.query(shapes, predicate="intersects")
    assert (one == other).all()
    blocked = shapely.STRtree(place.buildings.polygons).query(shapes, predicate="intersects")
    assert blocked.size == 0
    assert (snap(place.network, parcels.x, parcels.y).distance_m < 70).all()
    acres = area.read("parcels")["acres"]
    assert np.allclose(acres, shapely.area(shapes) / 4046.86, atol=0.02)


def test_first_parcel_is_a_good_site(area, place):
    first = load_parcels(area, place).take([0])
    at = snap(place.network, first.x, first.y)
    assert place.network.segment_name[int(at.segment[0])] == "Tillman Road"
    assert "wash allowed" in str(first.attributes.iloc[0].to_dict())


def test_people_add_up(area):
    people = area.read("people")
    assert len(people) == 36
    assert 30_000 < people["population"].sum() < 120_000
    assert (people["population"] > people["households"]).all()
    income = people["aggregate_income_usd"].sum() / people["households"].sum()
    assert 45_000 < income < 110_000


def test_weather_is_a_year_with_its_seasons(area):
    weather = area.read("weather")
    assert len(weather) == 365
    assert (weather["TMAX"] > weather["TMIN"]).all()
    assert (weather["PRCP"] > 0).mean() == pytest.approx(0.33, abs=0.1)
    month = pd.to_datetime(weather["DATE"]).dt.month
    assert weather["TMAX"][month == 7].mean() > weather["TMAX"][month == 1].mean() + 20
    assert weather["SNOW"][month == 7].sum() == 0
    assert weather["SNOW"].sum() > 50
    assert area.layers["weather"].options["temperature_unit"] == "degC"


def test_features_are_json_with_a_note():
    for name in ("counts", "parcels", "people"):
        read = json.loads((DEMO / f"{name}.geojson").read_text(encoding="utf-8"))
        assert read["invented"] is True
        assert {f["properties"]["source"] for f in read["features"]} == {"invented"}


def test_true_model_is_written_out():
    truth = tomllib.loads((DEMO / "true_model.toml").read_text(encoding="utf-8"))
    assert truth["invented"] is True
    assert set(truth["beta"]) == set(truth["reference"])


def test_other_town_is_complete(other_town):
    area = open_area(other_town)
    place = open_place(area)
    assert 1350 <= place.network.segments <= 1650
    assert len(load_parcels(area, place).ids) == 40

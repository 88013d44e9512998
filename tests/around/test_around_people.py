"""Are people weighed by area as a general library does, and never lost or doubled?"""

import geopandas
import numpy as np
import pytest
import shapely
from around_towns import draw_crossing, make_sites, to_degrees

from capture.area import open_area
from capture.around import (
    VALUES,
    count_in_bands,
    load_zones,
    spread_people,
    time_homes,
    weigh_areas,
)
from capture.around.people import make_cells
from capture.around.zones import find_amounts
from capture.basis import DataError, InputError
from capture.place import compute_reach, open_place, snap

DEMO = "data_public/demo"


@pytest.fixture(scope="module")
def demo(request):
    return open_area(request.config.rootpath / DEMO)


@pytest.fixture(scope="module")
def demo_place(demo):
    return open_place(demo)


def _town(folder, zones):
    """A crossing with zones [(ring or spot in metres, properties)]."""
    draw_crossing(folder)
    shapes, rows = [], []
    for where, properties in zones:
        points = np.atleast_2d(np.asarray(where, dtype=float))
        degrees = [to_degrees(x, y)[::-1] for x, y in points]
        shapes.append(shapely.Point(degrees[0]) if len(degrees) == 1 else shapely.Polygon(degrees))
        rows.append(properties)
    frame = geopandas.GeoDataFrame(rows, geometry=shapes, crs="EPSG:4326")
    frame.to_file(folder / "people.geojson", driver="GeoJSON")
    layers = '[layers.roads]\npath = "roads.osm"\n[layers.people]\npath = "people.geojson"\n'
    (folder / "area.toml").write_text('name = "crossing"\n' + layers, encoding="utf-8")
    area = open_area(folder)
    return area, open_place(area)


def _square(x, y, side):
    return [(x, y), (x + side, y), (x + side, y + side), (x, y + side)]


def test_areal_weights_are_those_of_an_overlay():
    """Against geopandas overlay, 60 irregular zones and 40 irregular bands."""
    random = np.random.default_rng(5)
    zones = shapely.buffer(shapely.points(random.uniform(0, 900, (60, 2))), 70, quad_segs=2)
    bands = shapely.buffer(shapely.points(random.uniform(0, 900, (40, 2))), 110, quad_segs=3)
    zone, band, share = weigh_areas(zones, bands)
    ours = {(z, b): s for z, b, s in zip(zone.tolist(), band.tolist(), share, strict=True)}
    left = geopandas.GeoDataFrame({"zone": range(60)}, geometry=zones)
    right = geopandas.GeoDataFrame({"band": range(40)}, geometry=bands)
    both = left.overlay(right, how="intersection", keep_geom_type=True)
    theirs = both.geometry.area.to_numpy() / shapely.area(zones)[both["zone"].to_numpy()]
    pairs = list(zip(both["zone"].tolist(), both["band"].tolist(), strict=True))
    assert len(ours) == len(pairs)
    assert np.allclose([ours[pair] for pair in pairs], theirs, rtol=1e-9, atol=1e-12)


def test_cells_tile_the_roads_hull(demo_place):
    nodes, cells = make_cells(demo_place.network, margin_m=300.0)
    assert shapely.is_valid(cells).all()
    xy = np.column_stack([demo_place.network.node_x, demo_place.network.node_y])[nodes]
    hull = shapely.buffer(shapely.convex_hull(shapely.multipoints(xy)), 300.0)
    assert shapely.area(cells).sum() == pytest.approx(shapely.area(hull), rel=1e-9)
    assert shapely.contains_xy(cells, xy[:, 0], xy[:, 1]).all()


def test_band_is_the_overlay_of_its_ground(demo, demo_place):
    """People of a band against geopandas: the union of its junctions' ground over the zones."""
    zones = load_zones(demo, demo_place)
    people = spread_people(zones, demo_place, values=VALUES)
    sites = make_sites(demo_place.network, [(-2000.0, -1500.0)])
    at = snap(demo_place.network, sites.x, sites.y)
    limit = 150.0
    reach = compute_reach(demo_place.network, at, limit_s=limit, reverse=True)
    nodes, cells = make_cells(demo_place.network, margin_m=VALUES.value("margin_m"))
    band = shapely.union_all(cells[np.isin(nodes, reach.node)])
    frame = geopandas.GeoDataFrame(dict(zones.amounts), geometry=zones.geometry)
    frame["ground"] = frame.geometry.area
    cut = frame.overlay(geopandas.GeoDataFrame(geometry=[band]), how="intersection")
    share = cut.geometry.area / cut["ground"]
    counted = count_in_bands(demo, demo_place, sites, limits_s=[limit])
    for name in ("people", "households", "vehicles", "income_usd"):
        assert counted.amounts[name][0, 0] == pytest.approx((cut[name] * share).sum(), rel=1e-6)
    assert 0 < counted.amounts["people"][0, 0] < people.amounts["people"].sum()


def test_nobody_is_lost_inside_the_roads(demo, demo_place):
    zones = load_zones(demo, demo_place)
    people = spread_people(zones, demo_place, values=VALUES)
    total = zones.amounts["people"].sum()
    assert people.amounts["people"].sum() == pytest.approx(people.inside_share * total)
    assert 0.97 < people.inside_share <= 1.0


def test_bands_grow_with_time(demo, demo_place):
    sites = make_sites(demo_place.network, [(-500.0, 0.0), (1500.0, 1500.0)])
    bands = count_in_bands(demo, demo_place, sites)
    assert (np.diff(bands.amounts["people"], axis=1) >= 0).all()
    assert (bands.income_per_household > 30_000).all()


def test_income_is_summed_income_over_households(tmp_path):
    area, place = _town(
        tmp_path,
        [
            (_square(-900, -300, 600), {"B11001_001E": 100, "B19025_001E": 4_000_000.0}),
            (_square(300, -300, 600), {"B11001_001E": 300, "B19025_001E": 30_000_000.0}),
        ],
    )
    bands = count_in_bands(area, place, make_sites(place.network, [(0, 0)]), limits_s=[900])
    assert bands.income_per_household[0, 0] == pytest.approx(34_000_000 / 400)


def test_points_count_wholly_and_once(tmp_path):
    area, place = _town(
        tmp_path,
        [((-500.0, 0.0), {"pop": 70}), ((500.0, 20.0), {"pop": 30}), ((0.0, 0.0), {"pop": 5})],
    )
    zones = load_zones(area, place)
    people = spread_people(zones, place, values=VALUES)
    assert people.amounts["people"].sum() == pytest.approx(105)
    assert np.isnan(people.amounts["households"]).all()


def test_people_far_from_any_road_are_not_counted(tmp_path):
    area, place = _town(tmp_path, [((0.0, 0.0), {"pop": 50}), ((9000.0, 9000.0), {"pop": 50})])
    people = spread_people(load_zones(area, place), place, values=VALUES)
    assert people.inside_share == pytest.approx(0.5)


def test_homes_nearer_to_a_second_site(demo, demo_place):
    sites = make_sites(demo_place.network, [(-2000.0, 0.0), (2000.0, 0.0)])
    homes = time_homes(demo, demo_place, sites, limit_s=1200.0)
    nearer = homes.seconds[1] < homes.seconds[0]
    assert homes.xy[nearer, 0].mean() > 500 > homes.xy[~nearer, 0].mean()
    assert homes.households.sum() > 20_000


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        (["B01003_001E", "B11001_001E", "B25046_001E", "B19025_001E"],
         {"people": "B01003_001E", "households": "B11001_001E", "vehicles": "B25046_001E",
          "income_usd": "B19025_001E"}),
        (["B01003e1", "B01003m1"], {"people": "B01003e1"}),
        (["B01003001", "B19013_001E"], {"people": "B01003001"}),
        (["B11001_002E", "B11001_001M"], {}),
        (["Total Population", "HH", "Aggregate Income (USD)"],
         {"people": "Total Population", "households": "HH",
          "income_usd": "Aggregate Income (USD)"}),
        (["median_income", "mean_household_size", "pop_density"], {}),
        (["b25046_e001"], {"vehicles": "b25046_e001"}),
    ],
)  # fmt: skip
def test_columns_are_found_by_table_id_or_word(names, expected):
    assert find_amounts(names) == expected


def test_a_median_is_never_averaged(tmp_path):
    area, place = _town(
        tmp_path, [(_square(-400, -400, 800), {"households": 10, "median_income": 50_000})]
    )
    zones = load_zones(area, place)
    assert "medians cannot be added up" in " ".join(zones.notes)
    bands = count_in_bands(area, place, make_sites(place.network, [(0, 0)]), limits_s=[900])
    assert np.isnan(bands.income_per_household).all()


def test_what_the_survey_cannot_tell_is_said(tmp_path):
    area, place = _town(
        tmp_path,
        [
            (_square(-400, -400, 400), {"B11001_001E": 10, "B19025_001E": -666666666.0}),
            (_square(0, -400, 400), {"B11001_001E": 10, "B19025_001E": 500_000.0}),
        ],
    )
    notes = " ".join(load_zones(area, place).notes)
    assert "1 of 2 zones do not tell B19025_001E" in notes


def test_negative_counts_are_told_at_once(tmp_path):
    area, place = _town(
        tmp_path,
        [((0.0, 0.0), {"pop": -3, "hh": 2}), ((10.0, 0.0), {"pop": 3, "hh": -2})],
    )
    with pytest.raises(DataError) as error:
        load_zones(area, place)
    assert "pop must be 0 or more, got -3" in str(error.value)
    assert "hh must be 0 or more, got -2" in str(error.value)


def test_no_column_of_people_is_one_sentence(tmp_path):
    area, place = _town(tmp_path, [((0.0, 0.0), {"trees": 3})])
    with pytest.raises(DataError, match="no column holds people or households"):
        load_zones(area, place)


def test_no_layer_is_none(tmp_path):
    area = open_area(draw_crossing(tmp_path))
    place = open_place(area)
    sites = make_sites(place.network, [(0, 0)])
    assert load_zones(area, place) is None
    assert count_in_bands(area, place, sites) is None
    assert time_homes(area, place, sites) is None


@pytest.mark.parametrize("limits", [[], [300, 200], [0, 300], [float("nan")], [-5.0]])
def test_limits_must_rise(demo, demo_place, limits):
    sites = make_sites(demo_place.network, [(0, 0)])
    with pytest.raises(InputError, match="limits_s must be rising"):
        count_in_bands(demo, demo_place, sites, limits_s=limits)


@pytest.mark.regression
def test_amounts_that_are_no_numbers_are_not_taken_for_nobody(tmp_path):
    square = _square(-200, -200, 400)
    area, place = _town(tmp_path, [(square, {"population": "many", "households": 40})])
    zones = load_zones(area, place)
    assert np.isnan(zones.amounts["people"]).all()
    assert zones.amounts["households"].sum() == 40
    assert any("no zone tells population" in note for note in zones.notes)


@pytest.mark.regression
def test_a_layer_without_any_amount_is_refused(tmp_path):
    area, place = _town(tmp_path, [(_square(-200, -200, 400), {"population": "=cmd"})])
    with pytest.raises(DataError, match="no zone tells people or households as a number"):
        load_zones(area, place)


@pytest.mark.regression
def test_thousands_set_apart_by_commas_are_read(tmp_path):
    zones = [(_square(-200, -200, 200), {"population": "1,234"}),
             (_square(0, 0, 200), {"population": "56"})]  # fmt: skip
    area, place = _town(tmp_path, zones)
    assert load_zones(area, place).amounts["people"].tolist() == [1234, 56]


@pytest.mark.regression
def test_people_of_another_place_leave_this_one_unknown(tmp_path):
    area, place = _town(tmp_path, [(_square(90_000, 90_000, 400), {"population": 500})])
    spread = spread_people(load_zones(area, place), place, values=VALUES)
    assert spread.inside_share == 0
    assert np.isnan(spread.amounts["people"]).all()

"""Does the room as a whole hold what it must on the demo town and on odd ones?"""

from dataclasses import replace

import numpy as np
import pytest
from around_towns import draw_crossing, even_volumes, make_sites, make_streams
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.area import open_area
from capture.around import (
    VALUES,
    add_around,
    compare_rival,
    explain_passed,
    explain_pull,
    list_attractions,
    load_rivals,
)
from capture.basis import InputError, Offer
from capture.place import load_parcels, open_place


class Town:
    def __init__(self, area):
        self.area = area
        self.place = open_place(area)
        self.rivals = load_rivals(area, self.place, on_year=2026.5)
        self.volumes = even_volumes(self.place.network)

    def look(self, sites, rivals=None, offer=None, **more):
        return add_around(
            self.area,
            self.place,
            self.volumes,
            make_streams(self.place.network, sites),
            sites,
            self.rivals if rivals is None else rivals,
            offer=offer or Offer(),
            **more,
        )


@pytest.fixture(scope="module")
def town(request):
    return Town(open_area(request.config.rootpath / "data_public/demo"))


@pytest.fixture(scope="module")
def parcels(town):
    return load_parcels(town.area, town.place)


@pytest.fixture(scope="module")
def around(town, parcels):
    return town.look(parcels)


def test_shapes_and_bounds(town, parcels, around):
    sites, rivals = len(parcels.ids), len(town.rivals)
    assert around.rival_seconds.shape == (sites, rivals)
    assert around.likeness.shape == around.counted.shape == (rivals,)
    for name in ("pull", "people_10min", "income", "huff_share", "attractions", "nearest_like_s"):
        values = getattr(around, name)
        assert values.shape == (sites,)
        assert np.isfinite(values).all()
    assert ((around.huff_share > 0) & (around.huff_share < 1)).all()
    passed = around.passed_first_share
    assert ((passed >= 0) & (passed <= 1)).all()
    assert 0.05 < passed.mean() < 0.7
    assert (around.households_10min < around.people_10min).all()
    assert len(around.cautions) == sites


def test_one_row_is_the_same_as_in_the_table(town, parcels, around):
    alone = town.look(parcels.take([7]))
    for name in ("pull", "nearest_like_s", "people_10min", "huff_share", "attractions", "income"):
        assert getattr(alone, name)[0] == pytest.approx(getattr(around, name)[7], rel=1e-12)
    here = make_streams(town.place.network, parcels).site == 7
    assert alone.passed_first_share.tolist() == around.passed_first_share[here].tolist()


def test_closed_rivals_do_not_pull_and_planned_only_if_asked(town, parcels, around):
    status = np.array(town.rivals.status)
    assert around.counted.tolist() == (status == "open").tolist()
    planned = town.look(parcels, planned=True)
    assert np.allclose(planned.pull, around.pull_with_planned)
    assert (planned.pull > around.pull).all()
    assert "Sparrow Express Wash" in " ".join(around.cautions[0])


def test_pull_is_the_sum_of_its_parts(town, around):
    table = explain_pull(town.rivals, around, site=3)
    assert table["pull"].sum() == pytest.approx(around.pull[3])
    assert table["pull"].is_monotonic_decreasing
    assert set(table["id"]) == set(town.rivals.ids)
    assert (table["pull"][table["status"] != "open"] == 0).all()


def test_passed_is_explained_by_rival(town, parcels, around):
    streams = make_streams(town.place.network, parcels)
    stream = int(np.argmax(around.passed_first_share))
    table = explain_passed(town.place, town.volumes, streams, town.rivals, around, stream=stream)
    best = (table["share"] * table["likeness"]).max()
    total = (table["share"] * table["likeness"]).sum()
    assert best - 1e-9 <= around.passed_first_share[stream] <= total + 1e-3


def test_likeness_follows_the_offer(town, parcels):
    coin = town.look(parcels, offer=Offer(format="self_service", bays=4))
    exterior = town.look(parcels)
    k = town.rivals.formats.index("self_service")
    assert coin.likeness[k] == 1.0
    assert exterior.likeness[k] < 0.5


@pytest.mark.property
@settings(max_examples=12, deadline=None)
@given(
    st.floats(-2500, 2500),
    st.floats(-2500, 2500),
    st.sampled_from(["exterior", "in_bay", "self_service", "fuel", "hand", "unknown"]),
)
def test_another_rival_anywhere_never_helps(town, parcels, x, y, kind):
    few = parcels.take([0, 11, 23])
    spot = make_sites(town.place.network, [(x, y)])
    effect = compare_rival(
        town.area,
        town.place,
        town.volumes,
        make_streams(town.place.network, few),
        few,
        town.rivals,
        lat=float(spot.lat[0]),
        lon=float(spot.lon[0]),
        format=kind,
        offer=Offer(),
    )
    assert (effect.pull_change >= -1e-12).all()
    assert (effect.passed_change >= -1e-12).all()
    assert (effect.after.huff_share <= effect.before.huff_share + 1e-12).all()
    assert (effect.after.nearest_like_s <= effect.before.nearest_like_s).all()
    near = np.isfinite(effect.seconds)
    expected = effect.after.likeness[-1] * np.exp(-effect.seconds / VALUES.value("tau_s"))
    assert np.allclose(effect.pull_change[near], expected[near])


def test_a_spot_off_the_map_is_refused(town, parcels):
    streams = make_streams(town.place.network, parcels)
    with pytest.raises(InputError, match="outside the area"):
        compare_rival(
            town.area, town.place, town.volumes, streams, parcels, town.rivals,
            lat=10.0, lon=10.0, offer=Offer(),
        )  # fmt: skip


def test_order_of_rivals_changes_nothing(town, parcels, around):
    turned = town.look(parcels, rivals=town.rivals.take(np.arange(len(town.rivals))[::-1]))
    assert np.allclose(turned.pull, around.pull)
    assert np.allclose(turned.huff_share, around.huff_share)
    assert np.allclose(turned.passed_first_share, around.passed_first_share)


def test_bare_roads_leave_the_rest_unknown_and_say_so(tmp_path):
    area = open_area(draw_crossing(tmp_path))
    town = Town(area)
    around = town.look(make_sites(town.place.network, [(300, 20)]))
    assert around.pull.tolist() == [0.0]
    assert around.nearest_like.tolist() == [-1]
    assert np.isinf(around.nearest_like_s[0])
    assert around.rival_seconds.shape == (1, 0)
    assert np.isnan(around.people_10min[0])
    assert np.isnan(around.huff_share[0])
    assert np.isnan(around.ticket_price_usd[0])
    assert around.passed_first_share.tolist() == [0.0, 0.0]
    assert "people nearby are not known" in " ".join(around.cautions[0])
    assert "no table of rivals is given" in " ".join(around.sources)


def test_a_rival_far_from_every_road_pulls_nobody(town, parcels):
    rivals = town.rivals
    far = replace(rivals, x=rivals.x + 50_000.0)
    around = town.look(parcels.take([0]), rivals=far)
    assert around.pull[0] == 0.0
    assert np.isinf(around.rival_seconds).all()


def test_driving_times_are_those_of_the_network(town, parcels, around):
    import networkx

    network = town.place.network
    graph = networkx.DiGraph()
    for tail, head, seconds in zip(
        network.edge_tail, network.edge_head, network.edge_seconds, strict=True
    ):
        if not graph.has_edge(tail, head) or graph[tail][head]["s"] > seconds:
            graph.add_edge(int(tail), int(head), s=float(seconds))
    from capture.place import snap

    here = snap(network, parcels.x[:1], parcels.y[:1])
    there = snap(network, town.rivals.x, town.rivals.y)
    segment, fraction = int(here.segment[0]), float(here.fraction[0])
    starts = []
    for edge, part in (
        (network.segment_edge_forward[segment], 1 - fraction),
        (network.segment_edge_backward[segment], fraction),
    ):
        if edge >= 0:
            starts.append((int(network.edge_head[edge]), part * float(network.edge_seconds[edge])))
    for k in range(len(town.rivals)):
        goal, along = int(there.segment[k]), float(there.fraction[k])
        best = np.inf
        for edge, part in (
            (network.segment_edge_forward[goal], along),
            (network.segment_edge_backward[goal], 1 - along),
        ):
            if edge < 0 or goal == segment:
                continue
            for node, start in starts:
                path = networkx.shortest_path_length(
                    graph, node, int(network.edge_tail[edge]), weight="s"
                )
                best = min(best, start + path + part * float(network.edge_seconds[edge]))
        if np.isfinite(best):
            # the plain graph may take a forbidden turn, so it is never slower
            assert best - 1e-6 <= around.rival_seconds[0, k] <= best + 120


def test_attractions_are_counted_within_the_circle(town, parcels, around):
    table = list_attractions(town.area, town.place)
    away = np.hypot(table["x"] - parcels.x[2], table["y"] - parcels.y[2])
    assert around.attractions[2] == (away <= VALUES.value("attraction_m")).sum()
    assert "car_wash" not in set(table["what"])


def test_area_price_is_of_rivals_of_the_same_kind(around):
    assert ((around.ticket_price_usd > 11) & (around.ticket_price_usd < 18)).all()


def test_a_real_extract_has_its_wash_and_answers():
    pyrosm = pytest.importorskip("pyrosm", reason="the extract comes with the test extra")
    area = open_area(pyrosm.get_data("test_pbf"))
    town = Town(area)
    assert len(town.rivals) >= 1
    network = town.place.network
    line = np.array([network.segment_line(g).mean(axis=0) for g in range(0, network.segments, 9)])
    around = town.look(make_sites(network, line))
    reached = np.isfinite(around.rival_seconds)
    assert reached.mean() > 0.8
    assert (around.pull[reached[:, 0]] > 0).all()
    assert 0 < around.passed_first_share.max() <= 1
    assert around.attractions.max() >= 1
    assert np.isnan(around.people_10min).all()


@pytest.mark.parametrize("changes", [{"passed_step_s": 0.01}, {"tau_s": 1}, {"huff_power": 99}])
def test_a_value_beyond_its_limits_is_refused(changes):
    with pytest.raises(InputError, match=f"{next(iter(changes))} must be"):
        VALUES.override(changes)


def test_own_tables_of_attractions_and_rival_grounds_are_read(tmp_path):
    import geopandas
    import shapely
    from around_towns import to_degrees

    draw_crossing(tmp_path)
    spots = [to_degrees(310, 40), to_degrees(350, -40), to_degrees(-900, 40)]
    rows = [f"Shop {k},{lat:.7f},{lon:.7f}" for k, (lat, lon) in enumerate(spots)]
    (tmp_path / "shops.csv").write_text("\n".join(["name,lat,lon", *rows]), encoding="utf-8")
    ring = [(400, 20), (440, 20), (440, 50), (400, 50)]
    ground = shapely.Polygon([to_degrees(*spot)[::-1] for spot in ring])
    frame = geopandas.GeoDataFrame(
        {"name": ["Elm"], "type": ["express"]}, geometry=[ground], crs="EPSG:4326"
    )
    frame.to_file(tmp_path / "washes.geojson", driver="GeoJSON")
    (tmp_path / "area.toml").write_text(
        '[layers.roads]\npath = "roads.osm"\n[layers.attractions]\npath = "shops.csv"\n'
        '[layers.rivals]\npath = "washes.geojson"\n',
        encoding="utf-8",
    )
    town = Town(open_area(tmp_path))
    assert town.rivals.names == ("Elm",)
    assert town.rivals.formats == ("exterior",)
    assert abs(town.rivals.x[0] - 420) < 1
    around = town.look(make_sites(town.place.network, [(300, 20)]))
    assert around.attractions.tolist() == [2.0]
    assert around.rival_seconds[0, 0] == pytest.approx(12.0, abs=0.3)
    assert around.pull[0] == pytest.approx(np.exp(-around.rival_seconds[0, 0] / 300))

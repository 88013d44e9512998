"""Is a stream split upstream as worked by hand, and does time cut it off?"""

import numpy as np
import pytest
from around_towns import draw_crossing, draw_town, find_edge
from toy_roads import Road, build_network

from capture.area import open_area
from capture.around import VALUES
from capture.around.beside import find_beside
from capture.around.feeders import find_feeders
from capture.around.passed import compute_passed_first
from capture.basis import InputError
from capture.place import open_place

FLOWS = {(1, 2): 9000, (2, 1): 9000, (5, 2): 3000, (2, 5): 2000, (6, 2): 1000, (2, 6): 1000,
         (2, 4): 8000, (4, 2): 8000}  # fmt: skip
#: vehicles that feed the road east, worked by hand: straight on counts six times
FEEDS = {1: 9000 * 48 / 51, 5: 3000 * 8 / 23, 6: 1000 * 8 / 29}


@pytest.fixture(scope="module")
def network(tmp_path_factory):
    return open_place(open_area(draw_crossing(tmp_path_factory.mktemp("cross")))).network


@pytest.fixture(scope="module")
def flow(network):
    vehicles = np.zeros(network.edges)
    for (tail, head), count in FLOWS.items():
        vehicles[find_edge(network, tail, head)] = count
    return vehicles


def _passed(network, flow, x, y, weight, *, fraction=0.5, values=VALUES):
    east = find_edge(network, 2, 4)
    return compute_passed_first(
        network,
        find_feeders(network, flow, values=values),
        find_beside(network, x, y, weight, values=values),
        [east],
        [fraction],
        values=values,
    )[0]


def test_feeders_are_split_as_worked_by_hand(network, flow):
    feeders = find_feeders(network, flow, values=VALUES)
    east = find_edge(network, 2, 4)
    part = slice(feeders.indptr[east], feeders.indptr[east + 1])
    shares = dict(zip(feeders.edge[part].tolist(), feeders.share[part], strict=True))
    total = sum(FEEDS.values())
    assert len(shares) == 3
    for tail, feed in FEEDS.items():
        assert shares[find_edge(network, tail, 2)] == pytest.approx(feed / total)


def test_share_is_that_of_the_road_with_the_rival(network, flow):
    total = sum(FEEDS.values())
    main = _passed(network, flow, [-500.0], [20.0], [1.0])
    assert main == pytest.approx(FEEDS[1] / total)
    side = _passed(network, flow, [20.0], [500.0], [0.3])
    assert side == pytest.approx(0.3 * FEEDS[5] / total)
    both = _passed(network, flow, [-500.0, 20.0], [20.0, 500.0], [1.0, 0.3])
    assert both == pytest.approx(main + side)


def test_rival_on_the_own_road_counts_for_all_who_passed_it(network, flow):
    assert _passed(network, flow, [300.0], [-20.0], [0.6]) == pytest.approx(0.6)
    assert _passed(network, flow, [700.0], [-20.0], [0.6]) == 0.0


def test_best_of_several_passed_counts_once(network, flow):
    assert _passed(network, flow, [200.0, 300.0], [20.0, 20.0], [0.6, 0.9]) == pytest.approx(0.9)


def test_the_window_of_time_cuts_it_off(network, flow):
    # 500 m of the own road and 500 m of the road before at 10 m/s: 100 s
    near = VALUES.override({"passed_window_s": 105.0})
    far = VALUES.override({"passed_window_s": 95.0})
    assert _passed(network, flow, [-500.0], [20.0], [1.0], values=near) > 0.8
    assert _passed(network, flow, [-500.0], [20.0], [1.0], values=far) == 0.0


def test_no_rival_nobody_passed(network, flow):
    assert _passed(network, flow, [], [], []) == 0.0


def test_streams_must_lie_on_the_network(network, flow):
    feeders = find_feeders(network, flow, values=VALUES)
    beside = find_beside(network, [], [], [], values=VALUES)
    with pytest.raises(InputError, match="streams must lie on edges 0 to"):
        compute_passed_first(network, feeders, beside, [network.edges], [0.0], values=VALUES)


def test_forbidden_turns_and_turning_back_feed_nothing(tmp_path):
    file = draw_crossing(tmp_path)
    text = file.read_text(encoding="utf-8")
    rule = (
        '<relation id="1"><member type="way" ref="102" role="from"/>'
        '<member type="node" ref="2" role="via"/><member type="way" ref="101" role="to"/>'
        '<tag k="type" v="restriction"/><tag k="restriction" v="no_left_turn"/></relation>'
    )
    file.write_text(text.replace("</osm>", rule + "</osm>"), encoding="utf-8")
    network = open_place(open_area(file)).network
    feeders = find_feeders(network, np.full(network.edges, 1000.0), values=VALUES)
    east = find_edge(network, 2, 4)
    part = feeders.edge[feeders.indptr[east] : feeders.indptr[east + 1]].tolist()
    assert sorted(part) == sorted([find_edge(network, 1, 2), find_edge(network, 6, 2)])


#: west and north lead over a middle road to east and south
OVER = (
    Road(points=((-1000, 0), (0, 0)), name="West", mps=10.0, oneway=True),
    Road(points=((0, 600), (0, 0)), name="North", mps=10.0, oneway=True),
    Road(points=((0, 0), (100, 0)), name="Middle", mps=10.0, oneway=True),
    Road(points=((100, 0), (900, 0)), name="East", mps=10.0, oneway=True),
    Road(points=((100, 0), (100, -700)), name="South", mps=10.0, oneway=True),
)
OVER_FLOW = (6000.0, 3000.0, 9000.0, 5000.0, 1000.0)


@pytest.mark.parametrize("held", [False, True])
def test_who_may_not_go_on_over_a_whole_road_feeds_nothing(held):
    """From the west over the middle straight on is forbidden: the east is fed by the north."""
    rule = ((0, True), (2, True), (3, True))
    over = build_network(list(OVER), long_bans=(rule,) if held else ())
    ahead = over.segment_edge_forward
    vehicles = np.array(OVER_FLOW)[over.edge_segment]
    feeders = find_feeders(over, vehicles, values=VALUES)

    def passed(segment, x, y, fraction=0.5):
        beside = find_beside(over, [x], [y], [1.0], values=VALUES)
        given = [ahead[segment]], [fraction]
        return compute_passed_first(over, feeders, beside, *given, values=VALUES)[0]

    part = 6000 / (6000 + 3000)
    assert passed(2, -500.0, 10.0) == pytest.approx(part), "the middle itself is fed by both"
    assert passed(3, -500.0, 10.0) == pytest.approx(0.0 if held else part)
    assert passed(3, 10.0, 300.0) == pytest.approx(1.0 if held else 1 - part)
    assert passed(3, 50.0, 10.0) == pytest.approx(1.0), "all came over the middle"
    # straight on counts six times, but all from the west must turn south when held
    turned = 1000 / (6 * 5000 + 1000)
    from_west = part if held else part * turned
    from_north = (1 - part) * turned
    assert passed(4, -500.0, 10.0) == pytest.approx(from_west / (from_west + from_north))


def test_drivers_followed_one_by_one_keep_to_the_restriction(request):
    """The demo's one restriction over a whole road: nobody fed over it came that way."""
    network = open_place(open_area(request.config.rootpath / "data_public/demo")).network
    (path,) = network.banned_paths()
    feeders = find_feeders(network, np.full(network.edges, 1000.0), values=VALUES)

    def feeding(number):
        return feeders.edge[feeders.indptr[number] : feeders.indptr[number + 1]].tolist()

    trails = [[path[-1]]]
    for edge in path[-2::-1]:
        trails = [[*t, n] for t in trails for n in feeding(t[-1]) if feeders.base[n] == edge]
    assert trails == []
    assert path[0] in {int(feeders.base[n]) for n in feeding(path[1])}


def test_feeder_shares_sum_to_one(network, flow):
    feeders = find_feeders(network, flow, values=VALUES)
    counts = np.diff(feeders.indptr)
    edge = np.repeat(np.arange(network.edges), counts)
    sums = np.bincount(edge, feeders.share, minlength=network.edges)
    assert np.allclose(sums[counts > 0], 1.0)


def test_far_carriageway_of_a_divided_road_counts_less(tmp_path):
    road = {"highway": "primary", "oneway": "yes", "name": "Twin", "maxspeed": "36", "lanes": "2"}
    nodes = {1: (-800, -9), 2: (800, -9), 3: (800, 9), 4: (-800, 9)}
    link = {"highway": "primary", "name": "Twin", "maxspeed": "36"}
    file = draw_town(
        tmp_path, nodes=nodes, ways=[([1, 2], road), ([3, 4], road), ([2, 3], link), ([4, 1], link)]
    )
    network = open_place(open_area(file)).network
    beside = find_beside(network, [0.0], [-35.0], [1.0], values=VALUES)
    held = {
        edge: beside.weight[beside.indptr[edge] : beside.indptr[edge + 1]].tolist()
        for edge in range(network.edges)
    }
    assert held[find_edge(network, 1, 2)] == [1.0]
    assert held[find_edge(network, 3, 4)] == [VALUES.value("across_share")]


def _walk_randomly(network, feeders, beside, edge, fraction, *, window_s, walkers, seed):
    """Follow single drivers back in time, each choosing one feeder; mean best wash passed."""
    random = np.random.default_rng(seed)
    total = 0.0
    for _ in range(walkers):
        at, end, used, best = edge, fraction, 0.0, 0.0
        while used < window_s:
            road = feeders.base[at]
            seconds = network.edge_seconds[road]
            for b in range(beside.indptr[road], beside.indptr[road + 1]):
                ahead = end - beside.fraction[b]
                if ahead >= 0 and used + ahead * seconds <= window_s:
                    best = max(best, beside.weight[b])
            used += end * seconds
            part = slice(feeders.indptr[at], feeders.indptr[at + 1])
            if part.start == part.stop:
                break
            at, end = int(random.choice(feeders.edge[part], p=feeders.share[part])), 1.0
        total += best
    return total / walkers


def test_tree_agrees_with_drivers_followed_one_by_one(request):
    area = open_area(request.config.rootpath / "data_public/demo")
    network = open_place(area).network
    random = np.random.default_rng(2)
    flow = np.where(network.segment_class[network.edge_segment] < 5, 8000.0, 300.0)
    feeders = find_feeders(network, flow, values=VALUES)
    x, y = random.uniform(-2000, 2000, (2, 10))
    beside = find_beside(network, x, y, random.uniform(0.1, 0.9, 10), values=VALUES)
    busy = np.flatnonzero(network.segment_class[network.edge_segment] <= 4)
    edges = random.choice(busy, 4)
    tree = compute_passed_first(network, feeders, beside, edges, [0.5] * 4, values=VALUES)
    for edge, share in zip(edges.tolist(), tree, strict=True):
        drawn = _walk_randomly(
            network, feeders, beside, edge, 0.5, window_s=300.0, walkers=1200, seed=edge
        )
        # three standard errors of a mean of numbers within 0-0.9, and half a step of time
        assert share == pytest.approx(drawn, abs=3 * 0.45 / np.sqrt(1200) + 0.01)

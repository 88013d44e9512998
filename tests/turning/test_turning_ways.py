"""Ways in and out on small roads whose answer is known."""

from __future__ import annotations

from typing import Any

import networkx as nx
import numpy as np
import pytest
from toy_roads import Pass, Road, Toy, build_frontage, build_network, build_streams, build_volumes
from toy_roads import mirror as swap

from capture.area import open_area
from capture.basis import InputError
from capture.place import open_place
from capture.turning import VALUES, add_turning
from capture.turning.routes import find_leads, find_routes, make_turn_map
from capture.turning.ways import find_ways, pair_streams

BLOCK = (
    Road(points=((-600, 0), (0, 0))),
    Road(points=((0, 0), (300, 0))),
    Road(points=((300, 0), (900, 0))),
    Road(points=((0, 0), (0, -150)), name="West Street", mps=10.0),
    Road(points=((0, -150), (300, -150)), name="South Street", mps=10.0),
    Road(points=((300, -150), (300, 0)), name="East Street", mps=10.0),
)


def run(
    separation: int = 0,
    *,
    roads: tuple[Road, ...] = BLOCK,
    bans: Any = (),
    side: str = "right",
    flip: float = 1.0,
    passes: list[Pass] | None = None,
    mouths: Any = ((1, 0.5, 150.0, -10.0),),
    vehicles: float = 10_000.0,
    signals: Any = (),
    **given: Any,
) -> Any:
    flipped = [Road(**{**_fields(r), "points": swap(r.points, by=flip)}) for r in roads]
    network = build_network(
        flipped, bans=bans, driving_side=side, signals=tuple((flip * x, y) for x, y in signals)
    )
    passes = passes or [
        Pass(segment=1, fraction=0.5, separation=separation, vehicles=vehicles),
        Pass(segment=1, fraction=0.5, forward=False, near=False, separation=separation,
             vehicles=vehicles),
    ]  # fmt: skip
    streams = build_streams(network, passes)
    frontage = build_frontage(network, [(g, f, flip * x, y) for g, f, x, y in mouths])
    place = Toy(network=network).place
    return add_turning(place, build_volumes(network), streams, frontage, driving_side=side, **given)


def _fields(road: Road) -> dict[str, Any]:
    return {name: getattr(road, name) for name in road.__dataclass_fields__}


def test_plain_road_turns_where_it_passes() -> None:
    made = run()
    assert made.way_in == ["near-side turn in", "turn in across traffic"]
    assert made.way_out == ["near-side turn out", "turn out across traffic"]
    assert (made.detour_s == 0).all()
    assert made.delay_s[0] < made.delay_s[1]
    assert made.cautions[0] == []
    assert any("no turn bay" in said for said in run(vehicles=24_000.0).cautions[1])


def test_a_median_leaves_only_the_way_round() -> None:
    made = run(3)
    assert "then near-side turn in" in made.way_in[1]
    assert made.way_out[1].startswith("near-side turn out, then")
    # round the block: east, then west on the main road past the driveway
    assert made.detour_s[1] > 0
    assert made.delay_s[1] > run(0).delay_s[1]


@pytest.mark.property
@pytest.mark.parametrize("vehicles", [2_000.0, 8_000.0, 14_000.0])
def test_a_median_never_helps_and_opening_it_never_hurts(vehicles: float) -> None:
    plain, shut = run(0, vehicles=vehicles), run(3, vehicles=vehicles)
    opened = run(3, vehicles=vehicles, openings=[True])
    assert (shut.delay_by_hour_s >= plain.delay_by_hour_s - 1e-9).all()
    assert (opened.delay_by_hour_s <= shut.delay_by_hour_s + 1e-9).all()
    assert "median opening" in opened.way_in[1]


def test_a_centre_lane_shortens_the_way_out() -> None:
    assert run(2).wait_out_s[1] < run(0).wait_out_s[1]
    assert run(2).wait_in_s[1] == pytest.approx(run(0).wait_in_s[1])


def test_near_side_only_driveway_is_a_median_of_its_own() -> None:
    kept = run(0, near_side_only=[True])
    assert kept.delay_s == pytest.approx(run(3).delay_s)


def test_no_road_round_means_no_way_and_the_cap() -> None:
    lone = (
        Road(points=((0, 0), (300, 0)), oneway=True, name="A"),
        Road(points=((300, 20), (0, 20)), oneway=True, name="A"),
    )
    made = run(
        roads=lone,
        passes=[
            Pass(segment=0, fraction=0.5, separation=3),
            Pass(segment=1, fraction=0.5, near=False, separation=3),
        ],
        mouths=((0, 0.5, 150.0, -10.0),),
    )
    assert made.delay_s[1] == VALUES.value("delay_cap_s")
    assert made.way_in[1] == "no way found within five minutes"
    assert np.isinf(made.detour_s[1])
    assert any("120 s or more" in said for said in made.cautions[1])


def test_turn_bans_close_the_way_round() -> None:
    """The far stream comes from the east; coming back it must turn at the west junction."""
    free = run(3)
    banned = run(
        3,
        bans=(
            (1, False, 1, True),  # no turning back at the west end
            (0, False, 0, True),  # nor farther west
        ),
    )
    assert banned.detour_s[1] > free.detour_s[1]
    assert banned.delay_s[1] >= free.delay_s[1]


#: a divided road with links through its median at 300 m and at 700 m
DIVIDED = (
    Road(points=((0, 0), (300, 0)), oneway=True),
    Road(points=((300, 0), (700, 0)), oneway=True),
    Road(points=((700, 0), (900, 0)), oneway=True),
    Road(points=((900, 12), (700, 12)), oneway=True),
    Road(points=((700, 12), (300, 12)), oneway=True),
    Road(points=((300, 12), (0, 12)), oneway=True),
    Road(points=((300, 0), (300, 12)), name="Link"),
    Road(points=((700, 0), (700, 12)), name="Link"),
)
#: no turning back through the first link
NO_BACK = ((0, True), (6, True), (5, True))


def test_a_ban_over_a_whole_link_sends_drivers_to_the_next() -> None:
    found = []
    for bans in ((), (NO_BACK,)):
        network = build_network(list(DIVIDED), long_bans=bans)
        turns = make_turn_map(network, driving_side="right", join_s=np.full(network.edges, 20.0))
        seconds, _ = find_routes(
            turns, start_edge=network.segment_edge_forward[[0, 0, 1]],
            start_fraction=np.full(3, 0.5), target_indptr=np.arange(4),
            target_edge=network.segment_edge_forward[[5, 6, 5]],
            target_fraction=np.full(3, 0.5), limit_s=np.full(3, 600.0),
        )  # fmt: skip
        found.append(seconds)
    free, held = found
    assert held[0] == pytest.approx(free[0] + 800 / 15.0), "400 m farther and back"
    assert held[1] == free[1], "onto the link itself still"
    assert held[2] == free[2], "from elsewhere over the first link still"


def test_straight_on_over_a_whole_road_is_no_lead_when_forbidden() -> None:
    roads = [
        Road(points=((-400, 0), (0, 0))),
        Road(points=((0, 0), (60, 0))),
        Road(points=((60, 0), (400, 0))),
        Road(points=((60, 0), (300, -40)), name="Fork"),
    ]
    rule = ((0, True), (1, True), (2, True))
    free, held = (build_network(roads, long_bans=bans) for bans in ((), (rule,)))
    ahead = free.segment_edge_forward
    on = {}
    for name, network in (("free", free), ("held", held)):
        turns = make_turn_map(network, driving_side="right", join_s=np.full(network.edges, 20.0))
        on[name] = find_leads(
            turns, ahead[[1, 2]].astype(np.int64), np.array([0.5, 0.5]), distance_m=250.0
        )
    assert on["free"][0].tolist() == [ahead[0], ahead[0]]
    assert on["free"][2].tolist() == [ahead[2], ahead[2]]
    assert on["held"][0].tolist() == [ahead[0], ahead[1]], "no driver on the east came from west"
    assert on["held"][2].tolist() == [ahead[3], ahead[2]], "who came from west goes on by the fork"


def test_the_demos_ban_over_a_whole_road_holds(request: pytest.FixtureRequest) -> None:
    from dataclasses import replace

    held = open_place(open_area(request.config.rootpath / "data_public/demo")).network
    free = replace(held, banned_path_indptr=np.zeros(1, np.int64))
    (path,) = held.banned_paths()
    middle = float(np.asarray(held.edge_seconds)[list(path[1:-1])].sum())
    took = {}
    for name, network in (("held", held), ("free", free)):
        turns = make_turn_map(network, driving_side="right", join_s=np.full(network.edges, 20.0))
        took[name] = find_routes(
            turns, start_edge=np.array([path[0]]), start_fraction=np.ones(1),
            target_indptr=np.array([0, 1]), target_edge=np.array([path[-1]]),
            target_fraction=np.zeros(1), limit_s=np.full(1, 900.0),
        )[0][0]  # fmt: skip
    assert middle <= took["free"] < middle + 120.0
    assert took["held"] > took["free"] + 5.0


def test_median_opening_on_the_map_is_found() -> None:
    """A short link beside the driveway joins both carriageways."""
    dual = (
        Road(points=((-300, 0), (0, 0)), oneway=True),
        Road(points=((0, 0), (300, 0)), oneway=True),
        Road(points=((300, 12), (0, 12)), oneway=True),
        Road(points=((0, 12), (-300, 12)), oneway=True),
        Road(points=((0, 0), (0, 12)), name=""),
    )
    passes = [
        Pass(segment=1, fraction=0.01, separation=3),
        Pass(segment=2, fraction=0.99, near=False, separation=3),
    ]
    made = run(roads=dual, passes=passes, mouths=((1, 0.01, 3.0, -10.0),))
    assert "median opening" in made.way_in[1]
    away = [
        Pass(segment=1, fraction=0.5, separation=3),
        Pass(segment=2, fraction=0.5, near=False, separation=3),
    ]
    made = run(roads=dual, passes=away, mouths=((1, 0.5, 150.0, -10.0),))
    assert "U-turn" in made.way_in[1]
    assert made.detour_s[1] > 0


def test_corner_site_uses_its_other_road() -> None:
    """Behind a median on the main road, the side street's driveway serves the far stream."""
    passes = [
        Pass(segment=1, fraction=0.1, separation=3),
        Pass(segment=1, fraction=0.1, forward=False, near=False, separation=3),
        Pass(segment=3, fraction=0.2, forward=True, near=False, driveway=1),
        Pass(segment=3, fraction=0.2, forward=False, near=True, driveway=1),
    ]
    mouths = ((1, 0.1, 30.0, -10.0), (3, 0.2, 8.0, -30.0))
    made = run(passes=passes, mouths=mouths)
    lone = run(passes=passes[:2], mouths=mouths[:1])
    assert "by West Street" in made.way_in[1]
    assert made.delay_s[1] < lone.delay_s[1]


def test_left_hand_traffic_in_a_mirrored_town_gives_the_same() -> None:
    for separation in (0, 2, 3):
        right = run(separation, signals=((300, 0),), bans=((1, False, 1, True),))
        left = run(separation, signals=((300, 0),), bans=((1, False, 1, True),), side="left",
                   flip=-1.0)  # fmt: skip
        assert left.delay_by_hour_s == pytest.approx(right.delay_by_hour_s, abs=1e-3)
        assert left.detour_s == pytest.approx(right.detour_s, abs=1e-3)
        assert left.way_in == right.way_in
        assert left.cautions == right.cautions


def test_mirrored_town_with_the_wrong_side_differs() -> None:
    """Where nobody turns back, the way round is all near-side turns on one side only."""
    fast = tuple(Road(**{**_fields(road), "road_class": 0}) for road in BLOCK)
    right, left = run(3, roads=fast), run(3, roads=fast, side="left")
    assert "round the block" in right.way_in[1]
    assert right.detour_s[1] != pytest.approx(left.detour_s[1], abs=1e-3)


def test_one_site_answers_alone_as_among_others() -> None:
    pair = [
        Pass(segment=1, fraction=0.5, separation=3),
        Pass(segment=1, fraction=0.5, forward=False, near=False, separation=3),
    ]
    other = [
        Pass(segment=4, fraction=0.5, site=1, driveway=1, vehicles=300.0),
        Pass(segment=4, fraction=0.5, site=1, driveway=1, forward=False, near=False),
    ]
    mouths = ((1, 0.5, 150.0, -10.0), (4, 0.5, 150.0, -160.0))
    together = run(passes=other + pair, mouths=mouths)
    alone = run(passes=pair, mouths=mouths)
    assert (together.delay_by_hour_s[2:] == alone.delay_by_hour_s).all()
    assert together.way_in[2:] == alone.way_in


def test_heavy_traffic_in_the_way_counts_though_it_is_not_washed() -> None:
    passes = [
        Pass(segment=1, fraction=0.5, heavy=0.3),
        Pass(segment=1, fraction=0.5, forward=False, near=False),
    ]
    assert run(passes=passes).delay_s[1] > run().delay_s[1]


def test_access_over_a_neighbour_and_a_steep_driveway_cost_time() -> None:
    base = run()
    assert run(access_s=[4.0]).delay_s == pytest.approx(base.delay_s + 8.0)
    assert (run(grade_percent=[6.0]).wait_out_s > base.wait_out_s).all()


def test_known_platoons_change_the_wait() -> None:
    base = run(vehicles=14_000.0)
    assert run(vehicles=14_000.0, blocked_share=[0.4, 0.4]).wait_out_s[1] != pytest.approx(
        base.wait_out_s[1]
    )


def test_hours_of_washing_weigh_the_wait() -> None:
    night = np.zeros(24)
    night[3] = 5.0
    made = run(wash_hour_share=night)
    assert made.delay_s == pytest.approx(made.delay_by_hour_s[:, 3])


def test_signals_and_corners_are_said() -> None:
    made = run(signals=((0, 0),))
    assert any("signal 150 m before" in said for said in made.cautions[0])
    assert not any("beyond" in said for said in made.cautions[1])
    near = run(passes=[Pass(segment=1, fraction=0.1)], mouths=((1, 0.1, 30.0, -10.0),))
    assert any("junction is 30 m away" in said for said in near.cautions[0])
    close = [Pass(segment=1, fraction=0.2, forward=False, near=False)]
    queued = run(signals=((0, 0),), passes=close, mouths=((1, 0.2, 60.0, -10.0),))
    assert any("signal 60 m beyond" in said for said in queued.cautions[0])


def test_refusals() -> None:
    with pytest.raises(InputError, match="driving side"):
        run(side="middle")
    with pytest.raises(InputError, match="openings must be 1"):
        run(openings=[True, False])
    with pytest.raises(InputError, match="24 shares"):
        run(wash_hour_share=np.zeros(24))
    with pytest.raises(InputError, match="24 shares"):
        run(wash_hour_share=[1.0, -1.0])


def test_pairs_of_many_sites() -> None:
    pointer, stream, by = pair_streams(np.array([2, 0, 2, 1, 2]))
    assert np.diff(pointer).tolist() == [3, 1, 3, 1, 3]
    assert [by[stream == r].tolist() for r in range(5)] == [
        [0, 2, 4],
        [1],
        [0, 2, 4],
        [3],
        [0, 2, 4],
    ]


@pytest.mark.parametrize("seed", range(4))
def test_routes_agree_with_a_plain_search_over_turns(seed: int) -> None:
    """The same costs on networkx, states being the directed pieces."""
    rng = np.random.default_rng(seed)
    roads, size = [], 5
    for i in range(size):
        for j in range(size):
            for di, dj in ((1, 0), (0, 1)):
                if i + di < size and j + dj < size and rng.random() < 0.85:
                    start = (100.0 * i, 100.0 * j)
                    end = (100.0 * (i + di), 100.0 * (j + dj))
                    roads.append(
                        Road(points=(start, end), oneway=bool(rng.random() < 0.3),
                             mps=float(rng.uniform(8, 20)))
                    )  # fmt: skip
    network = build_network(roads)
    edges = network.edges
    pairs = [
        (a, b)
        for a in range(edges)
        for b in range(int(network.indptr[network.edge_head[a]]),
                       int(network.indptr[network.edge_head[a] + 1]))
    ]  # fmt: skip
    join = np.where(rng.random(edges) < 0.5, np.inf, 12.0)
    turns = make_turn_map(network, driving_side="right", join_s=join)
    banned = {pairs[k] for k in rng.choice(len(pairs), 8, replace=False)}
    code = np.sort(np.array([a * edges + b for a, b in banned]))
    turns = make_turn_map(network, driving_side="right", join_s=join)
    turns = type(turns)(
        **{n: getattr(turns, n) for n in turns.__dataclass_fields__} | {"banned": code}
    )
    graph = nx.DiGraph()
    graph.add_nodes_from(range(edges))
    for a, b in pairs:
        cost = _turn_cost(turns, a, b)
        if (a, b) not in banned and np.isfinite(cost):
            graph.add_edge(a, b, weight=float(turns.seconds[a]) + cost)
    starts = rng.integers(0, edges, 6)
    targets = np.tile(np.arange(edges), 6)
    got, _ = find_routes(
        turns, start_edge=starts, start_fraction=np.zeros(6),
        target_indptr=np.arange(7) * edges, target_edge=targets,
        target_fraction=np.full(targets.size, 0.25), limit_s=np.full(6, 1e6),
    )  # fmt: skip
    for n, start in enumerate(starts.tolist()):
        lengths = nx.single_source_dijkstra_path_length(graph, start)
        expected = np.array([lengths.get(e, np.inf) for e in range(edges)])
        expected = expected + 0.25 * turns.seconds
        assert got[n * edges : (n + 1) * edges] == pytest.approx(expected, abs=1e-9)


def _turn_cost(turns: Any, a: int, b: int) -> float:
    if b == turns.reverse[a]:
        return float(turns.join_s[b])
    (ux, uy), (vx, vy) = turns.headings[a, 2:], turns.headings[b, :2]
    if ux * vx + uy * vy >= turns.straight_cosine:
        return 0.0
    return turns.cross_turn_s if ux * vy - uy * vx > 0 else turns.near_turn_s


@pytest.mark.property
@pytest.mark.parametrize("seed", range(3))
def test_ways_left_out_of_the_search_could_not_be_taken(seed: int) -> None:
    """With and without the bound, every way that is worth taking is the same."""
    rng = np.random.default_rng(seed)
    network = build_network(list(BLOCK), signals=((300, 0),))
    turns = make_turn_map(network, driving_side="right", join_s=rng.uniform(5, 40, network.edges))
    rows = 12
    given = {
        "site": rng.integers(0, 4, rows),
        "edge": rng.integers(0, network.edges, rows),
        "fraction": rng.uniform(0, 1, rows),
        "values": VALUES,
    }
    own_in, own_out = rng.uniform(1, 120, rows), rng.uniform(1, 120, rows)
    free = np.full(rows, np.inf)
    bound = find_ways(turns, own_in_s=own_in, own_out_s=own_out, **given)
    loose = find_ways(turns, own_in_s=free, own_out_s=free, **given)
    assert np.isinf(bound.in_detour_s).sum() > np.isinf(loose.in_detour_s).sum()
    for name, own in (("in_detour_s", own_in), ("out_detour_s", own_out)):
        got, all_of = getattr(bound, name), getattr(loose, name)
        worth = all_of <= own[loose.stream] - 1e-9
        assert got[worth] == pytest.approx(all_of[worth], abs=1e-9)
        assert (got[all_of > own[loose.stream] + 1e-9] == np.inf).all()


def test_no_streams_give_empty_answers() -> None:
    network = build_network(list(BLOCK))
    streams = build_streams(network, [])
    made = add_turning(
        Toy(network=network).place, build_volumes(network), streams,
        build_frontage(network, [(1, 0.5, 150.0, -10.0)]), driving_side="right",
    )  # fmt: skip
    assert made.delay_s.shape == (0,)
    assert made.delay_by_hour_s.shape == (0, 24)
    assert made.way_in == made.cautions == []

"""What drivers see on small roads whose answer is known."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from toy_roads import Pass, Road, Toy, box, build_frontage, build_network, build_streams
from toy_roads import mirror as swap

from capture.basis import InputError, Offer
from capture.seeing import (
    VALUES,
    Terrain,
    add_seeing,
    compute_gap_distance,
    compute_letter,
    compute_needed,
    compute_stretch,
)
from capture.seeing.approach import prepare_roads, walk_approach

STRAIGHT = (
    Road(points=((-900, 0), (0, 0))),
    Road(points=((0, 0), (400, 0))),
    Road(points=((400, 0), (1300, 0))),
)
PASSES = [
    Pass(segment=1, fraction=0.5),
    Pass(segment=1, fraction=0.5, forward=False, near=False),
]
MOUTHS = ((1, 0.5, 200.0, -10.0),)


def see(
    *,
    roads: tuple[Road, ...] = STRAIGHT,
    passes: list[Pass] | None = None,
    mouths: Any = MOUTHS,
    buildings: Any = (),
    screens: Any = (),
    side: str = "right",
    flip: float = 1.0,
    offer: Offer | None = None,
    **given: Any,
) -> Any:
    network = build_network(
        [
            Road(**{n: getattr(r, n) for n in r.__dataclass_fields__}
                 | {"points": swap(r.points, by=flip)})
            for r in roads
        ],
        driving_side=side,
    )  # fmt: skip
    place = Toy(
        network=network,
        buildings=[(swap(ring, by=flip), height) for ring, height in buildings],
        screens=[(kind, swap(line, by=flip), height) for kind, line, height in screens],
    ).place
    return add_seeing(
        place,
        build_streams(network, passes or PASSES),
        build_frontage(network, [(g, f, flip * x, y) for g, f, x, y in mouths]),
        offer=offer or Offer(),
        driving_side=side,
        **given,
    )


def test_open_country_sees_all_that_is_needed() -> None:
    made = see()
    assert (made.sight == 1).all()
    assert made.needed_m == pytest.approx(compute_needed([15.0, 15.0]))
    assert made.seen_s == pytest.approx(made.seen_m / 15.0)
    assert made.cautions == [[], []]
    assert made.rays is None


def test_a_neighbour_hides_the_front_and_trees_hide_all() -> None:
    house = [(box(100, -40, 60, 30), 8.0)]
    made = see(buildings=house)
    assert made.seen_by_target_m[0, 1] < made.seen_by_target_m[0, 0]
    assert made.seen_by_target_m[1, 1] == see().seen_by_target_m[1, 1]
    trees = [("tree_row", ((0.0, -8.0), (185.0, -8.0)), 9.0)]
    assert see(screens=trees).sight[0] < 0.2
    assert see(screens=trees).sight[1] == 1


def test_a_hedge_hides_the_front_but_not_the_sign_above_it() -> None:
    hedge = [("hedge", ((0.0, -7.0), (195.0, -7.0)), 1.8)]
    made = see(screens=hedge)
    assert made.seen_by_target_m[0, 1] < 30 < made.seen_by_target_m[0, 0]
    low = see(screens=hedge, offer=Offer(sign_height_m=1.2))
    assert low.sight[0] < made.sight[0]


def test_the_clear_stretch_is_where_geometry_says() -> None:
    """A wide building: the front is seen from where the line to it passes its corner."""
    made = see(buildings=[(box(0, -60, 150, 50), 30.0)], keep=True)
    table = made.rays[0]
    front = table[table[:, 3] == 1]
    # eye on y = -1.8, front at (200, -25); the corner at (150, -10)
    slope = (-10 + 25) / (150 - 200)
    x = 200 + (-1.8 + 25) / slope
    seen = front[front[:, 6] == 1, 0].max()
    assert seen == pytest.approx(200 - x, abs=5.0)


@pytest.mark.property
@settings(max_examples=30, deadline=None)
@given(
    x=st.floats(-200, 180), y=st.floats(-60, -9), wide=st.floats(2, 60), deep=st.floats(2, 8),
    height=st.floats(1.2, 20),
)  # fmt: skip
def test_more_obstruction_never_gives_more_sight(
    x: float, y: float, wide: float, deep: float, height: float
) -> None:
    one = [(box(x, y, wide, deep), height)]
    base, more = see(buildings=one), see(buildings=[*one, (box(60, -30, 40, 15), 6.0)])
    higher = see(buildings=[(one[0][0], height + 5)])
    for made in (more, higher):
        assert (made.seen_m <= base.seen_m + 1e-9).all()
        assert (made.seen_by_target_m <= base.seen_by_target_m + 1e-9).all()
    assert (base.sight <= see().sight).all()


@pytest.mark.property
@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 9999))
def test_left_hand_traffic_in_a_mirrored_town_gives_the_same(seed: int) -> None:
    rng = np.random.default_rng(seed)
    things = [
        (box(*rng.uniform([-300, -60], [600, 40]), *rng.uniform(5, 40, 2)), rng.uniform(2, 12))
        for _ in range(12)
    ]
    right = see(buildings=things)
    left = see(buildings=things, side="left", flip=-1.0)
    for name in ("seen_m", "sight", "seen_by_target_m", "triangle_seen_m", "letter_m"):
        assert getattr(left, name) == pytest.approx(getattr(right, name), abs=1e-3, nan_ok=True)


def test_symmetric_scenes_give_symmetric_answers() -> None:
    """Driveways north and south of a road that runs through the middle of a mirror image."""
    things = [(box(80, 12, 50, 20), 7.0), (box(80, -32, 50, 20), 7.0)]
    things += [(box(270, 12, 50, 20), 7.0), (box(270, -32, 50, 20), 7.0)]
    passes = [
        Pass(segment=1, fraction=0.5),
        Pass(segment=1, fraction=0.5, forward=False, driveway=1),
    ]
    made = see(buildings=things, passes=passes, mouths=(*MOUTHS, (1, 0.5, 200.0, 10.0)))
    assert made.seen_m[0] == pytest.approx(made.seen_m[1])
    assert made.seen_by_target_m[0] == pytest.approx(made.seen_by_target_m[1])


def test_buildings_on_the_parcel_make_way() -> None:
    from types import SimpleNamespace

    import shapely

    house = [(box(150, -30, 40, 20), 8.0)]
    parcel = SimpleNamespace(polygons=(shapely.box(140, -60, 260, -10),))
    hidden, freed = see(buildings=house), see(buildings=house, sites=parcel)
    assert hidden.seen_by_target_m[0, 1] < freed.seen_by_target_m[0, 1]
    assert freed.seen_m == pytest.approx(see().seen_m)
    inside = [(box(180, -30, 40, 20), 8.0)]  # the front stands where an old building stands
    assert see(buildings=inside).seen_m == pytest.approx(see().seen_m)


def test_a_short_approach_is_said_and_counts() -> None:
    roads = (
        Road(points=((0, 0), (100, 0)), name="Short"),
        Road(points=((0, -300), (0, 0)), name="Cross"),
        Road(points=((0, 0), (0, 300)), name="Cross"),
    )
    made = see(roads=roads, passes=[Pass(segment=0, fraction=0.8)],
               mouths=((0, 0.8, 80.0, -10.0),))  # fmt: skip
    assert made.walked_m[0] == 80
    assert made.sight[0] < 0.5
    assert any("80 m only" in said for said in made.cautions[0])


def test_the_approach_follows_bends_and_the_roads_own_name() -> None:
    roads = (
        Road(points=((-100, -100), (0, 0)), name="Straight on"),
        Road(points=((0, -300), (0, -60), (0, 0)), name="High Road"),
        Road(points=((0, 0), (50, 50), (200, 50)), name="High Road"),
    )
    network = build_network(list(roads))
    edge = np.array([int(network.segment_edge_forward[2])])
    walked = walk_approach(
        prepare_roads(network),
        edge,
        np.array([1.0]),
        distance_m=np.array([400.0]),
        driving_side="right",
    )
    assert walked.count[0] == 80
    assert 1 in walked.segment[0]
    assert 0 not in walked.segment[0]
    # on the first straight piece the lane's middle lies half a lane south of the line
    assert walked.eyes[0, 0] == pytest.approx([195.0, 50.0 - 1.8])
    assert walked.heading[0, 0] == pytest.approx([1.0, 0.0])
    steps = np.hypot(*np.diff(walked.eyes[0, 5:25], axis=0).T)
    assert steps == pytest.approx(5.0, abs=1e-6)


def test_the_approach_takes_no_way_that_is_forbidden_over_a_whole_road() -> None:
    roads = [
        Road(points=((-400, 0), (0, 0)), name="West"),
        Road(points=((0, 0), (60, 0)), name="Middle"),
        Road(points=((60, 0), (400, 0)), name="East"),
        Road(points=((-390, -90), (0, 0)), name="Side"),
    ]
    rule = ((0, True), (1, True), (2, True))
    walked = {}
    for held in (False, True):
        network = build_network(roads, long_bans=(rule,) if held else ())
        edge = network.segment_edge_forward[[2, 1]].astype(np.int64)
        walked[held] = walk_approach(
            prepare_roads(network), edge, np.array([0.5, 0.5]), distance_m=np.full(2, 300.0),
            driving_side="right",
        )  # fmt: skip
    assert set(walked[False].segment[0].tolist()) == {2, 1, 0}
    assert set(walked[True].segment[0].tolist()) == {2, 1, 3}, "those from the west may not come"
    assert set(walked[True].segment[1].tolist()) == {1, 0}, "as far as the middle they may"
    # half a lane aside on every piece, those with a second number too
    assert walked[True].eyes[0, 30, 1] == pytest.approx(-1.8)
    assert walked[True].eyes[1, 2, 1] == pytest.approx(-1.8)


def test_a_view_far_off_the_heading_counts_half() -> None:
    clear = np.ones((1, 1, 10), dtype=bool)
    degrees = np.full((1, 1, 10), 30.0)
    assert compute_stretch(clear, degrees, step_m=5.0)[0] == pytest.approx(25.0)
    assert compute_stretch(clear, degrees * 0, step_m=5.0)[0] == pytest.approx(50.0)


def test_a_break_ends_the_stretch_and_a_late_one_does_not() -> None:
    clear = np.ones((1, 1, 40), dtype=bool)
    clear[0, 0, 20] = False
    flat = np.zeros((1, 1, 40))
    assert compute_stretch(clear, flat, step_m=5.0)[0] == 100
    clear[0, 0, 2] = False
    assert compute_stretch(clear, flat, step_m=5.0)[0] == 85
    clear[0, 0, 7] = False
    assert compute_stretch(clear, flat, step_m=5.0)[0] == 20


def test_sight_triangles_name_the_failing_distance() -> None:
    wall = [("wall", ((130.0, -5.0), (180.0, -5.0)), 2.0)]
    made = see(screens=wall)
    assert made.triangle_needed_m[0, 0] == pytest.approx(
        float(compute_gap_distance(15.0, manoeuvre="leave_across"))
    )
    assert np.isnan(made.triangle_needed_m[1, 1])
    assert made.triangle_seen_m[0, 0] < made.triangle_needed_m[0, 0]
    said = [s for s in made.cautions[0] if "leaving" in s]
    assert f"{made.triangle_seen_m[0, 0]:.0f} m of the" in said[0]
    shut = see(screens=wall, near_side_only=np.array([True]))
    assert shut.triangle_needed_m[0, 0] == pytest.approx(15.0 * 6.5)
    assert np.isnan(shut.triangle_needed_m[1]).all()


def test_a_hill_hides_and_an_even_slope_does_not() -> None:
    x = np.arange(-1000.0, 1400.0, 20.0)
    hill = np.repeat((12.0 * np.exp(-(((x - 60.0) / 40.0) ** 2)))[None, :], 60, axis=0)
    ground = Terrain(height_m=hill, west=-1000.0, south=-600.0, cell_m=20.0)
    flat = Terrain(height_m=hill * 0 + 300.0, west=-1000.0, south=-600.0, cell_m=20.0)
    rise = np.repeat(0.04 * x[None, :], 60, axis=0)
    slope = Terrain(height_m=rise, west=-1000.0, south=-600.0, cell_m=20.0)
    base = see()
    assert see(terrain=flat).seen_m == pytest.approx(base.seen_m)
    assert see(terrain=ground).seen_m[0] < base.seen_m[0]
    assert see(terrain=slope).seen_m == pytest.approx(base.seen_m)
    house = [(box(100, -40, 60, 30), 8.0)]
    assert see(buildings=house, terrain=flat).seen_m == pytest.approx(see(buildings=house).seen_m)


def test_tunnels_and_bridges_on_the_approach() -> None:
    roads = (Road(points=((-900, 0), (0, 0)), bridge=True), *STRAIGHT[1:])
    made = see(roads=roads)
    assert made.seen_m == pytest.approx(see().seen_m)
    assert any("bridge" in said for said in made.cautions[0])
    over = (*STRAIGHT, Road(points=((120, -200), (120, 200)), name="Over", bridge=True))
    crossed = see(roads=over, offer=Offer(sign_height_m=12.0))
    assert (
        crossed.seen_by_target_m[0, 0] < see(offer=Offer(sign_height_m=12.0)).seen_by_target_m[0, 0]
    )


def test_letters_and_plans() -> None:
    made = see()
    assert made.letter_m == pytest.approx(compute_letter(made.needed_m))
    far = see(sign_xy=np.array([[200.0, -60.0]]), front_xy=np.array([[np.nan, np.nan]]))
    assert far.seen_by_target_m[0, 1] == made.seen_by_target_m[0, 1]
    assert far.seen_by_target_m[0, 0] < made.seen_by_target_m[0, 0]


def test_one_stream_answers_alone_as_among_others() -> None:
    house = [(box(100, -40, 60, 30), 8.0)]
    both = see(buildings=house)
    alone = see(buildings=house, passes=PASSES[1:])
    assert alone.seen_m[0] == both.seen_m[1]
    none = see(buildings=house, passes=[Pass(segment=1, fraction=0.0)],
               mouths=((1, 0.0, 0.0, -10.0),))  # fmt: skip
    assert none.walked_m[0] == 400


def test_rays_are_kept_for_drawing() -> None:
    made = see(keep=True)
    assert made.rays[0].shape == (80 * 5, 8)
    assert made.rays[0][:5, 0].tolist() == [5.0] * 5


def test_refusals() -> None:
    with pytest.raises(InputError, match="driving side"):
        see(side="both")
    with pytest.raises(InputError, match="above 0"):
        see(passes=[Pass(segment=1, fraction=0.5, mps=0.0)])
    with pytest.raises(InputError, match="1 or more"):
        compute_gap_distance(15.0, manoeuvre="leave_near", lanes_crossed=0)
    with pytest.raises(InputError, match="manoeuvre"):
        compute_gap_distance(15.0, manoeuvre="fly")
    for changed in ({"step_m": 0.01}, {"least_walk_m": 100_000.0}):
        with pytest.raises(InputError, match=next(iter(changed))):
            see(values=VALUES.override(changed))
    assert VALUES.value("eye_m") == pytest.approx(1.0668)


def test_no_streams_give_empty_answers() -> None:
    network = build_network(list(STRAIGHT))
    made = add_seeing(
        Toy(network=network).place, build_streams(network, []),
        build_frontage(network, list(MOUTHS)), offer=Offer(), driving_side="right", keep=True,
    )  # fmt: skip
    assert made.sight.shape == (0,)
    assert made.seen_by_target_m.shape == (0, 3)
    assert made.rays == made.cautions == made.sun == []

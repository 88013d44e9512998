"""Standing a site on a parcel."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import MultiPolygon, Point, Polygon, box

from capture.basis import InputError, Offer
from capture.basis.units import M2_PER_ACRE, M_PER_FT
from capture.ground import (
    VALUES,
    Answer,
    Needs,
    check_ground,
    check_parcel,
    compute_area_needed,
    fits_core,
    list_arrangements,
    pick_angles,
    place_site,
    read_needs,
)
from capture.ground.raster import fits_at, longest_rows, make_frame, sum_areas
from capture.line import size_line

LONG = size_line(98.0, Offer())
SHORT = size_line(45.0, Offer())
NEEDS = read_needs(LONG, Offer())


def parcel(acres: float, width_m: float, turn_deg: float = 17.0) -> Polygon:
    shape = affinity.rotate(box(0, 0, width_m, acres * M2_PER_ACRE / width_m), turn_deg)
    assert isinstance(shape, Polygon)
    return shape


def front(shape: Polygon) -> tuple[float, float]:
    first, second = shape.exterior.coords[0], shape.exterior.coords[1]
    return (first[0] + second[0]) / 2, (first[1] + second[1]) / 2


@pytest.mark.practice
@pytest.mark.parametrize(
    ("acres", "width_m", "line", "fit"),
    [
        (1.1, 50.0, LONG, {"pass"}),
        (1.6, 70.0, LONG, {"pass"}),
        (0.75, 45.0, LONG, {"pass", "ask"}),
        (0.4, 40.0, LONG, {"fail"}),
        (0.6, 45.0, SHORT, {"pass", "ask"}),
        (0.9, 50.0, SHORT, {"pass"}),
    ],
)
def test_usual_parcels_hold_usual_lines(
    acres: float, width_m: float, line: object, fit: set[str]
) -> None:
    shape = parcel(acres, width_m)
    ground = check_ground(shape, line, Offer(), driveways=[front(shape)])
    assert ground.fit in fit


def test_placements_keep_their_setbacks_and_do_not_overlap() -> None:
    shape = parcel(1.1, 50.0)
    ground = check_ground(shape, LONG, Offer(), driveways=[front(shape)])
    assert len(ground.placements) >= 2
    inner = shape.buffer(-VALUES.value("building_setback_m") + 1e-6, join_style="mitre")
    paved = shape.buffer(-VALUES.value("paving_setback_m") + 1e-6, join_style="mitre")
    for one in ground.placements:
        assert one.parts["building"].within(inner)
        solid = [*one.parts.values(), *one.stalls, *one.aisles]
        assert all(part.within(paved) for part in solid)
        for at, part in enumerate(solid):
            for other in solid[at + 1 :]:
                assert part.intersection(other).area < 1e-6
        assert one.parts["building"].area == pytest.approx(LONG.building_area_m2)
        lanes = sum(part.area for name, part in one.parts.items() if "lanes" in name)
        assert lanes >= ground.needs.stacking_m * VALUES.value("lane_width_m") - 1e-6
        assert one.reaches_driveway


def test_the_turn_holds_a_cars_least_path() -> None:
    swept = VALUES.value("turn_outer_m") - VALUES.value("turn_inner_m")
    assert swept <= VALUES.value("lane_width_m")
    for one in list_arrangements(NEEDS):
        turn = next(b for b in one.boxes if b.name == "turn")
        radius = VALUES.value("turn_outer_m")
        assert max(turn.x1 - turn.x0, turn.y1 - turn.y0) >= radius
        if one.name.startswith("lanes beside"):
            assert turn.y1 - turn.y0 >= 2 * radius - 1e-9


@pytest.mark.property
def test_arrangements_keep_all_their_stacking() -> None:
    for one in list_arrangements(NEEDS):
        lanes = [b for b in one.boxes if "lanes" in b.name]
        area = sum((b.x1 - b.x0) * (b.y1 - b.y0) for b in lanes)
        assert area >= NEEDS.stacking_m * VALUES.value("lane_width_m") - 1e-6
        parts = [shapely.box(b.x0, b.y0, b.x1, b.y1) for b in one.boxes]
        for at, part in enumerate(parts):
            for other in parts[at + 1 :]:
                assert part.intersection(other).area < 1e-6


def test_pay_lanes_stand_between_stacking_and_turn() -> None:
    for one in list_arrangements(NEEDS):
        parts = {b.name: shapely.box(b.x0, b.y0, b.x1, b.y1) for b in one.boxes}
        pay = parts["pay lanes"]
        for other in ("lanes", "turn"):
            shared = pay.intersection(parts[other])
            assert shared.length >= NEEDS.lanes * VALUES.value("lane_width_m") - 1e-6, one.name
        area = NEEDS.lanes * VALUES.value("lane_width_m") * VALUES.value("pay_length_m")
        assert pay.area == pytest.approx(area)


def test_the_same_parcel_gives_the_same_answer() -> None:
    shape = parcel(0.9, 48.0, 31.0)
    first, second = (
        check_ground(shape, SHORT, Offer(), driveways=[front(shape)]).placements for _ in range(2)
    )
    assert [one.parts["building"].wkb for one in first] == [
        one.parts["building"].wkb for one in second
    ]


@pytest.mark.property
@settings(max_examples=8, deadline=None)
@given(turn=st.floats(0, 360), east=st.floats(-5e4, 5e4), north=st.floats(-5e4, 5e4))
def test_where_a_parcel_lies_does_not_matter(turn: float, east: float, north: float) -> None:
    shape = parcel(1.1, 52.0, turn)
    moved = affinity.translate(shape, east, north)
    found = place_site(moved, NEEDS, driveways=[front(moved)], most=1)
    assert found
    assert found[0].vacuum_bays >= NEEDS.vacuum_bays_least


@pytest.mark.property
def test_a_larger_parcel_never_fits_less() -> None:
    fits = [fits_core(parcel(acres, 50.0), NEEDS) for acres in (0.4, 0.7, 0.8, 0.9, 1.1, 1.4)]
    assert fits == sorted(fits)
    assert fits[-1]
    assert not fits[0]


def test_what_is_short_is_said_in_metres() -> None:
    square = parcel(0.75, 55.0)
    ground = check_ground(square, LONG, Offer())
    assert ground.fit == ground.status == "fail"
    assert 0 < ground.shortfall.building_m < LONG.building_length_m
    assert f"too long by {ground.shortfall.building_m:.1f} m" in ground.reasons[0]
    grown = square.buffer(ground.shortfall.edge_m, join_style="mitre")
    assert fits_core(grown, ground.needs)
    assert not fits_core(
        square.buffer(ground.shortfall.edge_m - 0.6, join_style="mitre"), ground.needs
    )


def test_short_stacking_is_said_and_what_fits_is_drawn() -> None:
    shape = parcel(1.1, 50.0)
    ground = check_ground(shape, LONG, Offer(), stacking_m=500.0, driveways=[front(shape)])
    assert ground.fit == "ask"
    assert 0 < ground.shortfall.stacking_m < 500
    assert ground.placements
    assert "stacking is short" in ground.reasons[0]


def test_shapes_that_are_not_convex_hold_their_site() -> None:
    corner = Polygon([(0, 0), (90, 0), (90, 40), (55, 45), (50, 95), (0, 100)])
    ground = check_ground(corner, LONG, Offer(), driveways=[(45.0, 0.0)])
    assert ground.fit == "pass"
    for one in ground.placements:
        assert all(part.within(corner) for part in one.parts.values())


def test_a_hole_is_kept_free() -> None:
    whole = box(0, 0, 70, 95)
    pond = Polygon(whole.exterior.coords, [Point(35, 47).buffer(12).exterior.coords])
    for one in place_site(pond, NEEDS):
        assert all(part.within(pond) for part in (*one.parts.values(), *one.stalls))


def test_a_driveway_that_is_walled_off_is_an_ask() -> None:
    neck = Polygon([(0, 0), (60, 0), (60, 90), (31, 90), (31, 120), (29, 120), (29, 90), (0, 90)])
    open_way = check_ground(neck, LONG, Offer(), driveways=[(30.0, 0.0)])
    walled = check_ground(neck, LONG, Offer(), driveways=[(30.0, 120.0)])
    assert open_way.placements[0].reaches_driveway
    assert walled.placements[0].reaches_driveway is False
    assert walled.fit == "ask"


def test_bays_fit_a_small_parcel() -> None:
    offer = Offer(format="in_bay", bays=2)
    ground = check_ground(parcel(0.6, 45.0), size_line(10.0, offer), offer)
    assert ground.fit in {"pass", "ask"}
    assert ground.needs.bays


def test_a_row_of_a_line_table_will_do() -> None:
    row = SimpleNamespace(building_length_m=LONG.building_length_m, building_area_m2=430.0)
    assert read_needs(row, Offer()).building_width_m == pytest.approx(
        430.0 / LONG.building_length_m
    )
    bare = SimpleNamespace(building_length_m=30.0, lines=2)
    assert read_needs(bare, Offer()).building_width_m == pytest.approx(54 * M_PER_FT)


def test_without_a_shape_the_fit_is_unknown() -> None:
    ground = check_ground(None, LONG, Offer())
    assert (ground.fit, ground.status, ground.area_m2) == ("unknown", "unknown", None)


def test_one_parcel_without_area_does_not_stop_a_screen() -> None:
    ground = check_ground(Polygon([(0, 0), (1, 0), (0, 0)]), LONG, Offer())
    assert ground.fit == "unknown"
    assert "area must be" in ground.reasons[0]


def test_all_answered_and_fitting_is_a_pass() -> None:
    from capture.ground import DEAL_BREAKERS

    shape = parcel(1.1, 50.0)
    answers = {item.key: Answer(status="pass") for item in DEAL_BREAKERS}
    known = check_ground(shape, LONG, Offer(), driveways=[front(shape)], answers=answers)
    assert known.status == "pass"
    assert known.cost_high_usd == 0
    asked = check_ground(shape, LONG, Offer(), driveways=[front(shape)],
                         answers=answers | {"power": Answer(status="ask"),
                                            "sewer": Answer(status="ask")})  # fmt: skip
    assert asked.status == "ask"
    assert asked.cost_high_usd == 550_000
    assert asked.months_high == 18, "asks run side by side"
    fails = answers | {"deed": Answer(status="fail", who="title office")}
    struck = check_ground(shape, LONG, Offer(), driveways=[front(shape)], answers=fails)
    assert struck.status == "fail"
    assert any("title office" in reason for reason in struck.reasons)


def test_quick_and_no_search() -> None:
    shape = parcel(1.1, 50.0)
    assert check_ground(shape, LONG, Offer(), search="quick").fit == "pass"
    assert check_ground(parcel(0.4, 40.0), LONG, Offer(), search="quick").fit == "fail"
    assert check_ground(shape, LONG, Offer(), search="none").fit == "unknown"


@pytest.mark.parametrize(
    "shape", [Polygon(), Polygon([(0, 0), (1, 0), (0, 0)]), box(0, 0, 3e5, 3e5), Point(0, 0)]
)
def test_shapes_without_sense_are_refused(shape: shapely.Geometry) -> None:
    with pytest.raises(InputError, match="area must be"):
        check_parcel(shape)


def test_a_farm_is_looked_at_near_its_driveway() -> None:
    farm = box(0, 0, 5000, 4000)
    ground = check_ground(farm, LONG, Offer(), driveways=[(2500.0, 0.0)])
    assert ground.fit == "pass"
    assert ground.area_m2 == 2e7
    assert ground.placements[0].parts["building"].distance(Point(2500, 0)) < 200


def test_a_parcel_with_very_many_corners_is_no_burden() -> None:
    turn = np.linspace(0, 2 * np.pi, 20_001)
    ragged = np.where(np.arange(20_001) % 2, 60.0, 62.0)
    shape = Polygon(np.column_stack((ragged * np.cos(turn), ragged * np.sin(turn))))
    assert len(pick_angles(shape)) >= 1
    assert check_ground(shape, SHORT, Offer(), search="quick").fit == "pass"


def test_mended_and_split_parcels_take_their_largest_part() -> None:
    bow = Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])
    assert check_parcel(bow).is_valid
    two = MultiPolygon([box(0, 0, 5, 5), box(10, 0, 30, 20)])
    assert check_parcel(two).area == 400


@pytest.mark.parametrize(
    "wrong", [{"building_length_m": math.nan}, {"stacking_m": -1.0}, {"lanes": 0},
              {"vacuum_bays": 999}]
)  # fmt: skip
def test_needs_without_sense_are_refused(wrong: dict[str, float]) -> None:
    usual = {
        "building_length_m": 30.0, "building_width_m": 10.0, "stacking_m": 100.0, "lanes": 3,
        "vacuum_bays": 10, "vacuum_bays_least": 4, "bays": False,
    }  # fmt: skip
    with pytest.raises(InputError):
        Needs(**(usual | wrong))  # type: ignore[arg-type]


def test_area_needed_is_near_usual_parcels() -> None:
    assert 0.6 < compute_area_needed(NEEDS) / M2_PER_ACRE < 1.1


def test_angles_follow_the_parcels_edges() -> None:
    first = math.degrees(pick_angles(parcel(1.0, 40.0, 23.0))[0])
    assert first == pytest.approx(23.0, abs=0.5)


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_rectangles_are_found_where_brute_force_finds_them(data: st.DataObject) -> None:
    seed = data.draw(st.integers(0, 10_000))
    mask = np.random.default_rng(seed).random((9, 7)) < 0.8
    wide, high = data.draw(st.integers(1, 4)), data.draw(st.integers(1, 4))
    got = fits_at(sum_areas(mask), (0, 0, wide, high), (-1, -1), (11, 9))
    for i in range(-1, 10):
        for j in range(-1, 8):
            inside = i >= 0 and j >= 0 and i + wide <= 9 and j + high <= 7
            want = inside and bool(mask[i : i + wide, j : j + high].all())
            assert got[i + 1, j + 1] == want


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000), depth=st.integers(1, 4))
def test_longest_strip_is_the_longest(seed: int, depth: int) -> None:
    mask = np.random.default_rng(seed).random((10, 8)) < 0.75
    first, base, length = longest_rows(mask, depth, 1)
    best = max(
        (n for j in range(8 - depth + 1) for i in range(10) for n in range(1, 11 - i)
         if mask[i : i + n, j : j + depth].all()), default=0)  # fmt: skip
    assert length == best
    if length:
        assert mask[first : first + length, base : base + depth].all()


@pytest.mark.property
@settings(max_examples=20, deadline=None)
@given(turn=st.floats(0, math.pi / 2), size=st.floats(5, 60))
def test_inner_cells_never_stick_out(turn: float, size: float) -> None:
    shape = affinity.rotate(box(0, 0, size, 0.7 * size), math.degrees(turn) + 11)
    frame = make_frame(shape, turn, 0.5)
    inside = frame.cells_inside(shape)
    for i, j in np.argwhere(inside)[::7]:
        assert frame.rectangle(i, j, i + 1, j + 1).within(shape.buffer(1e-9))
    assert inside.sum() * 0.25 <= shape.area

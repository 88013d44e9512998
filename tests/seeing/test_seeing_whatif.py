"""Higher signs, cut hedges, the driver's strip and the low sun."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from toy_roads import Pass, Road, Toy, box, build_frontage, build_network, build_streams

from capture.basis import InputError, Offer
from capture.seeing import (
    add_seeing,
    cut_screens,
    describe_glare,
    describe_strip,
    find_glare,
    make_strip,
    try_cut_screens,
    try_moved,
    try_sign_height,
)

ROADS = [
    Road(points=((-900, 0), (0, 0))),
    Road(points=((0, 0), (400, 0))),
    Road(points=((400, 0), (1300, 0))),
]
HEDGE = ("hedge", ((0.0, -7.0), (195.0, -7.0)), 3.0)


def town(screens: Any = (), buildings: Any = (), fraction: float = 0.5) -> tuple[Any, Any, Any]:
    network = build_network(ROADS)
    passes = [
        Pass(segment=1, fraction=fraction),
        Pass(segment=1, fraction=fraction, forward=False, near=False),
    ]
    return (
        Toy(network=network, screens=list(screens), buildings=list(buildings)).place,
        build_streams(network, passes),
        build_frontage(network, [(1, fraction, 400 * fraction, -10.0)]),
    )


def test_a_higher_sign_sees_over_the_hedge() -> None:
    change = try_sign_height(
        *town([HEDGE]), offer=Offer(sign_height_m=2.0), height_m=9.0, driving_side="right"
    )
    assert change.sight_after > change.sight_before
    table = change.to_table(["Main", "Main"])
    assert table["sight_after"][0] > table["sight_before"][0]
    assert table["sight_after"][1] == table["sight_before"][1]
    assert "9 m instead of 2 m" in change.what


def test_cutting_the_hedge_gives_back_what_it_took() -> None:
    place, streams, frontage = town([HEDGE])
    offer = Offer(sign_height_m=2.0)
    change = try_cut_screens(place, streams, frontage, offer=offer, driving_side="right")
    bare = add_seeing(*town(), offer=offer, driving_side="right")
    assert change.after.seen_m == pytest.approx(bare.seen_m)
    assert change.sight_after > change.sight_before
    assert place.screens.height_m[0] == 3.0
    far = cut_screens(place, frontage, kinds=("hedge",), within_m=1.0, height_m=0.0)
    assert far.screens.height_m[0] == 3.0
    other = cut_screens(place, frontage, kinds=("wall",), within_m=500.0, height_m=0.0)
    assert other.screens.height_m[0] == 3.0
    assert (
        cut_screens(town()[0], frontage, kinds=("wall",), within_m=5, height_m=0).screens
        is not None
    )


def test_cutting_refuses_what_cannot_be_cut() -> None:
    place, streams, frontage = town([HEDGE])
    with pytest.raises(InputError, match="kinds must be of"):
        try_cut_screens(place, streams, frontage, offer=Offer(), kinds=("house",),
                        driving_side="right")  # fmt: skip
    with pytest.raises(InputError, match="0 m or more"):
        try_cut_screens(place, streams, frontage, offer=Offer(), height_m=-1.0,
                        driving_side="right")  # fmt: skip


def test_moving_out_from_behind_a_house() -> None:
    house = [(box(120, -40, 50, 32), 9.0)]
    place, *before = town(buildings=house)
    _, *after = town(buildings=house, fraction=0.2)
    change = try_moved(place, tuple(before), tuple(after), offer=Offer(), driving_side="right")
    assert change.after.seen_by_target_m[0, 1] > change.before.seen_by_target_m[0, 1]


def test_the_strip_says_what_appears_when() -> None:
    place, streams, frontage = town(buildings=[(box(100, -40, 60, 26), 9.0)])
    made = add_seeing(place, streams, frontage, offer=Offer(), driving_side="right", keep=True)
    strip = make_strip(made, 0, speed_mps=15.0)
    assert strip["distance_m"].is_monotonic_decreasing
    assert strip["seconds"].iloc[0] == pytest.approx(strip["distance_m"].iloc[0] / 15.0)
    assert strip["readable"].sum() < strip["sign"].sum()
    assert strip.loc[strip["readable"], "distance_m"].max() == pytest.approx(110, abs=8)
    assert strip["needed"].sum() == pytest.approx(made.needed_m[0] / 5, abs=1)
    said = describe_strip(strip)
    order = [float(line.split(" m")[0]) for line in said]
    assert order == sorted(order, reverse=True)
    assert any("the sign appears" in line for line in said)
    assert any("the sign's name can be read" in line for line in said)
    rival = describe_strip(strip, passed=[(222.0, "a rival is passed")])
    assert len(rival) == len(said) + 1
    assert any(line.startswith("222 m (15 s) before: a rival") for line in rival)
    small = make_strip(made, 0, speed_mps=15.0, letter_m=0.05)
    assert small["readable"].sum() < strip["readable"].sum()


def test_a_wash_never_seen_is_said() -> None:
    wall = [("wall", ((-500.0, -5.0), (420.0, -5.0)), 30.0)]
    place, streams, frontage = town(wall)
    made = add_seeing(place, streams, frontage, offer=Offer(), driving_side="right", keep=True)
    assert made.sight[0] == 0
    assert any("ever seen" in line for line in describe_strip(make_strip(made, 0, speed_mps=15.0)))


def test_the_strip_needs_rays_and_a_speed() -> None:
    place, streams, frontage = town()
    bare = add_seeing(place, streams, frontage, offer=Offer(), driving_side="right")
    with pytest.raises(InputError, match="keep=True"):
        make_strip(bare, 0, speed_mps=15.0)
    kept = add_seeing(place, streams, frontage, offer=Offer(), driving_side="right", keep=True)
    with pytest.raises(InputError, match="above 0"):
        make_strip(kept, 0, speed_mps=0.0)


def test_the_sun_dazzles_eastward_in_the_morning_only() -> None:
    place = {"lat": 40.0, "lon": -90.0, "time_zone": "America/Chicago"}
    east, west, north = (find_glare(h, **place) for h in (90.0, 270.0, 0.0))
    assert east
    assert all(spell.ends_minute < 12 * 60 for spell in east)
    assert all(spell.starts_minute > 12 * 60 for spell in west)
    assert north == []
    assert describe_glare(north) == ""
    # at the equinox the sun rises due east
    assert {3, 9} <= {spell.month for spell in east}
    with pytest.raises(InputError, match="time zone"):
        find_glare(90.0, lat=40.0, lon=-90.0, time_zone="Middle/Earth")


def test_sun_notes_come_with_a_time_zone() -> None:
    place, streams, frontage = town()
    streams.direction_deg = np.array([90.0, 270.0])
    made = add_seeing(place, streams, frontage, offer=Offer(), driving_side="right",
                      time_zone="America/Chicago")  # fmt: skip
    assert all(note.startswith("low sun ahead in") for note in made.sun)
    assert add_seeing(place, streams, frontage, offer=Offer(), driving_side="right").sun == ["", ""]

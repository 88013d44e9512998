"""Higher signs, cut hedges, the driver's strip and the low sun."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from toy_roads import Pass, Road, Toy, box, build_frontage, build_network, build_streams

from capture.basis import InputError, Offer
from capture.seeing import (
    add_seeing,
    describe_glare,
    describe_strip,
    find_glare,
    make_strip,
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
    low, high = (
        add_seeing(*town([HEDGE]), offer=Offer(sign_height_m=height), driving_side="right")
        for height in (2.0, 9.0)
    )
    assert high.sight[0] > low.sight[0]
    assert high.sight[1] == low.sight[1]


def test_a_hedge_cut_to_the_ground_hides_as_much_as_none() -> None:
    offer = Offer(sign_height_m=2.0)
    cut = add_seeing(*town([(*HEDGE[:2], 0.0)]), offer=offer, driving_side="right")
    bare = add_seeing(*town(), offer=offer, driving_side="right")
    grown = add_seeing(*town([HEDGE]), offer=offer, driving_side="right")
    assert cut.seen_m == pytest.approx(bare.seen_m)
    assert grown.seen_m[0] < bare.seen_m[0]


def test_moving_out_from_behind_a_house() -> None:
    house = [(box(120, -40, 50, 32), 9.0)]
    before = add_seeing(*town(buildings=house), offer=Offer(), driving_side="right")
    after = add_seeing(*town(buildings=house, fraction=0.2), offer=Offer(), driving_side="right")
    assert after.seen_by_target_m[0, 1] > before.seen_by_target_m[0, 1]


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

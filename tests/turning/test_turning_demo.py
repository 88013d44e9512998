"""The whole demo town as it is and in a mirror, where traffic keeps left."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from capture.area import open_area
from capture.basis import Offer
from capture.passing import add_streams, add_volumes
from capture.place import add_frontage, load_parcels, open_place
from capture.seeing import add_seeing
from capture.turning import add_turning

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"


@pytest.fixture(scope="module")
def town() -> tuple[Any, ...]:
    area = open_area(DEMO)
    place = open_place(area)
    volumes = add_volumes(area, place)
    frontage = add_frontage(place, load_parcels(area, place))
    return place, volumes, add_streams(area, place, volumes, frontage), frontage


def in_a_mirror(town: tuple[Any, ...]) -> tuple[Any, ...]:
    """East and west swapped: roads, buildings, screens and driveways."""
    place, volumes, streams, frontage = town
    network = replace(
        place.network, node_x=-place.network.node_x, geom_x=-place.network.geom_x,
        driving_side="left",
    )  # fmt: skip
    place = replace(
        place,
        network=network,
        buildings=replace(place.buildings, ring_x=-place.buildings.ring_x),
        screens=replace(place.screens, line_x=-place.screens.line_x),
    )
    frontage = replace(frontage, x=-frontage.x, line_x=-frontage.line_x, side=-frontage.side)
    return place, volumes, streams, frontage


@pytest.mark.property
def test_left_hand_traffic_in_the_mirrored_town_turns_alike(town: tuple[Any, ...]) -> None:
    right = add_turning(*town, driving_side="right")
    left = add_turning(*in_a_mirror(town), driving_side="left")
    assert left.delay_by_hour_s == pytest.approx(right.delay_by_hour_s, abs=1e-3)
    assert left.queue95_veh == pytest.approx(right.queue95_veh, abs=1e-3)
    assert left.way_in == right.way_in
    assert left.cautions == right.cautions
    wrong = add_turning(*in_a_mirror(town), driving_side="right")
    assert not np.allclose(wrong.delay_s, right.delay_s, atol=1e-3)


@pytest.mark.property
def test_left_hand_traffic_in_the_mirrored_town_sees_alike(town: tuple[Any, ...]) -> None:
    place, _, streams, frontage = town
    right = add_seeing(place, streams, frontage, offer=Offer(), driving_side="right")
    place, _, streams, frontage = in_a_mirror(town)
    left = add_seeing(place, streams, frontage, offer=Offer(), driving_side="left")
    for name in ("seen_m", "sight", "seen_by_target_m", "triangle_seen_m"):
        assert getattr(left, name) == pytest.approx(getattr(right, name), abs=1e-3, nan_ok=True)
    assert left.cautions == right.cautions


def test_every_demo_stream_has_a_finite_cost_and_a_way_said(town: tuple[Any, ...]) -> None:
    made = add_turning(*town, driving_side="right")
    assert np.isfinite(made.delay_s).all()
    assert ((made.delay_s > 0) & (made.delay_s <= 120)).all()
    assert all(made.way_in)
    assert (made.delay_s[town[2].near_side] < 60).all()


def test_parts_of_the_town_answer_as_the_whole(town: tuple[Any, ...]) -> None:
    place, volumes, streams, frontage = town
    whole = add_turning(*town, driving_side="right")
    seen = add_seeing(place, streams, frontage, offer=Offer(), driving_side="right")
    rows = np.flatnonzero(streams.site % 7 == 3)
    part = streams.take(rows)
    made = add_turning(place, volumes, part, frontage, driving_side="right")
    look = add_seeing(place, part, frontage, offer=Offer(), driving_side="right")
    assert (made.delay_by_hour_s == whole.delay_by_hour_s[rows]).all()
    assert (look.seen_m == seen.seen_m[rows]).all()

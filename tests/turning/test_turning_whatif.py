"""Trying other medians and driveways, and proposing the best place for one."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely
from toy_roads import Pass, Road, Toy, build_frontage, build_network, build_streams, build_volumes

from capture.basis import InputError
from capture.turning import (
    add_turning,
    lay_candidates,
    pick_best,
    scan_driveways,
)

ROADS = [
    Road(points=((-600, 0), (0, 0))),
    Road(points=((0, 0), (300, 0))),
    Road(points=((300, 0), (900, 0))),
    Road(points=((0, 0), (0, -150)), name="West Street"),
    Road(points=((300, 0), (300, -150)), name="East Street"),
]
LOT = shapely.box(5, -80, 160, -8)


def town(separation: int = 3, fraction: float = 0.1) -> tuple[Any, ...]:
    network = build_network(ROADS)
    passes = [
        Pass(segment=1, fraction=fraction, separation=separation),
        Pass(segment=1, fraction=fraction, forward=False, near=False, separation=separation),
    ]
    return (
        Toy(network=network).place,
        build_volumes(network),
        build_streams(network, passes),
        build_frontage(network, [(1, fraction, 300 * fraction, -8.0)]),
    )


def test_opening_the_median_helps_the_far_side_only() -> None:
    shut = add_turning(*town(), driving_side="right")
    opened = add_turning(*town(), driving_side="right", openings=[True])
    assert opened.delay_s[0] == shut.delay_s[0]
    assert opened.delay_s[1] < shut.delay_s[1]


def test_keeping_to_the_near_side_costs_those_who_cross() -> None:
    free = add_turning(*town(0), driving_side="right")
    kept = add_turning(*town(0), driving_side="right", near_side_only=[True])
    assert kept.delay_s[0] == free.delay_s[0]
    assert kept.delay_s[1] > free.delay_s[1]


def test_a_driveway_moved_is_as_far_from_the_corner_as_it_was_moved() -> None:
    assert add_turning(*town(), driving_side="right").corner_m[0] == pytest.approx(30)
    moved = add_turning(*town(fraction=0.5), driving_side="right")
    assert moved.corner_m[0] == pytest.approx(150)


def test_candidates_lie_before_the_parcel() -> None:
    place, _, _, frontage = town()
    made, along = lay_candidates(place, frontage, 0, polygon=LOT)
    assert along.min() >= 5 + 4.5 - 30
    assert along.max() <= 160 - 4.5 - 30
    assert (np.diff(along) == 5.0).all()
    assert made.y == pytest.approx(-8.0)
    assert made.x == pytest.approx(30 + along)
    assert (made.site == np.arange(len(along))).all()
    loose, spread = lay_candidates(place, frontage, 0)
    assert abs(spread).max() <= 23
    assert loose.y == pytest.approx(-8.0)
    with pytest.raises(InputError, match="in front of the parcel"):
        lay_candidates(place, frontage, 0, polygon=shapely.box(0, 500, 50, 600))


def streams_of(network: Any) -> Any:
    """Both directions past every candidate."""

    def make(frontage: Any) -> Any:
        passes = []
        for f, fraction in enumerate(frontage.fraction.tolist()):
            for forward in (True, False):
                passes.append(
                    Pass(segment=1, fraction=fraction, forward=forward, near=forward, site=f,
                         driveway=f)
                )  # fmt: skip
        return build_streams(network, passes)

    return make


def test_the_best_driveway_is_seen_and_off_the_corner() -> None:
    place, volumes, _, frontage = town(0)

    def look(streams: Any, candidates: Any) -> tuple[np.ndarray, np.ndarray]:
        x = candidates.x[streams.site]
        return np.where(x > 80, 1.0, 0.3), np.ones(len(x), dtype=bool)

    scan = scan_driveways(
        place, volumes, frontage, 0, make_streams=streams_of(place.network), look=look,
        driving_side="right", polygon=LOT,
    )  # fmt: skip
    best = scan.table.loc[scan.best]
    assert best["x"] > 80
    assert best["corner_m"] > 60
    assert best["kept"] == pytest.approx(scan.table["kept"].max(), abs=1e-3)
    assert any("sight is 1.00" in said for said in scan.reasons)
    assert any("from a junction, now 30 m" in said for said in scan.reasons)


def test_staying_put_is_a_reason_too() -> None:
    place, volumes, _, frontage = town(0, fraction=0.5)

    def look(streams: Any, candidates: Any) -> tuple[np.ndarray, np.ndarray]:
        return np.ones(len(streams.edge)), np.ones(len(streams.edge), dtype=bool)

    scan = scan_driveways(
        place, volumes, frontage, 0, make_streams=streams_of(place.network), look=look,
        driving_side="right", polygon=None,
    )  # fmt: skip
    assert scan.table.loc[scan.best, "along_m"] == 0
    assert "present place" in scan.reasons[0]


def test_sound_candidates_come_first() -> None:
    table = pd.DataFrame(
        {
            "along_m": [0.0, 5.0, 10.0],
            "kept": [0.9, 0.7, 0.6],
            "corner_m": [20.0, 90.0, 95.0],
            "triangles_clear": [True, True, False],
        }
    )
    assert pick_best(table) == 1
    assert pick_best(table.assign(triangles_clear=[True, False, False])) == 0
    assert pick_best(table.assign(triangles_clear=False)) == 0

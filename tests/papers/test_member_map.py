"""Where do both sites' members live, by square, and is nobody lost on the way?"""

from __future__ import annotations

import numpy as np
import pytest

from capture.papers.member_map import SQUARE_M, gather_homes, make_member_layers
from capture.papers.operator_tables import judge_second


@pytest.fixture(scope="module")
def answer(demo_study):
    rivals = demo_study.rivals
    return judge_second(
        demo_study, lat=float(rivals.lat[0]), lon=float(rivals.lon[0]), cars_per_year=90_000.0,
        member_share=0.6,
    )  # fmt: skip


def test_squares_hold_the_members_of_both_sites(answer, demo_study):
    homes = answer.homes
    # squares with hardly anyone are left out, so a little less than all
    assert homes["first"].sum() == pytest.approx(90_000 * 0.6, rel=0.02)
    assert homes["first"].sum() <= 90_000 * 0.6 * (1 + 1e-9)
    assert (homes["moved"] <= homes["first"]).all()
    assert homes["moved"].sum() == pytest.approx(answer.second.moved_members.mean, rel=0.03)


def test_nobody_is_lost_or_doubled_between_homes_and_squares():
    rng = np.random.default_rng(4)
    xy, minutes = rng.uniform(-3000, 3000, (500, 2)), rng.uniform(1, 14, (2, 500))
    minutes[1, :40] = np.inf
    first, second = rng.uniform(10, 20, (2, 500))
    made = gather_homes(xy, minutes, first=first, moved=first / 2, second=second)
    assert made["first"].sum() == pytest.approx(first.sum())
    assert made["moved"].sum() == pytest.approx(first.sum() / 2)
    assert made["second"].sum() == pytest.approx(second.sum())
    told = float((made["first_minutes"] * (made["first"] + made["second"])).sum())
    assert told == pytest.approx(float((minutes[0] * (first + second)).sum()))
    assert ((made["x"] / SQUARE_M) % 1).to_numpy() == pytest.approx(0.5)


def test_the_map_marks_who_lives_nearer_to_which_site(answer, demo_study):
    squares, spots = make_member_layers(
        answer.homes, demo_study.place.network.projection, first=answer.first, site=(43.6, -87.3)
    )
    nearer = (answer.homes["second_minutes"] < answer.homes["first_minutes"]).to_numpy()
    looks = np.array([mark.look.startswith("members-second") for mark in squares.marks])
    assert (looks == nearer).all()
    assert 0 < looks.sum() < len(looks)
    assert [mark.look for mark in spots.marks] == ["first-site", "site"]

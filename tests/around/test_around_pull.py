"""Do pull, nearest like rival, area price and gravity shares do what their equations say?"""

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.around import (
    compute_gravity,
    compute_huff_shares,
    compute_pull,
    estimate_area_price,
    find_nearest_like,
)
from capture.basis import InputError

PUBLISHED = Path(__file__).parents[1] / "published" / "around.csv"
with PUBLISHED.open(encoding="utf-8", newline="") as opened:
    ROWS = list(csv.DictReader(opened))

seconds_lists = st.lists(st.floats(0, 3600), min_size=1, max_size=8)


def _evaluate(check, inputs):
    if check == "huff_share":
        shares = compute_huff_shares(
            inputs["size"],
            [[60.0 * t for t in inputs["minutes"]]],
            power=inputs["power"],
            floor_s=inputs.get("floor_s", 60.0),
        )
        return shares[0, inputs["wash"]]
    if check == "pull":
        minutes = [60.0 * t for t in inputs["minutes"]]
        return compute_pull([minutes], inputs["likeness"], tau_s=60.0 * inputs["tau_min"])[0]
    raise AssertionError(check)


@pytest.mark.published
@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['check']}-{row['locator'][:24]}")
def test_printed_figure(row):
    value = _evaluate(row["check"], json.loads(row["inputs"]))
    assert value == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(seconds_lists, st.floats(0, 3600), st.floats(0, 1), st.integers(0, 2**31))
def test_another_rival_never_lowers_pull(times, more, likeness, seed):
    likenesses = np.random.default_rng(seed).random(len(times))
    before = compute_pull([times], likenesses, tau_s=300.0)
    after = compute_pull([[*times, more]], [*likenesses, likeness], tau_s=300.0)
    assert after[0] >= before[0] - 1e-12


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(seconds_lists, st.floats(1, 3600), st.floats(0.01, 5))
def test_another_rival_never_raises_the_gravity_share(times, more, size):
    sizes = np.ones(len(times))
    before = compute_huff_shares(sizes, [times], power=2, floor_s=60)
    after = compute_huff_shares([*sizes, size], [[*times, more]], power=2, floor_s=60)
    assert after[0, 0] <= before[0, 0] + 1e-12
    assert after.sum() == pytest.approx(1.0)


@pytest.mark.property
def test_half_the_homes_at_the_breaking_point():
    """With power 2 both centres draw alike at Reilly's breaking point (1931)."""
    for size in (0.2, 1.0, 3.7, 25.0):
        distance = 40.0
        at = distance / (1 + math.sqrt(1 / size))
        share = compute_huff_shares(
            [size, 1.0], [[60 * at, 60 * (distance - at)]], power=2, floor_s=1
        )
        assert share[0, 0] == pytest.approx(0.5)


def test_pull_fades_with_time_and_likeness():
    assert compute_pull([[0.0]], [1.0], tau_s=300)[0] == 1.0
    assert compute_pull([[np.inf]], [1.0], tau_s=300)[0] == 0.0
    assert compute_pull([[300.0]], [0.5], tau_s=300)[0] == pytest.approx(0.5 / math.e)
    assert compute_pull(np.empty((3, 0)), [], tau_s=300).tolist() == [0, 0, 0]


def test_nearest_like_skips_unlike_ones():
    index, seconds = find_nearest_like(
        [[10.0, 50.0, 40.0], [np.inf, np.inf, np.inf]], [0.2, 0.9, 0.6], like_share=0.5
    )
    assert index.tolist() == [2, -1]
    assert seconds.tolist() == [40.0, np.inf]
    none, far = find_nearest_like(np.empty((2, 0)), [], like_share=0.5)
    assert none.tolist() == [-1, -1]
    assert np.isinf(far).all()


def test_area_price_needs_enough_like_rivals_with_a_price():
    times = [[60.0, 60.0, 60.0], [60.0, 2000.0, 60.0]]
    price = estimate_area_price(
        times, [1.0, 0.5, 1.0], [10.0, 16.0, np.nan], limit_s=900, like_share=0.5, least=2
    )
    assert price[0] == pytest.approx((10 + 8) / 1.5)
    assert np.isnan(price[1])


def test_gravity_is_floored_and_nobody_comes_from_nowhere():
    near = compute_gravity([1.0, 1.0], [0.0, 60.0], power=2, floor_s=60)
    assert near[0] == near[1] == 1.0
    assert compute_gravity(1.0, np.inf, power=2, floor_s=60) == 0.0
    assert compute_huff_shares([1.0], [[np.inf]], power=2, floor_s=60).tolist() == [[0.0]]


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: compute_pull([[1.0]], [1.0, 1.0], tau_s=300), "for 1 rivals, likeness for 2"),
        (lambda: compute_pull([[-1.0]], [1.0], tau_s=300), "0 s or more"),
        (lambda: compute_pull([[np.nan]], [1.0], tau_s=300), "0 s or more"),
        (lambda: compute_pull([[1.0]], [1.5], tau_s=300), "likeness must be 0 to 1"),
        (lambda: compute_pull([[1.0]], [1.0], tau_s=0), "tau_s must be more than 0"),
        (lambda: compute_gravity([-1.0], [1.0], power=2, floor_s=60), "0 or more"),
        (lambda: compute_gravity([1.0], [1.0], power=0, floor_s=60), "more than 0"),
    ],
)
def test_refusals(call, said):
    with pytest.raises(InputError, match=said):
        call()

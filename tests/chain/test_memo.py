"""Does what is remembered stay small in a long session, and never mix two things up?"""

import gc
import weakref

import numpy as np
import pytest

from capture.basis import Offer
from capture.chain import Memo, study
from capture.chain.memo import MOST_NUMBERED, weigh


class Thing:
    """Something with an identity."""


@pytest.mark.regression
def test_numbered_things_are_let_go_and_their_numbers_never_given_again():
    memo = Memo()
    first = Thing()
    gone, given = weakref.ref(first), memo.number(first)
    del first
    numbers = {given} | {memo.number(Thing()) for _ in range(5 * MOST_NUMBERED)}
    gc.collect()
    assert gone() is None
    assert len(numbers) == 5 * MOST_NUMBERED + 1


def test_a_thing_in_use_keeps_its_number():
    memo, thing = Memo(), Thing()
    number = memo.number(thing)
    for _ in range(3 * MOST_NUMBERED):
        memo.number(Thing())
        assert memo.number(thing) == number


@pytest.mark.regression
def test_results_are_forgotten_by_weight_oldest_first():
    memo = Memo(most_bytes=10_000)
    for k in range(20):
        memo.recall("step", (k,), lambda k=k: np.full(100, k))
        memo.recall("step", (0,), lambda: np.zeros(100))
    made = []
    for k in (0, 19, 1):
        memo.recall("step", (k,), lambda k=k: made.append(k))
    assert made == [1]


def test_one_result_too_heavy_is_still_kept():
    memo = Memo(most_bytes=10)
    memo.recall("step", (), lambda: np.zeros(100))
    assert memo.recall("step", (), lambda: 1 / 0).size == 100


@pytest.mark.regression
def test_changed_studies_leave_nothing_numbered(demo, memo, p01):
    own = memo.start_from({name for name, _ in memo._kept})
    before = dict(own._numbered)
    for lanes in (1, 2, 4, 5):
        study(demo, "parcel:P01", Offer(pay_lanes=lanes), draws=400, memo=own)
    assert dict(own._numbered) == before
    assert weigh(p01.money) > 100_000

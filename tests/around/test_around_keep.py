"""Is kept work the same work, bounded, and never mistaken for other work?"""

import numpy as np
from around_towns import draw_crossing

from capture.area import open_area
from capture.around.keep import MOST_KEPT, mark, recall
from capture.place import open_place


def test_the_same_key_makes_once_and_the_oldest_goes_first(tmp_path):
    place = open_place(open_area(draw_crossing(tmp_path)))
    made = []

    def make(number):
        made.append(number)
        return [number]

    first = recall(place, 0, lambda: make(0))
    assert recall(place, 0, lambda: make(99)) is first
    for number in range(1, MOST_KEPT + 1):
        recall(place, number, lambda number=number: make(number))
    assert recall(place, MOST_KEPT, lambda: make(98)) == [MOST_KEPT]
    assert recall(place, 0, lambda: make(97)) == [97]
    assert made == [*range(MOST_KEPT + 1), 97]


def test_places_do_not_share_what_is_kept(tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    one, two = (open_place(open_area(draw_crossing(tmp_path / name))) for name in "ab")
    assert recall(one, "x", lambda: 1) == 1
    assert recall(two, "x", lambda: 2) == (1 if one is two else 2)


def test_marks_tell_values_shapes_and_kinds_apart():
    ones = np.ones(4)
    others = (np.ones(5), ones.reshape(2, 2), ones.astype(np.float32), np.array([1, 1, 1, 2.0]))
    assert mark(ones) == mark(ones.copy())
    assert all(mark(ones) != mark(other) for other in others)
    assert mark(ones, ones) != mark(ones)

"""The small tools that read columns instead of objects, against the plain way."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from osm_text import OsmText, cross

from capture.area import open_area
from capture.place import open_place, raw
from capture.place.raw import TagRows, number_rows, number_values, take_runs
from capture.place.read_osm import cut_at_gaps, read_osm


@pytest.mark.parametrize("most", [1 << 62, 1 << 8])
def test_rows_are_numbered_apart_exactly(most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(raw, "_MOST_KEY", most)
    rng = np.random.default_rng(4)
    rows = (rng.integers(0, 9, (3000, 12)) * (rng.random((3000, 12)) < 0.3)).astype(np.int32)
    first, number = number_rows(rows)
    assert np.array_equal(rows[first][number], rows)
    assert len(first) == len(np.unique(rows, axis=0)) > 500
    assert [part.tolist() for part in number_rows(rows[:0])] == [[], []]


def test_values_are_numbered_as_they_appear() -> None:
    codes = np.random.default_rng(5).integers(0, 50, 400).astype(np.int32)
    first, number = number_values(codes)
    assert codes[first].tolist() == list(dict.fromkeys(codes.tolist()))
    assert np.array_equal(codes[first][number], codes)
    assert [part.tolist() for part in number_values(codes[:0])] == [[], []]


def test_runs_are_those_between_gaps() -> None:
    rng = np.random.default_rng(6)
    counts = rng.integers(0, 7, 300)
    starts = np.concatenate([[0], np.cumsum(counts)])
    gap = rng.random(starts[-1]) < 0.25
    expected = []
    for way in range(300):
        run: list[int] = []
        for k in [*range(starts[way], starts[way + 1]), None]:
            if k is not None and not gap[k]:
                run.append(k)
                continue
            if len(run) > 1:
                expected.append((way, run[0], len(run)))
            run = []
    found = cut_at_gaps(gap, starts)
    assert list(zip(*(part.tolist() for part in found), strict=True)) == expected
    items, begin = take_runs(starts, np.array([5, 3, 5]))
    plain = [list(range(starts[k], starts[k + 1])) for k in (5, 3, 5)]
    assert items.tolist() == [k for run in plain for k in run]
    assert begin.tolist() == [0, *np.cumsum([len(run) for run in plain]).tolist()]


def test_rows_of_tags_come_back() -> None:
    rows = [("primary", *(None,) * 22), ("service", "Lane", *(None,) * 21)]
    held = TagRows.of(rows)
    assert [held.row(k) for k in range(len(held))] == rows
    assert held.column("name").tolist()[0] == 0


def test_a_file_without_anything_wanted_says_so(tmp_path: Path) -> None:
    town = OsmText()
    town.node(1, 0, 0)
    file = town.save(tmp_path)
    assert len(read_osm(file).way_id) == 0
    with pytest.raises(ValueError, match="no road that cars may drive on"):
        open_place(open_area(file), use_cache=False)


def test_a_feature_is_kept_though_a_neighbour_of_it_is_off_the_extract(tmp_path: Path) -> None:
    town = cross()
    town.node(20, 100, 100)
    town.node(21, 130, 100)
    town.way(30, [20, 21, 4711, 20], {"building": "yes", "shop": "mall"})
    town.way(31, [20, 21, 1, 20], {"building": "yes", "shop": "mall"})
    place = open_place(open_area(town.save(tmp_path)), use_cache=False)
    assert place.buildings.osm_id.tolist() == [31]
    assert place.features["osm_id"].tolist() == ["w31"]

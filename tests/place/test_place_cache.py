"""The second opening: same content, never stale, never trusted when damaged."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from osm_text import cross

from capture.area import open_area
from capture.place import VALUES, Place, open_place
from capture.place import open as opening
from capture.place.cache import cache_folder, load_columns, save_columns


def _same(a: Place, b: Place) -> None:
    for part in ("network", "buildings", "screens"):
        one, two = getattr(a, part), getattr(b, part)
        for field in fields(one):
            left, right = getattr(one, field.name), getattr(two, field.name)
            if isinstance(left, np.ndarray):
                assert left.dtype == right.dtype, field.name
                np.testing.assert_array_equal(left, right)
            else:
                assert left == right, field.name
    assert a.features.equals(b.features)
    assert (a.sha256, a.extent, a.notes, a.source) == (b.sha256, b.extent, b.notes, b.source)


def _caches() -> list[Path]:
    return sorted(cache_folder().glob("*.cols"))


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Note each time that a roads file is really read."""
    seen: list[str] = []
    kept = opening._read

    def noting(files: list[Path], form: str) -> object:
        seen.append(form)
        return kept(files, form)

    monkeypatch.setattr(opening, "_read", noting)
    return seen


def test_the_second_opening_is_the_same(reads: list[str], extract: Callable[[str], Place]) -> None:
    from extracts import find_extract

    area = open_area(find_extract("demo"))
    first, second = open_place(area), open_place(area)
    assert reads == ["osm"]
    _same(first, second)
    _same(extract("demo"), second)


def test_arrays_of_a_cache_are_private_and_plain(tmp_path: Path) -> None:
    area = open_area(cross().save(tmp_path))
    open_place(area)
    mapped = open_place(area).network
    assert type(mapped.edge_seconds) is np.ndarray
    mapped.edge_seconds[0] = -1.0
    assert open_place(area).network.edge_seconds[0] > 0


def test_a_changed_file_is_read_again(tmp_path: Path, reads: list[str]) -> None:
    town = cross()
    area = open_area(town.save(tmp_path))
    open_place(area)
    town.node(6, 900, 900)
    town.way(99, [1, 6], {"highway": "residential"})
    town.save(tmp_path)
    assert open_place(area).network.segments == 5
    assert len(reads) == 2


def test_the_same_content_elsewhere_is_not_read_again(tmp_path: Path, reads: list[str]) -> None:
    open_place(open_area(cross().save(tmp_path, "a.osm")))
    open_place(open_area(cross().save(tmp_path, "b.osm")))
    assert len(reads) == 1


def test_other_settings_have_their_own_cache(tmp_path: Path, reads: list[str]) -> None:
    area = open_area(cross().save(tmp_path))
    open_place(area)
    slow = VALUES.override({"speed_secondary_mps": 5.0})
    open_place(area, values=slow)
    open_place(area, bbox=(40.001, -90.0001, 40.01, -89.999))
    assert len(reads) == 3
    assert len(_caches()) == 3


@pytest.mark.parametrize("where", [0, 9, 17, 40, 3000, -100, -1])
def test_a_damaged_cache_is_thrown_away(where: int, tmp_path: Path, reads: list[str]) -> None:
    area = open_area(cross().save(tmp_path))
    good = open_place(area)
    (cache,) = _caches()
    content = bytearray(cache.read_bytes())
    content[where] ^= 0xFF
    cache.write_bytes(bytes(content))
    _same(open_place(area), good)
    assert len(reads) == 2
    _same(open_place(area), good)
    assert len(reads) == 2, "it was written anew"


@pytest.mark.parametrize("keep", [0, 5, 24, 100, 2000])
def test_a_cut_cache_is_thrown_away(keep: int, tmp_path: Path, reads: list[str]) -> None:
    area = open_area(cross().save(tmp_path))
    good = open_place(area)
    (cache,) = _caches()
    cache.write_bytes(cache.read_bytes()[:keep])
    _same(open_place(area), good)
    assert len(reads) == 2


def test_a_cache_never_holds_objects(tmp_path: Path) -> None:
    import json
    import zlib

    told = json.dumps(
        {"columns": {"a": ["|O", 1, 0]}, "size": 8, "crc": zlib.crc32(b"\0" * 8), "heading": 0}
    ).encode()
    file = tmp_path / "evil.cols"
    file.write_bytes(
        b"roadcols" + len(told).to_bytes(8, "little") + zlib.crc32(told).to_bytes(8, "little")
        + told + b"\0" * 8
    )  # fmt: skip
    assert load_columns(file) is None
    assert not file.exists()


def test_a_folder_that_cannot_be_written_is_no_hindrance(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where a folder should be")
    monkeypatch.setenv("CAPTURE_CACHE", str(blocked))
    assert open_place(open_area(cross().save(tmp_path))).network.segments == 4


def test_nothing_is_written_beside_the_data(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    folder.mkdir()
    file = cross().save(folder)
    open_place(open_area(file))
    assert [p.name for p in folder.iterdir()] == [file.name]
    assert cache_folder() == tmp_path / "cache"


def test_columns_come_back_as_they_went(tmp_path: Path) -> None:
    columns = {
        "a": np.arange(5, dtype=np.int32),
        "b": np.array([True, False]),
        "c": np.empty(0),
        "d": np.linspace(0, 1, 1001),
    }
    file = tmp_path / "x.cols"
    assert save_columns(file, columns, {"n": 1})
    found = load_columns(file)
    assert found is not None
    assert found[1] == {"n": 1}
    for name, column in columns.items():
        np.testing.assert_array_equal(found[0][name], column)

"""The second opening: same content, never stale, never trusted when damaged."""

from __future__ import annotations

import mmap
import os
import signal
import subprocess
import sys
import tracemalloc
from collections.abc import Callable, Sequence
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from osm_text import cross

from capture.area import open_area
from capture.place import VALUES, Place, open_place
from capture.place import cache as caching
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


def _owner(array: np.ndarray) -> object:
    """Whose memory an array looks at."""
    base: object = array
    while isinstance(base, np.ndarray | memoryview):
        base = base.base if isinstance(base, np.ndarray) else base.obj
    return base


def test_the_second_opening_maps_and_copies_nothing(tmp_path: Path) -> None:
    town = cross()
    for k in range(100, 20_100):
        town.node(k, k % 150, k // 150)
    town.way(90, list(range(100, 20_100)), {"highway": "residential"})
    area = open_area(town.save(tmp_path))
    open_place(area)
    open_place(area)
    (cache,) = _caches()
    tracemalloc.start()
    place = open_place(area)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert cache.stat().st_size > 300_000
    assert peak < cache.stat().st_size / 2
    arrays = [
        column
        for part in (place.network, place.buildings, place.screens)
        for column in (getattr(part, field.name) for field in fields(part))
        if isinstance(column, np.ndarray)
    ]
    owners = {id(_owner(column)): _owner(column) for column in arrays}
    assert len(arrays) > 40
    assert [type(owner) for owner in owners.values()] == [mmap.mmap]


def test_a_known_file_is_not_looked_through_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    area = open_area(cross().save(tmp_path))
    good = open_place(area)

    def refuse(*_: object, **__: object) -> str:
        raise AssertionError("looked through")

    monkeypatch.setattr(opening, "check_roads_file", refuse)
    _same(open_place(area), good)
    with pytest.raises(AssertionError, match="looked through"):
        open_place(area, max_bytes=10)


_BREAK_OFF = """
import os, signal, sys
from capture.area import open_area
from capture.place import cache, open_place

def stop(file, content):
    handle, name = cache.tempfile.mkstemp(dir=file.parent, prefix=cache._PART)
    for part in content[: len(content) // 2]:
        os.write(handle, part)
    os.kill(os.getpid(), signal.SIGKILL)

whole = cache._write_whole
cache._write_whole = lambda file, what: (stop if file.suffix == ".cols" else whole)(file, what)
open_place(open_area(sys.argv[1]))
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no such signal")
def test_a_writer_that_is_broken_off_leaves_nothing_broken(
    tmp_path: Path, reads: list[str]
) -> None:
    file = cross().save(tmp_path)
    run = subprocess.run([sys.executable, "-c", _BREAK_OFF, str(file)], check=False, timeout=120)
    assert run.returncode == -signal.SIGKILL
    assert _caches() == []
    (left,) = cache_folder().glob(".part-*")
    area = open_area(file)
    good = open_place(area)
    _same(open_place(area), good)
    assert len(reads) == 1
    assert left.exists(), "somebody may still be writing it"
    day_ago = left.stat().st_mtime - 100_000
    os.utime(left, (day_ago, day_ago))
    open_place(area, bbox=(40.001, -90.0001, 40.01, -89.999))
    assert not left.exists()


@pytest.mark.parametrize("fault", [OSError(28, "no room"), KeyboardInterrupt()])
def test_a_fault_while_writing_leaves_nothing_behind(
    fault: BaseException, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    area = open_area(cross().save(tmp_path))
    opened = os.fdopen

    class Broken:
        def __init__(self, handle: int) -> None:
            self.file = opened(handle, "wb")

        def __enter__(self) -> Broken:
            return self

        def __exit__(self, *_: object) -> None:
            self.file.close()

        def writelines(self, content: Sequence[bytes]) -> None:
            self.file.write(content[0][:10])
            raise fault

    with monkeypatch.context() as patched:
        patched.setattr(caching.os, "fdopen", lambda handle, _: Broken(handle))
        if isinstance(fault, OSError):
            assert open_place(area).network.segments == 4
        else:
            with pytest.raises(KeyboardInterrupt):
                open_place(area)
    assert [p for p in cache_folder().rglob("*") if p.is_file()] == []
    assert open_place(area).network.segments == 4
    assert len(_caches()) == 1


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

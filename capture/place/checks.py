"""Is this file a roads file, whole, of a bearable size, and of which form?

Looked at before any reader touches it: the content decides, not the name. Every fault gets
one sentence that says what the file is instead and what to do. Assumes nothing about who
made the file.
"""

from __future__ import annotations

import bz2
import gzip
import re
import zlib
from pathlib import Path
from typing import IO, Final, Literal

from capture.basis import DataError

RoadsForm = Literal["pbf", "osm", "osm.gz", "osm.bz2", "graphml"]
#: most bytes on disk, and when unpacked
MOST_BYTES: Final = 2_000_000_000
MOST_UNPACKED_BYTES: Final = 20_000_000_000
_HEAD: Final = 65536
_CHUNK: Final = 1 << 20
_PBF_MOST_HEADER: Final = 64 * 1024
_PBF_MOST_BLOB: Final = 32 * 1024 * 1024
_SPELL: Final = "give .osm.pbf, .osm, .osm.gz, .osm.bz2 or GraphML"


def check_roads_file(
    file: Path, *, max_bytes: int = MOST_BYTES, max_unpacked_bytes: int = MOST_UNPACKED_BYTES
) -> RoadsForm:
    """Say which form a roads file has, or refuse it in one sentence.

    Parameters
    ----------
    file : Path
        Any file.
    max_bytes, max_unpacked_bytes : int
        What is larger is refused.

    Returns
    -------
    {"pbf", "osm", "osm.gz", "osm.bz2", "graphml"}

    Raises
    ------
    DataError
        When the file is missing, a folder, empty, too large, cut short, or something else.
    """
    head = _read_head(file, max_bytes)
    if head.startswith(b"\x1f\x8b"):
        with gzip.open(file) as opened:
            return _check_packed(file, opened, "osm.gz", max_unpacked_bytes)
    if head.startswith(b"BZh"):
        with bz2.open(file) as opened:
            return _check_packed(file, opened, "osm.bz2", max_unpacked_bytes)
    _refuse_known_others(file, head)
    if b"OSMHeader" in head[:64]:
        _check_blobs(file, max_unpacked_bytes)
        return "pbf"
    return _check_xml_head(file, head)


def _read_head(file: Path, max_bytes: int) -> bytes:
    if file.is_dir():
        raise DataError(
            f"{file.name}: a roads file must be a file, this is a folder; name the file"
        )
    try:
        size = file.stat().st_size
        with file.open("rb") as opened:
            head = opened.read(_HEAD)
    except FileNotFoundError:
        raise DataError(f"{file}: there is no such roads file; check the path") from None
    except OSError as error:
        raise DataError(f"{file}: cannot be read ({error.strerror}); check its rights") from None
    if size == 0:
        raise DataError(f"{file.name}: the roads file is empty; fetch it again")
    if size > max_bytes:
        raise DataError(
            f"{file.name}: a roads file must be under {max_bytes / 1e6:.0f} MB, got "
            f"{size / 1e6:.0f} MB; cut the extract to the area"
        )
    return head


def _refuse_known_others(file: Path, head: bytes) -> None:
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")[:300].lower()
    others = (
        ((b"<!doctype html", b"<html"), "a web page", "the download link may need a login"),
        ((b"pk\x03\x04",), "a zip archive", "unpack it first"),
        ((b"7z\xbc\xaf", b"\xfd7zxz", b"rar!", b"\x28\xb5\x2f\xfd"), "a packed archive",
         "unpack it first"),
        ((b"sqlite format 3",), "a database or GeoPackage", _SPELL),
        ((b"{", b"["), "JSON", "ask the map service for XML, or " + _SPELL),
        ((b"%pdf",), "a PDF", _SPELL),
        ((b"\x89png", b"\xff\xd8\xff", b"gif8", b"ii*\x00"), "a picture", _SPELL),
        ((b"version https://git-lfs",), "a pointer to a large file, not the file",
         "fetch the file itself"),
        ((b"\xff\xe0\x04o5m",), "an o5m file", "convert it to .osm.pbf"),
        ((b"\x00\x00\x27\x0a",), "a shapefile", _SPELL),
    )  # fmt: skip
    for signs, said, remedy in others:
        if start.startswith(signs):
            raise DataError(f"{file.name}: holds {said}, not roads; {remedy}")


def _check_packed(
    file: Path, opened: IO[bytes] | gzip.GzipFile | bz2.BZ2File, form: RoadsForm, max_unpacked: int
) -> RoadsForm:
    total = 0
    head = b""
    try:
        while chunk := opened.read(_CHUNK):
            head = head or chunk[:_HEAD]
            total += len(chunk)
            if total > max_unpacked:
                raise DataError(
                    f"{file.name}: unpacked it must be under {max_unpacked / 1e6:.0f} MB, this one "
                    "is larger; cut the extract to the area"
                )
    except EOFError:
        raise DataError(f"{file.name}: the file ends too early; fetch it again") from None
    except (OSError, zlib.error):
        raise DataError(f"{file.name}: the packed file is damaged; fetch it again") from None
    if not head:
        raise DataError(f"{file.name}: holds nothing once unpacked; fetch it again")
    _refuse_known_others(file, head)
    if _check_xml_head(file, head) != "osm":
        raise DataError(f"{file.name}: packed GraphML is not read; unpack it first")
    return form


def _check_xml_head(file: Path, head: bytes) -> RoadsForm:
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        head = head.decode("utf-16", errors="ignore").encode()
    text = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    if b"<!DOCTYPE" in text or b"<!ENTITY" in text:
        raise DataError(
            f"{file.name}: declares a document type or entities, which a roads file never needs; "
            "fetch it from a source you trust"
        )
    root = re.search(
        rb"<([A-Za-z][\w:.-]*)", re.sub(rb"<\?.*?\?>|<!--.*?-->", b"", text, flags=re.S)
    )
    if not text.startswith(b"<") or root is None:
        raise DataError(f"{file.name}: is no roads file that is known here; {_SPELL}")
    name = root[1].decode()
    if name == "osm":
        return "osm"
    if name == "graphml":
        return "graphml"
    told = (
        "a file of changes, not of roads"
        if name == "osmChange"
        else f"XML of another kind <{name[:40]}>"
    )
    raise DataError(f"{file.name}: holds {told}; {_SPELL}")


def _check_blobs(file: Path, max_unpacked: int) -> None:
    """Walk over the blocks of a PBF without unpacking them: whole, bounded, well-formed."""
    size = file.stat().st_size
    at = blocks = unpacked = 0
    with file.open("rb") as opened:
        while at < size:
            length = int.from_bytes(opened.read(4), "big")
            if not 0 < length <= _PBF_MOST_HEADER:
                raise DataError(
                    f"{file.name}: block {blocks + 1} is damaged at byte {at}; fetch it again"
                )
            blob = _read_field(opened.read(length), 3)
            if blob is None or not 0 < blob <= _PBF_MOST_BLOB:
                raise DataError(
                    f"{file.name}: block {blocks + 1} is damaged at byte {at}; fetch it again"
                )
            at += 4 + length + blob
            if at > size:
                raise DataError(
                    f"{file.name}: the file ends too early, {at - size} bytes short in block "
                    f"{blocks + 1}; fetch it again"
                )
            start = opened.read(min(blob, 32))
            unpacked += min(_read_field(start, 2) or blob, 2 * _PBF_MOST_BLOB)
            opened.seek(at)
            blocks += 1
    if unpacked > max_unpacked:
        raise DataError(
            f"{file.name}: unpacked it must be under {max_unpacked / 1e6:.0f} MB, got "
            f"{unpacked / 1e6:.0f} MB; cut the extract to the area"
        )


def _read_field(message: bytes, wanted: int) -> int | None:
    """Return a whole-number field of a protocol-buffer message, None when it is not there."""
    at = 0
    while at < len(message):
        key, at = _read_number(message, at)
        if key & 7 == 0:
            value, at = _read_number(message, at)
            if key >> 3 == wanted:
                return value
        elif key & 7 == 2:
            length, at = _read_number(message, at)
            at += length
        else:
            return None
    return None


def _read_number(message: bytes, at: int) -> tuple[int, int]:
    value = shift = 0
    while at < len(message) and shift < 64:
        value |= (message[at] & 0x7F) << shift
        shift += 7
        at += 1
        if message[at - 1] < 0x80:
            break
    return value, at

"""How does a place open at once the second time?

What was read is kept in one columnar file per roads file: a JSON heading, then each array as
it lies in memory. It is mapped, not read, so that opening costs next to nothing. The file's
name is a digest of the roads file's content, the reader's version and the settings, so a
changed file or reader never meets an old cache; a damaged cache is thrown away. Nothing in
it is ever run. It lies in the user's cache folder (or where ``CAPTURE_CACHE`` points), never
beside the data, which may be read-only.
"""

from __future__ import annotations

import hashlib
import json
import mmap
import os
import sys
import tempfile
import time
import zlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

#: raise it whenever the reader or builder gives another answer for the same file
READER_VERSION: Final = 6
_MAGIC: Final = b"roadcols"
_ALIGN: Final = 64
_MOST_HEADING: Final = 10_000_000
_MOST_FILES: Final = 40
_SUFFIX: Final = ".cols"
_PART: Final = ".part-"
#: nobody writes a cache for so long
_BROKEN_OFF_S: Final = 86_400.0
_FOLDER_NAME: Final = "site-to-line"
Columns = dict[str, NDArray[Any]]


def cache_folder() -> Path:
    """Return the folder that caches lie in; it need not exist yet."""
    named = os.environ.get("CAPTURE_CACHE")
    if named:
        return Path(named)
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", tempfile.gettempdir())) / _FOLDER_NAME
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / _FOLDER_NAME
    named = os.environ.get("XDG_CACHE_HOME")
    return (Path(named) if named else Path.home() / ".cache") / _FOLDER_NAME


def hash_file(file: Path) -> str:
    """Return the SHA-256 of a file's content, remembered by its path, size and times.

    Parameters
    ----------
    file : Path
        Any file.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    known = recall_hash(file)
    if known is not None:
        return known
    memo = _memo(file)
    with file.open("rb") as opened:
        digest = hashlib.file_digest(opened, "sha256").hexdigest()
    _write_whole(memo, [digest.encode()])
    return digest


def recall_hash(file: Path) -> str | None:
    """Return what :func:`hash_file` gave for a file that has not changed since, else None."""
    try:
        known = _memo(file).read_text(encoding="ascii")
    except (OSError, UnicodeDecodeError):
        return None
    return known if len(known) == 64 and set(known) <= set("0123456789abcdef") else None


def _memo(file: Path) -> Path:
    state = file.stat()
    sign = (
        f"{file.resolve()}|{state.st_size}|{state.st_mtime_ns}|{state.st_ctime_ns}|{state.st_ino}"
    )
    return cache_folder() / "hashes" / hashlib.sha256(sign.encode()).hexdigest()[:32]


def cache_file(sha256: str, settings: Mapping[str, Any]) -> Path:
    """Return where a roads file's columns are kept, for given settings."""
    told = json.dumps([READER_VERSION, sha256, settings], sort_keys=True)
    return cache_folder() / (hashlib.sha256(told.encode()).hexdigest()[:40] + _SUFFIX)


def save_columns(file: Path, columns: Mapping[str, NDArray[Any]], heading: Any) -> bool:
    """Write arrays of plain numbers and a JSON heading; say whether it could be done.

    Parameters
    ----------
    file : Path
        Where.
    columns : mapping of str to ndarray
        One-dimensional, of numbers or booleans.
    heading : JSON values
        Whatever else belongs to it.
    """
    parts: list[Any] = []
    places: dict[str, tuple[str, int, int]] = {}
    at = checksum = 0
    for name, column in columns.items():
        raw = np.ascontiguousarray(column).view(np.uint8).data
        places[name] = (column.dtype.str, len(column), at)
        for part in (raw, bytes(-len(raw) % _ALIGN)):
            checksum = zlib.crc32(part, checksum)
            at += len(part)
            parts.append(part)
    told = json.dumps({"columns": places, "size": at, "crc": checksum, "heading": heading}).encode()
    told += b" " * (-(len(told) + 24) % _ALIGN)
    start = _MAGIC + len(told).to_bytes(8, "little") + zlib.crc32(told).to_bytes(8, "little")
    done = _write_whole(file, [start, told, *parts])
    if done:
        _prune(file.parent)
    return done


def load_columns(file: Path) -> tuple[Columns, Any] | None:
    """Map the arrays of a cache, None when there is none or it is damaged.

    Returns
    -------
    tuple of (dict of ndarray, heading) or None
        Arrays are private views of the file: changing one changes nothing on disk.
    """
    try:
        with file.open("rb") as opened:
            mapped = mmap.mmap(opened.fileno(), 0, access=mmap.ACCESS_COPY)
    except (OSError, ValueError):
        return None
    try:
        return _unpack(mapped)
    except (ValueError, KeyError, TypeError, AttributeError):
        _forget(file)
        return None


def _unpack(mapped: mmap.mmap) -> tuple[Columns, Any]:
    length = int.from_bytes(mapped[8:16], "little")
    if mapped[:8] != _MAGIC or length > _MOST_HEADING or 24 + length > len(mapped):
        raise ValueError("not a cache")
    told = mapped[24 : 24 + length]
    if zlib.crc32(told) != int.from_bytes(mapped[16:24], "little"):
        raise ValueError("heading damaged")
    table = json.loads(told)
    begin = 24 + length
    view = memoryview(mapped)[begin:]
    if len(view) != table["size"] or zlib.crc32(view) != table["crc"]:
        raise ValueError("columns damaged")
    columns = {}
    for name, (kind, count, at) in table["columns"].items():
        dtype = np.dtype(kind)
        if dtype.hasobject:
            raise ValueError("not plain numbers")
        columns[name] = np.frombuffer(mapped, dtype=dtype, count=count, offset=begin + at)
    return columns, table["heading"]


def _write_whole(file: Path, content: Sequence[Any]) -> bool:
    """Write a file so that nobody ever sees half of it; False when the folder is closed."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=file.parent, prefix=_PART)
        try:
            with os.fdopen(handle, "wb") as opened:
                opened.writelines(content)
            Path(name).replace(file)
        except BaseException:
            _forget(Path(name))
            raise
    except OSError:
        return False
    return True


def _forget(file: Path) -> None:
    try:
        file.unlink(missing_ok=True)
    except OSError:
        return


def _prune(folder: Path) -> None:
    """Keep only the newest caches; throw away what writers left that were broken off."""
    try:
        files = sorted(folder.glob(f"*{_SUFFIX}"), key=lambda f: f.stat().st_mtime, reverse=True)
        left = [part for part in folder.glob(f"{_PART}*") if _age_s(part) > _BROKEN_OFF_S]
    except OSError:
        return
    for old in (*files[_MOST_FILES:], *left):
        _forget(old)


def _age_s(file: Path) -> float:
    return time.time() - file.stat().st_mtime

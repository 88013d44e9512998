"""How do the files that a user gives, one or several or packed, become one file to read?

A shapefile comes in parts, given side by side or in a zip archive. What is kept is written
under names of ours, so that no name from outside becomes a path, and an archive is unpacked
in memory with its size counted as it comes, whatever it says of itself.
"""

from __future__ import annotations

import hashlib
import io
import lzma
import struct
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Final

from capture.basis import CaptureError, InputError, plain_text

MOST_BYTES: Final = 100_000_000
#: of what an archive holds, unpacked
MOST_UNPACKED: Final = 300_000_000
MOST_MEMBERS: Final = 200
#: parts that belong to a shapefile, its geometry apart
SHAPE_PARTS: Final = (".shx", ".dbf", ".prj", ".cpg")
_NEEDED_PARTS: Final = (".shx", ".dbf")
_CHUNK: Final = 1 << 20
#: what the reader of archives raises on one that is damaged or was made to harm
_BROKEN: Final = (
    zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error, ValueError, EOFError,
    OverflowError, RuntimeError, OSError,
)  # fmt: skip

#: name as the user calls it, content
Given = tuple[str, bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A file laid down to be read."""

    #: the file itself; parts of a shapefile lie beside it
    path: Path
    #: the user's own name of it
    called: str
    #: what was left aside, one sentence each
    remarks: tuple[str, ...]


def lay_files(
    folder: Path, given: Sequence[Given], *, endings: Sequence[str], what: str = "file"
) -> Laid:
    """Lay down the files that a user gave, so that they can be read as one.

    Parameters
    ----------
    folder : Path
        In which they are kept; made when first needed. The same content is kept once.
    given : sequence of (name, content)
        One file, a zip archive of one, or a shapefile's parts.
    endings : sequence of str
        Endings with a point that will do, such as ``".csv"``; ``".shp"`` brings its parts.
    what : str
        How such a file is called in messages.

    Returns
    -------
    Laid

    Raises
    ------
    InputError
        When there is none or more than one, one is too large, or an archive cannot be trusted.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     laid = lay_files(Path(folder), [("../My File.CSV", b"a,b")], endings=(".csv",))
    ...     laid.path.parent == Path(folder), laid.path.suffix, laid.called
    (True, '.csv', 'My File.CSV')
    """
    files = _open_archives(given, what)
    known = {ending.lower() for ending in endings}
    mains = [one for one in files if _ending(one[0]) in known]
    # beside a table of another kind a text is a word from the publisher
    mains = [one for one in mains if _ending(one[0]) != ".txt"] or mains
    if len(mains) != 1:
        raise InputError(_say_number(mains, files, sorted(known), what))
    name, content = mains[0]
    parts = _pick_parts(name, files) if _ending(name) == ".shp" else {}
    sizes = len(content) + sum(map(len, parts.values()))
    if sizes > MOST_UNPACKED or (len(given) == 1 and len(given[0][1]) > MOST_BYTES):
        raise InputError(
            f"{_tell(name)}: must be under {MOST_BYTES // 1_000_000} MB; cut out the place"
        )
    mark = hashlib.blake2b(content, digest_size=8)
    for part in parts.values():
        mark.update(part)
    path = folder / f"given-{mark.hexdigest()}{_ending(name)}"
    folder.mkdir(parents=True, exist_ok=True)
    for ending, held in {_ending(name): content, **parts}.items():
        path.with_suffix(ending).write_bytes(held)
    used = {id(content), *map(id, parts.values())}
    left = [_tell(other) for other, held in files if id(held) not in used]
    remarks = (f"{len(left)} other file(s) left aside: {', '.join(left[:8])}",) if left else ()
    return Laid(path=path, called=_tell(name), remarks=remarks)


def _ending(name: str) -> str:
    return PurePosixPath(name.replace("\\", "/")).suffix.lower()


def _stem(name: str) -> str:
    return PurePosixPath(name.replace("\\", "/")).stem.lower()


def _tell(name: str) -> str:
    return plain_text(PurePosixPath(name.replace("\\", "/")).name, most=120)


def _say_number(mains: list[Given], files: list[Given], known: list[str], what: str) -> str:
    if mains:
        listed = ", ".join(_tell(name) for name, _ in mains[:6])
        return f"{what}: give one at a time, got {len(mains)} ({listed}); take out the others"
    listed = ", ".join(_tell(name) for name, _ in files[:6]) or "nothing"
    return (
        f"{listed}: a {what} must end in one of {', '.join(known)}, or be a zip archive of one; "
        "save it as such"
    )


def _pick_parts(name: str, files: list[Given]) -> dict[str, bytes]:
    """Pick the parts of a shapefile by its name; the index and the table are needed."""
    parts = {
        _ending(other): content
        for other, content in files
        if _stem(other) == _stem(name) and _ending(other) in SHAPE_PARTS
    }
    lacking = [ending for ending in _NEEDED_PARTS if ending not in parts]
    if lacking:
        raise InputError(
            f"{_tell(name)}: a shapefile comes in parts, {' and '.join(lacking)} of the same name "
            "missing; give all of them at once or a zip archive"
        )
    return parts


def _open_archives(given: Sequence[Given], what: str) -> list[Given]:
    files: list[Given] = []
    for name, content in given:
        if _ending(name) == ".zip":
            files += _unpack(name, content)
        else:
            files.append((name, content))
    if not files:
        raise InputError(f"{what}: nothing was given; choose a file")
    return files


def _unpack(name: str, content: bytes) -> list[Given]:
    """Unpack an archive in memory, with its members and bytes counted."""
    told = _tell(name)
    if len(content) > MOST_BYTES:
        raise InputError(f"{told}: must be under {MOST_BYTES // 1_000_000} MB; cut out the place")
    found: list[Given] = []
    left = MOST_UNPACKED
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = [one for one in archive.infolist() if _is_wanted(one)]
            if len(members) > MOST_MEMBERS:
                raise InputError(
                    f"{told}: an archive must hold up to {MOST_MEMBERS} files, got {len(members)}; "
                    "pack only the one that is needed"
                )
            for member in members:
                if member.flag_bits & 1:
                    raise InputError(f"{told}: is locked by a password; give it unlocked")
                held = _read_bounded(archive, member, left, told)
                left -= len(held)
                found.append((member.filename, held))
    except CaptureError:
        raise
    except _BROKEN:
        raise InputError(f"{told}: is a broken zip archive; pack it again") from None
    if not found:
        raise InputError(f"{told}: the archive holds no file; pack it again")
    return found


def _is_wanted(member: zipfile.ZipInfo) -> bool:
    """Whether a member is a file of the user's and not a folder or a system's own mark."""
    parts = PurePosixPath(member.filename.replace("\\", "/")).parts
    hidden = any(part != ".." and part.startswith((".", "__MACOSX")) for part in parts)
    return not member.is_dir() and not hidden


def _read_bounded(archive: zipfile.ZipFile, member: zipfile.ZipInfo, most: int, told: str) -> bytes:
    held = bytearray()
    with archive.open(member) as opened:
        while chunk := opened.read(_CHUNK):
            held += chunk
            if len(held) > most:
                raise InputError(
                    f"{told}: unpacks to over {MOST_UNPACKED // 1_000_000} MB; cut out the place"
                )
    return bytes(held)

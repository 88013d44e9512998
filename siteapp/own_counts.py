"""How does a counts file of the user's own get into the area, with nothing of the area changed?

The area is copied beside the workspace and the copy names the file, so the original stays
as it was and the study may go back to it.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import re
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from capture.area import Area, Layer, open_area
from capture.basis import CaptureError, InputError, plain_text

MOST_BYTES: Final = 100_000_000
MOST_COPIES: Final = 10_000
#: endings of files of counts that can be given
ENDINGS: Final = ("csv", "txt", "tsv", "geojson", "json", "gpkg", "fgb")
#: files that belong to a shapefile
_BESIDE: Final = (".shx", ".dbf", ".prj", ".cpg")
_COLUMN_MEMORY: Final = "count_columns.json"


def keep_given(folder: Path, name: str, content: bytes) -> Path:
    """Keep a given file under a name of ours, so that it can be read.

    Parameters
    ----------
    folder : Path
        Where given files are kept.
    name : str
        As the user calls it; only its ending is used.
    content : bytes

    Raises
    ------
    InputError
        When it is too large or of an unknown kind.
    """
    ending = name.lower().rpartition(".")[2]
    if ending not in ENDINGS:
        raise InputError(
            f"{plain_text(name)}: counts must end in one of {', '.join(ENDINGS)}; save the table "
            "as CSV"
        )
    if len(content) > MOST_BYTES:
        raise InputError(f"{plain_text(name)}: must be under 100 MB; cut out the place")
    mark = hashlib.blake2b(content, digest_size=8).hexdigest()
    path = folder / f"counts-{mark}.{ending}"
    folder.mkdir(parents=True, exist_ok=True)
    if not path.exists():
        path.write_bytes(content)
    return path


def add_counts(
    area: Area,
    folder: Path,
    file: Path,
    *,
    called: str,
    beside: bool,
    answers: Mapping[str, str],
    signature: str,
) -> Path:
    """Copy an area and give the copy a file of counts.

    Parameters
    ----------
    area : Area
        Stays as it is.
    folder : Path
        In which areas are kept; a new folder is made in it.
    file : Path
        Counts, read and found usable.
    called : str
        The user's name of the file.
    beside : bool
        Whether the area's own counts stay in use as well.
    answers : mapping of str to str
        Role -> heading, as settled with the user.
    signature : str
        Name under which answers about such a file are remembered.

    Returns
    -------
    Path
        The copy.

    Raises
    ------
    CaptureError
        When the copy does not open; nothing is kept then.
    """
    target = _find_free(folder, area.name)
    target.mkdir(parents=True)
    try:
        layers = {
            kind: _copy_layer(area, layer, target, kind) for kind, layer in area.layers.items()
        }
        placed = _name_placed(called, file.suffix, target)
        shutil.copyfile(file, target / placed)
        layers["counts"] = _join(layers.get("counts"), placed, called, beside=beside)
        _copy_memory(area, target, answers, signature)
        (target / "area.toml").write_text(_write(area, layers), encoding="utf-8")
        open_area(target)
    except (CaptureError, OSError) as error:
        shutil.rmtree(target)
        if isinstance(error, OSError):
            raise InputError(
                f"{folder}: the area cannot be copied there ({error.strerror}); make room"
            ) from None
        raise
    return target


def _name_placed(called: str, ending: str, target: Path) -> str:
    """Name the file in the copy after the user's own name of it, in plain letters."""
    stem = re.sub(r"[^a-z0-9]+", "-", called.lower().rpartition(".")[0]).strip("-")[:40]
    placed, number = f"own-{stem or 'counts'}{ending}", 1
    while (target / placed).exists():
        number += 1
        placed = f"own-{stem or 'counts'}-{number}{ending}"
    return placed


def _join(have: dict[str, Any] | None, placed: str, called: str, *, beside: bool) -> dict[str, Any]:
    source = f"given by you: {plain_text(called, most=120)}"
    if have is None or not beside or "path" not in have:
        return {"path": placed, "source": source, "invented": False}
    more = have.get("short_counts", [])
    listed = [more] if isinstance(more, str) else list(more)
    told = "; ".join(filter(None, [str(have.get("note", "")), f"with {source}"]))
    return {**have, "short_counts": [*listed, placed], "note": plain_text(told, most=900)}


def _copy_layer(area: Area, layer: Layer, target: Path, kind: str) -> dict[str, Any]:
    table: dict[str, Any] = dict(layer.options)
    table |= {"source": layer.source, "licence": layer.licence, "note": layer.note}
    table["invented"] = layer.invented
    if layer.path is None:
        table["path"] = "download"
        return table
    table["path"] = _copy_file(layer.path, target, kind)
    more = table.get("short_counts")
    if more is not None:
        listed = [more] if isinstance(more, str) else list(more)
        root = area.folder.resolve()
        for name in listed:
            if not (root / name).resolve().is_relative_to(root):
                raise InputError(
                    f"area.toml: short_counts {plain_text(name)} must lie in the area's folder; "
                    "move it there"
                )
        table["short_counts"] = [
            _copy_file(root / name, target, f"{kind}-{n + 1}") for n, name in enumerate(listed)
        ]
    return table


def _copy_file(path: Path, target: Path, stem: str) -> str:
    """Copy a file under a plain name that still tells its kind; a shapefile with its parts."""
    ending = re.sub(r"[^a-z0-9.]", "", "".join(path.suffixes[-2:]).lower())
    name = f"{stem}{ending}"
    shutil.copyfile(path, target / name)
    if path.suffix.lower() == ".shp":
        for part in _BESIDE:
            if path.with_suffix(part).exists():
                shutil.copyfile(path.with_suffix(part), (target / name).with_suffix(part))
    return name


def _copy_memory(area: Area, target: Path, answers: Mapping[str, str], signature: str) -> None:
    from capture.passing import ColumnMemory

    old = area.folder / _COLUMN_MEMORY
    if old.is_file():
        shutil.copyfile(old, target / _COLUMN_MEMORY)
    if answers:
        ColumnMemory(target / _COLUMN_MEMORY).remember(signature, answers)


def _write(area: Area, layers: Mapping[str, Mapping[str, Any]]) -> str:
    head = {
        "name": area.name,
        "invented": area.invented,
        "driving_side": area.driving_side,
        "units": area.units,
        "time_zone": area.time_zone,
        "note": area.note,
        **({} if area.study_year is None else {"study_year": area.study_year}),
    }
    lines = [f"{name} = {_say(value)}" for name, value in head.items()]
    for kind, table in layers.items():
        lines += ["", f"[layers.{kind}]"]
        lines += [f"{_quote(name)} = {_say(value)}" for name, value in table.items()]
    return "\n".join(lines) + "\n"


def _quote(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _say(value: Any) -> str:
    """Write a value as TOML, tables in line."""
    if isinstance(value, str):
        return _quote(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, datetime.date | datetime.datetime | datetime.time):
        return value.isoformat()
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_quote(str(name))} = {_say(one)}" for name, one in value.items())
        return f"{{ {inside} }}"
    return f"[{', '.join(_say(one) for one in value)}]"


def _find_free(folder: Path, called: str) -> Path:
    short = re.sub(r"[^a-z0-9]+", "-", called.lower()).strip("-")[:40] or "area"
    for number in range(1, MOST_COPIES):
        target = folder / f"{short}-counts-{number}"
        if not target.exists():
            return target
    raise InputError(f"{called}: there are too many copies of this area; remove some")

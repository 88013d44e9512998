"""How is an area changed with nothing of it lost? It is copied, and the copy is changed.

Copies are kept beside the workspace. The area itself stays as it was, so that a study may go
back to it with Undo. Files keep their own names in the copy, in plain letters, so that what
was said of them still holds.
"""

from __future__ import annotations

import datetime
import json
import re
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

from capture.area import Area, Layer, open_area
from capture.area.unpack import SHAPE_PARTS
from capture.basis import InputError, plain_text
from capture.place.download import ROADS_FILE, SHAPES_FILE

MOST_COPIES: Final = 10_000
#: files of an area's folder that are remembered things and not layers
_KEPT_BESIDE: Final = ("count_columns.json", ROADS_FILE, SHAPES_FILE)
#: options of a layer that name further files of the folder
_FILE_OPTIONS: Final = ("short_counts", "table")

#: layer kind -> fields as area.toml has them
Layers = dict[str, dict[str, Any]]


def copy_area(area: Area, folder: Path, edit: Callable[[Path, Layers], Layers]) -> Path:
    """Copy an area with its layers edited, and check that the copy opens.

    Parameters
    ----------
    area : Area
        Stays as it is.
    folder : Path
        In which areas are kept; a new folder is made in it.
    edit : callable
        Gets the new folder and the layers of the copy, may write files into the former, and
        returns the layers that the copy is to have.

    Returns
    -------
    Path
        The copy.

    Raises
    ------
    CaptureError
        When the copy cannot be made or does not open; nothing is kept then.
    """
    from capture.place import check_parcels

    target = make_free(folder, area.name)
    try:
        layers = edit(target, {k: _copy_layer(area, at, target) for k, at in area.layers.items()})
        for name in _KEPT_BESIDE:
            if (area.folder / name).is_file() and not (target / name).exists():
                shutil.copyfile(area.folder / name, target / name)
        (target / "area.toml").write_text(_write(area, layers), encoding="utf-8")
        opened = open_area(target)
        for kind in layers:
            if kind not in ("roads", "counts", "hourly_counts", "terrain"):
                opened.read(kind)
        check_parcels(opened)
    except BaseException as error:
        shutil.rmtree(target)
        if isinstance(error, OSError):
            raise InputError(
                f"{folder}: the area cannot be copied there ({error.strerror}); make room"
            ) from None
        raise
    return target


def make_free(folder: Path, called: str) -> Path:
    """Make a new area's folder, named after what people call the place; never another's.

    Raises
    ------
    InputError
        When there are thousands of that name.
    """
    short = re.sub(r"[^a-z0-9]+", "-", called.lower()).strip("-")[:40] or "area"
    for number in range(1, MOST_COPIES):
        target = folder / (short if number == 1 else f"{short}-{number}")
        try:
            target.mkdir(parents=True)
        except FileExistsError:
            continue
        except OSError as error:
            raise InputError(
                f"{folder}: no area can be kept there ({error.strerror}); make room"
            ) from None
        return target
    raise InputError(f"{called}: there are too many areas of this name; choose another")


def place_file(file: Path, target: Path, called: str) -> str:
    """Copy a file into an area under its user's name of it; a shapefile with its parts.

    Returns
    -------
    str
        Its name in the area, in plain letters and unlike any other there.
    """
    stem = re.sub(r"[^A-Za-z0-9_]+", "-", Path(called).stem).strip("-")[:60] or "file"
    ending = re.sub(r"[^a-z0-9.]", "", file.suffix.lower())
    if file.name.lower().endswith((".osm.pbf", ".osm.gz", ".osm.bz2")):
        ending, stem = "".join(file.suffixes[-2:]).lower(), stem.removesuffix("-osm")
    name, number = f"{stem}{ending}", 1
    while (target / name).exists():
        number += 1
        name = f"{stem}-{number}{ending}"
    shutil.copyfile(file, target / name)
    if ending == ".shp":
        for part in SHAPE_PARTS:
            for beside in (file.with_suffix(part), file.with_suffix(part.upper())):
                if beside.exists():
                    shutil.copyfile(beside, (target / name).with_suffix(part))
    return name


def _copy_layer(area: Area, layer: Layer, target: Path) -> dict[str, Any]:
    table: dict[str, Any] = dict(layer.options)
    table |= {"source": layer.source, "licence": layer.licence, "note": layer.note}
    table["invented"] = layer.invented
    if layer.path is None:
        table["path"] = "download"
        return table
    renamed = {_name_inside(area, layer.path): place_file(layer.path, target, layer.path.name)}
    table["path"] = next(iter(renamed.values()))
    for option in _FILE_OPTIONS:
        more = table.get(option)
        if more is None:
            continue
        listed = [more] if isinstance(more, str) else list(more)
        placed = [_place_beside(area, name, target) for name in listed]
        renamed |= dict(zip(listed, placed, strict=True))
        table[option] = placed[0] if isinstance(more, str) else placed
    files = table.get("files")
    if isinstance(files, Mapping):
        table["files"] = {renamed.get(name, name): held for name, held in files.items()}
    return table


def _place_beside(area: Area, name: Any, target: Path) -> str:
    root = area.folder.resolve()
    path = (root / str(name)).resolve()
    if not path.is_relative_to(root):
        raise InputError(
            f"area.toml: {plain_text(name, most=80)} must lie in the area's folder; move it there"
        )
    return place_file(path, target, path.name)


def _name_inside(area: Area, path: Path) -> str:
    try:
        return path.resolve().relative_to(area.folder.resolve()).as_posix()
    except ValueError:
        return path.name


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
    return write_toml(head, layers)


def write_toml(head: Mapping[str, Any], layers: Mapping[str, Mapping[str, Any]]) -> str:
    """Write an area's file.

    Examples
    --------
    >>> print(write_toml({"name": "Town"}, {"roads": {"path": "a.osm"}}))
    name = "Town"
    <BLANKLINE>
    [layers.roads]
    "path" = "a.osm"
    <BLANKLINE>
    """
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

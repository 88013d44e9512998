"""How does someone make an area of their own from the files they have, without a text editor?

Roads come from a file or are fetched by the name of a place or a box; what else is known is
added step by step. Files given on the screen are kept beside the workspace with an
``area.toml`` that names them. The file names of the outside are not used as paths; the
library checks what is in the files.
"""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from capture.area import LAYER_KINDS, Area, lay_files, open_area
from capture.basis import InputError, plain_text
from siteapp.own_copy import Layers, copy_area, make_free, place_file, write_toml

MOST_BYTES: Final = 100_000_000
#: layers that are given on the screen besides roads and counts, in the order of use
ASKED: Final = ("rivals", "parcels", "people", "known_sites", "weather")
ROADS_ENDINGS: Final = (".osm.pbf", ".osm.gz", ".osm.bz2", ".osm", ".pbf", ".graphml")
TABLE_ENDINGS: Final = (".csv", ".txt", ".tsv", ".geojson", ".json", ".gpkg", ".fgb", ".shp")
#: all that the file box of a table takes
TABLE_TAKEN: Final = (*(ending[1:] for ending in TABLE_ENDINGS), "shx", "dbf", "prj", "cpg", "zip")
ROADS_CREDIT: Final = "OpenStreetMap contributors, fetched on {day}"
ROADS_LICENCE: Final = "Open Database Licence (ODbL) 1.0"

#: name as the user calls it, content
Given = tuple[str, bytes]
#: told in a few words what is being done; what it raises ends it
Say = Callable[[str], None]


def find_ending(name: str) -> str:
    """Return the known ending of a roads file's name.

    Raises
    ------
    InputError
        When it has none of the known ones.

    Examples
    --------
    >>> find_ending("My Town.OSM.PBF")
    '.osm.pbf'
    """
    low = name.lower()
    for ending in ROADS_ENDINGS:
        if low.endswith(ending):
            return ending
    raise InputError(
        f"{plain_text(name)}: a roads file must end in one of {', '.join(ROADS_ENDINGS)}; choose "
        "another"
    )


def keep_quiet(_: str) -> None:
    """Say nothing; the usual listener."""


def write_area(
    folder: Path,
    *,
    name: str,
    roads: Given | Mapping[str, Any],
    layers: Mapping[str, Sequence[Given]] | None = None,
    driving_side: str = "right",
    units: str = "us",
    say: Say = keep_quiet,
) -> Path:
    """Write an area of the user's own and check that its roads can be read.

    Parameters
    ----------
    folder : Path
        In which areas are kept; a new folder is made in it.
    name : str
        What people call the place.
    roads : tuple of (file name, content), or mapping
        A file, or what to fetch: ``place`` or ``bbox``, and ``server`` and ``geocoder`` where
        they are not the usual ones.
    layers : mapping of layer kind to files, optional
        Each one file, a zip archive of one, or a shapefile's parts.
    driving_side : {"right", "left"}
    units : {"us", "metric"}
    say : callable
        Told what is being done; what it raises ends it, and nothing is kept then.

    Returns
    -------
    Path
        The area's folder.

    Raises
    ------
    CaptureError
        When a file is too large, of an unknown kind or not readable, or roads cannot be
        fetched; nothing is kept then.
    """
    called = plain_text(name, most=80) or "my area"
    target = make_free(folder, called)
    try:
        say("taking the files")
        tables: Layers = {"roads": _take_roads(target, roads, say)}
        for kind, given in (layers or {}).items():
            tables[kind] = _take_layer(target, kind, given)
        head = {"name": called, "driving_side": driving_side, "units": units}
        (target / "area.toml").write_text(write_toml(head, tables), encoding="utf-8")
        _read_all(open_area(target), tables, say)
    except BaseException:
        shutil.rmtree(target)
        raise
    return target


def _read_all(area: Area, tables: Layers, say: Say) -> None:
    from capture.place import check_parcels, open_place

    for kind in tables:
        if kind != "roads":
            area.read(kind)
    check_parcels(area)
    say("reading the roads; a large file takes minutes")
    open_place(area)
    say("done")


def _take_roads(target: Path, roads: Given | Mapping[str, Any], say: Say) -> dict[str, Any]:
    if isinstance(roads, Mapping):
        return _fetch(target, roads, say)
    given, content = roads
    if len(content) > MOST_BYTES:
        raise InputError(f"{plain_text(given)}: must be under 100 MB; cut out the place")
    file = f"roads{find_ending(given)}"
    (target / file).write_bytes(content)
    return {"path": file, "source": f"given by you: {plain_text(given, most=120)}"}


def _fetch(target: Path, wanted: Mapping[str, Any], say: Say) -> dict[str, Any]:
    """Fetch roads and keep them in the area's own folder."""
    from capture.place.download import ROADS_FILE, SHAPES_FILE, fetch_roads

    roads, shapes = fetch_roads(wanted, say=say)
    shutil.copyfile(roads, target / ROADS_FILE)
    shutil.copyfile(shapes, target / SHAPES_FILE)
    day = datetime.datetime.now(tz=datetime.UTC).date().isoformat()
    return {
        "path": "download", **wanted, "source": ROADS_CREDIT.format(day=day),
        "licence": ROADS_LICENCE,
    }  # fmt: skip


def _take_layer(target: Path, kind: str, given: Sequence[Given]) -> dict[str, Any]:
    if kind not in LAYER_KINDS or kind == "roads":
        raise InputError(f"{plain_text(kind)}: there is no such layer; see the list")
    spare = target / "given"
    laid = lay_files(spare, given, endings=TABLE_ENDINGS, what=f"file of {LAYER_KINDS[kind][0]}")
    try:
        file = place_file(laid.path, target, f"{kind}{laid.path.suffix}")
    finally:
        shutil.rmtree(spare)
    note = {"note": "; ".join(laid.remarks)} if laid.remarks else {}
    return {"path": file, "source": f"given by you: {laid.called}", "invented": False, **note}


def add_layers(area: Area, folder: Path, layers: Mapping[str, Sequence[Given]]) -> Path:
    """Copy an area and give the copy further layers, in place of those of the same kind.

    Parameters
    ----------
    area : Area
        Stays as it is.
    folder : Path
        In which areas are kept.
    layers : mapping of layer kind to files

    Returns
    -------
    Path
        The copy.

    Raises
    ------
    CaptureError
        When a file will not do; nothing is kept then.
    """
    if not layers:
        raise InputError("further files: none was given; choose at least one")

    def edit(target: Path, have: Layers) -> Layers:
        return {**have, **{kind: _take_layer(target, kind, one) for kind, one in layers.items()}}

    return copy_area(area, folder, edit)


def is_own(area: Area, folder: Path) -> bool:
    """Whether an area lies among those made on the screen."""
    try:
        return area.folder.resolve().is_relative_to(folder.resolve())
    except OSError:
        return False


def leave_rows_out(area: Area, folder: Path) -> Path:
    """Copy an area and say in the copy that faulty rows of its parcels are to be left out.

    Raises
    ------
    CaptureError
        When the copy cannot be made; nothing is kept then.
    """
    from capture.place.parcels import BAD_ROWS, LEAVE_OUT

    def edit(_: Path, have: Layers) -> Layers:
        return {**have, "parcels": {**have["parcels"], BAD_ROWS: LEAVE_OUT}}

    return copy_area(area, folder, edit)

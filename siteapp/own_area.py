"""How does someone make an area of their own from the files they have, without a text editor?

Files given on the screen are kept beside the workspace with an ``area.toml`` that names
them. The file names of the outside are not used; the library checks what is in the files.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from capture.area import LAYER_KINDS, open_area
from capture.basis import CaptureError, InputError, plain_text

MOST_BYTES: Final = 100_000_000
#: layers asked for on the screen, in the order of use
ASKED: Final = ("counts", "rivals", "parcels", "people", "known_sites", "weather")
ENDINGS: Final = (".osm.pbf", ".osm.gz", ".osm.bz2", ".osm", ".pbf", ".graphml", ".geojson",
                  ".json", ".gpkg", ".csv", ".zip")  # fmt: skip


def find_ending(name: str) -> str:
    """Return the known ending of a file's name.

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
    for ending in ENDINGS:
        if low.endswith(ending):
            return ending
    raise InputError(
        f"{plain_text(name)}: the file must end in one of {', '.join(ENDINGS)}; choose another"
    )


def write_area(
    folder: Path,
    *,
    name: str,
    roads: tuple[str, bytes],
    layers: Mapping[str, tuple[str, bytes]],
    driving_side: str = "right",
    units: str = "us",
) -> Path:
    """Write an area of the user's own and check that it opens.

    Parameters
    ----------
    folder : Path
        In which areas are kept; a new folder is made in it.
    name : str
        What people call the place.
    roads : tuple of (file name, content)
    layers : mapping of layer kind to (file name, content)
    driving_side : {"right", "left"}
    units : {"us", "metric"}

    Returns
    -------
    Path
        The area's folder.

    Raises
    ------
    CaptureError
        When a file is too large, of an unknown kind or not readable; nothing is kept then.
    """
    called = plain_text(name, most=80) or "my area"
    target = _find_free(folder, called)
    target.mkdir(parents=True)
    try:
        lines = [
            f"name = {json.dumps(called)}",
            f"driving_side = {json.dumps(driving_side)}",
            f"units = {json.dumps(units)}",
        ]
        for kind, (given, content) in {"roads": roads, **layers}.items():
            if kind not in LAYER_KINDS:
                raise InputError(f"{kind}: there is no such layer; see the list")
            if len(content) > MOST_BYTES:
                raise InputError(f"{plain_text(given)}: must be under 100 MB; cut out the place")
            file = f"{kind}{find_ending(given)}"
            (target / file).write_bytes(content)
            source = json.dumps(f"given by you: {plain_text(given, most=120)}")
            lines += ["", f"[layers.{kind}]", f"path = {json.dumps(file)}", f"source = {source}"]
        (target / "area.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
        area = open_area(target)
        for kind in layers:
            area.read(kind)
    except CaptureError:
        shutil.rmtree(target)
        raise
    return target


def _find_free(folder: Path, called: str) -> Path:
    short = re.sub(r"[^a-z0-9]+", "-", called.lower()).strip("-")[:40] or "area"
    for number in range(1, 10_000):
        target = folder / (short if number == 1 else f"{short}-{number}")
        if not target.exists():
            return target
    raise InputError(f"{called}: there are too many areas of this name; choose another")

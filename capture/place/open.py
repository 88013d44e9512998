"""How does a roads file become a place: checked, read once, kept for the next time?"""

from __future__ import annotations

import gc
from pathlib import Path
from typing import TYPE_CHECKING, Any

from capture.basis import CaptureError, DataError, Sheet, plain_text
from capture.place.build import build_network
from capture.place.cache import cache_file, hash_file, load_columns, recall_hash, save_columns
from capture.place.checks import MOST_BYTES, check_roads_file
from capture.place.place import Place
from capture.place.raw import Raw
from capture.place.section import cut_to_box
from capture.place.shapes import lay_buildings, lay_features, lay_screens
from capture.place.values import VALUES

if TYPE_CHECKING:
    from capture.area import Area


def open_place(
    area: Area,
    *,
    bbox: tuple[float, float, float, float] | None = None,
    values: Sheet = VALUES,
    use_cache: bool = True,
    max_bytes: int = MOST_BYTES,
) -> Place:
    """Read an area's roads, buildings and features; the second time from a cache.

    Parameters
    ----------
    area : Area
        From :func:`capture.area.open_area`.
    bbox : tuple of float, optional
        South, west, north, east in degrees: only what touches it is kept.
    values : Sheet
        Class speeds, heights, reaches.
    use_cache : bool
        Whether to keep and use what was read.
    max_bytes : int
        Larger roads files are refused.

    Returns
    -------
    Place

    Raises
    ------
    DataError
        When the file is missing, broken, too large, of another kind, or holds no drivable road.
    InputError
        When the bbox is none, or a download is not said well.

    Examples
    --------
    >>> from capture.area import open_area
    >>> open_place(open_area("nowhere.osm"))
    Traceback (most recent call last):
    ...
    capture.basis.errors.DataError: nowhere.osm: there is no such file or folder; check the path
    """
    layer = area.layers["roads"]
    files = _find_files(area)
    box = _check_box(bbox if bbox is not None else layer.options.get("bbox"), layer.path)
    source = layer.source or f"roads file {files[0].name}"
    settings = {
        "side": area.driving_side,
        "bbox": box,
        "values": {name: entry.value for name, entry in values.items()},
    }
    if use_cache and (known := _reopen(files[0], settings, source, max_bytes)) is not None:
        return known
    form = check_roads_file(files[0], max_bytes=max_bytes)
    sha256 = hash_file(files[0])
    kept = cache_file(sha256, settings)
    if use_cache and (known := _open_kept(kept, source)) is not None:
        return known
    place = _build(area, _read(files, form), files[0].name, source, sha256, box, values)
    if use_cache:
        from capture.place.store import pack_place

        save_columns(kept, *pack_place(place))
    return place


def _find_files(area: Area) -> list[Path]:
    layer = area.layers["roads"]
    if layer.path is not None:
        return [layer.path]
    from capture.place.download import fetch_roads

    return list(fetch_roads(layer.options, folder=area.folder))


def _check_box(box: Any, path: Path | None) -> tuple[float, float, float, float] | None:
    if box is None or path is None:
        return None
    from capture.place.download import check_bbox

    return check_bbox(box)


def _reopen(file: Path, settings: dict[str, Any], source: str, max_bytes: int) -> Place | None:
    """Open what was read from a file that has not changed since, without looking through it."""
    sha256 = recall_hash(file)
    if sha256 is None or file.stat().st_size > max_bytes:
        return None
    return _open_kept(cache_file(sha256, settings), source)


def _open_kept(file: Path, source: str) -> Place | None:
    from capture.place.store import unpack_place

    found = load_columns(file)
    if found is None:
        return None
    # many small things are made and none thrown away: looking for waste would only cost time
    collecting = gc.isenabled()
    gc.disable()
    try:
        return unpack_place(*found, source=source)
    except (CaptureError, ValueError, KeyError, TypeError):
        return None
    finally:
        if collecting:
            gc.enable()


def _read(files: list[Path], form: str) -> Raw:
    """Hand a checked file to its reader; a broken one gets one sentence."""
    file = files[0]
    if len(files) > 1:
        from capture.place.download import read_download

        return read_download(*files)
    if form == "graphml":
        from capture.place.read_graphml import read_graphml

        return read_graphml(file)
    from osmium import InvalidLocationError

    from capture.place.read_osm import read_osm

    try:
        return read_osm(file, form)
    except CaptureError:
        raise
    except (RuntimeError, ValueError, OSError, KeyError, InvalidLocationError) as error:
        said = plain_text(str(error).splitlines()[0] if str(error) else "no reason given", most=120)
        raise DataError(
            f"{file.name}: the roads cannot be read to the end ({said}); fetch the extract again"
        ) from None


def _build(
    area: Area, raw: Raw, name: str, source: str, sha256: str,
    box: tuple[float, float, float, float] | None, values: Sheet,
) -> Place:  # fmt: skip
    if box is not None:
        raw = cut_to_box(raw, box)
    network, notes = build_network(raw, driving_side=area.driving_side, values=values, name=name)
    plane = network.projection
    return Place(
        network=network,
        buildings=lay_buildings(raw.buildings, plane, values),
        screens=lay_screens(raw.screens, plane, values),
        features=lay_features(raw.features, plane),
        source=source,
        sha256=sha256,
        extent=(
            float(raw.ref_lat.min()),
            float(raw.ref_lon.min()),
            float(raw.ref_lat.max()),
            float(raw.ref_lon.max()),
        ),
        notes=tuple(notes),
    )

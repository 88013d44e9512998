"""How does a counts file of the user's own get into the area, with nothing of the area changed?

The area is copied beside the workspace and the copy names the file, with what was said of its
columns, of where its stations stand and of whom it is from. The original stays as it was and
the study may go back to it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from capture.area import Area, Laid, lay_files
from capture.basis import plain_text
from siteapp.own_copy import Layers, copy_area, place_file

#: endings of files of counts that can be given, the parts of a shapefile and archives apart
ENDINGS: Final = (".csv", ".txt", ".tsv", ".geojson", ".json", ".gpkg", ".fgb", ".shp")
#: all that the file box takes
TAKEN: Final = (*(ending[1:] for ending in ENDINGS), "shx", "dbf", "prj", "cpg", "zip")


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What is said of a counts file beside what it says itself."""

    #: the user's name of it
    called: str
    #: whom it is from, in words
    source: str
    #: licence it comes under, in words
    licence: str = ""
    #: role -> heading, as settled with the user
    columns: Mapping[str, str] = field(default_factory=dict)
    #: station -> lat and lon in degrees, where the file does not say
    places: Mapping[str, Mapping[str, float]] = field(default_factory=dict)

    def to_table(self) -> dict[str, Any]:
        """Return the table of the file in ``area.toml``."""
        table: dict[str, Any] = {"source": plain_text(self.source, most=300)}
        if self.licence:
            table["licence"] = plain_text(self.licence, most=300)
        if self.columns:
            table["columns"] = dict(self.columns)
        if self.places:
            table["places"] = {name: dict(spot) for name, spot in self.places.items()}
        return table


def keep_given(folder: Path, given: Sequence[tuple[str, bytes]]) -> Laid:
    """Keep given files of counts under names of ours, so that they can be read.

    Parameters
    ----------
    folder : Path
        Where given files are kept.
    given : sequence of (name, content)
        As the user calls them: one file, a zip archive, or a shapefile's parts.

    Raises
    ------
    InputError
        When there is not just one, it is too large or of an unknown kind.
    """
    return lay_files(folder, given, endings=ENDINGS, what="file of counts")


def add_counts(
    area: Area,
    folder: Path,
    file: Path,
    told: Told,
    *,
    beside: bool,
    settled: Mapping[str, Mapping[str, str]] | None = None,
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
    told : Told
        What is said of it.
    beside : bool
        Whether the area's own counts stay in use as well.
    settled : mapping, optional
        File of the area -> role -> heading, as corrected in the study; the copy keeps it.

    Returns
    -------
    Path
        The copy.

    Raises
    ------
    CaptureError
        When the copy does not open; nothing is kept then.
    """

    def edit(target: Path, layers: Layers) -> Layers:
        placed = place_file(file, target, f"own-{told.called.lower()}")
        return {**layers, "counts": _join(layers.get("counts"), placed, told, beside=beside)}

    return copy_area(_settle(area, settled or {}), folder, edit)


def _settle(area: Area, settled: Mapping[str, Mapping[str, str]]) -> Area:
    """Return the area with what a study said of its columns in the tables of the files."""
    from capture.passing.layers import list_count_files

    layers = dict(area.layers)
    for source in list_count_files(area) if settled else ():
        said = settled.get(source.name)
        if not said:
            continue
        layer = layers[source.kind]
        files = dict(layer.options.get("files", {}))
        files[source.name] = {**files.get(source.name, {}), "columns": {**source.columns, **said}}
        layers[source.kind] = replace(layer, options={**layer.options, "files": files})
    return replace(area, layers=layers)


def _join(have: dict[str, Any] | None, placed: str, told: Told, *, beside: bool) -> dict[str, Any]:
    own = {placed: told.to_table()}
    if have is None or not beside or "path" not in have:
        return {
            "path": placed, "source": plain_text(told.source, most=300), "licence": told.licence,
            "invented": False, "files": own,
        }  # fmt: skip
    more = have.get("short_counts", [])
    listed = [more] if isinstance(more, str) else list(more)
    licence = f", {told.licence}" if told.licence else ""
    said = "; ".join(filter(None, [str(have.get("note", "")), f"with {told.source}{licence}"]))
    return {
        **have, "short_counts": [*listed, placed], "note": plain_text(said, most=900),
        "files": {**have.get("files", {}), **own},
    }  # fmt: skip

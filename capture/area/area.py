"""What is known about a place: which files, how good, from whom, under which licence?

An area is a folder with an ``area.toml`` that names its layers, or a bare roads file. Any
layer but the roads may be absent; rooms further on then estimate and say so. Files are
opened only when a room asks for them. Assumes that input coordinates are EPSG:4326 or that
the file says otherwise.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, Literal
from zoneinfo import ZoneInfo, available_timezones

from capture.area.inside import is_allowed, list_allowed
from capture.area.tables import load_table
from capture.basis import DataError, InputError, UnitSystem, plain_text, raise_gathered

if TYPE_CHECKING:
    import geopandas
    import pandas as pd

DrivingSide = Literal["right", "left"]

#: layer kind -> what it holds and what happens without it
LAYER_KINDS: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        "roads": ("roads and buildings", "nothing can be done without roads"),
        "counts": ("traffic counts", "vehicles a day are estimated from road class and place"),
        "hourly_counts": ("hourly traffic counts", "default hour and month shapes are used"),
        "rivals": ("other car washes", "only those in the roads file are known"),
        "parcels": ("parcels", "sites are points, not polygons"),
        "people": ("people and households by zone", "the people factor takes its reference"),
        "weather": ("daily weather", "a plain year without wet days is used"),
        "known_sites": ("washes with known yearly cars", "the starter sheet is used unfitted"),
        "terrain": ("heights of the ground", "the ground is taken as flat"),
        "attractions": ("places that draw trips", "those in the roads file are used"),
    }
)
_COUNT_OPTIONS: Final = (
    "columns", "crs", "files", "lat", "lon", "month", "places", "road", "short_counts", "station",
)  # fmt: skip
#: layer kind -> settings besides those that every layer has; what is not named has none
LAYER_OPTIONS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "roads": ("bbox", "geocoder", "notes", "place", "server"),
        "counts": _COUNT_OPTIONS,
        "hourly_counts": _COUNT_OPTIONS,
        "parcels": ("bad_rows",),
        "people": ("key", "table", "table_key"),
        "weather": ("rain_unit", "snow_unit", "temperature_unit"),
        "known_sites": ("true_model",),
    }
)
#: file endings that are taken for a roads file
ROADS_ENDINGS: Final = (".osm.pbf", ".pbf", ".osm", ".osm.gz", ".osm.bz2", ".graphml", ".xml")
AREA_FILE: Final = "area.toml"
DOWNLOAD: Final = "download"
MOST_TOML_BYTES: Final = 200_000
_LAYER_FIELDS: Final = frozenset({"path", "source", "licence", "invented", "note"})
_AREA_FIELDS: Final = frozenset(
    {
        "name",
        "invented",
        "driving_side",
        "units",
        "time_zone",
        "study_year",
        "note",
        "layers",
        "roads",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One source of knowledge about an area.

    Examples
    --------
    >>> Layer(kind="counts", path=Path("counts.csv"), source="city", licence="CC BY 4.0").invented
    False
    """

    #: a key of ``LAYER_KINDS``
    kind: str
    #: the file, None for what is downloaded
    path: Path | None
    #: further settings of the layer, as written in ``area.toml``
    options: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    #: who made it, in words
    source: str = ""
    #: licence it comes under, in words
    licence: str = ""
    #: whether the data are made up
    invented: bool = False
    #: anything a reader should know
    note: str = ""

    def __post_init__(self) -> None:
        if self.kind not in LAYER_KINDS:
            raise InputError(
                f"layer kind must be one of {', '.join(LAYER_KINDS)}, got {self.kind!r}; rename it"
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Area:
    """What is known about one place; made by :func:`open_area`."""

    #: what people call it
    name: str
    #: folder that relative paths start from
    folder: Path
    #: the roads file, or ``Path("download")`` when it is to be fetched
    roads: Path
    #: whether the area is made up
    invented: bool = False
    #: side of the road that people drive on
    driving_side: DrivingSide = "right"
    #: units that people read
    units: UnitSystem = "us"
    #: IANA name of the time zone
    time_zone: str = "America/New_York"
    #: year that studies look at; None is the year in which they are made
    study_year: int | None = None
    #: layers by kind; always holds "roads"
    layers: Mapping[str, Layer]
    #: anything a reader should know
    note: str = ""
    _tables: dict[str, Any] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        if self.driving_side not in ("right", "left"):
            raise InputError(
                f"{self.name}: driving_side must be 'right' or 'left', "
                f"got {self.driving_side!r}; change it"
            )
        if self.units not in ("us", "metric"):
            raise InputError(
                f"{self.name}: units must be 'us' or 'metric', got {self.units!r}; change it"
            )
        year = self.study_year
        if year is not None and not (type(year) is int and 1950 <= year <= 2100):
            raise InputError(
                f"{self.name}: study_year must be a whole year from 1950 to 2100, got {year!r}; "
                "change it"
            )
        if "roads" not in self.layers:
            raise InputError(f"{self.name}: an area must have a roads layer; name its file")
        if self.time_zone not in available_timezones():
            raise InputError(
                f"{self.name}: time_zone must be an IANA name such as 'America/Chicago', "
                f"got {plain_text(self.time_zone, most=60)!r}; change it"
            )

    @property
    def zone(self) -> ZoneInfo:
        """The time zone itself."""
        return ZoneInfo(self.time_zone)

    def read(self, kind: str) -> pd.DataFrame | geopandas.GeoDataFrame | None:
        """Read a layer's table once; later calls answer from memory.

        Parameters
        ----------
        kind : str
            A key of ``LAYER_KINDS`` other than "roads", which the place room reads.

        Returns
        -------
        DataFrame, GeoDataFrame (EPSG:4326) or None
            None when the area has no such layer. Every table has an integer column ``row``:
            the line of the file, or the number of the feature starting at 1, and carries
            the layer's further settings in ``attrs["options"]``. Take a copy before changing
            it.

        Raises
        ------
        InputError
            For an unknown kind.
        DataError
            When the file is missing, too large or not what it should be.
        """
        if kind not in LAYER_KINDS or kind == "roads":
            known = ", ".join(name for name in LAYER_KINDS if name != "roads")
            raise InputError(f"layer must be one of {known}, got {kind!r}; rename it")
        layer = self.layers.get(kind)
        if layer is None or layer.path is None:
            return None
        if kind not in self._tables:
            table = load_table(layer.path)
            table.attrs["options"] = dict(layer.options)
            self._tables[kind] = table
        return self._tables[kind]

    def describe(self) -> list[tuple[str, str]]:
        """Say per layer what is known, or what follows from its absence.

        Returns
        -------
        list of (layer, sentence)
            One row for every kind, in the order of ``LAYER_KINDS``.
        """
        return [(kind, self._describe_layer(kind)) for kind in LAYER_KINDS]

    def _describe_layer(self, kind: str) -> str:
        holds, without = LAYER_KINDS[kind]
        layer = self.layers.get(kind)
        if layer is None:
            return f"missing: {without}"
        file = layer.path.name if layer.path else "downloaded when first needed"
        parts = [f"{holds}: {file}"]
        if layer.invented:
            parts.append("invented demo data")
        parts += [text for text in (layer.source, layer.licence, layer.note) if text]
        return "; ".join(parts)


def open_area(path: Path | str, *, may_read: Iterable[Path | str] = ()) -> Area:
    """Open a folder with an ``area.toml``, that file itself, or a bare roads file.

    Parameters
    ----------
    path : Path or str
        Where it is.
    may_read : iterable of Path or str
        Folders besides the area's own that its ``area.toml`` may name files of.

    Returns
    -------
    Area
        Checked: every file that it names exists, every field is known.

    Raises
    ------
    DataError
        One error that names every fault of the folder, or says why the file is no roads file.

    Examples
    --------
    >>> open_area("no/such/place")
    Traceback (most recent call last):
    ...
    capture.basis.errors.DataError: no/such/place: there is no such file or folder; check the path
    """
    place = Path(path)
    if not _exists(place):
        raise DataError(f"{path}: there is no such file or folder; check the path")
    if place.is_dir():
        return _open_folder(place, may_read)
    if place.name == AREA_FILE or place.suffix.lower() == ".toml":
        return _load_area_file(place, may_read)
    return _open_bare(place)


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def _open_bare(file: Path) -> Area:
    if not file.name.lower().endswith(ROADS_ENDINGS):
        raise DataError(
            f"{file.name}: a roads file must end in one of {', '.join(ROADS_ENDINGS)}; give such a "
            f"file, or a folder with an {AREA_FILE}"
        )
    layer = Layer(kind="roads", path=file, source="file given by the user", licence="not stated")
    return Area(
        name=file.name.split(".")[0],
        folder=file.parent,
        roads=file,
        layers=MappingProxyType({"roads": layer}),
    )


def _open_folder(folder: Path, may_read: Iterable[Path | str]) -> Area:
    if (folder / AREA_FILE).is_file():
        return _load_area_file(folder / AREA_FILE, may_read)
    found = sorted(p for p in folder.iterdir() if p.name.lower().endswith(ROADS_ENDINGS))
    if len(found) == 1:
        return _open_bare(found[0])
    told = f"holds {len(found)} roads files" if found else "holds no roads file"
    raise DataError(
        f"{folder}: a folder must hold an {AREA_FILE} or exactly one roads file, this one {told}; "
        "add an area.toml or name the file itself"
    )


def _load_toml(file: Path) -> dict[str, Any]:
    if file.stat().st_size > MOST_TOML_BYTES:
        raise DataError(
            f"{file.name}: must be under {MOST_TOML_BYTES // 1000} kB, got "
            f"{file.stat().st_size // 1000} kB; is this another file?"
        )
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"))
    except UnicodeDecodeError:
        raise DataError(f"{file.name}: must be text in UTF-8; save it as such") from None
    except (ValueError, RecursionError) as error:
        raise DataError(f"{file.name}: not readable as TOML ({error}); mend that place") from None
    except OSError as error:
        raise DataError(f"{file}: cannot be read ({error.strerror}); check its rights") from None


def _load_area_file(file: Path, may_read: Iterable[Path | str]) -> Area:
    values = _load_toml(file)
    faults = [
        f"there is no field {plain_text(name, most=40)!r}; known are {', '.join(_AREA_FIELDS)}"
        for name in sorted(set(values) - _AREA_FIELDS)
    ]
    tables = values.get("layers", {})
    if not isinstance(tables, dict):
        raise DataError(f"{file.name}: layers must be tables such as [layers.counts]; mend that")
    if "roads" in values:
        tables = {"roads": values["roads"], **tables}
    layers: dict[str, Layer] = {}
    invented = values.get("invented", False) is True
    allowed = list_allowed(file.parent, may_read)
    for kind, table in tables.items():
        layer = _read_layer(kind, table, file.parent, allowed, faults, invented=invented)
        if layer is not None:
            layers[kind] = layer
    if "roads" not in tables:
        faults.append('roads must be named: [layers.roads] with path = "roads.osm"')
    raise_gathered(faults, where=file.name)
    roads = layers["roads"].path
    return Area(
        name=plain_text(values.get("name", file.parent.resolve().name), most=80),
        folder=file.parent,
        roads=roads if roads is not None else Path(DOWNLOAD),
        invented=invented,
        driving_side=values.get("driving_side", "right"),
        units=values.get("units", "us"),
        time_zone=str(values.get("time_zone", "America/New_York")),
        study_year=values.get("study_year"),
        layers=MappingProxyType(layers),
        note=plain_text(values.get("note", ""), most=1000),
    )


def _find_unknown_options(kind: str, table: Mapping[str, Any]) -> Iterator[str]:
    """Say of each setting of a layer that nothing would read."""
    known = sorted({*_LAYER_FIELDS, *LAYER_OPTIONS.get(kind, ())})
    for name in sorted(set(table) - set(known)):
        told = plain_text(name, most=40)
        near = get_close_matches(told, known, n=1)
        meant = f"; did you mean {near[0]}" if near else ""
        yield f"layers.{kind} has no setting {told!r}{meant}; known are {', '.join(known)}"


def _is_file(path: Path) -> bool:
    """Whether there is such a file; a name that no disk could hold is none."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def _read_layer(
    kind: str,
    table: Any,
    folder: Path,
    allowed: tuple[Path, ...],
    faults: list[str],
    *,
    invented: bool,
) -> Layer | None:
    if kind not in LAYER_KINDS:
        faults.append(
            f"there is no layer {plain_text(kind, most=40)!r}; known are {', '.join(LAYER_KINDS)}"
        )
        return None
    if isinstance(table, str):
        table = {"path": table}
    if not isinstance(table, dict) or not isinstance(table.get("path", DOWNLOAD), str):
        faults.append(f"layers.{kind} must be a table with a path in quotes")
        return None
    written = table.get("path", "" if kind != "roads" else DOWNLOAD)
    path: Path | None = folder / written
    faults += list(_find_unknown_options(kind, table))
    if kind == "roads" and written == DOWNLOAD:
        path = None
    elif written and not is_allowed(folder / written, allowed):
        faults.append(
            f"layers.{kind}: {plain_text(written, most=80)!r} lies outside the area's folder; copy "
            "it there, or allow its folder with --may-read"
        )
        return None
    elif not written or not _is_file(folder / written):
        faults.append(
            f"layers.{kind}: there is no file {plain_text(written, most=80)!r}; mend the path"
        )
        return None
    return Layer(
        kind=kind,
        path=path,
        options=MappingProxyType({k: v for k, v in table.items() if k not in _LAYER_FIELDS}),
        source=plain_text(table.get("source", ""), most=300),
        licence=plain_text(table.get("licence", ""), most=300),
        invented=table.get("invented", invented) is True,
        note=plain_text(table.get("note", ""), most=1000),
    )

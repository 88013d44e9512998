"""Which count files does an area name, and what do they say together?

The layers ``counts`` (with an optional ``short_counts`` beside it) and ``hourly_counts``.
What one file needs said of it, such as its columns or where its stations stand, is in the
layer's table ``files``. A continuous station's month and weekday factors serve the short
counts of the area; pairs of years at the same stations give its growth.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.area import LAYER_OPTIONS
from capture.basis import DataError, Sheet, plain_text
from capture.passing.hourly import HourShape
from capture.passing.ledger import COUNT_COLUMNS, list_rows
from capture.passing.load import CountFile, load_counts
from capture.passing.values import VALUES

if TYPE_CHECKING:
    from capture.area import Area, Layer
    from capture.place import Place


FloatArray = NDArray[np.float64]
#: role -> heading, or file -> role -> heading
Answers = Mapping[str, str | Mapping[str, str]]
#: what a file of several may say of itself besides its settings
_FILE_FIELDS: Final = ("source", "licence", "note", "invented")
#: which busiest hours of a year are listed
DESIGN_RANKS: Final = (1, 10, 20, 30, 50, 100, 200)


@dataclass(frozen=True, slots=True, kw_only=True)
class CountSource:
    """One count file that an area names."""

    #: layer, ``counts`` or ``hourly_counts``
    kind: str
    #: its place in the area's folder, which answers about its columns are kept under
    name: str
    #: whether it is the layer's own file and not one beside it
    first: bool
    #: the file
    path: Path
    #: settings of the layer, and over them those of the file
    options: Mapping[str, Any]
    #: role -> heading, as the area says
    columns: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class AreaCounts:
    """All counts of an area."""

    #: one row per count, columns of ``COUNT_COLUMNS``
    counts: pd.DataFrame
    #: what was done with each file
    done: pd.DataFrame
    #: what each column was taken for
    columns: pd.DataFrame
    #: continuous stations, one row each
    stations: pd.DataFrame
    #: hour shapes of stations
    shapes: tuple[HourShape, ...]
    #: yearly growth and its sd, measured in the area; None when not
    growth: tuple[float, float] | None
    #: remarks, one sentence each
    remarks: list[str]
    #: the files themselves
    files: tuple[CountFile, ...]


def load_area_counts(
    area: Area,
    place: Place,
    *,
    study_year: int,
    answers: Answers | None = None,
    memory: Path | None = None,
    values: Sheet = VALUES,
) -> AreaCounts:
    """Load every count file of an area.

    Parameters
    ----------
    area, place : Area, Place
        What is known.
    study_year : int
        Later counts are left out.
    answers : mapping, optional
        About columns: name of a file (as :func:`list_count_files` has it) -> role -> heading.
        A bare role -> heading is about the first file of the layer ``counts``.
    memory : Path, optional
        Remembered answers.

    Returns
    -------
    AreaCounts
        Empty tables when the area has no counts.

    Raises
    ------
    DataError, InputError
        When a file is not usable or not clear.
    """
    extent = _road_extent(place)
    files: list[CountFile] = []
    season: FloatArray | None = None
    for source in list_count_files(area):
        files.append(
            load_counts(
                source.path,
                study_year=study_year,
                extent=extent,
                crs=source.options.get("crs"),
                answers={**source.columns, **pick_answers(answers, source)},
                memory=memory,
                hourly=True if source.kind == "hourly_counts" else None,
                defaults=source.options,
                season=season,
                values=values,
            )
        )
        season = season if season is not None else find_season(files[-1])
    frames = [f.counts for f in files if len(f.counts)]
    counts = pd.concat(frames, ignore_index=True) if frames else _no_counts()
    growth = measure_growth(files)
    remarks = [f"growth {growth[0]:+.1%} a year measured in the area"] if growth else []
    if season is not None:
        remarks.append("short counts use the month x weekday factors of the area's own station")
    return AreaCounts(
        counts=counts,
        done=_stack(
            [f.done.assign(file=f.name) for f in files], ["file", "what", "rows", "which", "why"]
        ),
        columns=_stack(
            [f.columns.assign(file=f.name) for f in files],
            ["file", "column", "taken_for", "confidence", "why"],
        ),
        stations=list_stations(files),
        shapes=tuple(s for f in files if f.hourly for s in f.hourly.shapes),
        growth=growth,
        remarks=remarks,
        files=tuple(files),
    )


def list_stations(files: list[CountFile]) -> pd.DataFrame:
    """List continuous stations: the average day by the book, plain and by hours, and K and D."""
    rows = []
    for file in files:
        if file.hourly is None:
            continue
        for station, average in file.hourly.average_days.items():
            design = file.hourly.design_hours[station]
            rows.append(
                {
                    "station": station,
                    "average_of_averages": average.aadt,
                    "plain_mean": average.plain_mean,
                    "by_hours": file.hourly.by_hours.get(station, math.nan),
                    "days": int(average.days.sum()),
                    "incomplete_days": average.incomplete_days,
                    "empty_cells": ", ".join(average.empty_cells),
                    **{f"k{n}": design.k.get(n, math.nan) for n in DESIGN_RANKS},
                    **{f"d{n}": design.d.get(n, math.nan) for n in DESIGN_RANKS},
                }
            )
    names = [
        *("station", "average_of_averages", "plain_mean", "by_hours", "days"),
        *("incomplete_days", "empty_cells"),
        *(f"{what}{n}" for what in "kd" for n in DESIGN_RANKS),
    ]
    return pd.DataFrame(rows, columns=names)


def find_season(file: CountFile) -> FloatArray | None:
    """Return the month x weekday factors of the fullest continuous station, None if none.

    Only a station whose months and weekdays all have days is used.
    """
    if file.hourly is None:
        return None
    fullest = max(file.hourly.average_days.values(), key=lambda a: int(a.days.sum()), default=None)
    if fullest is None:
        return None
    factors = fullest.season_factors()
    return factors if bool(np.isfinite(factors).all()) else None


def list_count_files(area: Area) -> list[CountSource]:
    """List the count files that an area names, in the order in which they are read.

    Parameters
    ----------
    area : Area
        Its layers ``hourly_counts`` and ``counts``.

    Raises
    ------
    DataError
        When ``short_counts`` or ``files`` is not what it should be, or leaves the folder.
    """
    found: list[CountSource] = []
    for kind in ("hourly_counts", "counts"):
        layer = area.layers.get(kind)
        if layer is None:
            continue
        more = layer.options.get("short_counts")
        names = [more] if isinstance(more, str) else _list_names(more)
        paths = [] if layer.path is None else [(True, layer.path)]
        paths += [(False, _inside_folder(area, name)) for name in names]
        for first, path in paths:
            name = _name_inside(area, path)
            options, columns = _read_file_table(layer, name)
            found.append(
                CountSource(
                    kind=kind, name=name, first=first, path=path, options=options, columns=columns
                )
            )
    return found


def pick_answers(answers: Answers | None, source: CountSource) -> dict[str, str]:
    """Pick from answers about columns those about one file.

    Parameters
    ----------
    answers : mapping, optional
        As for :func:`load_area_counts`.
    source : CountSource
        The file.
    """
    told = {**(answers or {})}
    own = told.get(source.name)
    if isinstance(own, Mapping):
        return {str(role): str(heading) for role, heading in own.items()}
    bare = {role: heading for role, heading in told.items() if isinstance(heading, str)}
    return bare if source.kind == "counts" and source.first else {}


def _name_inside(area: Area, path: Path) -> str:
    """Name a file by its place in the area's folder."""
    try:
        return path.resolve().relative_to(area.folder.resolve()).as_posix()
    except ValueError:
        return path.name


def _read_file_table(layer: Layer, name: str) -> tuple[dict[str, Any], dict[str, str]]:
    """Return the options that hold for one file of a layer, and what its columns hold."""
    tables = layer.options.get("files", {})
    own = tables.get(name, {}) if isinstance(tables, Mapping) else None
    if not isinstance(own, Mapping):
        raise DataError(
            f"area.toml: files of layers.{layer.kind} must be tables by file name; mend that"
        )
    _refuse_unknown(layer, name, own)
    columns = own.get("columns", {})
    if not isinstance(columns, Mapping) or not all(isinstance(v, str) for v in columns.values()):
        raise DataError(
            f"area.toml: columns of {plain_text(name, most=60)} must be role = heading; mend that"
        )
    general = {key: value for key, value in layer.options.items() if key != "files"}
    return {**general, **own}, {str(role): heading for role, heading in columns.items()}


def _refuse_unknown(layer: Layer, name: str, own: Mapping[str, Any]) -> None:
    """Refuse settings of a file that nothing would read."""
    known = sorted({*LAYER_OPTIONS[layer.kind], *_FILE_FIELDS} - {"files", "short_counts"})
    unknown = sorted(set(own) - set(known))
    if unknown:
        raise DataError(
            f"area.toml: {plain_text(name, most=60)} has no setting "
            f"{plain_text(unknown[0], most=40)!r}; known are {', '.join(known)}"
        )


def _list_names(more: Any) -> list[str]:
    if more is None:
        return []
    if not isinstance(more, list) or not all(isinstance(name, str) for name in more):
        raise DataError(
            f"area.toml: short_counts must be a file name or a list of them, got "
            f"{plain_text(more, most=80)}; put the name in quotes"
        )
    return more


def _inside_folder(area: Area, name: Any) -> Path:
    folder = area.folder.resolve()
    path = (folder / str(name)).resolve()
    if not path.is_relative_to(folder):
        raise DataError(
            f"area.toml: short_counts {plain_text(name, most=80)!r} must lie in the area's folder; "
            "move it there"
        )
    return path


def _road_extent(place: Place) -> tuple[float, float, float, float]:
    lat, lon = place.network.node_lat, place.network.node_lon
    return float(lat.min()), float(lon.min()), float(lat.max()), float(lon.max())


def _no_counts() -> pd.DataFrame:
    table = pd.DataFrame({name: pd.Series(dtype="object") for name in COUNT_COLUMNS})
    for name in ("vehicles_per_day", "log_sd", "year", "lat", "lon"):
        table[name] = table[name].astype("float64")
    return table


def _stack(tables: list[pd.DataFrame], columns: list[str]) -> pd.DataFrame:
    if not tables:
        return pd.DataFrame(columns=columns)
    return pd.concat(tables, ignore_index=True)[columns]


def measure_growth(files: list[CountFile]) -> tuple[float, float] | None:
    """Measure yearly growth from stations counted in several years.

    Returns
    -------
    tuple of (float, float) or None
        Mean yearly growth and its standard deviation among roads, drawn towards 1 % with
        2 % spread by five stations' worth; None with fewer than three stations.
    """
    rates = []
    for file in files:
        for count in list_rows(file.counts):
            history = count.get("history")
            if not isinstance(history, tuple) or len(history) < 2:
                continue
            (y0, v0), (y1, v1) = history[0], history[-1]
            if y1 > y0 and v0 > 0 and v1 > 0:
                rates.append(math.log(v1 / v0) / (y1 - y0))
    if len(rates) < 3:
        return None
    logs = np.array(rates)
    weight = len(logs) / (len(logs) + 5)
    mean = weight * float(np.median(logs)) + (1 - weight) * 0.01
    spread = math.sqrt(weight * float(logs.var(ddof=1)) / len(logs) + (1 - weight) * 0.012**2)
    return math.expm1(mean), max(spread, 0.004)

"""How is a messy count file turned into a table, with nothing changed unsaid?

Text files may be in UTF-8, UTF-16 or Latin-1, with commas, semicolons, tabs or bars, with
lines of chat above the headings. Map files are read through GDAL. Every table gets a column
``row``, the line or feature number in the file, first data line of a plain CSV is 2.
"""

from __future__ import annotations

import csv
import io
import json
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from capture.basis import DataError, plain_text
from capture.passing.roles import ROLES, name_score, split_words

if TYPE_CHECKING:
    import geopandas as gpd

MOST_BYTES: Final = 300_000_000
MOST_ROWS: Final = 2_000_000
MOST_CELL: Final = 10_000
MOST_HEADING: Final = 120
TEXT_KINDS: Final = frozenset({".csv", ".txt", ".tsv"})
MAP_KINDS: Final = frozenset({".geojson", ".json", ".gpkg", ".shp", ".fgb"})
_SEPARATORS: Final = ",;\t|"
_SHAPES: Final = frozenset(
    {"Point", "MultiPoint", "LineString", "MultiLineString", "Unknown", "None"}
)
_MAGIC: Final = {
    b"PK\x03\x04": "a zip archive or a spreadsheet; unpack it or save the sheet as CSV",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet; save the sheet as CSV",
    b"%PDF": "a PDF; ask the publisher for the table as CSV",
    b"SQLite format 3": "a database; if it is a GeoPackage name it .gpkg",
    b"\x1f\x8b": "gzip-packed; unpack it first",
}


def read_count_file(path: Path) -> tuple[pd.DataFrame, list[str]]:
    """Read a CSV, GeoJSON, GeoPackage or shapefile as it stands.

    Parameters
    ----------
    path : Path
        Up to 300 MB and 2,000,000 rows.

    Returns
    -------
    tuple of (DataFrame or GeoDataFrame, list of str)
        The table, a GeoDataFrame in EPSG:4326 when the file holds geometry, and remarks on
        what had to be assumed.

    Raises
    ------
    DataError
        When the file is missing, empty, too large, cut short, or of another kind.
    """
    _check_file(path)
    kind = path.suffix.lower()
    if kind in TEXT_KINDS:
        return _read_text(path)
    if kind in MAP_KINDS:
        return _read_map(path)
    raise DataError(
        f"{path.name}: counts must be .csv, .txt, .tsv, .geojson, .gpkg, .fgb or .shp, got "
        f"{kind or 'no ending'!r}; save the table as CSV"
    )


def _check_file(path: Path) -> None:
    if path.is_dir():
        raise DataError(f"{path}: is a folder, must be a count file; name the file inside it")
    if not path.exists():
        raise DataError(f"{path}: there is no such count file; check the path")
    size = path.stat().st_size
    if size == 0:
        raise DataError(f"{path.name}: the file is empty; download it again")
    if size > MOST_BYTES:
        raise DataError(
            f"{path.name}: a count file must be under {MOST_BYTES // 1_000_000} MB, got "
            f"{size // 1_000_000} MB; cut it to your area"
        )


def _decode(raw: bytes, name: str) -> tuple[str, list[str]]:
    for magic, what in _MAGIC.items():
        if raw.startswith(magic):
            raise DataError(f"{name}: named as text but is {what}")
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return raw.decode("utf-16"), ["text is UTF-16"]
        except UnicodeDecodeError:
            raise DataError(f"{name}: UTF-16 text is cut short; download it again") from None
    if b"\x00" in raw[:1_000_000]:
        raise DataError(f"{name}: holds NUL bytes, so it is not text; save the table as CSV")
    try:
        return raw.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        return raw.decode("latin-1"), ["text is not UTF-8, read as Latin-1"]


def _read_text(path: Path) -> tuple[pd.DataFrame, list[str]]:
    text, remarks = _decode(path.read_bytes(), path.name)
    start = text[:2000].lstrip().lower()
    if start.startswith(("<!doctype", "<html", "<?xml")):
        raise DataError(f"{path.name}: holds a web page, not a table; download the table itself")
    if start.startswith(("{", "[{")):
        raise DataError(f"{path.name}: holds JSON, not a table; name it .geojson if it is one")
    lines = text.splitlines()
    separator = _find_separator(lines)
    rows = list(_split_rows(text, separator, path.name))
    header = _find_header(rows)
    if header:
        remarks.append(f"{header} line(s) above the headings passed over")
    headings = _clean_headings(rows[header][1], path.name)
    body = rows[header + 1 :]
    if not body:
        raise DataError(f"{path.name}: has headings but no rows; export it again with data")
    if separator != ",":
        shown = {"\t": "tabs", ";": "semicolons", "|": "bars"}[separator]
        remarks.append(f"columns are parted by {shown}")
    return _to_table(headings, body, remarks, path.name), remarks


def _split_rows(text: str, separator: str, name: str) -> list[tuple[int, list[str]]]:
    if '"' not in text:
        plain = [
            (number, line.split(separator))
            for number, line in enumerate(text.splitlines(), start=1)
            if line.strip(separator + " \t")
        ]
        return _bound_rows(plain, name)
    csv.field_size_limit(MOST_CELL * 10)
    reader = csv.reader(io.StringIO(text), delimiter=separator)
    rows: list[tuple[int, list[str]]] = []
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append((reader.line_num, cells))
            if len(rows) > MOST_ROWS:
                break
    except csv.Error as error:
        raise DataError(
            f"{name}: line {reader.line_num} cannot be read ({error}); check its quotes"
        ) from None
    return _bound_rows(rows, name)


def _bound_rows(rows: list[tuple[int, list[str]]], name: str) -> list[tuple[int, list[str]]]:
    if not rows:
        raise DataError(f"{name}: holds only blank lines; download it again")
    if len(rows) > MOST_ROWS:
        raise DataError(f"{name}: must have up to {MOST_ROWS} rows; cut it to your area")
    return rows


def _find_separator(lines: list[str]) -> str:
    """Pick the separator that parts most lines into the same number (over one) of columns."""
    sample = [line for line in lines[:200] if line.strip()]
    best, best_score = ",", 0.0
    for separator in _SEPARATORS:
        counts = np.array([line.count(separator) for line in sample])
        if len(counts) and counts.max() > 0:
            usual = np.bincount(counts).argmax()
            score = float((counts == usual).mean()) * min(int(usual), 10)
            if score > best_score:
                best, best_score = separator, score
    return best


def _find_header(rows: list[tuple[int, list[str]]]) -> int:
    """Return which row holds the headings: the first as wide as most rows are."""
    widths = np.array([len([c for c in cells if c.strip()]) for _, cells in rows[:200]])
    usual = int(np.median(widths))
    wide = np.flatnonzero(widths >= max(2, 0.6 * usual))
    return int(wide[0]) if len(wide) else 0


def _clean_headings(cells: list[str], name: str) -> list[str]:
    headings = [plain_text(cell, most=MOST_HEADING) for cell in cells]
    while headings and not headings[-1]:
        headings.pop()
    seen: dict[str, int] = {}
    twice = sorted({h for h in headings if h and headings.count(h) > 1})
    if twice:
        raise DataError(
            f"{name}: headings must differ, {', '.join(plain_text(h, most=40) for h in twice)} "
            "stands more than once; rename one"
        )
    for k, heading in enumerate(headings):
        own = heading in ("row", "geometry")
        headings[k] = f"{heading} in the file" if own else heading or f"column {k + 1}"
        seen[headings[k]] = k
    numeric = [h for h in headings if h.replace(".", "", 1).replace("-", "", 1).isdigit()]
    if len(numeric) > len(headings) / 2 and not _looks_like_hours(headings):
        raise DataError(
            f"{name}: the first line holds numbers, not headings; add a line of column names"
        )
    return headings


def _looks_like_hours(headings: list[str]) -> bool:
    whole = {int(h) for h in headings if h.isdigit() and int(h) <= 24}
    return len(whole) >= 24


def _to_table(
    headings: list[str], body: list[tuple[int, list[str]]], remarks: list[str], name: str
) -> pd.DataFrame:
    if len(headings) == 1:
        raise DataError(
            f"{name}: only one column found; part the columns by commas, semicolons or tabs"
        )
    width = len(headings)
    trimmed = [(line, _trim(cells, width)) for line, cells in body]
    ragged = [line for line, cells in trimmed if len(cells) != width]
    if len(ragged) > 0.5 * len(body):
        raise DataError(
            f"{name}: most rows do not have {width} columns as the headings do (first line "
            f"{ragged[0]}); check the separator and quotes"
        )
    if ragged:
        remarks.append(
            f"{len(ragged)} row(s) with too few or too many cells left out, lines "
            + ", ".join(map(str, ragged[:8]))
        )
    kept = [(line, cells) for line, cells in trimmed if len(cells) == width]
    columns: dict[str, Any] = {
        heading: [cells[k].strip()[:MOST_CELL] for _, cells in kept]
        for k, heading in enumerate(headings)
    }
    table = pd.DataFrame(columns)
    for heading in headings:
        if _has_thousands_points(heading, table[heading]):
            table[heading] = table[heading].str.replace(".", "")
            remarks.append(f"points in column {plain_text(heading, most=40)} taken as thousands")
        table[heading] = _tidy(table[heading])
    table = table.copy()
    table["row"] = np.array([line for line, _ in kept], dtype=np.int64)
    return table


def _trim(cells: list[str], width: int) -> list[str]:
    if len(cells) == width:
        return cells
    extra = cells[width:]
    return cells[:width] if len(cells) > width and not any(c.strip() for c in extra) else cells


def _has_thousands_points(heading: str, column: pd.Series) -> bool:
    """Tell 12.345 vehicles, which are twelve thousand, from a decimal."""
    words = split_words(heading)
    volume = any(name_score(r, words) >= 0.5 for r in ROLES if r.name in ("aadt", "volume"))
    given = column[column != ""]
    return bool(volume and len(given) and given.str.fullmatch(r"[0-9]{1,3}(\.[0-9]{3})+").all())


def _tidy(column: pd.Series) -> pd.Series:
    """Turn plain numbers into numbers and blanks into gaps; leave all else as text."""
    blank = column.str.lower().isin(["", "na", "n/a", "nan", "null", "none", "-", "--", "<null>"])
    given = column.where(~blank)
    plain = given.dropna().str.fullmatch(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
    padded = given.dropna().str.match(r"0[0-9]")
    if len(plain) and plain.all() and not padded.any():
        return pd.to_numeric(given)
    return given


def _read_map(path: Path) -> tuple[gpd.GeoDataFrame, list[str]]:
    import geopandas as gpd
    import pyogrio

    remarks: list[str] = []
    if path.suffix.lower() in (".geojson", ".json"):
        _check_geojson(path)
    if path.suffix.lower() == ".shp":
        for ending in (".shx", ".dbf"):
            if not any(path.with_suffix(e).exists() for e in (ending, ending.upper())):
                raise DataError(
                    f"{path.name}: the file {path.stem}{ending} must lie beside it; copy it there"
                )
    try:
        info = pyogrio.read_info(path)
        if info["features"] > MOST_ROWS:
            raise DataError(f"{path.name}: must have up to {MOST_ROWS} rows; cut it to your area")
        layers = pyogrio.list_layers(path)
        with warnings.catch_warnings():
            # a feature without a usable shape is listed later, as a row without a position
            warnings.simplefilter("ignore")
            table = gpd.read_file(path)
    except DataError:
        raise
    except Exception as error:
        reason = plain_text(error, most=120)
        raise DataError(
            f"{path.name}: not readable as a map file ({reason}); export it again"
        ) from None
    if len(layers) > 1:
        remarks.append(f"{len(layers)} layers in the file, the first ({layers[0][0]}) was read")
    return _check_geometry(table, path.name, remarks), remarks


def _check_geojson(path: Path) -> None:
    raw = path.read_bytes()
    try:
        held = json.loads(raw)
    except (ValueError, UnicodeDecodeError, RecursionError):
        raise DataError(
            f"{path.name}: the JSON is cut short or broken; download it again"
        ) from None
    if isinstance(held, dict) and "error" in held and "features" not in held:
        raise DataError(f"{path.name}: holds a server's error message; download it again")
    if not isinstance(held, dict) or held.get("type") != "FeatureCollection":
        raise DataError(
            f"{path.name}: must be a GeoJSON FeatureCollection; export the table as GeoJSON or CSV"
        )
    if not held.get("features"):
        raise DataError(f"{path.name}: the FeatureCollection has no features; export it again")


def _plain_names(table: Any) -> dict[Any, str]:
    """Return headings without control signs and of bounded length, where that keeps them apart."""
    plain = {name: plain_text(name, most=MOST_HEADING) for name in table.columns}
    return plain if len(set(plain.values())) == len(plain) and "geometry" in plain else {}


def _flatten(table: Any) -> Any:
    """Write lists and objects within cells out as text; cells must be single values."""
    changed = {
        name: column.map(
            lambda v: str(v)[:MOST_CELL] if isinstance(v, list | dict | set | np.ndarray) else v
        )
        for name, column in table.items()
        if name != "geometry" and column.dtype == object
    }
    return table.assign(**changed) if changed else table


def _check_geometry(table: Any, name: str, remarks: list[str]) -> Any:
    import geopandas as gpd

    table = _flatten(table).rename(columns=_plain_names(table))
    if "row" in table.columns:
        table = table.rename(columns={"row": "row in the file"})
    if len(table) == 0:
        raise DataError(f"{name}: holds no rows; export it again with data")
    if not isinstance(table, gpd.GeoDataFrame):
        frame = pd.DataFrame(table)
        frame["row"] = np.arange(1, len(frame) + 1)
        return frame
    kinds = set(table.geometry.geom_type.dropna().unique())
    if kinds - _SHAPES:
        raise DataError(
            f"{name}: counts must be points or lines, got {', '.join(sorted(kinds - _SHAPES))}; "
            "export the stations or the road lines"
        )
    if table.crs is None:
        bounds = table.total_bounds
        if not (abs(bounds[[0, 2]]).max() <= 180 and abs(bounds[[1, 3]]).max() <= 90):
            raise DataError(
                f"{name}: the file names no coordinate system and is not in degrees; put its "
                ".prj beside it or state crs in area.toml"
            )
        table = table.set_crs("EPSG:4326")
        remarks.append("no coordinate system named, coordinates taken as degrees (EPSG:4326)")
    table = table.to_crs("EPSG:4326")
    table["row"] = np.arange(1, len(table) + 1)
    return table

"""How does a table from outside become rows that can be trusted to be rows?

CSV (a latitude and a longitude column make points), GeoJSON, GeoPackage and shapefile.
Nothing is dropped here: a row without coordinates keeps an empty geometry, and every row
carries its line in the file, so that later faults can say where they stood.
"""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from capture.basis import DataError, plain_text

if TYPE_CHECKING:
    import geopandas
    import pandas as pd

MOST_ROWS: Final = 2_000_000
MOST_BYTES: Final = 500_000_000
MOST_COLUMNS: Final = 2_000
TABLE_ENDINGS: Final = (".csv", ".txt", ".tsv")
SHAPE_ENDINGS: Final = (".geojson", ".json", ".gpkg", ".shp", ".fgb")
#: names under which a column of degrees is known, lower case
LAT_NAMES: Final = (
    "lat", "latitude", "y_lat", "lat_wgs84", "lat_dd", "latitude_dd", "centroid_lat", "intptlat",
)  # fmt: skip
LON_NAMES: Final = (
    "lon", "lng", "long", "longitude", "x_lon", "lon_wgs84", "lon_dd", "long_dd", "longitude_dd",
    "centroid_lon", "intptlon",
)  # fmt: skip
#: lines above the column names in which a title, a date or nothing may stand
MOST_TITLES: Final = 10
_CSV_FIELD_LIMIT: Final = 1_000_000
_NUMBER: Final = re.compile(r"[-+$]*[\d.,]+")


def plain_name(name: object) -> str:
    """Return the name of a column without what offices add to it.

    Lower case, without a unit in brackets, with one underscore for all that is no letter or digit.

    Examples
    --------
    >>> plain_name(" PARCEL ID#"), plain_name("LATITUDE (DD)"), plain_name("lat")
    ('parcel_id', 'latitude', 'lat')
    """
    bare = re.sub(r"\([^()]*\)|\[[^\[\]]*\]", " ", str(name))
    return re.sub(r"[\W_]+", "_", bare).strip("_").lower()


def find_column(table: pd.DataFrame, names: tuple[str, ...]) -> Any:
    """Return the first column that bears one of some names, as told by `plain_name`, or None."""
    lower = {plain_name(name): name for name in reversed(list(table.columns))}
    return next((lower[name] for name in names if name in lower), None)


def load_table(
    path: Path | str, *, max_rows: int = MOST_ROWS, max_bytes: int = MOST_BYTES
) -> pd.DataFrame | geopandas.GeoDataFrame:
    """Read a table or a layer of shapes.

    Parameters
    ----------
    path : Path or str
        Ends in ``.csv``, ``.tsv``, ``.txt``, ``.geojson``, ``.json``, ``.gpkg``, ``.fgb`` or
        ``.shp``.
    max_rows, max_bytes : int
        What is larger is refused.

    Returns
    -------
    DataFrame or GeoDataFrame
        The latter, in EPSG:4326, for shapes and for a CSV with a latitude and a longitude
        column. Column ``row`` holds the line of the file (the heading is line 1) or the number
        of the feature.

    Raises
    ------
    DataError
        When the file is missing, empty, too large, of another type, or broken; one sentence.
    """
    file = Path(path)
    _check_file(file, max_bytes)
    ending = file.suffix.lower()
    if ending in TABLE_ENDINGS:
        return _load_csv(file, max_rows)
    if ending in SHAPE_ENDINGS:
        return _load_shapes(file, max_rows)
    raise DataError(
        f"{file.name}: a table must end in one of {', '.join(TABLE_ENDINGS + SHAPE_ENDINGS)}, got "
        f"{ending or 'no ending'!r}; save it as CSV or GeoJSON"
    )


def _check_file(file: Path, max_bytes: int) -> None:
    if file.is_dir():
        raise DataError(f"{file.name}: a table must be a file, this is a folder; name the file")
    try:
        size = file.stat().st_size
        with file.open("rb") as opened:
            start = opened.read(512)
    except OSError as error:
        raise DataError(f"{file}: cannot be read ({error.strerror}); check the path") from None
    if size == 0:
        raise DataError(f"{file.name}: the file is empty; fetch or save it again")
    if size > max_bytes:
        raise DataError(
            f"{file.name}: a table must be under {max_bytes / 1e6:g} MB, got {size / 1e6:.0f} MB; "
            "cut it to the area"
        )
    if start.lstrip()[:200].lower().startswith((b"<!doctype html", b"<html")):
        raise DataError(
            f"{file.name}: holds a web page, not a table; the download link may need a login"
        )


def _decode(file: Path) -> str:
    raw = file.read_bytes()
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", errors="replace")
    if b"\x00" in raw[:4096] or raw.startswith((b"PK\x03\x04", b"SQLite format 3")):
        raise DataError(
            f"{file.name}: ends in {file.suffix} but is no text; export the sheet as CSV in UTF-8"
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _guess_sign(text: str) -> str:
    """Return the sign between the cells: the commonest of the first line that has any."""
    for head in io.StringIO(text[:_CSV_FIELD_LIMIT]):
        counts = {sign: head.count(sign) for sign in (";", "\t", ",", "|")}
        best = max(counts, key=lambda sign: counts[sign])
        if counts[best]:
            return best
    return ","


def _load_csv(file: Path, max_rows: int) -> pd.DataFrame | geopandas.GeoDataFrame:
    import pandas as pd

    text = _decode(file)
    names, rows, lines = _split_rows(file, text, max_rows)
    columns: dict[str, Any] = {
        name: [row[k] for row in rows] for k, name in enumerate(names) if name
    }
    table = pd.DataFrame(columns)
    for name in table.columns:
        table[name] = _as_numbers(table[name])
    table["row"] = pd.Series(lines, dtype="int64")
    return _add_points(table)


def _split_rows(
    file: Path, text: str, max_rows: int
) -> tuple[list[str], list[list[str]], list[int]]:
    csv.field_size_limit(_CSV_FIELD_LIMIT)
    reader = csv.reader(io.StringIO(text), delimiter=_guess_sign(text))
    rows: list[list[str]] = []
    lines: list[int] = []
    faults: list[str] = []
    try:
        above = _count_titles(text)
        names = [name.strip() for name in [next(reader) for _ in range(above + 1)][-1]]
        for row in reader:
            if not any(cell.strip() for cell in row):
                continue
            if len(row) > len(names) and any(cell.strip() for cell in row[len(names) :]):
                faults.append(
                    f"row {reader.line_num}: has {len(row)} cells, the heading has {len(names)}"
                )
            rows.append((row + [""] * len(names))[: len(names)])
            lines.append(reader.line_num)
            if len(rows) > max_rows:
                raise DataError(
                    f"{file.name}: a table must have at most {max_rows} rows; cut it to the area"
                )
    except StopIteration:
        raise DataError(f"{file.name}: the file is empty; fetch or save it again") from None
    except csv.Error as error:
        raise DataError(f"{file.name}: not readable as CSV ({error}); save it again") from None
    _check_names(file, names, faults)
    return names, rows, lines


def _count_titles(text: str) -> int:
    """Count the lines of title, date or nothing above the column names.

    They have one filled cell or none; the column names have several, and no number among them.
    """
    reader = csv.reader(io.StringIO(text), delimiter=_guess_sign(text))
    for above, row in zip(range(MOST_TITLES + 1), reader, strict=False):
        filled = [cell.strip() for cell in row if cell.strip()]
        if len(filled) > 1:
            return above if not any(_NUMBER.fullmatch(cell) for cell in filled) else 0
    return 0


def _check_names(file: Path, names: list[str], faults: list[str]) -> None:
    from capture.basis import raise_gathered

    if len(names) > MOST_COLUMNS:
        faults.append(f"has {len(names)} columns, must have at most {MOST_COLUMNS}")
    twice = sorted({name for name in names if name and names.count(name) > 1})
    faults += [f"column {plain_text(name, most=40)!r} stands twice; rename one" for name in twice]
    if not any(names):
        faults.append("row 1 must hold the column names; add a heading")
    raise_gathered(faults, where=file.name)


def _as_numbers(column: pd.Series[Any]) -> pd.Series[Any]:
    import pandas as pd

    if column.empty:
        return column
    text = column.str.strip()
    filled = text != ""
    if not filled.any():
        return text.where(filled, None)
    # leading zeros and signs such as "1e5" in ids must survive as text
    code = text.str.match(r"^0\d") & filled
    numbers = pd.to_numeric(text.where(filled, None), errors="coerce")
    if code.any() or numbers[filled].isna().any():
        return text.where(filled, None)
    return numbers


def _add_points(table: pd.DataFrame) -> pd.DataFrame | geopandas.GeoDataFrame:
    import pandas as pd

    lat, lon = find_column(table, LAT_NAMES), find_column(table, LON_NAMES)
    if lat is None or lon is None or "geometry" in table.columns:
        return table
    import geopandas
    import shapely

    x = pd.to_numeric(table[lon], errors="coerce").to_numpy(dtype="float64")
    y = pd.to_numeric(table[lat], errors="coerce").to_numpy(dtype="float64")
    points: Any = shapely.points(x, y)
    points[~((abs(y) <= 90) & (abs(x) <= 180))] = None
    return geopandas.GeoDataFrame(table, geometry=points, crs="EPSG:4326")


#: first bytes of each kind of shape file, spaces left out
_STARTS: Final = {
    ".geojson": (b"{", b"["),
    ".json": (b"{", b"["),
    ".gpkg": (b"SQLite format 3\x00",),
    ".shp": (b"\x00\x00\x27\x0a",),
    ".fgb": (b"fgb",),
}


def _check_shape_kind(file: Path) -> None:
    """Refuse a file that is not what its ending says: the reader goes by content, not by name.

    Some contents only point at other files of the machine or at the network.
    """
    ending = file.suffix.lower()
    with file.open("rb") as opened:
        start = opened.read(256).removeprefix(b"\xef\xbb\xbf")
    if not start.lstrip(b" \t\r\n").startswith(_STARTS[ending]):
        raise DataError(f"{file.name}: ends in {ending} but holds something else; save it again")


def _load_shapes(file: Path, max_rows: int) -> geopandas.GeoDataFrame:
    import warnings

    import geopandas
    import pyogrio
    import shapely

    _check_shape_kind(file)
    try:
        layer = _pick_layer(file, pyogrio.list_layers(file))
        info = pyogrio.read_info(file, layer=layer)
        if info["features"] > max_rows:
            raise DataError(
                f"{file.name}: a layer must have at most {max_rows} features, got "
                f"{info['features']}; cut it to the area"
            )
        with warnings.catch_warnings():
            # the reader warns of odd values; the rooms that use them say so with their row
            warnings.simplefilter("ignore")
            table = pyogrio.read_dataframe(file, layer=layer)
    except shapely.errors.ShapelyError as error:
        said = plain_text(str(error).splitlines()[0], most=120)
        raise DataError(f"{file.name}: holds a broken shape ({said}); redraw it") from None
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError) as error:
        said = plain_text(str(error).splitlines()[0].replace(str(file), file.name), most=120)
        raise DataError(
            f"{file.name}: not readable as {file.suffix[1:]} ({said}); save it again"
        ) from None
    if not isinstance(table, geopandas.GeoDataFrame):
        raise DataError(f"{file.name}: holds no shapes; save it with its geometry")
    if table.empty:
        raise DataError(f"{file.name}: holds no features; fetch or save it again")
    if table.crs is None:
        raise DataError(
            f"{file.name}: does not say its coordinate system; add the .prj file or save it as "
            "GeoJSON in degrees"
        )
    table = table.to_crs("EPSG:4326")
    table["row"] = range(1, len(table) + 1)
    return table


def _pick_layer(file: Path, layers: Any) -> str | None:
    """Return the one layer with shapes; tables beside it, such as of styles, are left aside."""
    names = [plain_text(name, most=40) for name, kind in layers if kind is not None]
    if len(names) > 1:
        raise DataError(
            f"{file.name}: holds {len(names)} layers ({', '.join(names[:6])}); save the one that "
            "is meant by itself"
        )
    return next((str(name) for name, kind in layers if kind is not None), None)

"""What do the table and the map each say about other washes, one entry at a time?

Nothing is merged here. A row that cannot be used is a fault and all faults are told at
once; columns that are not understood are named in a note.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from capture.area import Area
from capture.around.dates import read_date, read_opening_hours
from capture.around.formats import read_format, read_tags
from capture.basis import DataError, plain_text, raise_gathered
from capture.place import Place, explain_outside

#: field -> names under which a table may hold it, lower case
COLUMNS: Final[Mapping[str, tuple[str, ...]]] = {
    "id": ("id", "rival_id", "wash_id"),
    "name": ("name", "rival", "wash", "business"),
    "format": ("format", "type", "kind", "wash_type"),
    "bays": ("bays", "lanes", "stalls"),
    "status": ("status", "state"),
    "opened": ("opened", "open_date", "opening", "opening_year", "year_opened", "start_date"),
    "closed": ("closed", "close_date", "closing", "year_closed", "end_date"),
    "price_usd": ("price_usd", "price", "ticket_price_usd", "ticket", "base_price"),
    "open_hours_day": ("open_hours_day", "open_hours", "hours", "opening_hours"),
}
_IGNORED: Final = frozenset(
    {"row", "geometry", "lat", "lon", "latitude", "longitude", "lng", "source", "note", "invented"}
)
_STATUS_WORDS: Final = (
    (r"clos|shut|disused|demol|former|gone", "closed"),
    (r"plan|propos|permit|construct|filed|future|coming", "planned"),
    (r"open|operat|exist|active", "open"),
)
_NUMBER: Final = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?|[-+]?inf", re.IGNORECASE)
_MOST_PRICE_USD: Final = 1000.0
_MOST_BAYS: Final = 100.0
#: rows of a table of rivals at most
MOST_ROWS: Final = 5_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One mention of a wash in one source."""

    #: of the table or the map
    id: str
    #: as written
    name: str
    #: one of the rival formats
    format: str
    #: degrees
    lat: float
    #: degrees
    lon: float
    #: metres
    x: float
    #: metres
    y: float
    #: NaN where not told
    bays: float = math.nan
    #: decimal year or NaN
    opened: float = math.nan
    #: decimal year or NaN
    closed: float = math.nan
    #: "open", "planned", "closed" or "" where not told
    status: str = ""
    #: USD or NaN
    price_usd: float = math.nan
    #: hours or NaN
    open_hours_day: float = math.nan
    #: in words
    source: str
    #: 0 table, 1 building or ground on the map, 2 node on the map
    rank: int
    #: ids of the entries that this one was made of
    merged: tuple[str, ...] = ()


def gather_map_entries(place: Place) -> list[Entry]:
    """List the washes of the map: car washes, and fuel stations that say they have one."""
    found = []
    for feature in place.features.to_dict("records"):
        tags: Mapping[str, str] = feature["tags"]
        if not is_wash(tags):
            continue
        found.append(
            Entry(
                id=str(feature["osm_id"]),
                name=plain_text(feature["name"] or tags.get("brand", tags.get("operator", ""))),
                format=read_tags(tags),
                lat=float(feature["lat"]),
                lon=float(feature["lon"]),
                x=float(feature["x"]),
                y=float(feature["y"]),
                bays=_read_number(tags.get("car_wash:bays", ""), 1, _MOST_BAYS),
                opened=read_date(tags.get("start_date", "")),
                closed=read_date(tags.get("end_date", "")),
                open_hours_day=read_opening_hours(tags.get("opening_hours", "")),
                source="the map",
                rank=1 if float(feature["area_m2"]) > 0 else 2,
            )
        )
    return sorted(found, key=lambda entry: (entry.rank, entry.id))


def is_wash(tags: Mapping[str, str]) -> bool:
    """Say whether map tags describe a place that washes cars.

    Examples
    --------
    >>> is_wash({"amenity": "fuel", "car_wash": "no"}), is_wash({"building": "car_wash"})
    (False, True)
    """
    if tags.get("amenity") in ("car_wash", "vehicle_wash") or tags.get("shop") == "car_wash":
        return True
    if tags.get("building") == "car_wash":
        return True
    return tags.get("amenity") == "fuel" and tags.get("car_wash", "no") not in ("no", "")


def _read_number(value: Any, least: float, most: float) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError):
        return math.nan
    return number if least <= number <= most else math.nan


def gather_table_entries(area: Area, place: Place) -> tuple[list[Entry], list[str]]:
    """Read the area's table of rivals; returns entries and notes.

    Raises
    ------
    DataError
        One error that names every row without a place, or with an impossible value.
    """
    table = area.read("rivals")
    if table is None:
        return [], ["no table of rivals is given; only those on the map are known"]
    if len(table) > MOST_ROWS:
        raise DataError(
            f"rivals: the table must have at most {MOST_ROWS} rows, got {len(table)}; cut it to "
            "the area"
        )
    columns = _find_columns([str(name) for name in table.columns])
    faults: list[str] = []
    entries = []
    notes = []
    geometry = table["geometry"] if "geometry" in table.columns else [None] * len(table)
    for record, shape in zip(table.to_dict("records"), geometry, strict=True):
        row = int(record["row"])
        if shape is None or shape.is_empty:
            faults.append(f"row {row}: must have a latitude and a longitude in degrees; add them")
            continue
        cells = {field: _clean(record[name]) for field, name in columns.items()}
        hours = cells.get("open_hours_day", "")
        if hours and not _NUMBER.fullmatch(hours) and math.isnan(read_opening_hours(hours)):
            notes.append(f"rivals, row {row}: opening hours {hours[:40]!r} are not understood")
        point = shape.representative_point() if shape.geom_type != "Point" else shape
        entries.append(_read_row(cells, row, point, place, faults))
        if outside := explain_outside(place, float(point.y), float(point.x)):
            notes.append(f"rivals, row {row}: {outside}; until then it pulls nobody")
    layer = area.layers["rivals"]
    raise_gathered(faults, where=layer.path.name if layer.path else "rivals")
    return entries, [*notes, *_note_columns(table.columns, columns)]


def _find_columns(names: list[str]) -> dict[str, str]:
    lower = {re.sub(r"[\s\-]+", "_", name.strip().lower()): name for name in names}
    found = {}
    for field, known in COLUMNS.items():
        for name in known:
            if name in lower:
                found[field] = lower[name]
                break
    return found


def _note_columns(names: Any, columns: Mapping[str, str]) -> list[str]:
    used = {*columns.values()}
    left = [str(n) for n in names if str(n) not in used and str(n).lower() not in _IGNORED]
    if not left:
        return []
    said = ", ".join(plain_text(name, most=40) for name in left[:8])
    return [f"columns of the rivals' table that are not used: {said}"]


def _clean(value: Any) -> str:
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    text = plain_text(value)
    return "" if text.lower() in ("nan", "none", "<na>", "nat") else text


def _read_row(
    cells: Mapping[str, str], row: int, point: Any, place: Place, faults: list[str]
) -> Entry:
    def number(field: str, least: float, most: float, unit: str) -> float:
        text = cells.get(field, "").lstrip("$")
        if not text:
            return math.nan
        value = _read_number(text, least, most)
        if math.isnan(value):
            faults.append(f"row {row}: {field} must be {least:g} to {most:g} {unit}, got {text!r}")
        return value

    def date(field: str) -> float:
        text = cells.get(field, "")
        value = read_date(text)
        if text and math.isnan(value):
            faults.append(f"row {row}: {field} must be a date such as 2016-05, got {text!r}")
        return value

    hours = cells.get("open_hours_day", "")
    if _NUMBER.fullmatch(hours) and math.isnan(read_opening_hours(hours)):
        faults.append(f"row {row}: open_hours_day must be above 0 to 24 h, got {hours!r}")
    x, y = place.network.projection.to_xy([point.y], [point.x])
    opened, closed = date("opened"), date("closed")
    if opened > closed:
        faults.append(f"row {row}: closed must come after opened; swap or mend the dates")
    return Entry(
        id=cells.get("id", "") or f"row{row}",
        name=cells.get("name", ""),
        format=read_format(cells.get("format", "")),
        lat=float(point.y),
        lon=float(point.x),
        x=float(x[0]),
        y=float(y[0]),
        bays=number("bays", 1, _MOST_BAYS, "bays"),
        opened=opened,
        closed=closed,
        status=_read_status(cells.get("status", "")),
        price_usd=number("price_usd", 0.01, _MOST_PRICE_USD, "USD"),
        open_hours_day=read_opening_hours(hours),
        source=f"your table, row {row}",
        rank=0,
    )


def _read_status(text: str) -> str:
    for pattern, status in _STATUS_WORDS:
        if re.search(pattern, text.lower()):
            return status
    return ""

"""How do a user's own washes join the area's known sites?

Own rows are text as pasted or typed: they are taken in, measured on the map where they
stand on it, checked, and put after the area's rows. A row of the same name replaces the
area's. Rows left out of the fit stay in the list of all.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import DataError, InputError, Sheet, plain_text
from capture.share import VALUES, Intake, KnownSites, check_known_sites, take_in
from capture.share.intake import read_heading
from capture.share.months import pivot_months

FloatArray = NDArray[np.float64]
Measure = Callable[[pd.DataFrame], Intake]

MOST_OWN_ROWS: Final = 500
MOST_CELL: Final = 120
_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov",
                  "dec")  # fmt: skip
#: columns of an empty table to fill in, the usual ones first
TEMPLATE: Final = (
    "id", "town", "operator", "format", "bays", "lat", "lon", "cars_per_year", "aadt_veh_day",
    "tickets_per_year", "member_cars_per_year", "line_cars_per_hour", "years_open",
    "plan_offered", "ticket_price_usd", "delay_s", "sight", "pull", "passed_first_share",
    "people_10min", "price_ratio", "aadt_cv", "at_capacity",
    *(f"cars_{month}" for month in _MONTHS),
)  # fmt: skip
#: columns always shown for editing
_SHOWN: Final = TEMPLATE[:14]


#: column of a table of washes -> what it is called
_COLUMN_WORDS: Final[Mapping[str, str]] = {
    "id": "site",
    "town": "town",
    "operator": "run by",
    "format": "kind of wash",
    "bays": "bays",
    "lat": "latitude",
    "lon": "longitude",
    "cars_per_year": "cars a year",
    "aadt_veh_day": "vehicles passing a day",
    "tickets_per_year": "washes by ticket a year",
    "member_cars_per_year": "washes by members a year",
    "line_cars_per_hour": "most cars an hour of its line",
    "years_open": "years open",
    "plan_offered": "a plan is sold",
    "ticket_price_usd": "price of a wash, $",
    "delay_s": "delay turning in and out, s",
    "sight": "seen in time, 0 to 1",
    "pull": "pull of rivals",
    "passed_first_share": "rival passed first, 0 to 1",
    "people_10min": "people within 10 minutes",
    "price_ratio": "price over the area's",
    "aadt_cv": "relative error of the count",
    "at_capacity": "its line was full",
}
_MONTH_WORDS: Final = ("January", "February", "March", "April", "May", "June", "July", "August",
                       "September", "October", "November", "December")  # fmt: skip


def say_column(name: str) -> str:
    """Say the name of a column of washes in plain words.

    Examples
    --------
    >>> say_column("tickets_per_year"), say_column("cars_jan"), say_column("my own")
    ('washes by ticket a year', 'cars in January', 'my own')
    """
    month = dict(zip(_MONTHS, _MONTH_WORDS, strict=True)).get(name.removeprefix("cars_"))
    if month is not None and name.startswith("cars_"):
        return f"cars in {month}"
    return _COLUMN_WORDS.get(name, name.replace("_", " "))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JoinedSites:
    """The area's known sites and the user's own."""

    #: all rows
    everyone: KnownSites
    #: the rows that the fit reads
    used: KnownSites
    #: names of the user's own rows
    own: tuple[str, ...]
    #: names left out of the fit
    left_out: tuple[str, ...]
    #: the user's own rows as taken in and measured
    table: pd.DataFrame
    #: cars by month of own rows that tell them, by name, each of shape (12,)
    months: Mapping[str, FloatArray]
    #: (degrees north, degrees east) of own rows that stand on the map, by name
    spots: Mapping[str, tuple[float, float]]
    #: what was done to the rows, one sentence each
    notes: tuple[str, ...]


def clean_rows(table: pd.DataFrame) -> list[dict[str, str]]:
    """Turn a table into rows of plain text, usual headings made ours, to be kept as JSON.

    Rows by month become one row a site.

    Parameters
    ----------
    table : DataFrame
        As pasted, uploaded or typed; rows without any text are left away.

    Returns
    -------
    list of dict of str to str

    Raises
    ------
    DataError
        For more rows than are kept, two columns that stand for one, or a cell longer than
        any of a table of sites.

    Examples
    --------
    >>> clean_rows(pd.DataFrame({"Site": ["Oak St", None], "cars": ["90000", None]}))
    [{'id': 'Oak St', 'cars_per_year': '90000'}]
    """
    names = [plain_text(read_heading(heading), most=40) for heading in table.columns]
    twice = [name for place, name in enumerate(names) if name in names[:place]]
    if twice:
        raise DataError(f"your sites: two columns stand for {twice[0]}; take one out")
    named = table.set_axis(names, axis=1)
    if "month" in names:
        named = pivot_months(named)
    if len(named) > MOST_OWN_ROWS:
        raise DataError(f"your sites: at most {MOST_OWN_ROWS} rows are kept, got {len(named)}")
    rows = []
    for number, row in enumerate(named.to_dict("records"), start=2):
        kept = {}
        for name, cell in row.items():
            text = "" if cell is None or pd.isna(cell) else str(cell).strip()
            if len(text) > MOST_CELL:
                raise DataError(
                    f"your sites: row {number}: {plain_text(name, most=30)} has {len(text)} "
                    f"characters, at most {MOST_CELL} are read; shorten it"
                )
            if text:
                kept[str(name)] = plain_text(text, most=MOST_CELL)
        if kept:
            rows.append(kept)
    return rows


def merge_rows(
    old: Sequence[Mapping[str, str]], new: Sequence[Mapping[str, str]]
) -> list[dict[str, str]]:
    """Put new rows after old ones; an old row of the same ``id`` gives way.

    Examples
    --------
    >>> merge_rows([{"id": "a"}, {"bays": "1"}], [{"id": "a", "bays": "2"}])
    [{'bays': '1'}, {'id': 'a', 'bays': '2'}]
    """
    named = {row["id"] for row in new if "id" in row}
    kept = [row for row in old if row.get("id") not in named or "id" not in row]
    return [dict(row) for row in (*kept, *new)]


def make_own_table(rows: Sequence[Mapping[str, str]]) -> pd.DataFrame:
    """Make the table in which own rows are edited: columns in use and the usual ones."""
    used = list(dict.fromkeys(name for row in rows for name in row))
    columns = [*_SHOWN, *(name for name in used if name not in _SHOWN)]
    cells = [[row.get(name, "") for name in columns] for row in rows]
    return pd.DataFrame(cells, columns=columns, dtype=object)


def join_known(
    area: Any,
    rows: Sequence[Mapping[str, str]],
    *,
    left_out: Sequence[str] = (),
    measure: Measure | None = None,
    values: Sheet = VALUES,
) -> JoinedSites:
    """Join a user's own washes and the area's known sites.

    Parameters
    ----------
    area : Area
        Its ``known_sites`` layer comes first.
    rows : sequence of mapping of str to str
        The user's own, headings as in the file.
    left_out : sequence of str
        Names that the fit does not read; one that is not there changes nothing.
    measure : callable, optional
        Fills what own rows with ``lat`` and ``lon`` leave empty from the map.
    values : Sheet
        The share's constants.

    Returns
    -------
    JoinedSites

    Raises
    ------
    DataError
        With every fault of the user's rows, or of the area's table.
    """
    theirs = area.read("known_sites")
    taken = _take_own(rows)
    table, notes = taken.table, list(taken.notes)
    if measure is not None and _has_places(table):
        told = measure(table)
        table, notes = told.table, [*notes, *_shorten(told.notes)]
    mine = _check_own(table, notes, values)
    everyone = _join(theirs, table, mine, notes, values)
    full = [name for name, at in zip(mine.ids, mine.at_capacity, strict=True) if at]
    if full:
        notes.append(
            f"{', '.join(full)}: the line was full, so at least that many wanted to be washed"
        )
    gone = tuple(name for name in dict.fromkeys(map(str, left_out)) if name in everyone.ids)
    months = {}
    if taken.months is not None:
        told_rows = zip(mine.ids, taken.months, strict=True)
        months = {name: row for name, row in told_rows if np.isfinite(row).any()}
    return JoinedSites(
        everyone=everyone,
        used=everyone.leave_out(gone),
        own=mine.ids,
        left_out=gone,
        table=table,
        months=months,
        spots=_read_spots(table, mine.ids),
        notes=tuple(notes),
    )


def _take_own(rows: Sequence[Mapping[str, str]]) -> Intake:
    if any(not isinstance(row, Mapping) for row in rows):
        raise InputError("your sites: each row must be a mapping of column to text; paste again")
    columns = list(dict.fromkeys(name for row in rows for name in row))
    cells = [[str(row.get(name, "")) for name in columns] for row in rows]
    return take_in(pd.DataFrame(cells, columns=columns, dtype=object))


def _shorten(notes: Sequence[str]) -> list[str]:
    """Say in one note which columns were measured on the map."""
    end = " was measured on the map"
    names = [note.partition(" ")[0] for note in notes if note.endswith(end)]
    kept = [note for note in notes if not note.endswith(end)]
    return [*kept, *([f"measured on the map where empty: {', '.join(names)}"] if names else [])]


def _has_places(table: pd.DataFrame) -> bool:
    return {"lat", "lon"} <= set(table.columns) and bool((table["lat"].astype(str) != "").any())


def _check_own(table: pd.DataFrame, notes: Sequence[str], values: Sheet) -> KnownSites:
    if not len(table):
        return check_known_sites(_empty(), values=values)
    given = table if "aadt_veh_day" in table.columns else table.assign(aadt_veh_day="")
    try:
        return check_known_sites(given, where="your sites", values=values)
    except DataError as error:
        unread = [note for note in notes if "was not measured" in note]
        raise DataError("; ".join([str(error), *unread[:3]])) from None


def _empty() -> pd.DataFrame:
    return pd.DataFrame({"cars_per_year": [], "aadt_veh_day": []})


def _join(
    theirs: Any, table: pd.DataFrame, mine: KnownSites, notes: list[str], values: Sheet
) -> KnownSites:
    """Check the area's rows and the user's together; the user's stand above the area's."""
    area_rows = _empty()
    if theirs is not None:
        area_rows = pd.DataFrame(theirs).drop(columns="geometry", errors="ignore")
    if not len(mine):
        return check_known_sites(area_rows, values=values)
    if "id" in area_rows.columns:
        twice = area_rows["id"].astype(str).isin(mine.ids)
        if twice.any():
            notes.append(f"{int(twice.sum())} of the area's rows are replaced by yours")
        area_rows = area_rows[~twice]
    own = table.assign(id=list(mine.ids), row=mine.row)
    parts = [part.astype(object) for part in (area_rows, own) if len(part)]
    joined = pd.concat(parts, ignore_index=True)
    return check_known_sites(joined.where(joined.notna(), None), values=values)


def _read_spots(table: pd.DataFrame, ids: Sequence[str]) -> dict[str, tuple[float, float]]:
    if not _has_places(table):
        return {}
    lat = pd.to_numeric(table["lat"], errors="coerce")
    lon = pd.to_numeric(table["lon"], errors="coerce")
    spots = zip(ids, lat.tolist(), lon.tolist(), strict=True)
    return {name: (y, x) for name, y, x in spots if np.isfinite(y) and np.isfinite(x)}


def make_read_table(joined: JoinedSites) -> pd.DataFrame:
    """Make the table of own rows as the fit reads them, given or measured.

    Returns
    -------
    DataFrame
        Columns ``id, cars_per_year, vehicles_per_day, share``, the factors' measures, and
        ``line`` which says whether it was full.
    """
    rows = [joined.everyone.ids.index(name) for name in joined.own]
    mine = joined.everyone.take(rows)
    measured = {
        name: pd.to_numeric(joined.table[name], errors="coerce").to_numpy(dtype=np.float64)
        if name in joined.table.columns
        else np.full(len(rows), np.nan)
        for name in ("delay_s", "sight", "pull", "passed_first_share", "people_10min")
    }
    return pd.DataFrame(
        {
            "id": mine.ids,
            "cars_per_year": mine.cars_per_year,
            "vehicles_per_day": mine.vehicles_veh_day,
            "share": mine.share,
            **measured,
            "line": ["full" if full else "had room" for full in mine.at_capacity],
        }
    )

"""Who else washes cars here: from the map, a table, and by hand?

Entries of one wash (a node and its building, a row of the table and the map) are merged.
A rival is open, planned or closed; only open ones count unless asked otherwise. What a
table says stands above what the map says, what the user says by hand above both.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.area import Area
from capture.around.gather import Entry, gather_map_entries, gather_table_entries
from capture.around.hand import ARRAYS, blank_row, put_by_hand
from capture.around.merge import merge_entries
from capture.around.values import VALUES
from capture.basis import InputError, Sheet, plain_text
from capture.place import Place

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOST_RIVALS: Final = 5_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rivals:
    """K other washes; made by :func:`load_rivals`."""

    #: stable ids: of the table, else of the map such as "n123"
    ids: tuple[str, ...]
    #: names as written, "" if none
    names: tuple[str, ...]
    #: one of ``RIVAL_FORMATS`` each
    formats: tuple[str, ...]
    #: degrees north, (K,)
    lat: FloatArray
    #: degrees east, (K,)
    lon: FloatArray
    #: metres east in the place's plane, (K,)
    x: FloatArray
    #: metres north, (K,)
    y: FloatArray
    #: bays, 1 where not told, (K,)
    bays: FloatArray
    #: decimal year of opening, NaN where not told, (K,)
    opened: FloatArray
    #: decimal year of closing, NaN where none, (K,)
    closed: FloatArray
    #: "open", "planned" or "closed" each
    status: tuple[str, ...]
    #: single wash, USD, NaN where not told, (K,)
    price_usd: FloatArray
    #: hours open a day, NaN where not told, (K,)
    open_hours_day: FloatArray
    #: where each is from, in words
    source: tuple[str, ...]
    #: ids of all entries that were merged into each
    merged: tuple[tuple[str, ...], ...]
    #: what a reader should know about the making of the list
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.ids)

    def take(self, index: ArrayLike) -> Rivals:
        """Return some of the rivals, by index or mask."""
        at = np.arange(len(self))[np.asarray(index)]
        return _rebuild(self, [self.row(int(k)) for k in at])

    def row(self, k: int) -> dict[str, Any]:
        """Return one rival as a mapping of field to value."""
        return {name: getattr(self, name)[k] for name in _ROW_FIELDS}

    def counts(self, *, planned: bool = False) -> BoolArray:
        """Say which rivals are in the market, shape (K,): open ones, planned ones if asked."""
        kept = ("open", "planned") if planned else ("open",)
        return np.array([status in kept for status in self.status], dtype=bool)

    def add(self, *, place: Place, lat: float, lon: float, **more: Any) -> Rivals:
        """Return a list with one more rival, as when the user clicks a spot on the map.

        Parameters
        ----------
        place : Place
            Gives the plane of metres.
        lat, lon : float
            Where it stands, degrees.
        **more
            ``id, name, format, bays, status, price_usd, open_hours_day, opened, closed``.

        Raises
        ------
        InputError
            For a field that is not known or breaks its rule, or an id that is taken.
        """
        row = put_by_hand(blank_row(self._free_id()), more | {"lat": lat, "lon": lon}, place)
        if row["ids"] in self.ids:
            raise InputError(f"rival: id {row['ids']!r} is taken; choose another")
        return _rebuild(self, [*(self.row(k) for k in range(len(self))), row])

    def change(self, rival_id: str, *, place: Place, **changes: Any) -> Rivals:
        """Return a list with one rival changed by hand; fields as in :meth:`add`."""
        at = self.find(rival_id)
        rows = [self.row(k) for k in range(len(self))]
        rows[at] = put_by_hand(rows[at], changes, place) | {"source": "changed by hand"}
        return _rebuild(self, rows)

    def remove(self, rival_id: str) -> Rivals:
        """Return a list without one rival; a note says that it was taken out."""
        at = self.find(rival_id)
        kept = _rebuild(self, [self.row(k) for k in range(len(self)) if k != at])
        said = f"{self.names[at] or rival_id} was taken out by hand"
        return replace(kept, notes=(*self.notes, said))

    def _free_id(self) -> str:
        """Return an id that no rival has yet."""
        number = 1
        while f"hand{number}" in self.ids:
            number += 1
        return f"hand{number}"

    def find(self, rival_id: str) -> int:
        """Return the place in the list of one rival.

        Raises
        ------
        InputError
            When there is none of that id.
        """
        for k, known in enumerate(self.ids):
            if known == rival_id or rival_id in self.merged[k]:
                return k
        raise InputError(
            f"rival: there is none with id {plain_text(rival_id, most=60)!r}; the list has "
            f"{len(self)}, look at its ids"
        )


_ROW_FIELDS: Final = tuple(field.name for field in fields(Rivals) if field.name != "notes")


def load_rivals(
    area: Area,
    place: Place,
    *,
    edits: Sequence[dict[str, Any]] = (),
    on_year: float | None = None,
    values: Sheet = VALUES,
) -> Rivals:
    """Load all rivals of an area: the table, the map, then changes made by hand.

    Parameters
    ----------
    area : Area
        Its ``rivals`` layer is a table or points with columns such as ``name``, ``format``,
        ``bays``, ``status``, ``opened``, ``closed``, ``price_usd``, ``open_hours_day``.
    place : Place
        Its features are the washes and the fuel stations with a wash of the map.
    edits : sequence of dict, optional
        Remembered changes, see :func:`apply_edits`.
    on_year : float, optional
        Decimal year by which opening and closing dates are judged where no status is given;
        the middle of the area's year of study, else today, when left out.
    values : Sheet
        Distances of merging.

    Returns
    -------
    Rivals
        Table rows first, in their order, then those of the map alone.

    Raises
    ------
    DataError
        One error that names every row of the table that cannot be used.
    """
    year = on_year
    if year is None:
        year = _today() if area.study_year is None else area.study_year + 0.5
    entries, notes = gather_table_entries(area, place)
    entries += gather_map_entries(place)
    merged, said = merge_entries(entries, values=values)
    rivals = _from_entries(merged, year=year, notes=[*notes, *said])
    return apply_edits(rivals, edits, place=place)


def apply_edits(rivals: Rivals, edits: Sequence[dict[str, Any]], *, place: Place) -> Rivals:
    """Apply remembered changes in their order.

    Parameters
    ----------
    rivals : Rivals
    edits : sequence of dict
        ``{"do": "add", "lat": .., "lon": .., "format": ..}``, ``{"do": "change", "id": ..,
        "format": ..}`` or ``{"do": "remove", "id": ..}``; plain JSON values.
    place : Place

    Returns
    -------
    Rivals

    Raises
    ------
    InputError
        For a change that is not understood; the message says which.
    """
    changed = rivals
    for number, edit in enumerate(edits, start=1):
        if not isinstance(edit, Mapping):
            raise InputError(
                f"change {number} of the rivals must be a mapping, got {edit!r}; mend it"
            )
        more: dict[str, Any] = {k: v for k, v in edit.items() if k not in ("do", "id")}
        known = str(edit.get("id", ""))
        if edit.get("do") == "add" and not {"lat", "lon"} <= set(more):
            raise InputError(f"change {number} of the rivals adds one without lat and lon; mend it")
        if edit.get("do") == "add":
            more |= {"id": known} if known else {}
            changed = changed.add(place=place, **more)
        elif edit.get("do") == "change":
            changed = changed.change(known, place=place, **more)
        elif edit.get("do") == "remove":
            changed = changed.remove(known)
        else:
            raise InputError(
                f"change {number} of the rivals: do must be add, change or remove, "
                f"got {plain_text(edit.get('do'), most=40)!r}; mend it"
            )
    return changed


def _today() -> float:
    now = datetime.datetime.now(tz=datetime.UTC)
    return now.year + (now.month - 0.5) / 12


def _tell_status(entry: Entry, year: float) -> str:
    if entry.status:
        return entry.status
    if not math.isnan(entry.closed) and entry.closed <= year:
        return "closed"
    return "planned" if not math.isnan(entry.opened) and entry.opened > year else "open"


def _from_entries(entries: Sequence[Entry], *, year: float, notes: Sequence[str]) -> Rivals:
    rows = [
        {
            "ids": entry.id,
            "names": entry.name,
            "formats": entry.format,
            "status": _tell_status(entry, year),
            "source": entry.source,
            "merged": entry.merged or (entry.id,),
            "bays": 1.0 if math.isnan(entry.bays) else entry.bays,
            **{name: getattr(entry, name) for name in ARRAYS if name != "bays"},
        }
        for entry in entries
    ]
    return _build(rows, notes=tuple(notes))


def _build(rows: Sequence[dict[str, Any]], *, notes: tuple[str, ...]) -> Rivals:
    columns: dict[str, Any] = {
        name: (
            np.array([row[name] for row in rows], dtype=np.float64)
            if name in ARRAYS
            else tuple(row[name] for row in rows)
        )
        for name in _ROW_FIELDS
    }
    return Rivals(**columns, notes=notes)


def _rebuild(rivals: Rivals, rows: Sequence[dict[str, Any]]) -> Rivals:
    if len(rows) > MOST_RIVALS:
        raise InputError(f"rivals: there may be at most {MOST_RIVALS}, got {len(rows)}; cut them")
    return _build(rows, notes=rivals.notes)

"""Which tables from a study's file can the chain walk on, and which are refused?

A file may come from anybody. Tables that the rooms make themselves are checked by those
rooms; here the same is asked of tables that a file brings: rows that match, numbers that
are finite and in range, words that are known, roads that exist.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from capture.basis import DataError, raise_gathered

if TYPE_CHECKING:
    from capture.place import Place

#: table -> field that has one entry a row
_ROWS: Final = {"known": "ids", "rivals": "ids", "frontage": "driveway"}
#: fields whose entries may be left open
_MAY_LACK: Final = frozenset({"member_share", "opened", "closed", "price_usd", "open_hours_day"})
#: table and field -> least, most, unit
_BOUNDS: Final[Mapping[tuple[str, str], tuple[float, float, str]]] = {
    ("known", "bays"): (1, 100, "bays"),
    ("known", "cars_per_year"): (1, 1e7, "cars"),
    ("known", "vehicles_veh_day"): (1, 1e7, "vehicles"),
    ("known", "vehicles_cv"): (0, 10, ""),
    ("known", "cars_cv"): (0, 10, ""),
    ("known", "member_share"): (0, 1, ""),
    ("known", "weight"): (0, 1e6, ""),
    ("rivals", "lat"): (-90, 90, "degrees"),
    ("rivals", "lon"): (-180, 180, "degrees"),
    ("rivals", "bays"): (1, 100, "bays"),
    ("rivals", "price_usd"): (0.01, 1000, "USD"),
    ("rivals", "open_hours_day"): (0.1, 24, "h"),
    ("frontage", "site"): (0, 0, ""),
    ("frontage", "fraction"): (0, 1, ""),
    ("frontage", "side"): (-1, 1, ""),
    ("frontage", "distance_m"): (0, 1e4, "m"),
}
_MOST_METRES: Final = 1e7
_MOST_ROWS: Final = 20_000


def check_given(name: str, made: Any) -> None:
    """Refuse a table by hand that the chain could not walk on.

    Parameters
    ----------
    name : str
        Such as ``"rivals"``; what is no table was checked when it was made.
    made : KnownSites, Rivals, Frontage or other

    Raises
    ------
    DataError
        Naming all faults at once.
    """
    if name not in _ROWS:
        return
    rows = len(getattr(made, _ROWS[name]))
    faults = (
        [] if 0 < rows <= _MOST_ROWS or name == "rivals" else [f"rows must be 1 to {_MOST_ROWS:,}"]
    )
    for item in fields(made):
        values = getattr(made, item.name)
        if item.name == "notes" or not isinstance(values, tuple | np.ndarray):
            continue
        if len(values) != rows or np.ndim(values[:0]) != 1:
            faults.append(f"{item.name} must have {rows} entries")
        elif isinstance(values, np.ndarray):
            faults += _find_faults(name, item.name, values)
    faults += _find_unknown_words(name, made, rows)
    raise_gathered(faults, where=f"study file: {name}")


def _find_faults(table: str, name: str, values: Any) -> list[str]:
    low, high, unit = _BOUNDS.get((table, name), (-_MOST_METRES, _MOST_METRES, ""))
    numbers = np.asarray(values, dtype=np.float64)
    bad = ~((numbers >= low) & (numbers <= high))
    if name in _MAY_LACK:
        bad &= ~np.isnan(numbers)
    told = [f"{name} must be {low:g} to {high:g} {unit}".rstrip()]
    return told if bad.any() else []


def _find_unknown_words(name: str, made: Any, rows: int) -> list[str]:
    from capture.around import RIVAL_FORMATS
    from capture.around.hand import STATUSES
    from capture.basis.offer import FORMATS
    from capture.share import list_factors

    faults = []
    if name == "rivals":
        if set(made.formats) - set(RIVAL_FORMATS):
            faults.append(f"formats must be of {', '.join(RIVAL_FORMATS)}")
        if set(made.status) - set(STATUSES):
            faults.append(f"status must be of {', '.join(STATUSES)}")
    if name == "known":
        if set(made.formats) - set(FORMATS):
            faults.append(f"formats must be of {', '.join(FORMATS)}")
        if set(made.factors.names) - set(list_factors()) or len(made.factors.ids) != rows:
            faults.append("factors must be known ones, one row a site")
    if _ROWS[name] == "ids" and len(set(made.ids)) != rows:
        faults.append("ids must be unique")
    return faults


def check_frontage(frontage: Any, place: Place) -> None:
    """Refuse driveways on roads that the area does not have.

    Raises
    ------
    DataError
        When a driveway names such a road.
    """
    count = len(place.network.segment_name)
    segments = np.asarray(frontage.segment)
    if ((segments < 0) | (segments >= count)).any():
        raise DataError(
            "study file: a driveway lies on a road that this area does not have; has its roads "
            "file changed? Place the driveway again"
        )

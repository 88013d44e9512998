"""Who lives where: which column holds people, households, vehicles, income?

Zones are polygons or points. The usual tables of the American Community Survey are known by
their ids: B01003 people, B11001 households, B25046 vehicles, B19025 summed income; the
figures may stand in a table of their own (option ``table``). A median
is never averaged: income of a band is summed income over households.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from capture.area import Area
from capture.around.census import join_table
from capture.basis import DataError, plain_text, raise_gathered
from capture.place import Place

FloatArray = NDArray[np.float64]

#: amount -> its table in the American Community Survey
ACS_TABLES: Final[Mapping[str, str]] = {
    "people": "B01003",
    "households": "B11001",
    "vehicles": "B25046",
    "income_usd": "B19025",
}
#: amount -> headings that hold it, folded
_HEADINGS: Final[Mapping[str, frozenset[str]]] = {
    "people": frozenset(
        ["population", "people", "pop", "totalpopulation", "persons", "residents", "totpop"]
    ),
    "households": frozenset(
        ["households", "hh", "numhouseholds", "totalhouseholds", "hhs", "hholds"]
    ),
    "vehicles": frozenset(["vehicles", "cars", "aggregatevehicles", "vehiclesavailable", "autos"]),
    "income_usd": frozenset(
        [
            "aggregateincome",
            "aggregateincomeusd",
            "aggregatehouseholdincome",
            "totalincome",
            "totalincomeusd",
            "summedincome",
            "incomesum",
            "aggincome",
        ]
    ),
}
AMOUNTS: Final = tuple(_HEADINGS)
_MEDIAN: Final = re.compile(r"median|mean|average|avg|percapita", re.IGNORECASE)
#: the survey writes what it cannot tell as a large negative number
_ACS_GAPS: Final = -100_000_000.0
_MOST: Final = 1e15
_THOUSANDS: Final = r"\d{1,3}(,\d{3})+"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Zones:
    """Z zones with amounts, metres in the place's plane; made by :func:`load_zones`."""

    #: shapely geometries, (Z,)
    geometry: NDArray[np.object_]
    #: people, households, vehicles, income_usd: each (Z,), NaN where not told
    amounts: Mapping[str, FloatArray]
    #: which column each amount was taken from
    columns: Mapping[str, str]
    #: what a reader should know
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.geometry)


#: table read, so that the same table answers at once
_READ: WeakKeyDictionary[Place, tuple[Any, Zones]] = WeakKeyDictionary()


def load_zones(area: Area, place: Place) -> Zones | None:
    """Load the people layer of an area.

    Returns
    -------
    Zones or None
        None when the area has no such layer.

    Raises
    ------
    DataError
        When no column holds people or households, when the table has no shapes, or, told
        at once, for every amount below 0.
    """
    table = area.read("people")
    layer = area.layers.get("people")
    if table is None or layer is None or layer.path is None:
        return None
    kept = _READ.get(place)
    if kept is None or kept[0] is not table:
        joined, notes = join_table(table, layer.options, folder=area.folder, where=layer.path.name)
        kept = (table, _load(joined, notes, layer.path.name, place))
        _READ[place] = kept
    return kept[1]


def _load(table: Any, said: list[str], where: str, place: Place) -> Zones:
    if "geometry" not in table.columns:
        raise DataError(
            f"{where}: people must come with zones or points; give GeoJSON, a GeoPackage or a CSV "
            "with latitude and longitude"
        )
    columns = find_amounts([str(name) for name in table.columns])
    if not {"people", "households"} & set(columns):
        raise DataError(
            f"{where}: no column holds people or households; name one population or households, "
            f"got {plain_text(', '.join(str(n) for n in table.columns))}"
        )
    amounts, notes = _read_amounts(table, columns, where)
    columns = {name: column for name, column in columns.items() if not _is_blank(amounts[name])}
    if not {"people", "households"} & set(columns):
        raise DataError(
            f"{where}: no zone tells people or households as a number; mend those columns"
        )
    shapes = table.geometry.to_crs(place.network.projection.crs)
    kept = ~(shapes.isna() | shapes.is_empty)
    if not kept.all():
        notes.append(f"{where}: {int((~kept).sum())} rows have no shape and are left out")
    if "income_usd" not in columns and any(_MEDIAN.search(str(n)) for n in table.columns):
        notes.append(
            f"{where}: medians cannot be added up; give summed income (table B19025) to know income"
        )
    mask = kept.to_numpy()
    return Zones(
        geometry=_mend(shapes)[mask],
        amounts={name: amount[mask] for name, amount in amounts.items()},
        columns=columns,
        notes=(*said, *notes),
    )


def find_amounts(names: list[str]) -> dict[str, str]:
    """Find which heading holds which amount.

    Parameters
    ----------
    names : list of str
        Headings as written.

    Returns
    -------
    dict of str to str
        Amount to heading; margins of error and medians are never taken.

    Examples
    --------
    >>> find_amounts(["GEOID", "B11001_001E", "B11001_001M", "B19025_001E", "Pop"])
    {'people': 'Pop', 'households': 'B11001_001E', 'income_usd': 'B19025_001E'}
    """
    found = {}
    for amount in AMOUNTS:
        table = ACS_TABLES[amount].lower()
        pattern = re.compile(rf"{table}_?e?0*1?e?|{table}_?0*1_?e(stimate)?")
        exact = [name for name in names if pattern.fullmatch(name.strip().lower())]
        folded = [n for n in names if re.sub(r"[\W_]+", "", n.lower()) in _HEADINGS[amount]]
        if exact or folded:
            found[amount] = (exact or folded)[0]
    return found


def _read_amounts(
    table: Any, columns: Mapping[str, str], where: str
) -> tuple[dict[str, FloatArray], list[str]]:
    faults: list[str] = []
    notes: list[str] = []
    amounts = {}
    for amount in AMOUNTS:
        if amount not in columns:
            amounts[amount] = np.full(len(table), np.nan)
            continue
        name = columns[amount]
        read = _to_numbers(table[name])
        read[read <= _ACS_GAPS] = np.nan
        bad = (read < 0) | (np.abs(read) > _MOST)
        for k in np.flatnonzero(bad):
            row = int(table["row"].iloc[k])
            faults.append(f"row {row}: {name} must be 0 or more, got {read[k]:g}")
        gaps = int(np.isnan(read).sum())
        if gaps == len(read):
            notes.append(f"{where}: no zone tells {name} as a number, so it counts as not known")
            amounts[amount] = read
            continue
        if gaps:
            notes.append(f"{where}: {gaps} of {len(read)} zones do not tell {name}; taken as 0")
        amounts[amount] = np.nan_to_num(read)
    raise_gathered(faults, where=where)
    return amounts, notes


def _to_numbers(column: Any) -> FloatArray:
    """Read a column of amounts; thousands may be set apart by commas."""
    import pandas as pd

    if not pd.api.types.is_numeric_dtype(column):
        texts = column.astype("string").str.strip()
        grouped = texts.str.fullmatch(_THOUSANDS).fillna(False).astype(bool)
        column = texts.mask(grouped, texts.str.replace(",", ""))
    numbers = pd.to_numeric(column, errors="coerce")
    return np.array(numbers.to_numpy(dtype="float64", na_value=np.nan))


def _is_blank(amount: FloatArray) -> bool:
    return bool(np.isnan(amount).all())


def _mend(shapes: Any) -> NDArray[np.object_]:
    """Make shapes valid; those that lie nowhere on Earth meet no road and may be anything."""
    with np.errstate(invalid="ignore"):
        mended: NDArray[np.object_] = shapes.make_valid().to_numpy()
    return mended

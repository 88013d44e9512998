"""Which columns may a table of known sites have, and what does each of its cells say?

Every cell is text or a number from outside: empty means not known, anything else must be
within the range of its column. Faults are gathered, not raised one by one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import FORMATS, plain_text
from capture.share.factors import FloatArray

#: column of the table -> (measure, least, most, unit)
MEASURE_COLUMNS: Final[Mapping[str, tuple[str, float, float, str]]] = {
    "aadt_veh_day": ("vehicles_veh_day", 1.0, 1e6, "veh/day"),
    "delay_s": ("delay_s", 0.0, 3600.0, "s"),
    "sight": ("sight", 0.0, 1.0, "share"),
    "pull": ("pull", 0.0, 100.0, "rivals next door"),
    "passed_first_share": ("passed_first_share", 0.0, 1.0, "share"),
    "people_10min": ("people_10min", 0.0, 2e7, "people"),
    "price_ratio": ("price_ratio", 0.05, 20.0, "of the area's price"),
    "plan_offered": ("plan_offered", 0.0, 1.0, "0 or 1"),
    "years_open": ("years_open", 0.1, 100.0, "years"),
    "speed_mps": ("speed_mps", 0.0, 60.0, "m/s"),
    "income_usd": ("income_usd", 0.0, 1e7, "USD"),
    "attractions": ("attractions", 0.0, 1e4, "count"),
    "open_h": ("open_h", 0.5, 24.0, "h"),
    "huff_share": ("huff_share", 0.0, 1.0, "share"),
}
#: further number columns: least, most, unit
NUMBER_COLUMNS: Final[Mapping[str, tuple[float, float, str]]] = {
    "cars_per_year": (1.0, 5e6, "cars/year"),
    "cars_cv": (0.0, 2.0, "share"),
    "tickets_per_year": (0.0, 5e6, "cars/year"),
    "member_cars_per_year": (0.0, 5e6, "cars/year"),
    "aadt_cv": (0.0, 2.0, "share"),
    "bays": (1.0, 40.0, "bays"),
    "line_cars_per_hour": (1.0, 2000.0, "cars/h"),
    "at_capacity": (0.0, 1.0, "0 or 1"),
    "weight": (0.0, 1000.0, "power of its likelihood"),
}
#: columns that must be there
REQUIRED: Final = ("cars_per_year", "aadt_veh_day")
_WORDS: Final = {"true": 1.0, "yes": 1.0, "false": 0.0, "no": 0.0}


def read_rows(table: pd.DataFrame) -> NDArray[np.int64]:
    """Return the line of the file of each row."""
    if "row" in table.columns:
        return np.asarray(table["row"], dtype=np.int64)
    return np.arange(2, len(table) + 2, dtype=np.int64)


def read_numbers(
    table: pd.DataFrame, rows: NDArray[np.int64], faults: list[str]
) -> dict[str, FloatArray]:
    """Read every number column, NaN where empty; faults are added to the list."""
    limits = {name: limit[1:] for name, limit in MEASURE_COLUMNS.items()} | dict(NUMBER_COLUMNS)
    read = {}
    for name, (least, most, unit) in limits.items():
        column = np.full(len(table), math.nan)
        cells = list(table[name]) if name in table.columns else []
        for place, cell in enumerate(cells):
            number = read_number(cell)
            if number is None and name in REQUIRED:
                faults.append(f"row {rows[place]}: {name} is empty; give it in {unit}")
            elif number is not None and not least <= number <= most:
                faults.append(
                    f"row {rows[place]}: {name} must be {least:g} to {most:g} {unit}, "
                    f"got {plain_text(cell, most=30)!r}"
                )
            elif number is not None:
                column[place] = number
        read[name] = column
    return read


def read_number(cell: Any) -> float | None:
    """Return a cell as a number, None when empty, NaN (which no range holds) when it is text."""
    if cell is None or (isinstance(cell, float) and math.isnan(cell)) or cell is pd.NA:
        return None
    text = str(cell).strip().lower()
    if not text:
        return None
    if text in _WORDS:
        return _WORDS[text]
    try:
        return float(text)
    except ValueError:
        return math.nan


def read_text(table: pd.DataFrame, name: str) -> tuple[str, ...]:
    """Read a column of text, empty where there is none."""
    if name not in table.columns:
        return ("",) * len(table)
    return tuple("" if read_number(cell) is None else plain_text(cell) for cell in table[name])


def read_ids(table: pd.DataFrame, rows: NDArray[np.int64], faults: list[str]) -> tuple[str, ...]:
    """Read unique names; a row without one is named by its line."""
    given = read_text(table, "id")
    ids = tuple(name or f"row {row}" for name, row in zip(given, rows, strict=True))
    seen: dict[str, int] = {}
    for name, row in zip(ids, rows, strict=True):
        if name in seen:
            faults.append(f"row {row}: id {name!r} stands also in row {seen[name]}; rename one")
        seen[name] = int(row)
    return ids


def read_formats(
    table: pd.DataFrame, rows: NDArray[np.int64], faults: list[str]
) -> tuple[str, ...]:
    """Read formats; a row without one is an exterior conveyor."""
    given = read_text(table, "format")
    formats = tuple((name or "exterior").lower().replace("-", "_") for name in given)
    for name, row in zip(formats, rows, strict=True):
        if name not in FORMATS:
            faults.append(f"row {row}: format must be one of {', '.join(FORMATS)}, got {name!r}")
    return formats

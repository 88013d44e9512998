"""Which washes' yearly cars are known, and what was their road like?

A table of known sites, one row each, checked column by column; all faults are gathered
and said at once with their row. Only cars and vehicles passing must be given; a factor
left empty counts as missing and widens that row. Assumes that vehicles are washable
ones, both directions, all roads the site fronts.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import DataError, Sheet, raise_gathered
from capture.share.cells import (
    MEASURE_COLUMNS,
    REQUIRED,
    read_formats,
    read_ids,
    read_numbers,
    read_rows,
    read_text,
)
from capture.share.factors import CORE, EXTRA, FloatArray
from capture.share.table import FactorTable, make_factor_table
from capture.share.values import VALUES

MOST_ROWS: Final = 20_000
DAYS_PER_YEAR: Final = 365.0


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownSites:
    """The known sites, n rows."""

    #: names, unique
    ids: tuple[str, ...]
    #: town of each, "" where not told
    towns: tuple[str, ...]
    #: operator of each, "" where not told
    operators: tuple[str, ...]
    #: format of each
    formats: tuple[str, ...]
    #: bays of each, 1 for conveyors, shape (n,)
    bays: FloatArray
    #: cars washed in a year, shape (n,)
    cars_per_year: FloatArray
    #: washable vehicles passing a day, both directions, shape (n,)
    vehicles_veh_day: FloatArray
    #: relative error of that count, shape (n,)
    vehicles_cv: FloatArray
    #: relative error of the cars, above 0 where part of the year was filled in, shape (n,)
    cars_cv: FloatArray
    #: part of the cars that plan members brought, NaN where not told, shape (n,)
    member_share: FloatArray
    #: whether the line was full, so that demand was at least the cars washed, shape (n,)
    at_capacity: NDArray[np.bool_]
    #: power of each row's likelihood, shape (n,)
    weight: FloatArray
    #: the factors of each
    factors: FactorTable
    #: line of the file of each, shape (n,)
    row: NDArray[np.int64]
    #: where the table came from
    source: str

    def __len__(self) -> int:
        return len(self.ids)

    @property
    def share(self) -> FloatArray:
        """Cars washed per washable vehicle passing, shape (n,)."""
        return np.asarray(self.cars_per_year / (DAYS_PER_YEAR * self.vehicles_veh_day))

    def take(self, index: Sequence[int] | NDArray[np.intp]) -> KnownSites:
        """Return some of the rows."""
        rows = np.asarray(index, dtype=np.intp)

        def pick(texts: tuple[str, ...]) -> tuple[str, ...]:
            return tuple(texts[row] for row in rows)

        return KnownSites(
            ids=pick(self.ids),
            towns=pick(self.towns),
            operators=pick(self.operators),
            formats=pick(self.formats),
            bays=self.bays[rows],
            cars_per_year=self.cars_per_year[rows],
            vehicles_veh_day=self.vehicles_veh_day[rows],
            vehicles_cv=self.vehicles_cv[rows],
            cars_cv=self.cars_cv[rows],
            member_share=self.member_share[rows],
            at_capacity=self.at_capacity[rows],
            weight=self.weight[rows],
            factors=self.factors.take(rows),
            row=self.row[rows],
            source=self.source,
        )

    def scale(self, part: FloatArray) -> KnownSites:
        """Return the same sites with part of each one's cars, shape (n,)."""
        return replace(self, cars_per_year=self.cars_per_year * part)

    def leave_out(self, ids: Sequence[str]) -> KnownSites:
        """Return all rows but those named.

        Raises
        ------
        DataError
            When a name is not in the table.
        """
        unknown = [name for name in ids if name not in self.ids]
        if unknown:
            raise DataError(f"known sites: there is no row {unknown[0]!r} to leave out")
        return self.take([row for row, name in enumerate(self.ids) if name not in set(ids)])

    def data_hash(self) -> str:
        """Return a digest of everything the regression reads, to tie a fit to its data."""
        parts: list[Any] = [self.ids, self.operators, self.formats, self.factors.names]
        numbers = (
            self.bays,
            self.cars_per_year,
            self.vehicles_veh_day,
            self.vehicles_cv,
            self.cars_cv,
            np.nan_to_num(self.member_share, nan=-1.0),
            self.at_capacity.astype(np.float64),
            self.weight,
            self.factors.x,
            self.factors.missing.astype(np.float64),
        )
        digest = hashlib.sha256(json.dumps(parts).encode())
        for array in numbers:
            digest.update(np.ascontiguousarray(array, dtype="<f8").tobytes())
        return digest.hexdigest()


def load_known_sites(area: Any, *, values: Sheet = VALUES) -> KnownSites:
    """Load the known sites of an area, a file, or a table.

    Parameters
    ----------
    area : Area, Path, str or DataFrame
        An area's ``known_sites`` layer, a CSV file, or a table already read. An area
        without that layer gives no rows.
    values : Sheet
        The share's constants.

    Returns
    -------
    KnownSites

    Raises
    ------
    DataError
        When the file cannot be read, or with every fault of the table.
    """
    if isinstance(area, pd.DataFrame):
        return check_known_sites(area, where="known sites", values=values)
    if isinstance(area, str | Path):
        path = Path(area)
        try:
            table = pd.read_csv(path, nrows=MOST_ROWS + 1, dtype=str, keep_default_na=False)
        except (OSError, ValueError) as error:
            first = str(error).splitlines()[0] if str(error) else "nothing in it"
            raise DataError(f"{path.name}: not readable as CSV ({first}); save it again") from None
        return check_known_sites(table, where=path.name, values=values)
    table = area.read("known_sites")
    if table is None:
        table = pd.DataFrame({name: [] for name in REQUIRED})
    return check_known_sites(table, where="known sites", values=values)


def check_known_sites(
    table: pd.DataFrame, *, where: str = "known sites", values: Sheet = VALUES
) -> KnownSites:
    """Check a table of known sites and compute its factors.

    Parameters
    ----------
    table : DataFrame
        One row a site; columns as in ``MEASURE_COLUMNS`` and ``NUMBER_COLUMNS``, and
        ``id, town, operator, format``; ``row`` is the line of the file. Others are ignored.
    where : str
        What the table is called in messages.
    values : Sheet
        The share's constants.

    Returns
    -------
    KnownSites

    Raises
    ------
    DataError
        Naming every fault with its row.

    Examples
    --------
    >>> table = pd.DataFrame({"cars_per_year": [90_000], "aadt_veh_day": [25_000]})
    >>> known = check_known_sites(table)
    >>> round(float(known.share[0]), 5)
    0.00986
    """
    if len(table) > MOST_ROWS:
        raise DataError(f"{where}: at most {MOST_ROWS} known sites are read; split the table")
    lost = [name for name in REQUIRED if name not in table.columns]
    if lost:
        raise DataError(
            f"{where}: the column {lost[0]} is not there; known sites need {', '.join(REQUIRED)}"
        )
    rows = read_rows(table)
    faults: list[str] = []
    numbers = read_numbers(table, rows, faults)
    ids = read_ids(table, rows, faults)
    formats = read_formats(table, rows, faults)
    raise_gathered(faults, where=where)
    measures = {measure: numbers[column] for column, (measure, *_) in MEASURE_COLUMNS.items()}
    names = [*CORE, *(name for name in EXTRA if _is_filled(measures, name, values))]
    cars = numbers["cars_per_year"]
    members = numbers["member_cars_per_year"]
    members = np.where(np.isnan(members), cars - numbers["tickets_per_year"], members)
    return KnownSites(
        ids=ids,
        towns=read_text(table, "town"),
        operators=read_text(table, "operator"),
        formats=formats,
        bays=np.nan_to_num(numbers["bays"], nan=1.0),
        cars_per_year=cars,
        vehicles_veh_day=numbers["aadt_veh_day"],
        vehicles_cv=np.nan_to_num(numbers["aadt_cv"], nan=values.value("count_cv")),
        cars_cv=np.nan_to_num(numbers["cars_cv"], nan=0.0),
        member_share=np.clip(members / cars, 0.0, 1.0),
        at_capacity=_find_full(numbers, values),
        weight=np.nan_to_num(numbers["weight"], nan=1.0),
        factors=make_factor_table(measures, ids, names=names, values=values),
        row=rows,
        source=where,
    )


def _is_filled(measures: Mapping[str, FloatArray], name: str, values: Sheet) -> bool:
    some = next(iter(measures.values()))
    ids = [str(place) for place in range(len(some))]
    table = make_factor_table(measures, ids, names=[name], values=values)
    return bool(ids) and not bool(table.missing.any())


def _find_full(numbers: Mapping[str, FloatArray], values: Sheet) -> NDArray[np.bool_]:
    busy = numbers["cars_per_year"] / DAYS_PER_YEAR * values.value("busy_hour_per_day")
    with np.errstate(invalid="ignore"):
        full = busy >= values.value("full_share") * numbers["line_cars_per_hour"]
    told = numbers["at_capacity"]
    return np.where(np.isnan(told), full, told > 0.5).astype(np.bool_)

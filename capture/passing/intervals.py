"""How do a file's intervals become rows of station, direction, day, hour and vehicles?

Rows are intervals of an hour or less, or hours side by side. Trams never count as vehicles.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import DataError, plain_text
from capture.passing.directions import read_directions
from capture.passing.guess import Columns
from capture.passing.ledger import Ledger, drop
from capture.passing.moments import read_clock, read_dates
from capture.passing.places import Positions
from capture.passing.roles import VEHICLE_CLASSES, to_number

FloatArray = NDArray[np.float64]


MOST_INTERVAL: Final = 40_000.0


def make_hour_rows(
    table: pd.DataFrame, columns: Columns, positions: Positions, ledger: Ledger, *, name: str
) -> pd.DataFrame:
    """Turn a file's intervals into rows of station, direction, day, hour and vehicles.

    Raises
    ------
    DataError
        When no row is usable or no column tells the time of day.
    """
    if columns.hours:
        table, positions = _stack_hours(table, columns, positions)
        clock = table["__hour"].to_numpy(dtype=np.float64)
    elif "clock" in columns.roles:
        clock, how = read_clock(table[columns.roles["clock"]])
        ledger.assume(f"times of day read as {how}")
    elif "date" in columns.roles:
        clock = read_dates(table[columns.roles["date"]])[0].dt.hour.to_numpy(dtype=np.float64)
    else:
        raise DataError(
            f"{name}: counts by the hour need a column that tells the hour, none was found; "
            "name it 'hour' or 'time'"
        )
    rows = _hour_columns(table, columns, positions, ledger)
    rows["hour"] = clock
    return _clean_hours(rows, ledger, name=name)


def _stack_hours(
    table: pd.DataFrame, columns: Columns, positions: Positions
) -> tuple[pd.DataFrame, Positions]:
    size = len(table)
    parts = []
    for hour, heading in columns.hours.items():
        part = table.copy()
        part["__hour"], part["__volume"] = float(hour), table[heading]
        parts.append(part)
    stacked = pd.concat(parts, ignore_index=True)
    again = np.tile(np.arange(size), len(columns.hours))
    return stacked, Positions(
        lat=positions.lat[again],
        lon=positions.lon[again],
        lines=[positions.lines[k] for k in again],
        why=[positions.why[k] for k in again],
    )


def _hour_columns(
    table: pd.DataFrame, columns: Columns, positions: Positions, ledger: Ledger
) -> pd.DataFrame:
    def text(role: str) -> pd.Series:
        if role not in columns.roles:
            return pd.Series("", index=table.index)
        got = table[columns.roles[role]].astype("string").fillna("")
        plain = {text: plain_text(text, most=120) for text in got.unique()}
        return got.map(plain)

    rows = pd.DataFrame({"row": table["row"].to_numpy()}, index=table.index)
    rows["station"], rows["road"] = text("station"), text("road")
    rows["lat"], rows["lon"] = positions.lat, positions.lon
    rows["where_not"] = positions.why
    rows["bearing"], rows["label"], rows["both"] = math.nan, "", False
    if "direction" in columns.roles:
        read, how = read_directions(table[columns.roles["direction"]])
        ledger.assume(f"directions taken as {how}")
        rows["bearing"] = [d.bearing_deg for d in read]
        rows["label"] = [d.label for d in read]
        rows["both"] = [d.both is True for d in read]
    rows["date"] = pd.NaT
    if "date" in columns.roles:
        rows["date"], remark = read_dates(table[columns.roles["date"]])
        rows["date"] = rows["date"].dt.normalize()
        if remark:
            ledger.assume(remark)
    rows["year"] = rows["date"].dt.year.astype("float64") if "date" in columns.roles else math.nan
    if "year" in columns.roles:
        rows["year"] = to_number(table[columns.roles["year"]])
    if columns.hours:
        rows["vehicles"] = to_number(table["__volume"])
        rows["heavy"] = math.nan
        return rows
    return _add_classes(rows, table, columns, ledger)


def _add_classes(
    rows: pd.DataFrame, table: pd.DataFrame, columns: Columns, ledger: Ledger
) -> pd.DataFrame:
    """Add vehicles and heavy ones; trams never count, motorcycles only in the total."""
    classes = {k: to_number(table[h]) for k, h in columns.classes.items()}
    if "volume" in columns.roles:
        rows["vehicles"] = to_number(table[columns.roles["volume"]])
    else:
        motor = [v for k, v in classes.items() if k != "tram"]
        rows["vehicles"] = pd.concat(motor, axis=1).sum(axis=1, min_count=1) if motor else math.nan
        ledger.assume("vehicles are the sum of the classes, trams left out")
    heavy = [v for k, v in classes.items() if VEHICLE_CLASSES[k][1]]
    if heavy:
        rows["heavy"] = pd.concat(heavy, axis=1).sum(axis=1, min_count=1)
        listed = ", ".join(columns.classes[k] for k in classes if VEHICLE_CLASSES[k][1])
        ledger.assume(f"heavy vehicles are columns {listed}")
    elif "heavy" in columns.roles:
        rows["heavy"] = to_number(table[columns.roles["heavy"]])
    else:
        rows["heavy"] = math.nan
    return rows


def _clean_hours(rows: pd.DataFrame, ledger: Ledger, *, name: str) -> pd.DataFrame:
    rows = drop(rows, rows["vehicles"].isna(), ledger, "no number of vehicles in the interval")
    rows = drop(rows, ~np.isfinite(rows["vehicles"]), ledger, "vehicles are infinite")
    rows = drop(rows, rows["vehicles"] < 0, ledger, "vehicles are negative")
    rows = drop(rows, rows["vehicles"] > MOST_INTERVAL, ledger,
                f"more than {MOST_INTERVAL:,.0f} vehicles in an interval")  # fmt: skip
    rows = drop(rows, rows["hour"].isna(), ledger, "the time of day is not readable")
    rows = drop(rows, (rows["hour"] < 0) | (rows["hour"] >= 24), ledger, "the hour is not 0 to 24")
    rows = _share_places(rows)
    for reason in sorted({w for w in rows["where_not"] if w}):
        rows = drop(rows, rows["where_not"] == reason, ledger, reason)
    key = ["station", "label", "date", "year", "hour"]
    same = rows.duplicated([*key, "vehicles", "heavy", "road"], keep="first")
    rows = drop(rows, same, ledger, "the same interval stands twice, one is kept")
    twice = rows.duplicated([*key, "road"], keep="first")
    if twice.any():
        rows = _split_unlabelled(rows, twice, ledger)
    if rows.empty:
        reasons = "; ".join(
            f"{d.rows} row(s): {d.why}" for d in ledger.done if d.what == "left out"
        )
        raise DataError(f"{name}: no usable interval is left ({reasons}); mend the file")
    return rows


def _share_places(rows: pd.DataFrame) -> pd.DataFrame:
    """Give intervals that say no place the one that their station says in other rows."""
    told = rows.copy()
    of_station = told.groupby(["station", "road"], dropna=False)
    open_ = told["where_not"] == "no position given"
    for name in ("lat", "lon"):
        known = of_station[name].transform("first")
        told[name] = told[name].where(~open_, known)
    told["where_not"] = told["where_not"].where(~(open_ & told["lat"].notna()), "")
    return told


def _split_unlabelled(rows: pd.DataFrame, twice: pd.Series, ledger: Ledger) -> pd.DataFrame:
    """Tell apart two runs of unlabelled intervals of one station: its two directions."""
    blank = rows["label"] == ""
    rank = rows.groupby(
        ["station", "road", "label", "date", "year", "hour"], dropna=False
    ).cumcount()
    split = rows.assign(label=np.where(blank, "run " + (rank + 1).astype(str), rows["label"]))
    ledger.note("assumed", rows.loc[twice & blank, "row"],
                "a second run without a direction, taken as the other direction")  # fmt: skip
    again = split.duplicated(["station", "road", "label", "date", "year", "hour"], keep="first")
    return drop(split, again, ledger, "another figure for the same interval, the first is kept")

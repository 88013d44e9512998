"""What was counted where, and what was done with each row of the file?

Every row either becomes (part of) a count or stands in the table of what was done, with the
reason; none vanishes unsaid. A count is one station in one year: vehicles on the average
day, whether both directions are in it and, where they were counted apart, the split.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import Sheet, plain_text
from capture.passing.directions import read_directions, read_two_way
from capture.passing.expand import Expanded, expand_short_count
from capture.passing.guess import Columns
from capture.passing.joining import join_directions, keep_latest
from capture.passing.ledger import COUNT_COLUMNS, Ledger, drop, list_rows, raise_none_left
from capture.passing.moments import read_dates
from capture.passing.places import Positions
from capture.passing.roles import split_words, to_number
from capture.passing.values import VALUES

FloatArray = NDArray[np.float64]
MOST_DAY: Final = 400_000.0
EARLIEST_YEAR: Final = 1950


def make_counts(
    table: pd.DataFrame,
    columns: Columns,
    positions: Positions,
    ledger: Ledger,
    *,
    name: str,
    study_year: int,
    season: FloatArray | None = None,
    values: Sheet = VALUES,
) -> pd.DataFrame:
    """Turn rows of daily or average volumes into counts, one per station and year.

    Parameters
    ----------
    table : DataFrame
        As read, with ``row``.
    columns : Columns
        What each column holds.
    positions : Positions
        Where each row lies.
    ledger : Ledger
        Takes down what is done.
    name : str
        Of the file, for messages.
    study_year : int
        Counts of later years are forecasts and left out.
    season : ndarray of float, shape (12, 7), optional
        Factors of the area's own continuous station.

    Returns
    -------
    DataFrame
        With the columns of ``COUNT_COLUMNS``.

    Raises
    ------
    DataError
        When no row is left.
    """
    rows = _plain_rows(table, columns, positions, ledger, season=season, values=values)
    rows = _clean(rows, ledger, name=name, study_year=study_year)
    records = keep_latest(join_directions(rows, ledger), ledger)
    if not records:
        raise_none_left(ledger, name)
    ledger.used.update(row for record in records for row in record["rows"])
    counts = pd.DataFrame(records).reindex(columns=list(COUNT_COLUMNS))
    counts["two_way"] = pd.Series([r["two_way"] for r in records], dtype="object")
    counts["count_id"] = [f"{name}#{r['rows'][0]}" for r in records]
    return counts


def _plain_rows(
    table: pd.DataFrame,
    columns: Columns,
    positions: Positions,
    ledger: Ledger,
    *,
    season: FloatArray | None,
    values: Sheet,
) -> pd.DataFrame:
    def text(role: str) -> pd.Series:
        if role in columns.roles:
            got = table[columns.roles[role]].astype("string").fillna("")
            return got.str.replace(r"\.0$", "", regex=True).map(lambda s: plain_text(s, most=120))
        return pd.Series("", index=table.index)

    out = pd.DataFrame({"row": table["row"].to_numpy()}, index=table.index)
    for role in ("station", "road", "ref", "road_class"):
        out[role] = text(role)
    out["lat"], out["lon"] = positions.lat, positions.lon
    out["line"] = pd.Series(positions.lines, index=table.index, dtype="object")
    out["where_not"] = positions.why
    out["heavy_share"] = _heavy_share(table, columns)
    out["kind"] = text("kind").str.lower()
    bearing, label, both = _direction_columns(table, columns, ledger)
    out["direction_deg"], out["label"] = bearing, label
    out["two_way"] = pd.Series(both, index=table.index, dtype="object")
    out = _year_columns(out, table, columns, ledger, values)
    for_sd = values.value("sd_published_log")
    out["log_sd"] = for_sd
    out["story"] = "average day as published"
    if "hours" in columns.roles or "axles" in columns.roles:
        out = _expand_rows(out, table, columns, season, values)
    return out


def _heavy_share(table: pd.DataFrame, columns: Columns) -> pd.Series:
    if "heavy_share" in columns.roles:
        share = to_number(table[columns.roles["heavy_share"]])
        percent = bool((share > 1).any())
        return (share / 100 if percent else share).where(share >= 0)
    if "heavy" in columns.roles and "aadt" in columns.roles:
        heavy = to_number(table[columns.roles["heavy"]])
        total = to_number(table[columns.roles["aadt"]])
        share = heavy / total.where(total > 0)
        return share.where(share.between(0, 0.9))
    return pd.Series(np.nan, index=table.index)


def _direction_columns(
    table: pd.DataFrame, columns: Columns, ledger: Ledger
) -> tuple[list[float], list[str], list[bool | None]]:
    size = len(table)
    bearing, label = [math.nan] * size, [""] * size
    both: list[bool | None] = [None] * size
    if "direction" in columns.roles:
        read, how = read_directions(table[columns.roles["direction"]])
        ledger.assume(f"directions taken as {how}")
        bearing = [d.bearing_deg for d in read]
        label = [d.label for d in read]
        both = [d.both for d in read]
    if "two_way" in columns.roles:
        heading = columns.roles["two_way"]
        flags = read_two_way(table[heading], heading=heading)
        both = [flag if flag is not None else b for flag, b in zip(flags, both, strict=True)]
    return bearing, label, both


def _year_columns(
    out: pd.DataFrame, table: pd.DataFrame, columns: Columns, ledger: Ledger, values: Sheet
) -> pd.DataFrame:
    """Add volume and year; years side by side become rows."""
    dates = None
    if "date" in columns.roles:
        dates, remark = read_dates(table[columns.roles["date"]])
        if remark:
            ledger.assume(remark)
        out["month"], out["weekday"] = dates.dt.month, dates.dt.day_of_week
    if columns.years:
        parts = []
        for year, heading in sorted(columns.years.items()):
            part = out.copy()
            part["raw"], part["year"] = table[heading], float(year)
            parts.append(part)
        stacked = pd.concat(parts, ignore_index=True)
        volume = to_number(stacked["raw"])
        has = volume.groupby(stacked["row"]).transform("count") > 0
        later = volume.notna() | ~has
        return _add_volume(stacked[later].copy(), ledger, heading, values)
    heading = columns.roles.get("aadt", columns.roles.get("volume", columns.roles.get("axles", "")))
    out["raw"] = table[heading]
    if "year" in columns.roles:
        out["year"] = to_number(table[columns.roles["year"]])
    elif dates is not None:
        out["year"] = dates.dt.year.astype("float64")
    else:
        found = [int(w) for w in split_words(heading) if w.isdigit() and 1950 <= int(w) <= 2100]
        out["year"] = float(found[0]) if found else np.nan
    return _add_volume(out, ledger, heading, values)


def _add_volume(out: pd.DataFrame, ledger: Ledger, heading: str, values: Sheet) -> pd.DataFrame:
    volume = to_number(out["raw"])
    words = split_words(heading)
    if "thousand" in words or "thousands" in words or "1000" in words or "kveh" in words:
        volume = volume * 1000
        ledger.note("changed", out["row"], f"{heading!r} is in thousands, multiplied by 1000")
    if any(w in ("aawdt", "awdt", "dtvw", "weekday") for w in words):
        factor = values.value("weekday_over_average")
        volume = volume / factor
        ledger.note("changed", out["row"], f"weekday volumes divided by {factor:.2f} for all days")
    out["vehicles_per_day"] = volume
    return out


def _expand_rows(
    out: pd.DataFrame,
    table: pd.DataFrame,
    columns: Columns,
    season: FloatArray | None,
    values: Sheet,
) -> pd.DataFrame:
    hours = (
        to_number(table[columns.roles["hours"]]).reindex(out.index)
        if "hours" in columns.roles
        else pd.Series(24.0, index=out.index)
    )
    done = out.copy()
    axles = "axles" in columns.roles and "aadt" not in columns.roles
    for at, row, length in zip(out.index, list_rows(out), hours, strict=True):
        found = _expand_row(row, float(length), axles, "aadt" in columns.roles, season, values)
        if found is not None:
            done.at[at, "vehicles_per_day"] = found.aadt
            done.at[at, "log_sd"], done.at[at, "story"] = found.log_sd, found.story
    return done


def _expand_row(
    row: dict[str, Any],
    hours: float,
    axles: bool,
    averaged: bool,
    season: FloatArray | None,
    values: Sheet,
) -> Expanded | None:
    counted = float(row["vehicles_per_day"])
    tube = axles or "axle" in str(row["kind"])
    if not (math.isfinite(counted) and counted >= 0 and 0 < hours <= 400):
        return None
    if averaged and not tube:
        return Expanded(
            aadt=counted,
            log_sd=values.value("sd_48h_log" if hours >= 47 else "sd_24h_log"),
            story=f"average day as published from a count of {hours:g} h",
        )
    month = row.get("month")
    dated = month is not None and not math.isnan(float(month))
    return expand_short_count(
        counted,
        hours=hours,
        month=int(row["month"]) if dated else None,
        weekday=int(row["weekday"]) if dated else None,
        axles=tube,
        season=season,
        values=values,
    )


def _clean(rows: pd.DataFrame, ledger: Ledger, *, name: str, study_year: int) -> pd.DataFrame:
    station = rows["station"].str.lower()
    rows = drop(rows, station.isin(["total", "sum", "totals", "summe", "average"]), ledger,
                "a total or average line, not a station")  # fmt: skip
    volume = rows["vehicles_per_day"]
    given = rows["raw"].notna()
    rows = drop(rows, ~given, ledger, "no vehicles given")
    rows = drop(rows, volume.isna(), ledger, "vehicles are not a number")
    volume = rows["vehicles_per_day"]
    rows = drop(rows, ~np.isfinite(volume), ledger, "vehicles are infinite")
    rows = drop(rows, rows["vehicles_per_day"] < 0, ledger, "vehicles are negative")
    rows = drop(rows, rows["vehicles_per_day"] > MOST_DAY, ledger,
                f"more than {MOST_DAY:,.0f} vehicles a day, which no road carries")  # fmt: skip
    year = rows["year"]
    rows = drop(rows, year > study_year, ledger,
                f"a year after {study_year}: a forecast, not a count")  # fmt: skip
    rows = drop(rows, rows["year"] < EARLIEST_YEAR, ledger, f"a year before {EARLIEST_YEAR}")
    for why in sorted({w for w in rows["where_not"] if w}):
        rows = drop(rows, rows["where_not"] == why, ledger, why)
    zero = rows["vehicles_per_day"] == 0
    key = (
        rows["station"]
        + "|"
        + pd.Series([str(year) for year in rows["year"]], index=rows.index, dtype="string")
    )
    paired = key.isin(key[~zero]) & (rows["label"] != "")
    rows = drop(rows, zero & ~paired, ledger, "zero vehicles, taken as not counted")
    ledger.note(
        "assumed", rows.loc[rows["year"].isna(), "row"], "no year given, taken as 5 years old"
    )
    columns = ["station", "road", "lat", "lon", "label", "year", "vehicles_per_day"]
    twice = rows.duplicated(columns, keep="first")
    return drop(rows, twice, ledger, "the same count stands twice, one is kept")

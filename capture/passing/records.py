"""What was counted where, and what was done with each row of the file?

Every row either becomes (part of) a count or stands in the table of what was done, with the
reason; none vanishes unsaid. A count is one station in one year: vehicles on the average
day, whether both directions are in it and, where they were counted apart, the split.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import DataError, Sheet, plain_text
from capture.passing.aadt import Expanded, expand_short_count
from capture.passing.directions import read_directions, read_two_way
from capture.passing.guess import Columns
from capture.passing.moments import read_dates
from capture.passing.places import Positions
from capture.passing.roles import split_words, to_number
from capture.passing.values import VALUES

FloatArray = NDArray[np.float64]
#: columns of every table of counts
COUNT_COLUMNS: Final = (
    "count_id", "station", "rows", "road", "ref", "road_class", "lat", "lon", "line",
    "vehicles_per_day", "log_sd", "year", "two_way", "direction_deg", "split_share",
    "heavy_share", "kind", "story", "history",
)  # fmt: skip
MOST_DAY: Final = 400_000.0
EARLIEST_YEAR: Final = 1950
#: row numbers shown per thing done
MOST_SHOWN: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Did:
    """One thing that was done with rows of a file."""

    #: what was done: "used", "left out", "set aside", "changed", "assumed", "joined"
    what: str
    #: how many rows
    rows: int
    #: the first few of them, numbers in the file
    which: tuple[int, ...]
    #: why, one sentence
    why: str


@dataclass(slots=True)
class Ledger:
    """Collects what is done with a file's rows."""

    #: what was done, in order
    done: list[Did] = field(default_factory=list)
    #: rows of the file that are part of a count
    used: set[int] = field(default_factory=set)

    def note(self, what: str, rows: Any, why: str) -> None:
        """Note what was done with some rows; nothing is noted for no rows."""
        listed = [int(r) for r in rows]
        if not listed:
            return
        for k, old in enumerate(self.done):
            if (old.what, old.why) == (what, why):
                which = (old.which + tuple(listed))[:MOST_SHOWN]
                self.done[k] = Did(what=what, rows=old.rows + len(listed), which=which, why=why)
                return
        which = tuple(listed[:MOST_SHOWN])
        self.done.append(Did(what=what, rows=len(listed), which=which, why=why))

    def assume(self, why: str) -> None:
        """Note something assumed of the whole file."""
        self.done.append(Did(what="assumed", rows=0, which=(), why=why))

    def table(self) -> pd.DataFrame:
        """Return what, rows, which and why."""
        return pd.DataFrame(
            [(d.what, d.rows, _listed(d), d.why)
             for d in self.done],
            columns=["what", "rows", "which", "why"],
        )  # fmt: skip


def _listed(done: Did) -> str:
    return ", ".join(map(str, done.which)) + (" ..." if done.rows > len(done.which) else "")


def drop(table: pd.DataFrame, bad: Any, ledger: Ledger, why: str) -> pd.DataFrame:
    """Leave out rows and say so; returns a new table."""
    mask = np.asarray(pd.Series(bad, index=table.index).fillna(False), dtype=bool)
    ledger.note("left out", table.loc[mask, "row"], why)
    return table.loc[~mask]


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
    counts = _join_directions(rows, ledger)
    counts = _keep_latest(counts, ledger)
    if counts.empty:
        raise_none_left(ledger, name)
    ledger.used.update(row for rows in counts["rows"] for row in rows)
    counts["two_way"] = counts["two_way"].astype(object)
    counts["count_id"] = [f"{name}#{r[0]}" for r in counts["rows"]]
    return counts.reindex(columns=list(COUNT_COLUMNS)).reset_index(drop=True)


def raise_none_left(ledger: Ledger, name: str) -> None:
    """Refuse a file of which no row is usable, saying why.

    Raises
    ------
    DataError
        Always.
    """
    reasons = "; ".join(f"{d.rows} row(s): {d.why}" for d in ledger.done if d.what == "left out")
    raise DataError(f"{name}: no usable count is left ({reasons or 'no rows'}); mend the file")


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
    out = _year_columns(out, table, columns, ledger)
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
    out: pd.DataFrame, table: pd.DataFrame, columns: Columns, ledger: Ledger
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
        return _add_volume(stacked[later].copy(), ledger, "")
    heading = columns.roles.get("aadt", columns.roles.get("volume", columns.roles.get("axles", "")))
    out["raw"] = table[heading]
    if "year" in columns.roles:
        out["year"] = to_number(table[columns.roles["year"]])
    elif dates is not None:
        out["year"] = dates.dt.year.astype("float64")
    else:
        found = [int(w) for w in split_words(heading) if w.isdigit() and 1950 <= int(w) <= 2100]
        out["year"] = float(found[0]) if found else np.nan
    return _add_volume(out, ledger, heading)


def _add_volume(out: pd.DataFrame, ledger: Ledger, heading: str) -> pd.DataFrame:
    volume = to_number(out["raw"])
    words = split_words(heading)
    if "thousand" in words or "thousands" in words or "1000" in words or "kveh" in words:
        volume = volume * 1000
        ledger.note("changed", out["row"], f"{heading!r} is in thousands, multiplied by 1000")
    if any(w in ("aawdt", "awdt", "dtvw", "weekday") for w in words):
        factor = VALUES.value("weekday_over_average")
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
    key = rows["station"] + "|" + _as_text(rows["year"])
    paired = key.isin(key[~zero]) & (rows["label"] != "")
    rows = drop(rows, zero & ~paired, ledger, "zero vehicles, taken as not counted")
    ledger.note(
        "assumed", rows.loc[rows["year"].isna(), "row"], "no year given, taken as 5 years old"
    )
    columns = ["station", "road", "lat", "lon", "label", "year", "vehicles_per_day"]
    twice = rows.duplicated(columns, keep="first")
    return drop(rows, twice, ledger, "the same count stands twice, one is kept")


def _as_text(column: pd.Series) -> pd.Series:
    return pd.Series([str(v) for v in column], index=column.index, dtype="string")


def _place_key(rows: pd.DataFrame) -> pd.Series:
    spot = _as_text(rows["lat"].round(5)) + "," + _as_text(rows["lon"].round(5))
    return rows["station"] + "|" + rows["road"].str.lower() + "|" + spot


def _join_directions(rows: pd.DataFrame, ledger: Ledger) -> pd.DataFrame:
    joined: list[dict[str, Any]] = []
    year = rows["year"].fillna(-1)
    for _, group in rows.groupby([_place_key(rows), year], sort=False, dropna=False):
        joined.extend(_join_group(group, ledger))
    return pd.DataFrame(joined)


def _join_group(group: pd.DataFrame, ledger: Ledger) -> list[dict[str, Any]]:
    both = group[[b is True for b in group["two_way"]]]
    ways = group[[b is not True for b in group["two_way"]]]
    labels = ways["label"].unique()
    if len(both) and len(ways):
        ledger.note("left out", ways["row"], "the station's two-way figure is used instead")
        ways = ways.iloc[:0]
    if len(both):
        return [_mean_record(both, ledger, two_way=True)]
    if len(labels) == 2 and "" not in labels:
        return [
            join_two_ways(
                [_mean_record(ways[ways["label"] == k], ledger, two_way=False) for k in labels]
            )
        ]
    if len(labels) > 2:
        return [_mean_record(ways[ways["label"] == k], ledger, two_way=False) for k in labels]
    flag = group["two_way"].iloc[0]
    known = flag is False or math.isfinite(group["direction_deg"].iloc[0])
    return [_mean_record(ways, ledger, two_way=False if known else None)]


def _mean_record(group: pd.DataFrame, ledger: Ledger, *, two_way: bool | None) -> dict[str, Any]:
    first = group.iloc[0]
    record: dict[str, Any] = {c: first[c] for c in COUNT_COLUMNS if c in group.columns}
    record |= {
        "rows": tuple(int(r) for r in group["row"]),
        "two_way": two_way,
        "split_share": math.nan,
    }
    record["label"] = first["label"]
    if len(group) > 1:
        logs = np.log(group["vehicles_per_day"].clip(lower=1).to_numpy(dtype=np.float64))
        record["vehicles_per_day"] = float(np.exp(logs.mean()))
        record["log_sd"] = float(math.hypot(float(first["log_sd"]) / math.sqrt(1), logs.std()))
        ledger.note(
            "joined", group["row"], "several figures of one station and year, their mean used"
        )
    return record


def join_two_ways(pair: list[dict[str, Any]]) -> dict[str, Any]:
    """Join the two directions of a station into one two-way count that knows its split.

    A direction that counted nothing leaves a one-way count.
    """
    a, b = pair
    volumes = (float(a["vehicles_per_day"]), float(b["vehicles_per_day"]))
    total = sum(volumes)
    rows = tuple(sorted({*a["rows"], *b["rows"]}))
    if min(volumes) < 0.02 * total:
        only = a if volumes[0] >= volumes[1] else b
        told = f"{only['story']}; the other direction counted nothing: one-way"
        return {**only, "rows": rows, "two_way": False, "split_share": math.nan, "story": told}
    lead = a if math.isfinite(a["direction_deg"]) or not math.isfinite(b["direction_deg"]) else b
    share = float(lead["vehicles_per_day"]) / total
    known = math.isfinite(lead["direction_deg"])
    heavy = _weighted([a["heavy_share"], b["heavy_share"]], volumes)
    told = f"{lead['story']}; directions counted apart, {share:.0%} "
    told += (
        f"towards {lead['direction_deg']:.0f} degrees"
        if known
        else f"in direction {lead.get('label', '1')}, its bearing not named"
    )
    return {**lead, "rows": rows, "vehicles_per_day": total, "two_way": True,
            "split_share": share, "heavy_share": heavy, "story": told,
            "log_sd": max(float(a["log_sd"]), float(b["log_sd"]))}  # fmt: skip


def _weighted(values: list[float], weights: tuple[float, ...]) -> float:
    pairs = [(v, w) for v, w in zip(values, weights, strict=True) if math.isfinite(v)]
    total = sum(w for _, w in pairs)
    return sum(v * w for v, w in pairs) / total if total > 0 else math.nan


def _keep_latest(counts: pd.DataFrame, ledger: Ledger) -> pd.DataFrame:
    """Keep each station's latest year and tell the earlier ones in its story."""
    if counts.empty:
        return counts
    kept: list[Any] = []
    spots = _place_key(counts)
    side = _as_text(counts["direction_deg"].round(0)) + _as_text(counts["two_way"])
    for _, group in counts.groupby(spots + "|" + side, sort=False, dropna=False):
        ordered = group.sort_values("year", kind="stable", na_position="first")
        last = ordered.iloc[-1].copy()
        earlier = ordered.iloc[:-1]
        if len(earlier):
            told = ", ".join(
                f"{y:.0f}: {v:,.0f}"
                for y, v in zip(earlier["year"], earlier["vehicles_per_day"], strict=True)
            )
            last["story"] = f"{last['story']}; earlier {told}"
            older = [r for rows in earlier["rows"] for r in rows if r not in last["rows"]]
            ledger.note("set aside", older, "an earlier year of the station, told in its story")
        last["history"] = tuple(zip(ordered["year"], ordered["vehicles_per_day"], strict=True))
        kept.append(last)
    return pd.DataFrame(kept)


def list_rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return a table's rows as mappings, for loops over small tables."""
    names = [str(column) for column in table.columns]
    return [dict(zip(names, row, strict=True)) for row in table.itertuples(index=False, name=None)]

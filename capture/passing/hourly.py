"""What do counts by the hour say: the average day, its hours, its two directions?

Rows are intervals of an hour or less, or hours side by side. A station with most of a year
is continuous (average of averages); one with some days is a short count; one without a date
is an ordinary weekday. Directions stay apart until the station's two are joined.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import DataError, Sheet
from capture.passing.aadt import (
    AverageDay,
    DesignHours,
    compute_average_day,
    compute_average_day_by_hour,
    compute_design_hours,
)
from capture.passing.expand import expand_short_count
from capture.passing.joining import join_two_ways
from capture.passing.ledger import COUNT_COLUMNS, Ledger, drop, raise_none_left
from capture.passing.records import MOST_DAY
from capture.passing.shapes import make_hour_share
from capture.passing.values import CLASSES, VALUES

FloatArray = NDArray[np.float64]
#: days from which on a station counts as continuous
CONTINUOUS_DAYS: Final = 200
#: whose hours stand in where a day was counted in part
USUAL_CLASS: Final = CLASSES.index("primary")


@dataclass(frozen=True, slots=True, kw_only=True)
class HourShape:
    """The hours of a station's day, by direction where counted apart."""

    #: station that it comes from
    station: str
    #: road it lies on
    road: str
    #: degrees, NaN where unknown
    lat: float
    #: degrees, NaN where unknown
    lon: float
    #: bearing the first row of ``share`` runs towards, NaN when not named
    direction_deg: float
    #: share of each direction's day in each hour, (1 or 2, 24)
    share: FloatArray
    #: days that it rests on
    days: int


@dataclass(frozen=True, slots=True, kw_only=True)
class HourlyCounts:
    """What a table of hours gives."""

    #: one row per station and year, columns of ``COUNT_COLUMNS``
    counts: pd.DataFrame
    #: shape of each station's day
    shapes: tuple[HourShape, ...]
    #: station -> its average of averages, for continuous ones
    average_days: dict[str, AverageDay]
    #: station -> average day from hours, where each weekday of each month has all its hours
    by_hours: dict[str, float]
    #: station -> K and D, for continuous ones
    design_hours: dict[str, DesignHours]


def summarize_hours(
    rows: pd.DataFrame,
    ledger: Ledger,
    *,
    name: str,
    study_year: int,
    season: FloatArray | None = None,
    month: int | None = None,
    values: Sheet = VALUES,
) -> HourlyCounts:
    """Bring every station to the average day and read off its hours and directions.

    Parameters
    ----------
    rows : DataFrame
        From :func:`make_hour_rows`.
    ledger : Ledger
        Takes down what is done.
    name : str
        Of the file.
    study_year : int
        Later years are left out.
    season : ndarray of float, shape (12, 7), optional
        Factors of the area's own continuous station.
    month : int, optional
        1-12, of counts without a date.

    Returns
    -------
    HourlyCounts
    """
    rows = drop(rows, rows["year"] > study_year, ledger, f"a year after {study_year}: a forecast")
    counts: list[dict[str, Any]] = []
    shapes: list[HourShape] = []
    averages: dict[str, AverageDay] = {}
    designs: dict[str, DesignHours] = {}
    by_hours: dict[str, float] = {}
    groups = rows.groupby(["station", "road"], sort=False, dropna=False)
    for (station, road), whole in groups:
        if whole["vehicles"].sum() == 0:
            ledger.note("left out", whole["row"], "the station counted nothing at all")
            continue
        latest = _latest(whole, ledger)
        ways = [_Way.of(part) for part in _pick_directions(latest, ledger)]
        ledger.used.update(row for way in ways for row in way.rows["row"].tolist())
        records = [_summarize_way(w, season, month, values) for w in ways]
        shape = _shape(str(station), str(road), ways)
        record = join_two_ways(records) if len(records) == 2 else records[0]
        record["kind"] = records[0]["kind"]
        record["count_id"] = f"{name}#{record['rows'][0]}"
        if record["vehicles_per_day"] > MOST_DAY:
            ledger.note(
                "left out", np.array(record["rows"]),
                f"its hours come to more than {MOST_DAY:,.0f} vehicles a day",
            )  # fmt: skip
            continue
        counts.append(record)
        if shape is not None:
            shapes.append(shape)
        if record["kind"] == "continuous":
            averages[str(station)] = _average_all(ways)
            designs[str(station)] = _design(ways, averages[str(station)].aadt)
            by_hours[str(station)] = _by_hours(ways)
    if not counts:
        raise_none_left(ledger, name)
    table = pd.DataFrame(counts).reindex(columns=list(COUNT_COLUMNS))
    table["two_way"] = table["two_way"].astype(object)
    return HourlyCounts(
        counts=table,
        shapes=tuple(shapes),
        average_days=averages,
        by_hours=by_hours,
        design_hours=designs,
    )


def _latest(whole: pd.DataFrame, ledger: Ledger) -> pd.DataFrame:
    year = whole["year"].where(whole["vehicles"] > 0)
    if year.isna().all() or whole["date"].notna().any():
        return whole
    latest = whole["year"] == year.max()
    ledger.note(
        "set aside", whole.loc[~latest, "row"], "another year of the station; its latest is used"
    )
    kept: pd.DataFrame = whole[latest]
    return kept


def _pick_directions(latest: pd.DataFrame, ledger: Ledger) -> list[pd.DataFrame]:
    """Return the rows of both directions together, else of the first two directions."""
    parts = [part for _, part in latest.groupby("label", sort=True)]
    both = [part for part in parts if bool(part["both"].iloc[0])]
    picked = both[:1] or parts[:2]
    why = "both directions together are used instead" if both else "a third direction of a station"
    for part in parts:
        if not any(part is kept for kept in picked):
            ledger.note("left out", part["row"], why)
    return picked


@dataclass(frozen=True, slots=True, kw_only=True)
class _Way:
    """One direction of a station: its intervals, and its days."""

    #: intervals sorted by day and hour, with the hours each spans
    rows: pd.DataFrame
    #: vehicles, heavy, hours and whether complete, by day
    by_day: pd.DataFrame

    @classmethod
    def of(cls, part: pd.DataFrame) -> _Way:
        frame = part.assign(day=part["date"].fillna(pd.Timestamp(0))).sort_values(["day", "hour"])
        hour = frame["hour"].to_numpy(dtype=np.float64)
        day = frame["day"].to_numpy()
        frame = frame.assign(span=_spans(hour, day))
        return cls(rows=frame, by_day=_complete_days(frame))


def _spans(hour: FloatArray, day: NDArray[Any]) -> FloatArray:
    """Tell how long each interval lasts; sorted by day and hour."""
    following = np.append(hour[1:], 24.0)
    last = np.append(day[1:] != day[:-1], True)
    gap = np.where(last, 24.0, following) - hour
    return np.asarray(np.minimum(gap, np.floor(hour) + 1.0 - hour))


def _complete_days(frame: pd.DataFrame) -> pd.DataFrame:
    by_day = frame.groupby("day").agg(
        vehicles=("vehicles", "sum"), heavy=("heavy", "sum"), hours=("span", "sum")
    )
    by_day["complete"] = by_day["hours"] >= 23.9
    return by_day


def _summarize_way(
    part: _Way, season: FloatArray | None, month: int | None, values: Sheet
) -> dict[str, Any]:
    way, frame, by_day = part.rows, part.rows, part.by_day
    first = way.iloc[0]
    dated = bool(way["date"].notna().any())
    record: dict[str, Any] = {
        "station": first["station"], "road": first["road"], "ref": "", "road_class": "",
        "lat": first["lat"], "lon": first["lon"], "line": None,
        "direction_deg": float(first["bearing"]), "label": first["label"],
        "two_way": True if first["both"] else False if first["label"] else None,
        "split_share": math.nan,
        "rows": (int(way["row"].min()), int(way["row"].max())),
        "year": float(way["year"].median()) if way["year"].notna().any() else math.nan,
    }  # fmt: skip
    total = float(frame["vehicles"].sum())
    heavy = frame["heavy"].sum() / total if frame["heavy"].notna().all() and total > 0 else math.nan
    record["heavy_share"] = float(heavy)
    if dated and int(by_day["complete"].sum()) >= CONTINUOUS_DAYS:
        average = _average(by_day)
        record |= {"vehicles_per_day": average.aadt, "log_sd": values.value("sd_continuous_log"),
                   "kind": "continuous", "story": average.describe()}  # fmt: skip
        return record
    whole = by_day[by_day["complete"]]
    used = whole if len(whole) else by_day
    stamp = pd.Timestamp(used.index[0]) if dated else None
    logs = [
        expand_short_count(
            vehicles,
            hours=hours,
            month=pd.Timestamp(day).month if dated else month,
            weekday=pd.Timestamp(day).weekday() if dated else None,
            season=season,
            hour_share=None if hours >= 23 else _counted_share(frame, day, values),
            values=values,
        )
        for day, vehicles, hours in zip(
            used.index, used["vehicles"].tolist(), used["hours"].tolist(), strict=True
        )
    ]
    one = logs[0]
    many = len(used) > 1
    sd = one.log_sd
    if many:
        gain = values.value("sd_24h_log") ** 2 - values.value("sd_48h_log") ** 2
        sd = math.sqrt(max(sd**2 - gain, values.value("sd_continuous_log") ** 2))
    mean = float(np.mean([e.aadt for e in logs]))
    begins = f" from {stamp.date()}" if stamp is not None else ""
    record |= {"vehicles_per_day": mean, "log_sd": sd, "kind": "short",
               "story": f"{len(used)}-day count{begins}: {one.story}"}  # fmt: skip
    return record


def _counted_share(frame: pd.DataFrame, day: Any, values: Sheet) -> FloatArray:
    """Return the share of a usual day in each interval counted, when not all hours were."""
    of = frame[frame["day"] == day]
    hour = np.floor(of["hour"].to_numpy(dtype=np.float64)).astype(int)
    usual = make_hour_share(USUAL_CLASS, values=values)
    return np.asarray(usual[hour] * of["span"].to_numpy(dtype=np.float64))


def _average(by_day: pd.DataFrame) -> AverageDay:
    volume = by_day["vehicles"].where(by_day["complete"])
    return compute_average_day(
        volume.to_numpy(dtype=np.float64), by_day.index.to_numpy(dtype="datetime64[D]")
    )


def _average_all(ways: list[_Way]) -> AverageDay:
    parts = [way.by_day for way in ways]
    total = parts[0]
    for part in parts[1:]:
        other = part.rename(columns=lambda name: f"{name}_b")
        joined = total.join(other, how="outer")
        total = pd.DataFrame(
            {
                "vehicles": joined["vehicles"] + joined["vehicles_b"],
                "complete": joined["complete"].eq(True) & joined["complete_b"].eq(True),
            }
        )
    return _average(total)


def _by_hours(ways: list[_Way]) -> float:
    """Return the hour-based average day of all directions, NaN where hours are lacking."""
    total = 0.0
    for way in ways:
        hour = pd.to_timedelta(np.floor(way.rows["hour"].to_numpy(dtype=np.float64)), unit="h")
        summed = way.rows["vehicles"].groupby(way.rows["date"] + hour).sum()
        try:
            total += compute_average_day_by_hour(
                summed.to_numpy(dtype=np.float64), summed.index.to_numpy()
            )
        except DataError:
            return math.nan
    return total


def _design(ways: list[_Way], aadt: float) -> DesignHours:
    series = [
        way.rows.assign(hour=np.floor(way.rows["hour"])).groupby(["date", "hour"])["vehicles"].sum()
        for way in ways
    ]
    wide = pd.concat(series, axis=1)
    return compute_design_hours(wide.to_numpy(dtype=np.float64), aadt)


def _shape(station: str, road: str, ways: list[_Way]) -> HourShape | None:
    shares, days = [], 0
    for way in ways:
        frame, by_day = way.rows, way.by_day
        whole = by_day.index[by_day["complete"]]
        kept = frame[frame["day"].isin(whole)]
        if kept.empty or kept["vehicles"].sum() <= 0:
            continue
        hour = np.floor(kept["hour"].to_numpy(dtype=np.float64)).astype(int)
        raw = np.bincount(hour, weights=kept["vehicles"].to_numpy(dtype=np.float64), minlength=24)
        shares.append(raw / raw.sum())
        days = max(days, len(whole))
    if not shares:
        return None
    first = ways[0].rows.iloc[0]
    return HourShape(
        station=station, road=road, lat=float(first["lat"]), lon=float(first["lon"]),
        direction_deg=float(first["bearing"]), share=np.array(shares), days=days,
    )  # fmt: skip

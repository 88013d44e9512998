"""Which tables lie behind the screen on who drives past?

Every count with its story, what was done with the files, hours of the streams, and dated
notes on roads. Amounts in SI with the unit in the column's name; sentences are in the
reader's units.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import UnitSystem
from capture.papers.words import say_amount, say_number

FloatArray = NDArray[np.float64]
Z95: Final = 1.6448536269514722
NO_NAME: Final = "road without a name"
#: scores from which a tie is called sure, and likely
SURE_SCORE: Final = 0.85
LIKELY_SCORE: Final = 0.6
#: role of a column as the reader is told of it; the rest say their own name
ROLE_WORDS: Final = {
    "station": "name of the count",
    "road": "road",
    "ref": "route number",
    "road_class": "class of the road",
    "lat": "latitude",
    "lon": "longitude",
    "x": "easting",
    "y": "northing",
    "aadt": "vehicles a day",
    "year": "year",
    "date": "date",
    "clock": "time of day",
    "volume": "vehicles in the interval",
    "direction": "direction",
    "two_way": "one or both directions",
    "heavy_share": "share of heavy vehicles",
    "heavy": "heavy vehicles a day",
    "kind": "kind of count",
    "hours": "hours counted",
    "axles": "axles counted",
}


def say_role(role: str) -> str:
    """Say what a column was taken for in plain words.

    Examples
    --------
    >>> say_role("aadt"), say_role("not used"), say_role("aadt 2019")
    ('vehicles a day', 'not used', 'aadt 2019')
    """
    return ROLE_WORDS.get(role, role)


def say_sure(score: float) -> str:
    """Say how sure a tie is, with its score.

    Examples
    --------
    >>> say_sure(0.97), say_sure(0.5)
    ('sure (0.97)', 'doubtful (0.50)')
    """
    word = "sure" if score >= SURE_SCORE else "likely" if score >= LIKELY_SCORE else "doubtful"
    return f"{word} ({score:.2f})"


def make_count_table(study: Any, *, system: UnitSystem = "us") -> pd.DataFrame:
    """Make the table of every count with its story, the nearest to the site first.

    Returns
    -------
    DataFrame
        Columns ``key, count_id, station, road, tied_to, lat, lon, from_site_m, counted,
        counted_veh_day, year, age_years, today_veh_day, low, high, today, how_read, tie, why,
        became, conflicts, remark``; ``remark`` is "" for a count that raises no question.
    """
    volumes = study.volumes
    counts = volumes.counts
    plane = study.place.network.projection
    reach = _find_reach(study.place.network, volumes)
    disputes = _list_disputes(volumes.conflicts)
    averages = {str(row["station"]): row for row in volumes.stations.to_dict("records")}
    rows = []
    for count in counts.to_dict("records"):
        x, y = plane.to_xy(count["lat"], count["lon"])
        off = math.hypot(float(x) - float(study.sites.x[0]), float(y) - float(study.sites.y[0]))
        rows.append(
            _tell_count(count, volumes.study_year, system)
            | {
                "how_read": _say_read(count, averages.get(str(count["station"]))),
                "from_site_m": off,
                "became": _say_fate(count, reach, system),
                "conflicts": "; ".join(disputes.get(str(count["count_id"]), [])),
            }
        )
    names = ["key", "count_id", "station", "road", "tied_to", "lat", "lon", "from_site_m",
             "counted", "counted_veh_day", "year", "age_years", "today_veh_day", "low", "high",
             "today", "how_read", "tie", "why", "became", "conflicts", "remark"]  # fmt: skip
    table = pd.DataFrame(rows, columns=names)
    disputed = (table["conflicts"] != "") & (table["remark"] == "")
    names_of = dict(zip(table["count_id"], table["station"], strict=True))
    others = _name_disputants(volumes.conflicts, names_of)
    table.loc[disputed, "remark"] = [
        f"contradicted by {' and '.join(others[name])}" for name in table.loc[disputed, "count_id"]
    ]
    return table.sort_values("from_site_m", kind="stable", ignore_index=True)


def _tell_count(count: Any, study_year: int, system: UnitSystem) -> dict[str, Any]:
    year, now = float(count["year"]), float(count["aged_vehicles_per_day"])
    spread = math.exp(Z95 * float(count["aged_log_sd"]))
    counted = float(count["vehicles_per_day"])
    when = f"in {year:.0f}" if math.isfinite(year) else "year not given, taken as 5 years old"
    low, high = now / spread, now * spread
    return {
        "key": str(count["key"]),
        "count_id": str(count["count_id"]),
        "station": str(count["station"] or _name_by_row(str(count["count_id"]))),
        "road": str(count["road"] or "not named"),
        "tied_to": str(count["tied_to"] or "no road"),
        "lat": float(count["lat"]),
        "lon": float(count["lon"]),
        "counted_veh_day": counted,
        "counted": f"{say_number(counted)} {when}",
        "year": year,
        "age_years": study_year - year,
        "today_veh_day": now,
        "low": low,
        "high": high,
        "today": f"{say_number(now)} ({say_number(low, digits=2)} to {say_number(high, digits=2)})",
        "tie": _say_tie(count),
        "why": _say_why(count, system),
        "remark": _say_remark(count),
    }


def _name_by_row(count_id: str) -> str:
    file, _, row = count_id.rpartition("#")
    return f"row {row} of {file}" if file else count_id


def _say_read(count: Any, average: Any) -> str:
    heavy = float(count["heavy_share"])
    told = str(count["story"])
    if count["kind"] == "continuous" and average is not None:
        told += (
            f"; both directions: {average['average_of_averages']:,.0f} by average of averages, "
            f"{average['plain_mean']:,.0f} by plain mean"
        )
    return told + (f"; {say_amount(heavy, 'share', digits=2)} heavy" if heavy >= 0 else "")


def _say_tie(count: Any) -> str:
    if int(count["segment"]) < 0:
        return "left untied by you" if bool(count["decided"]) else "tied to no road"
    if bool(count["decided"]):
        return "tied by you"
    return say_sure(float(count["score"]))


def _say_remark(count: Any) -> str:
    if bool(count["decided"]):
        return "decided by you"
    if int(count["segment"]) < 0:
        return "tied to no road"
    if bool(count["ambiguous"]):
        return "could be another road"
    return "" if float(count["score"]) >= LIKELY_SCORE else "tie is doubtful"


def _say_why(count: Any, system: UnitSystem) -> str:
    if bool(count["decided"]) or int(count["segment"]) < 0:
        return str(count["why"])
    off = float(count["distance_m"])
    distance = "on" if off < 1 else f"{say_amount(off, 'm', system, digits=2)} off"
    parts = [
        f"{distance} the road ({float(count['distance_score']):.2f} of 1)",
        f"name {float(count['name_score']):.2f}",
        f"bearing {float(count['bearing_score']):.2f}",
        f"class {float(count['class_score']):.2f}",
    ]
    told = ", ".join(parts)
    _, _, more = str(count["why"]).partition("; ")
    return f"{told}; {more}" if more else told


def _find_reach(network: Any, volumes: Any) -> dict[str, tuple[float, int, float]]:
    """Return count_id -> (metres where it holds, pieces there, metres where it only helps)."""
    length = np.zeros(len(volumes.vehicles_per_day))
    np.maximum.at(length, network.edge_segment, network.edge_length_m)
    reach: dict[str, tuple[float, int, float]] = {}
    for g, key in enumerate(volumes.key):
        if not key.startswith("count "):
            continue
        held, pieces, helped = reach.get(key[6:], (0.0, 0, 0.0))
        if bool(volumes.measured[g]):
            reach[key[6:]] = (held + float(length[g]), pieces + 1, helped)
        else:
            reach[key[6:]] = (held, pieces, helped + float(length[g]))
    return reach


def _say_fate(count: Any, reach: dict[str, tuple[float, int, float]], system: UnitSystem) -> str:
    held, pieces, helped = reach.get(str(count["count_id"]), (0.0, 0, 0.0))
    told = str(count["fate"])
    if int(count["segment"]) < 0:
        return told or "holds nowhere"
    if pieces:
        told += f"; holds over {say_amount(held, 'm', system, digits=2)} of road"
    else:
        told += "; another count is nearer everywhere"
    if helped:
        told += f", fades over {say_amount(helped, 'm', system, digits=2)} beyond"
    return told


def _name_disputants(conflicts: pd.DataFrame, names: Mapping[str, str]) -> dict[str, list[str]]:
    """Name for each count the counts that contradict it."""
    found: dict[str, list[str]] = {}
    for row in conflicts.to_dict("records"):
        for end, other in (("count_a", "count_b"), ("count_b", "count_a")):
            at = str(row[other])
            said = f"count {names.get(at, at)}"
            listed = found.setdefault(str(row[end]), [])
            if said not in listed:
                listed.append(said)
    return found


def _list_disputes(conflicts: pd.DataFrame) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for row in conflicts.to_dict("records"):
        for end in ("count_a", "count_b"):
            found.setdefault(str(row[end]), []).append(str(row["why"]))
    return found


def make_column_table(columns: pd.DataFrame) -> pd.DataFrame:
    """Make the table of what each column of each file was taken for.

    Returns
    -------
    DataFrame
        Columns ``file, column, taken_for, sure, why``.
    """
    return pd.DataFrame(
        {
            "file": columns.get("file", ""),
            "column": columns["column"],
            "taken_for": [say_role(str(role)) for role in columns["taken_for"]],
            "sure": [
                "" if role == "not used" else f"{float(sure):.0%}"
                for role, sure in zip(columns["taken_for"], columns["confidence"], strict=True)
            ],
            "why": columns["why"],
        }
    )


def make_done_table(done: pd.DataFrame) -> pd.DataFrame:
    """Make the table of what was done with the rows of each file.

    Returns
    -------
    DataFrame
        Columns ``file, what, rows, which, why``; ``rows`` in words, since an assumption
        holds for the whole file.
    """
    return pd.DataFrame(
        {
            "file": done.get("file", ""),
            "what": done["what"],
            "rows": [f"{int(n):,}" if n else "whole file" for n in done["rows"]],
            "which": done["which"],
            "why": done["why"],
        }
    )


def name_streams(streams: Any) -> list[str]:
    """Name each stream so that no two share a name: road, where it goes, which side."""
    from capture.papers.passing_layers import say_heading

    told = [
        f"{road or NO_NAME}, {say_heading(float(heading))}, {'near' if near else 'far'} side"
        for road, heading, near in zip(
            streams.road, streams.direction_deg, streams.near_side, strict=True
        )
    ]
    return [
        f"{name} ({told[: r + 1].count(name)})" if told.count(name) > 1 else name
        for r, name in enumerate(told)
    ]


def make_hour_table(streams: Any) -> pd.DataFrame:
    """Make the table of vehicles by hour of the day, one row per stream and hour.

    Returns
    -------
    DataFrame
        Columns ``stream, hour, vehicles_per_hour, share, source``.
    """
    names = name_streams(streams)
    rows = [
        {
            "stream": names[r],
            "hour": hour,
            "vehicles_per_hour": float(streams.vehicles_per_day[r] * share),
            "share": float(share),
            "source": str(streams.hour_source[r]),
        }
        for r in range(len(streams))
        for hour, share in enumerate(streams.hour_share[r])
    ]
    return pd.DataFrame(rows, columns=["stream", "hour", "vehicles_per_hour", "share", "source"])


def say_source(text: str, system: UnitSystem = "us") -> str:
    """Say where a volume comes from in the reader's units.

    Examples
    --------
    >>> say_source("count A1 of 2024, 300 m along the road")
    'count A1 of 2024, 984 ft along the road'
    """

    def turn(found: re.Match[str]) -> str:
        return f"{say_amount(float(found[1]), 'm', system)} {found[2]}"

    return re.sub(r"(\d+) m (along the road|away past)", turn, text)


def make_story_table(streams: Any, *, study_year: int, system: UnitSystem = "us") -> pd.DataFrame:
    """Make the table of streams with where each comes from and what was taken out.

    Returns
    -------
    DataFrame
        Columns ``stream, vehicles_per_day, low, high, range, known_by, age, heavy_share,
        corner_share, hours, source, notes``.
    """
    spread = np.exp(Z95 * np.asarray(streams.log_sd))
    daily = np.asarray(streams.vehicles_per_day)
    return pd.DataFrame(
        {
            "stream": name_streams(streams),
            "vehicles_per_day": daily,
            "low": daily / spread,
            "high": daily * spread,
            "range": [
                f"{say_number(low)} to {say_number(high)}"
                for low, high in zip(daily / spread, daily * spread, strict=True)
            ],
            "known_by": ["measured" if known else "estimated" for known in streams.measured],
            "age": [
                say_age(study_year - float(year)) if np.isfinite(year) else ""
                for year in streams.year
            ],
            "heavy_share": np.asarray(streams.heavy_share),
            "corner_share": np.asarray(streams.corner_share),
            "hours": list(streams.hour_source),
            "source": [say_source(text, system) for text in streams.source],
            "notes": list(streams.notes),
        }
    )


def say_age(years: float) -> str:
    """Say how old a count is.

    Examples
    --------
    >>> say_age(0), say_age(1), say_age(7)
    ('of this year', '1 year old', '7 years old')
    """
    if years <= 0:
        return "of this year"
    return f"{years:.0f} year old" if round(years) == 1 else f"{years:.0f} years old"


def make_note_table(
    area: Any, streams: Any, *, study_year: int, notes: Sequence[Any] = ()
) -> pd.DataFrame:
    """Make the table of dated notes on roads, such as road works, and whom each touches.

    Parameters
    ----------
    area : Area
        For the notes that its roads layer holds.
    streams : Streams
    study_year : int
    notes : sequence of RoadNote
        The study's own.

    Returns
    -------
    DataFrame
        Columns ``road, why, starts, ends, factor, low, high, year_share, year_factor,
        streams``; ``year_factor`` is what the note does to the mean day of the year.
    """
    from capture.passing.works import find_notes

    names = name_streams(streams)
    rows = []
    for note in [*find_notes(area), *notes]:
        said = note.describe(study_year)
        touched = [name for name, told in zip(names, streams.notes, strict=True) if said in told]
        low, high = note.bounds
        rows.append(
            {
                "road": note.road or f"around {note.lat:.4f}, {note.lon:.4f}",
                "why": note.why,
                "starts": str(note.starts),
                "ends": str(note.ends) if note.ends else "for good",
                "factor": note.factor,
                "low": low,
                "high": high,
                "year_share": note.active_share(study_year),
                "year_factor": note.effect(study_year)[0],
                "streams": "; ".join(touched) or "none past this site",
            }
        )
    names_out = ["road", "why", "starts", "ends", "factor", "low", "high", "year_share",
                 "year_factor", "streams"]  # fmt: skip
    return pd.DataFrame(rows, columns=names_out)

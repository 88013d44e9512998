"""Which rows of a file are one station in one year, and what do they say together?

Two directions become one two-way count that knows its split; a station's latest year is
used and the earlier ones are told in its story.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from capture.passing.ledger import COUNT_COLUMNS, Ledger, list_rows

#: one row of a table, or one count
Row = dict[str, Any]


def make_place_key(row: Row) -> tuple[Any, ...]:
    """Return what is one station: its name, its road and its spot."""
    spot = (round(float(row["lat"]), 5), round(float(row["lon"]), 5))
    return (row["station"], row["road"].lower(), *spot)


def _group(rows: list[Row], key: Callable[[Row], Any]) -> list[list[Row]]:
    """Group rows by a key, groups in order of their first row."""
    groups: dict[Any, list[Row]] = {}
    for row in rows:
        groups.setdefault(key(row), []).append(row)
    return list(groups.values())


def join_directions(table: pd.DataFrame, ledger: Ledger) -> list[Row]:
    """Make one record of each station and year."""
    joined: list[Row] = []
    for group in _group(list_rows(table), lambda r: (*make_place_key(r), _year(r))):
        joined.extend(_join_group(group, ledger))
    return joined


def _year(row: Row) -> float:
    year = float(row["year"])
    return year if math.isfinite(year) else -1.0


def _join_group(group: list[Row], ledger: Ledger) -> list[Row]:
    both = [row for row in group if row["two_way"] is True]
    ways = [row for row in group if row["two_way"] is not True]
    if both:
        why = "the station's two-way figure is used instead"
        ledger.note("left out", [row["row"] for row in ways], why)
        return [_mean_record(both, ledger, two_way=True)]
    by_label = _group(ways, lambda r: r["label"])
    labels = [part[0]["label"] for part in by_label]
    if len(labels) == 2 and "" not in labels:
        return [join_two_ways([_mean_record(part, ledger, two_way=False) for part in by_label])]
    return [_mean_record(part, ledger, two_way=_one_way(part[0], labels)) for part in by_label]


def _one_way(row: Row, labels: list[str]) -> bool | None:
    """Say False for one direction, None where the file leaves it open."""
    named = math.isfinite(float(row["direction_deg"])) or (len(labels) > 1 and row["label"] != "")
    return False if row["two_way"] is False or named else None


def _mean_record(group: list[Row], ledger: Ledger, *, two_way: bool | None) -> Row:
    first = group[0]
    rows = tuple(int(row["row"]) for row in group)
    record: Row = {name: first[name] for name in COUNT_COLUMNS if name in first}
    record |= {"rows": rows, "two_way": two_way, "split_share": math.nan, "label": first["label"]}
    if len(group) > 1:
        logs = np.log([max(float(row["vehicles_per_day"]), 1.0) for row in group])
        record["vehicles_per_day"] = float(np.exp(logs.mean()))
        record["log_sd"] = math.hypot(float(first["log_sd"]), float(logs.std()))
        ledger.note("joined", rows, "several figures of one station and year, their mean used")
    return record


def join_two_ways(pair: list[Row]) -> Row:
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


def keep_latest(records: list[Row], ledger: Ledger) -> list[Row]:
    """Keep each station's latest year and tell the earlier ones in its story."""
    kept = []
    for group in _group(records, lambda r: (*make_place_key(r), _side(r))):
        ordered = sorted(group, key=_year)
        last, earlier = dict(ordered[-1]), ordered[:-1]
        if earlier:
            told = ", ".join(f"{r['year']:.0f}: {r['vehicles_per_day']:,.0f}" for r in earlier)
            last["story"] = f"{last['story']}; earlier {told}"
            older = [n for row in earlier for n in row["rows"] if n not in last["rows"]]
            ledger.note("set aside", older, "an earlier year of the station, told in its story")
        last["history"] = tuple((float(r["year"]), float(r["vehicles_per_day"])) for r in ordered)
        kept.append(last)
    return kept


def _side(row: Row) -> tuple[float, Any]:
    bearing = float(row["direction_deg"])
    return (round(bearing) if math.isfinite(bearing) else -1.0, row["two_way"])

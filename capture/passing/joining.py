"""Which rows of a file are one station in one year, and what do they say together?

Two directions become one two-way count that knows its split; a station's latest year is
used and the earlier ones are told in its story.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.passing.ledger import COUNT_COLUMNS, Ledger

FloatArray = NDArray[np.float64]


def as_text(column: pd.Series) -> pd.Series:
    """Return every value as text, gaps too, so that groups lose no row."""
    return pd.Series([str(v) for v in column], index=column.index, dtype="string")


def make_place_key(rows: pd.DataFrame) -> pd.Series:
    """Return what is one station: its name, its road and its spot."""
    spot = as_text(rows["lat"].round(5)) + "," + as_text(rows["lon"].round(5))
    return rows["station"] + "|" + rows["road"].str.lower() + "|" + spot


def join_directions(rows: pd.DataFrame, ledger: Ledger) -> pd.DataFrame:
    """Make one record of each station and year."""
    joined: list[dict[str, Any]] = []
    year = rows["year"].fillna(-1)
    for _, group in rows.groupby([make_place_key(rows), year], sort=False, dropna=False):
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


def keep_latest(counts: pd.DataFrame, ledger: Ledger) -> pd.DataFrame:
    """Keep each station's latest year and tell the earlier ones in its story."""
    if counts.empty:
        return counts
    kept: list[Any] = []
    spots = make_place_key(counts)
    side = as_text(counts["direction_deg"].round(0)) + as_text(counts["two_way"])
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

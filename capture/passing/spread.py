"""On which carriageways does a count hold, and what do several counts say together?

A two-way count of a dual road is put on both carriageways, by its counted split or halved.
Along a road the nearest count on each side is listened to; those behind are screened.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import Sheet
from capture.passing.carry import Carried, carry_count, make_touching
from capture.passing.directions import turn_between
from capture.passing.ledger import list_rows
from capture.passing.values import VALUES

if TYPE_CHECKING:
    from capture.place import Network

FloatArray = NDArray[np.float64]
Z95 = 1.6448536269514722


def carry_counts(
    network: Network, counts: pd.DataFrame, values: Sheet = VALUES
) -> tuple[list[Carried], pd.DataFrame]:
    """Carry every tied count along its road.

    Parameters
    ----------
    network : Network
        Roads.
    counts : DataFrame
        Counts with their ties, aged to the year looked at.

    Returns
    -------
    tuple of (list of Carried, DataFrame)
        What arrives where, and the counts with a column ``fate`` that says what was done.
    """
    touching = make_touching(network)
    carried: list[Carried] = []
    fates = []
    for row, count in enumerate(list_rows(counts)):
        parts = split_over_carriageways(network, count, values)
        fates.append(parts[0][3] if parts else str(count["why"]))
        for segment, volume, share, _ in parts:
            carried += carry_count(
                network,
                touching,
                count=row,
                segment=segment,
                log_vehicles=math.log(max(volume, 1.0)),
                log_sd=float(count["aged_log_sd"]),
                forward_share=share,
                values=values,
            )
    out = counts.copy()
    out["fate"] = np.array(fates, dtype=object)
    return carried, out


def split_over_carriageways(
    network: Network, count: Mapping[str, Any], values: Sheet = VALUES
) -> list[tuple[int, float, float, str]]:
    """Put a count on the carriageways it holds for.

    Returns
    -------
    list of (road piece, vehicles a day there, share along its geometry, what was done)
        Empty for an untied count; two rows for a two-way count of a dual road.
    """
    segment = int(count["segment"])
    if segment < 0:
        return []
    volume = float(count["aged_vehicles_per_day"])
    share, towards = float(count["split_share"]), float(count["direction_deg"])
    oneway = bool(network.segment_oneway[segment])
    opposite = int(network.segment_opposite[segment])
    two_way = count["two_way"]
    bearing = _bearing(network, segment)
    along = math.isfinite(towards) and turn_between(bearing, towards) < 90
    if not oneway:
        if two_way is False:
            half = values.value("direction_split_share")
            told = f"one direction, doubled to both ({volume:,.0f} each way)"
            return [(segment, volume / half, math.nan, told)]
        forward = (
            math.nan if math.isnan(share) or math.isnan(towards) else share if along else 1 - share
        )
        return [(segment, volume, forward, "both directions of this carriageway")]
    if opposite >= 0 and two_way is not False:
        first = 0.5 if math.isnan(share) or math.isnan(towards) else share if along else 1 - share
        told = (
            "two-way count, halved over the two carriageways"
            if math.isnan(share)
            else ("two-way count, parted over the two carriageways as counted")
        )
        return [
            (segment, volume * first, math.nan, told),
            (opposite, volume * (1 - first), math.nan, told),
        ]
    if opposite >= 0 and two_way is False and math.isfinite(towards) and not along:
        return [
            (opposite, volume, math.nan, "one direction, on the carriageway that runs that way")
        ]
    return [(segment, volume, math.nan, "one direction, one-way carriageway")]


def _bearing(network: Network, segment: int) -> float:
    line = network.segment_line(segment)
    return math.degrees(math.atan2(line[-1, 0] - line[0, 0], line[-1, 1] - line[0, 1])) % 360


def pick_nearest(ones: list[Carried]) -> list[Carried]:
    """Keep the counts at the place itself, else the nearest from each end of the piece.

    Along a road the nearest counts screen those behind them.
    """
    here = [o for o in ones if o.came_over < 0]
    if here:
        return here
    ends: dict[int, Carried] = {}
    for one in ones:
        old = ends.get(one.came_over)
        if old is None or (one.variance, one.count) < (old.variance, old.count):
            ends[one.came_over] = one
    return list(ends.values())


def blend(used: list[Carried], model: tuple[float, float] | None) -> tuple[float, float]:
    """Weigh what arrives by one over its variance; counts that differ widen the result."""
    logs = [o.log_vehicles for o in used]
    variances = [o.variance for o in used]
    if model is not None:
        logs.append(model[0])
        variances.append(model[1] ** 2)
    weight = 1 / np.array(variances)
    mean = float(weight @ np.array(logs) / weight.sum())
    inside = 1 / weight.sum()
    between = float(weight @ (np.array(logs) - mean) ** 2 / weight.sum())
    excess = max(0.0, between - (len(logs) - 1) * inside)
    return mean, math.sqrt(inside + excess)


def default_split_sd(network: Network, values: Sheet) -> FloatArray:
    """Spread of an assumed split: none on a one-way street that has no other carriageway."""
    entry = values["direction_split_share"]
    sd = (entry.high - entry.low) / (2 * Z95) / entry.value
    lone = np.asarray(network.segment_oneway) & (np.asarray(network.segment_opposite) < 0)
    return np.where(lone, 0.0, sd)


def split_spread(count: Any, best: Carried, default: float) -> float:
    """Spread of a counted split: none when its bearing is named, else as wide as it is uneven."""
    share = float(count["split_share"])
    if math.isfinite(best.forward_share) or count["two_way"] is False:
        return 0.0
    if math.isfinite(share):
        named = math.isfinite(float(count["direction_deg"]))
        return 0.0 if named else abs(math.log(max(share, 0.01) / 0.5))
    return default


def find_conflicts(
    network: Network, counts: pd.DataFrame, carried: list[Carried], values: Sheet = VALUES
) -> pd.DataFrame:
    """List pairs of counts of one stretch of road that differ by more than they may."""
    limit = values.value("conflict_log")
    at: dict[int, list[Carried]] = {}
    for one in carried:
        if one.distance_m == 0:
            at.setdefault(one.segment, []).append(one)
    seen: dict[tuple[int, int], dict[str, Any]] = {}
    for one in carried:
        if one.equal_junctions:
            continue
        for other in at.get(one.segment, []):
            pair = (min(one.count, other.count), max(one.count, other.count))
            gap = abs(one.log_vehicles - other.log_vehicles)
            if pair[0] != pair[1] and gap > limit and pair not in seen:
                a, b = counts.iloc[pair[0]], counts.iloc[pair[1]]
                seen[pair] = {
                    "count_a": a["count_id"], "count_b": b["count_id"],
                    "road": network.segment_name[other.segment],
                    "ratio": round(math.exp(gap), 2), "distance_m": round(one.distance_m),
                    "why": f"{_name(a)} and {_name(b)} differ by a factor of "
                           f"{math.exp(gap):.1f} on one stretch without a junction of equal roads",
                }  # fmt: skip
    return pd.DataFrame(
        list(seen.values()), columns=["count_a", "count_b", "road", "ratio", "distance_m", "why"]
    )


def _name(count: Any) -> str:
    """Name a count by its station, else by its number and file."""
    return str(count["station"] or count["count_id"])

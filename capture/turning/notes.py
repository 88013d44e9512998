"""How are ways in and out said in words, and what should a reader be warned of?

Assumes nothing new: it reads what :mod:`capture.turning.turning` worked out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import Sheet
from capture.turning.gaps import compute_blocked_share
from capture.turning.ways import Ways

if TYPE_CHECKING:
    from capture.passing import Streams

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
NO_WAY: Final = "no way found within five minutes"


def name_way_in(streams: Streams, ways: Ways, pair: int, crosses: NDArray[np.bool_]) -> str:
    """Say by which way a stream turns in."""
    return _name(streams, ways, pair, crosses, out=False)


def name_way_out(streams: Streams, ways: Ways, pair: int, crosses: NDArray[np.bool_]) -> str:
    """Say by which way a stream gets back to where it was going."""
    return _name(streams, ways, pair, crosses, out=True)


def _name(streams: Streams, ways: Ways, pair: int, crosses: NDArray[np.bool_], *, out: bool) -> str:
    r, by = int(ways.stream[pair]), int(ways.by[pair])
    detour = float((ways.out_detour_s if out else ways.in_detour_s)[pair])
    backs = int((ways.out_backs if out else ways.in_backs)[pair])
    if np.isinf(detour) or not crosses[by]:
        return NO_WAY
    turn = _turn(streams, by, out=out)
    if r == by:
        return turn
    other = "" if streams.driveway[r] == streams.driveway[by] else f" by {_road(streams, by)}"
    how = "a U-turn" if backs else "round the block"
    added = f" ({detour:.0f} s longer)"
    return f"{turn}{other}, then {how}{added}" if out else f"{how}{added}, then {turn}{other}"


def _turn(streams: Streams, row: int, *, out: bool) -> str:
    from capture.place.values import RAISED_MEDIAN, TWO_WAY_LEFT_TURN_LANE

    if streams.near_side[row]:
        return "near-side turn out" if out else "near-side turn in"
    middle = {
        TWO_WAY_LEFT_TURN_LANE: " by the centre turn lane",
        RAISED_MEDIAN: " through the median opening",
    }.get(int(streams.separation[row]), "")
    return f"turn out across traffic{middle}" if out else f"turn in across traffic{middle}"


def _road(streams: Streams, row: int) -> str:
    return str(streams.road[row]) or "the other road"


def find_cautions(
    streams: Streams,
    ways: Ways,
    *,
    used_in: IntArray,
    used_out: IntArray,
    by_hour_s: FloatArray,
    hours: NDArray[np.bool_],
    in_capacity: FloatArray,
    crosses: NDArray[np.bool_],
    marks: FloatArray,
    through: FloatArray,
    values: Sheet,
) -> list[list[str]]:
    """Gather what a reader of the delays should know, a list for each stream."""
    cap = values.value("delay_cap_s")
    held = _held_share(streams, in_capacity, through, hours, values)
    gathered: list[list[str]] = []
    for r in range(len(streams.edge)):
        said: list[str] = []
        for pair, backs, way in (
            (used_in[r], ways.in_backs, "in"),
            (used_out[r], ways.out_backs, "out"),
        ):
            if backs[pair] > 0:
                said.append(f"the way {way} turns back on the road: check that this is allowed")
        if (by_hour_s[r, hours] >= cap).any():
            said.append(f"in some hours turning in and out costs {cap:.0f} s or more")
        said += _signal_words(marks[r], values)
        if ways.stream[used_in[r]] == ways.by[used_in[r]] and crosses[r] and held[r] > 0:
            said.append(
                f"a car waiting to turn in holds up its own lane {100 * held[r]:.0f} % of the "
                "time in the busiest hour: no turn bay"
            )
        gathered.append(said)
    return gathered


def _signal_words(marks: FloatArray, values: Sheet) -> list[str]:
    before, after, joint_before, joint_after = marks.tolist()
    said = []
    if before < np.inf:
        said.append(f"a signal {before:.0f} m before sends traffic in platoons: not modelled")
    if after <= values.value("queue_reach_m"):
        said.append(f"a queue at the signal {after:.0f} m beyond may block the driveway")
    near = min(joint_before, joint_after)
    if near <= values.value("corner_reach_m"):
        said.append(f"a junction is {near:.0f} m away: ask the road authority about spacing")
    return said


def _held_share(
    streams: Streams,
    in_capacity: FloatArray,
    through: FloatArray,
    hours: NDArray[np.bool_],
    values: Sheet,
) -> FloatArray:
    from capture.place.values import TWO_WAY_LEFT_TURN_LANE

    lanes = np.maximum(np.asarray(streams.lanes, dtype=np.float64), 1.0)
    exposed = (
        ~np.asarray(streams.near_side, dtype=bool)
        & ~np.asarray(streams.turn_bay, dtype=bool)
        & (np.asarray(streams.separation) != TWO_WAY_LEFT_TURN_LANE)
    )
    capacity = np.where(np.isinf(in_capacity), 1e9, in_capacity)
    share = compute_blocked_share(
        values.value("entering_veh_h"),
        capacity,
        through_veh_h=through / lanes[:, None],
        values=values,
    )
    worst = share[:, hours].max(axis=1, initial=0.0)
    return np.where(exposed & (worst >= values.value("blocked_share")), worst, 0.0)

"""What should a reader of the sight numbers be warned of, and where does the rule of the road fail?

Stopping distance to the driveway's mouth, and the sight triangles of a driver leaving or
turning in across. These are cautions, not factors: they say what a traffic engineer will
ask about, and replace none.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from capture.basis import Sheet
from capture.seeing.distances import compute_gap_distance, compute_stopping
from capture.seeing.targets import DRIVEWAY
from capture.seeing.values import VALUES

if TYPE_CHECKING:
    from capture.passing import Streams

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def compute_asked(
    streams: Streams,
    *,
    near_side_only: BoolArray | None = None,
    values: Sheet = VALUES,
) -> FloatArray:
    """Compute over which stretch traffic and turning drivers must see each other.

    Parameters
    ----------
    streams : Streams
        R streams.
    near_side_only : ndarray of bool, shape (F,), optional
        Driveways at which nobody turns across.

    Returns
    -------
    ndarray of float, shape (R, 2)
        m, for a leaving and an entering driver; NaN where nobody makes that turn in front
        of the stream.
    """
    from capture.place.values import RAISED_MEDIAN

    near = np.asarray(streams.near_side, dtype=bool)
    driveway = np.asarray(streams.driveway, dtype=np.int64)
    lanes = np.maximum(np.asarray(streams.lanes, dtype=np.float64), 1.0)
    drives = int(driveway.max(initial=-1)) + 1
    near_lanes, crosses = np.ones(drives), np.zeros(drives, dtype=bool)
    np.maximum.at(near_lanes, driveway[near], lanes[near])
    open_far = ~near & (np.asarray(streams.separation) != RAISED_MEDIAN)
    crosses[driveway[open_far]] = True
    if near_side_only is not None:
        crosses &= ~np.asarray(near_side_only, dtype=bool)[:drives]
    across, speed = crosses[driveway], np.asarray(streams.speed_mps, dtype=np.float64)
    crossed = near_lanes[driveway]
    leave_across = compute_gap_distance(
        speed, manoeuvre="leave_across", lanes_crossed=crossed, values=values
    )
    leave_near = compute_gap_distance(speed, manoeuvre="leave_near", values=values)
    enter = compute_gap_distance(
        speed, manoeuvre="enter_across", lanes_crossed=crossed, values=values
    )
    leaving = np.where(across, leave_across, np.where(near, leave_near, np.nan))
    return np.column_stack([leaving, np.where(across & near, enter, np.nan)])


def first_run(clear: BoolArray) -> FloatArray:
    """Steps that are clear without a break from the nearest on, (R,)."""
    if not clear.shape[1]:
        return np.zeros(len(clear))
    return np.asarray(np.where(clear.all(axis=1), clear.shape[1], clear.argmin(axis=1)), float)


def find_cautions(
    streams: Streams,
    seen_by_target_m: FloatArray,
    needed_m: FloatArray,
    walked_m: FloatArray,
    triangle_seen_m: FloatArray,
    triangle_needed_m: FloatArray,
    on_bridge: BoolArray,
    *,
    values: Sheet = VALUES,
) -> list[list[str]]:
    """Gather what a reader of the sight numbers should know, a list for each stream."""
    stopping = compute_stopping(streams.speed_mps, values=values)
    step = values.value("step_m")
    words = ("a driver leaving", "a driver turning in across")
    gathered = []
    for r in range(len(needed_m)):
        said = []
        if walked_m[r] + step < needed_m[r]:
            said.append(
                f"the road comes straight for {walked_m[r]:.0f} m only, less than the "
                f"{needed_m[r]:.0f} m a driver needs at its speed"
            )
        mouth = seen_by_target_m[r, DRIVEWAY]
        if mouth + step < min(stopping[r], walked_m[r]):
            said.append(
                f"the driveway's mouth is seen from {mouth:.0f} m, stopping takes "
                f"{stopping[r]:.0f} m"
            )
        for i, who in enumerate(words):
            seen, asked = triangle_seen_m[r, i], triangle_needed_m[r, i]
            if np.isfinite(asked) and seen + step < min(asked, walked_m[r]):
                said.append(
                    f"{who} and this traffic see each other over {seen:.0f} m of the "
                    f"{asked:.0f} m asked for: for a traffic engineer"
                )
        if on_bridge[r]:
            said.append("the approach runs over a bridge whose height is not known")
        gathered.append(said)
    return gathered

"""Which gap does a driver need for each movement, on a road of so many lanes?

Table of base critical and follow-up headways with the adjustments for heavy vehicles,
grade and a missing fourth leg (a driveway makes a three-leg junction). Between two
columns the lanes are taken to the nearest column that is not smaller.
"""

from __future__ import annotations

from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Sheet
from capture.turning.values import LANE_COLUMNS, VALUES

FloatArray = NDArray[np.float64]
Movement = Literal["cross_in", "near_out", "cross_out", "first_stage", "second_stage", "u_turn"]
MOVEMENTS: Final[tuple[Movement, ...]] = get_args(Movement)
_OUT_ACROSS: Final = frozenset({"cross_out", "first_stage", "second_stage"})
MOST_GRADE_PERCENT: Final = 20.0


def find_column(lanes: ArrayLike) -> NDArray[np.int64]:
    """Find the column of the headway table for a road's through lanes in both directions.

    Examples
    --------
    >>> find_column([1, 2, 3, 4, 5, 8]).tolist()
    [0, 0, 1, 1, 2, 2]
    """
    counted = np.asarray(lanes, dtype=np.float64)
    column = np.searchsorted(np.asarray(LANE_COLUMNS, dtype=np.float64), counted)
    return np.minimum(column, len(LANE_COLUMNS) - 1).astype(np.int64)


def compute_headways(
    movement: Movement,
    *,
    lanes: ArrayLike,
    heavy_share: ArrayLike = 0.0,
    grade_percent: ArrayLike = 0.0,
    legs: int = 3,
    values: Sheet = VALUES,
) -> tuple[FloatArray, FloatArray]:
    """Compute the critical and the follow-up headway of one movement.

    Parameters
    ----------
    movement : str
        One of :data:`MOVEMENTS`; two-stage crossing has its own two.
    lanes : array_like
        Through lanes of the major road, both directions together.
    heavy_share : array_like
        Trucks and buses among the vehicles that make the movement, 0-1.
    grade_percent : array_like
        Upgrade of the leg that gives way, percent; negative is downhill.
    legs : {3, 4}
        Legs of the junction.

    Returns
    -------
    tuple of ndarray of float
        Critical and follow-up headway, s, shapes as the inputs broadcast.

    Raises
    ------
    InputError
        For an unknown movement, another number of legs, a share outside 0-1 or a grade
        beyond 20 percent.

    References
    ----------
    Highway Capacity Manual 2010, equations 19-30 and 19-31, exhibits 19-10 and 19-11 (from
    memory).

    Examples
    --------
    >>> critical, follow_up = compute_headways("cross_out", lanes=2)
    >>> round(float(critical), 1), float(follow_up)
    (6.4, 3.5)
    """
    if movement not in MOVEMENTS:
        raise InputError(f"movement must be one of {', '.join(MOVEMENTS)}, got {movement!r}")
    if legs not in (3, 4):
        raise InputError(f"a junction has 3 or 4 legs here, got {legs}; give one of them")
    heavy = np.asarray(heavy_share, dtype=np.float64)
    grade = np.asarray(grade_percent, dtype=np.float64)
    if not ((heavy >= 0) & (heavy <= 1)).all():
        raise InputError(f"heavy share must be 0 to 1, got {heavy}; give a share, not percent")
    if not (np.abs(grade) <= MOST_GRADE_PERCENT).all():
        raise InputError(f"grade must be within 20 percent, got {grade}; give percent")
    column = find_column(lanes)
    two_lane = column == 0

    def pick(kind: str) -> FloatArray:
        row = [values.value(f"{movement}_{kind}_{n}_s") for n in LANE_COLUMNS]
        return np.asarray(row, dtype=np.float64)[column]

    def weigh(kind: str) -> FloatArray:
        one, more = (values.value(f"heavy_{kind}_{w}_s") for w in ("two_lane", "multilane"))
        return np.where(two_lane, one, more) * heavy

    critical = pick("critical") + weigh("critical") + _grade_s(movement, values) * grade
    if movement in _OUT_ACROSS and legs == 3:
        critical = critical - values.value("three_leg_less_s")
    return np.maximum(critical, 0.0), pick("follow_up") + weigh("follow_up")


def _grade_s(movement: Movement, values: Sheet) -> float:
    if movement == "near_out":
        return values.value("grade_near_out_s_per_percent")
    if movement in _OUT_ACROSS:
        return values.value("grade_cross_out_s_per_percent")
    return 0.0

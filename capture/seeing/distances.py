"""How far ahead must a driver see a driveway, or traffic see each other, at a given speed?

Design distances on level, wet roads for passenger cars. All functions are SI, work on
arrays, and refuse speeds that are not those of a road.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Sheet
from capture.seeing.values import DECISION_FT, DECISION_MPS, VALUES, decision_name

FloatArray = NDArray[np.float64]
MOST_MPS: Final = 70.0


def _speeds(speed_mps: ArrayLike) -> FloatArray:
    speed = np.asarray(speed_mps, dtype=np.float64)
    bad = ~((speed > 0) & (speed <= MOST_MPS))
    if bad.any():
        raise InputError(
            f"speed must be above 0 and at most {MOST_MPS:g} m/s, got {speed[bad].ravel()[0]}; "
            "check its unit"
        )
    return speed


def compute_needed(speed_mps: ArrayLike, *, values: Sheet = VALUES) -> FloatArray:
    """Compute the decision sight distance: from where a driver must see to turn in at ease.

    Parameters
    ----------
    speed_mps : array_like
        Speed of the stream.

    Returns
    -------
    ndarray of float
        m.

    Notes
    -----
    Straight lines between the tabled speeds of manoeuvre E (urban change of speed, path or
    direction); below the first and above the last in proportion to speed (ours).

    References
    ----------
    AASHTO Green Book, decision sight distance; printed in Texas DOT, Roadway Design
    Manual, Table 4-25.

    Examples
    --------
    >>> round(float(compute_needed(45 * 0.44704)) / 0.3048)
    930
    """
    speed = _speeds(speed_mps)
    table = np.array([values.value(decision_name(mph)) for mph in DECISION_FT])
    at = np.array(DECISION_MPS)
    needed = np.interp(speed, at, table)
    needed = np.where(speed < at[0], table[0] * speed / at[0], needed)
    return np.asarray(np.where(speed > at[-1], table[-1] * speed / at[-1], needed))


def compute_stopping(speed_mps: ArrayLike, *, values: Sheet = VALUES) -> FloatArray:
    """Compute the stopping sight distance, m.

    Notes
    -----
    v t + v^2 / (2 a), t the reaction time and a the deceleration (in US units
    1.47 V t + 1.075 V^2 / a).

    References
    ----------
    AASHTO Green Book, stopping sight distance.

    Examples
    --------
    >>> round(float(compute_stopping(45 * 0.44704)) / 0.3048, 1)
    359.5
    """
    speed = _speeds(speed_mps)
    made: FloatArray = speed * values.value("reaction_s") + speed**2 / (
        2 * values.value("braking_mps2")
    )
    return made


def compute_gap_distance(
    speed_mps: ArrayLike,
    *,
    manoeuvre: str,
    lanes_crossed: ArrayLike = 1.0,
    values: Sheet = VALUES,
) -> FloatArray:
    """Compute the intersection sight distance: how far traffic must see a turning car.

    Parameters
    ----------
    speed_mps : array_like
        Speed of the road that has priority.
    manoeuvre : {"leave_across", "leave_near", "enter_across"}
        What the turning driver does.
    lanes_crossed : array_like
        Lanes crossed, at least 1; each further one takes more time.

    Raises
    ------
    InputError
        For another manoeuvre or less than one lane.

    Notes
    -----
    v (tg + 0.5 (lanes - 1)); tg is 7.5 s leaving across, 6.5 s leaving to the near side
    (which crosses no lane), 5.5 s entering across.

    References
    ----------
    AASHTO Green Book, intersection sight distance, cases B1, B2 and F.

    Examples
    --------
    >>> round(float(compute_gap_distance(30 * 0.44704, manoeuvre="leave_across")) / 0.3048, 1)
    330.0
    """
    if manoeuvre not in ("leave_across", "leave_near", "enter_across"):
        raise InputError(
            f"manoeuvre must be leave_across, leave_near or enter_across, got {manoeuvre!r}"
        )
    lanes = np.asarray(lanes_crossed, dtype=np.float64)
    if not (lanes >= 1).all():
        raise InputError(f"lanes crossed must be 1 or more, got {lanes.min()}; mend the lanes")
    extra = 0.0 if manoeuvre == "leave_near" else values.value("extra_lane_s") * (lanes - 1)
    made: FloatArray = _speeds(speed_mps) * (values.value(f"{manoeuvre}_s") + extra)
    return made


def compute_readable(letter_m: ArrayLike, *, values: Sheet = VALUES) -> FloatArray:
    """Compute from how far letters of a height can be read, m.

    References
    ----------
    FHWA, Manual on Uniform Traffic Control Devices 2009, Section 2A.13 (from memory).

    Examples
    --------
    >>> round(float(compute_readable(0.0254)) / 0.3048)
    30
    """
    letter = np.asarray(letter_m, dtype=np.float64)
    if not (letter >= 0).all():
        raise InputError(f"letter height must be 0 or more m, got {letter.min()}; mend it")
    made: FloatArray = letter * values.value("legibility_m_per_m")
    return made


def compute_letter(distance_m: ArrayLike, *, values: Sheet = VALUES) -> FloatArray:
    """Compute the letter height that can be read from a distance, m.

    Examples
    --------
    >>> round(float(compute_letter(91.44)) / 0.0254, 3)
    10.0
    """
    return np.asarray(distance_m, dtype=np.float64) / values.value("legibility_m_per_m")

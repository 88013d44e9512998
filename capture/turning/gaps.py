"""How many cars an hour find a gap, how long do they wait, and how long is their queue?

Gap acceptance at a driveway without a signal. Assumes that conflicting traffic arrives
at random (no platoons, unless the blocked share of time is given) and that drivers are
alike; all functions work on arrays of any shape that broadcast together.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Sheet
from capture.turning.values import VALUES

FloatArray = NDArray[np.float64]
SECONDS_PER_HOUR: Final = 3600.0
_LEAST: Final = 1e-9
#: letter, longest control delay in s (Highway Capacity Manual 2010, exhibit 19-1)
LETTERS: Final = (("A", 10.0), ("B", 15.0), ("C", 25.0), ("D", 35.0), ("E", 50.0))


def _amounts(value: ArrayLike, name: str, unit: str) -> FloatArray:
    array = np.asarray(value, dtype=np.float64)
    bad = ~(array >= 0)
    if bad.any():
        raise InputError(
            f"{name} must be 0 or more {unit}, got {array[bad].ravel()[0]}; mend the input"
        )
    return array


def compute_capacity(
    conflicting_veh_h: ArrayLike, *, critical_s: ArrayLike, follow_up_s: ArrayLike
) -> FloatArray:
    """Compute how many vehicles an hour can make a movement that must give way.

    Parameters
    ----------
    conflicting_veh_h : array_like
        Flow that has priority, veh/h.
    critical_s, follow_up_s : array_like
        Least gap taken and headway of cars that use one gap, s.

    Returns
    -------
    ndarray of float
        Potential capacity, veh/h; tends to 3600 / follow-up without conflicting flow.

    Raises
    ------
    InputError
        For negative or missing numbers.

    Notes
    -----
    c = q exp(-q tc / 3600) / (1 - exp(-q tf / 3600)), q the conflicting flow, tc the
    critical and tf the follow-up headway.

    References
    ----------
    Highway Capacity Manual 2010, equation 19-32 (from memory).

    Examples
    --------
    >>> round(float(compute_capacity(500, critical_s=4.1, follow_up_s=2.2)))
    1075
    """
    flow = np.maximum(_amounts(conflicting_veh_h, "conflicting flow", "veh/h"), _LEAST)
    critical = _amounts(critical_s, "critical headway", "s") / SECONDS_PER_HOUR
    follow_up = _amounts(follow_up_s, "follow-up headway", "s") / SECONDS_PER_HOUR
    capacity: FloatArray = flow * np.exp(-flow * critical) / -np.expm1(-flow * follow_up)
    return capacity


def compute_two_stage_capacity(
    one_stage_veh_h: ArrayLike,
    *,
    first_veh_h: ArrayLike,
    second_veh_h: ArrayLike,
    crossing_veh_h: ArrayLike,
    storage_count: float,
) -> FloatArray:
    """Compute the capacity of crossing in two stages, with room for some cars in the middle.

    Parameters
    ----------
    one_stage_veh_h : array_like
        Capacity were the whole road crossed in one go.
    first_veh_h, second_veh_h : array_like
        Capacities of reaching and of leaving the middle.
    crossing_veh_h : array_like
        Flow that turns in across and uses the middle as well.
    storage_count : float
        Cars that fit in the middle; 0 gives the one-stage capacity.

    Returns
    -------
    ndarray of float
        veh/h, never below 0.

    Notes
    -----
    a = 1 - 0.32 exp(-1.3 sqrt(m)); y = (cI - cx) / (cII - vL - cx);
    cT = a / (y^(m+1) - 1) [y (y^m - 1)(cII - vL) + (y - 1) cx], and for y = 1
    cT = a / (m + 1) [m (cII - vL) + cx]. With powers divided out it is the average of
    cII - vL and cx with weight w = (y^(m+1) - y) / (y^(m+1) - 1) on the first. Waiting in the
    middle is a driver's choice, so the result is never below the one-stage capacity (ours).

    References
    ----------
    Highway Capacity Manual 2010, equations 19-45 to 19-49 (from memory).

    Examples
    --------
    >>> made = compute_two_stage_capacity(
    ...     100, first_veh_h=300, second_veh_h=320, crossing_veh_h=20, storage_count=1)
    >>> round(float(made), 1)
    182.6
    """
    one = _amounts(one_stage_veh_h, "capacity", "veh/h")
    first = np.maximum(_amounts(first_veh_h, "capacity", "veh/h"), one)
    room = np.maximum(
        _amounts(second_veh_h, "capacity", "veh/h")
        - _amounts(crossing_veh_h, "crossing flow", "veh/h"),
        one,
    )
    cars = float(storage_count)
    if not cars > 0:
        return np.broadcast_arrays(one, first, room)[0].copy()
    ratio = np.clip((first - one + _LEAST) / (room - one + _LEAST), 1e-6, 1e6)
    near_one = np.abs(ratio - 1.0) < 1e-6
    safe = np.where(near_one, 2.0, ratio)
    weight = np.where(
        near_one, cars / (cars + 1.0), (safe ** (cars + 1) - safe) / (safe ** (cars + 1) - 1.0)
    )
    factor = 1.0 - 0.32 * np.exp(-1.3 * np.sqrt(cars))
    made: FloatArray = factor * (weight * room + (1.0 - weight) * one)
    return np.maximum(made, one)


def compute_platoon_capacity(
    conflicting_veh_h: ArrayLike,
    *,
    blocked_share: ArrayLike,
    lanes: ArrayLike,
    critical_s: ArrayLike,
    follow_up_s: ArrayLike,
    values: Sheet = VALUES,
) -> FloatArray:
    """Compute a capacity where a signal nearby sends its traffic in platoons.

    Parameters
    ----------
    conflicting_veh_h, critical_s, follow_up_s : array_like
        As in :func:`compute_capacity`.
    blocked_share : array_like
        Share of the time (0-1) in which a platoon passes and no gap can be found.
    lanes : array_like
        Through lanes of the major road in the direction of the platoon.

    Raises
    ------
    InputError
        When a blocked share is not from 0 to below 1.

    Notes
    -----
    Outside platoons the flow is (q - 1.5 vmin p) / (1 - p), at least 0, vmin 1000 veh/h a
    lane; the capacity at that flow holds for the share 1 - p of the time.

    References
    ----------
    Highway Capacity Manual 2010, equations 19-33 and 19-34 (from memory).

    Examples
    --------
    >>> round(float(compute_platoon_capacity(
    ...     600, blocked_share=0.3, lanes=1, critical_s=6.9, follow_up_s=3.3)), 1)
    557.8
    """
    flow = _amounts(conflicting_veh_h, "conflicting flow", "veh/h")
    share = _amounts(blocked_share, "blocked share", "(0-1)")
    if (share >= 1).any():
        raise InputError(f"blocked share must be below 1, got {share.max()}; give a share")
    in_platoon = (
        values.value("platoon_flow_factor")
        * values.value("platoon_flow_veh_h_lane")
        * np.asarray(lanes, dtype=np.float64)
    )
    outside = np.maximum(flow - in_platoon * share, 0.0) / (1.0 - share)
    capacity = compute_capacity(
        np.where(share > 0, outside, flow), critical_s=critical_s, follow_up_s=follow_up_s
    )
    made: FloatArray = (1.0 - share) * capacity
    return made


def compute_delay(
    entering_veh_h: ArrayLike, capacity_veh_h: ArrayLike, *, values: Sheet = VALUES
) -> FloatArray:
    """Compute the average control delay of a movement that gives way.

    Parameters
    ----------
    entering_veh_h, capacity_veh_h : array_like
        Demand and capacity, veh/h.

    Returns
    -------
    ndarray of float
        s; not capped.

    Notes
    -----
    d = 3600/c + 900 T [(x - 1) + sqrt((x - 1)^2 + (3600/c) x / (450 T))] + 5, x = v/c.

    References
    ----------
    Highway Capacity Manual 2010, equation 19-64 (from memory).

    Examples
    --------
    >>> round(float(compute_delay(55, 170)), 1)
    36.0
    """
    demand = _amounts(entering_veh_h, "entering flow", "veh/h")
    capacity = np.maximum(_amounts(capacity_veh_h, "capacity", "veh/h"), _LEAST)
    hours = values.value("analysis_hours")
    use = demand / capacity
    service = SECONDS_PER_HOUR / capacity
    root = np.sqrt((use - 1) ** 2 + service * use / (450 * hours))
    delay: FloatArray = service + 900 * hours * (use - 1 + root) + values.value("stop_and_go_s")
    return delay


def compute_queue95(
    entering_veh_h: ArrayLike, capacity_veh_h: ArrayLike, *, values: Sheet = VALUES
) -> FloatArray:
    """Compute the 95th-percentile queue of a movement that gives way.

    Returns
    -------
    ndarray of float
        Vehicles.

    Notes
    -----
    900 T [(x - 1) + sqrt((x - 1)^2 + (3600/c) x / (150 T))] c / 3600, x = v/c.

    References
    ----------
    Highway Capacity Manual 2010, equation 19-68 (from memory).

    Examples
    --------
    >>> round(float(compute_queue95(55, 170)), 2)
    1.31
    """
    demand = _amounts(entering_veh_h, "entering flow", "veh/h")
    capacity = np.maximum(_amounts(capacity_veh_h, "capacity", "veh/h"), _LEAST)
    hours = values.value("analysis_hours")
    use = demand / capacity
    root = np.sqrt((use - 1) ** 2 + SECONDS_PER_HOUR / capacity * use / (150 * hours))
    queue: FloatArray = 900 * hours * (use - 1 + root) * capacity / SECONDS_PER_HOUR
    return queue


def compute_blocked_share(
    entering_veh_h: ArrayLike,
    capacity_veh_h: ArrayLike,
    *,
    through_veh_h: ArrayLike,
    values: Sheet = VALUES,
) -> FloatArray:
    """Compute how often a car waiting to turn in across holds up its own lane, with no bay.

    Parameters
    ----------
    entering_veh_h, capacity_veh_h : array_like
        Demand and capacity of the turn, veh/h.
    through_veh_h : array_like
        Through flow of the lane that both share, veh/h.

    Returns
    -------
    ndarray of float
        Share of the time, 0-1.

    Notes
    -----
    p* = 1 - x / (1 - v / s) is the chance of a free lane, x the turn's use of its
    capacity, v the through flow and s its saturation flow; returned is 1 - p*.

    References
    ----------
    Highway Capacity Manual 2010, equations 19-42 and 19-43 (from memory).

    Examples
    --------
    >>> round(float(compute_blocked_share(20, 800, through_veh_h=600)), 4)
    0.0375
    """
    use = _amounts(entering_veh_h, "entering flow", "veh/h") / np.maximum(
        _amounts(capacity_veh_h, "capacity", "veh/h"), _LEAST
    )
    busy = _amounts(through_veh_h, "through flow", "veh/h") / values.value("saturation_flow_veh_h")
    share: FloatArray = np.clip(use / np.maximum(1.0 - busy, _LEAST), 0.0, 1.0)
    return share


def find_letter(delay_s: float, use: float = 0.0) -> str:
    """Find the level-of-service letter of a control delay.

    Parameters
    ----------
    delay_s : float
        Control delay, s.
    use : float
        Demand over capacity; above 1 the letter is F whatever the delay.

    Examples
    --------
    >>> find_letter(36.0)
    'E'
    """
    if use > 1:
        return "F"
    return next((letter for letter, most in LETTERS if delay_s <= most), "F")

"""How much water and power runs at once when cars follow each other along the line?

Car by car: a station is on while some part of a car's body is over the length it wets,
and it is on once however many cars it sees. Assumes a chain of even speed while it moves
and stations that switch with the car.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """What runs when: a step function of time, summed over stations."""

    #: time at which each step begins, s, shape (k,)
    time_s: FloatArray
    #: amount from then on, in the unit of the stations' amounts, shape (k,)
    amount: FloatArray
    #: highest amount at any moment
    peak: float
    #: total of amount x seconds over the whole time
    total: float
    #: seconds that each station was on, shape (stations,)
    on_s: FloatArray

    def highest_mean(self, window_s: float) -> float:
        """Return the highest mean amount over any stretch of ``window_s`` seconds.

        Raises
        ------
        InputError
            When the window is not over 0 s.
        """
        if not window_s > 0:
            raise InputError(f"window must be over 0 s, got {window_s}; give 60 for a minute")
        if self.time_s.size == 0:
            return 0.0
        steps = np.append(self.time_s, self.time_s[-1] + window_s)
        held = np.append(self.amount, 0.0)
        running = np.concatenate(([0.0], np.cumsum(held[:-1] * np.diff(steps))))
        ends = np.concatenate((steps, steps + window_s))
        gained = np.interp(ends, steps, running) - np.interp(ends - window_s, steps, running)
        return float(gained.max() / window_s)


def compute_timeline(
    entries_s: ArrayLike,
    *,
    start_m: ArrayLike,
    wetted_m: ArrayLike,
    amount: ArrayLike,
    car_length_m: float,
    chain_speed_mps: float,
) -> Timeline:
    """Follow every car past every station and add up what is on.

    Parameters
    ----------
    entries_s : array_like of float, shape (cars,)
        When each car's nose enters the line.
    start_m, wetted_m : array_like of float, shape (stations,)
        Where each station starts to act, from the entry, and the length it acts on.
    amount : array_like of float, shape (stations,)
        What the station uses while on: a flow, a power.
    car_length_m : float
        Over the bumpers.
    chain_speed_mps : float
        Speed of the cars.

    Returns
    -------
    Timeline

    Raises
    ------
    InputError
        When speed or car length is not positive or the stations' arrays differ in length.

    Examples
    --------
    One car of 5 m at 0.25 m/s over one arch that wets 1 m: on for 24 s.

    >>> line = compute_timeline([0.0], start_m=[2.0], wetted_m=[1.0], amount=[3.0],
    ...                         car_length_m=5.0, chain_speed_mps=0.25)
    >>> float(line.on_s[0]), line.peak, line.total
    (24.0, 3.0, 72.0)
    """
    if not (chain_speed_mps > 0 and car_length_m > 0):
        raise InputError(
            f"chain speed and car length must be over 0, got {chain_speed_mps} m/s and "
            f"{car_length_m} m; check the line"
        )
    entries = np.sort(np.asarray(entries_s, dtype=np.float64))
    starts, wets, amounts = (
        np.asarray(column, dtype=np.float64) for column in (start_m, wetted_m, amount)
    )
    if not starts.shape == wets.shape == amounts.shape:
        raise InputError(
            f"stations must give start, wetted length and amount for each, got "
            f"{starts.size}, {wets.size}, {amounts.size}; fill the gaps"
        )
    on_s = np.zeros(starts.size)
    times: list[FloatArray] = []
    changes: list[FloatArray] = []
    for station in range(starts.size):
        nose = entries + starts[station] / chain_speed_mps
        begins, ends = _merge(nose, nose + (car_length_m + wets[station]) / chain_speed_mps)
        on_s[station] = float((ends - begins).sum())
        times += [begins, ends]
        changes += [
            np.full(begins.size, amounts[station]),
            np.full(ends.size, -amounts[station]),
        ]
    return _add_up(times, changes, on_s, amounts)


def _merge(begins: FloatArray, ends: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Join overlapping stretches of equal length, sorted by their beginning."""
    if begins.size == 0:
        return begins, ends
    apart = begins[1:] > ends[:-1]
    return begins[np.append(True, apart)], ends[np.append(apart, True)]


def _add_up(
    times: list[FloatArray],
    changes: list[FloatArray],
    on_s: FloatArray,
    amounts: FloatArray,
) -> Timeline:
    if not times or sum(part.size for part in times) == 0:
        empty = np.zeros(0)
        return Timeline(time_s=empty, amount=empty, peak=0.0, total=0.0, on_s=on_s)
    time, change = np.concatenate(times), np.concatenate(changes)
    moments, where = np.unique(time, return_inverse=True)
    step = np.bincount(where, weights=change, minlength=moments.size)
    held = np.maximum(np.cumsum(step), 0.0)
    return Timeline(
        time_s=moments,
        amount=held,
        peak=float(held.max()),
        total=float(on_s @ amounts),
        on_s=on_s,
    )


def spread_entries(
    cars_per_hour: float,
    *,
    least_headway_s: float,
    hours: float,
    draws: ArrayLike,
) -> FloatArray:
    """Lay out when cars enter during busy hours: never closer than the least headway.

    Parameters
    ----------
    cars_per_hour : float
        Mean rate.
    least_headway_s : float
        Pitch over chain speed.
    hours : float
        How long to go on.
    draws : array_like of float, shape (k,)
        Uniform numbers between 0 and 1 that make the gaps; reused in turn when short.

    Returns
    -------
    ndarray of float
        Seconds from the first car, shape (cars,).

    Notes
    -----
    Gap = least headway + exponential of the mean gap left over (a shifted exponential).

    Raises
    ------
    InputError
        When the rate is not over 0 cars/h or faster than the least headway allows.

    Examples
    --------
    >>> entries = spread_entries(100, least_headway_s=36.0, hours=1, draws=[0.5])
    >>> len(entries), float(entries[1])
    (100, 36.0)
    """
    if not cars_per_hour > 0:
        raise InputError(f"cars an hour must be over 0, got {cars_per_hour}; check the line")
    mean_s = 3600.0 / cars_per_hour
    spare_s = mean_s - least_headway_s
    if spare_s < -1e-9 * mean_s:
        raise InputError(
            f"cars an hour must leave {least_headway_s:.1f} s between cars, got "
            f"{cars_per_hour:.1f} an hour ({mean_s:.1f} s); lower it"
        )
    cars = max(1, round(cars_per_hour * hours))
    uniform = np.resize(np.asarray(draws, dtype=np.float64), cars - 1)
    gaps = least_headway_s - max(spare_s, 0.0) * np.log1p(-uniform)
    return np.concatenate(([0.0], np.cumsum(gaps)))

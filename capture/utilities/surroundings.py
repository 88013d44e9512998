"""How much compressed air, how loud at the property line, which water meter?

Noise spreads from a point over hard ground; it is a caution to have it measured, never a
proof that a limit is met.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Sheet
from capture.basis.units import M3S_PER_GPM
from capture.utilities.values import VALUES

FloatArray = NDArray[np.float64]
#: nominal meter size, inches as said in the trade -> safe maximum flow, gal/min
#: (AWWA C700 and C702, safe maximum operating capacity; from memory)
METER_STEPS: Final[tuple[tuple[str, float], ...]] = (
    ("5/8 in", 20.0),
    ("3/4 in", 30.0),
    ("1 in", 50.0),
    ("1 1/2 in", 100.0),
    ("2 in", 160.0),
    ("3 in", 320.0),
    ("4 in", 500.0),
    ("6 in", 1000.0),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """A water meter class that a peak flow points to."""

    #: nominal size as said in the trade
    size: str
    #: safe maximum flow of that size, m3/s
    most_m3s: float
    #: peak flow is beyond the largest size listed
    beyond: bool


def pick_meter(peak_m3s: float) -> Meter:
    """Return the smallest meter class whose safe maximum carries the flow.

    Raises
    ------
    InputError
        When the flow is negative or not a number.

    Examples
    --------
    >>> pick_meter(130 * 6.30901964e-05).size
    '2 in'
    """
    if not (np.isfinite(peak_m3s) and peak_m3s >= 0):
        raise InputError(f"peak flow must be 0 m3/s or more, got {peak_m3s}; check the stations")
    for size, gpm in METER_STEPS:
        if peak_m3s <= gpm * M3S_PER_GPM:
            return Meter(size=size, most_m3s=gpm * M3S_PER_GPM, beyond=False)
    size, gpm = METER_STEPS[-1]
    return Meter(size=size, most_m3s=gpm * M3S_PER_GPM, beyond=True)


def add_levels(levels_db: ArrayLike) -> float:
    """Add sound levels of independent sources: 10 log10(sum 10^(L/10)), dB.

    Raises
    ------
    InputError
        When there is no level.

    Examples
    --------
    >>> round(add_levels([80.0, 80.0]), 1)
    83.0
    """
    levels = np.asarray(levels_db, dtype=np.float64)
    if levels.size == 0:
        raise InputError("sound levels: at least one source in dB is needed, got none; list one")
    top = levels.max()
    return float(top + 10.0 * np.log10(np.exp((levels - top) * (np.log(10.0) / 10.0)).sum()))


def compute_noise_level(
    level_db: ArrayLike, distance_m: ArrayLike, *, reference_m: float
) -> FloatArray:
    """Return the sound level farther from a source: L - 20 log10(d / d0), dB.

    Notes
    -----
    Sound pressure falls as the inverse of distance, 6 dB a doubling, in the open and
    without walls, ground or air losses.

    Raises
    ------
    InputError
        When a distance is not over 0 m.

    Examples
    --------
    >>> round(float(compute_noise_level(90.0, 20.0, reference_m=10.0)), 1)
    84.0
    """
    distance = np.asarray(distance_m, dtype=np.float64)
    if not (np.all(distance > 0) and reference_m > 0):
        raise InputError(f"noise distance must be over 0 m, got {distance.min()}; check it")
    level = np.asarray(level_db, dtype=np.float64)
    return np.asarray(level - 20.0 * np.log10(distance / reference_m))


def compute_quiet_distance(
    level_db: ArrayLike, limit_db: float, *, reference_m: float
) -> FloatArray:
    """Return the distance at which a source has fallen to a limit, m.

    Examples
    --------
    >>> round(float(compute_quiet_distance(86.0, 80.0, reference_m=10.0)), 1)
    20.0
    """
    level = np.asarray(level_db, dtype=np.float64)
    return np.asarray(reference_m * 10.0 ** ((level - limit_db) / 20.0))


def compute_compressor_power(
    free_air_m3s: ArrayLike, pressure_pa: ArrayLike, *, values: Sheet = VALUES
) -> FloatArray:
    """Return the shaft power that compresses free air in one stage, W.

    Parameters
    ----------
    free_air_m3s : array_like of float
        At atmospheric conditions.
    pressure_pa : array_like of float
        Gauge pressure delivered.

    Notes
    -----
    P = k / (k - 1) p1 Q ((p2 / p1)^((k - 1) / k) - 1) / eff, ideal gas without heat loss.

    References
    ----------
    *Compressed Air and Gas Handbook*: adiabatic compression (from memory).

    Raises
    ------
    InputError
        When flow or pressure is negative.

    Examples
    --------
    >>> round(float(compute_compressor_power(0.01, 689_476.0)))
    4046
    """
    flow = np.asarray(free_air_m3s, dtype=np.float64)
    gauge = np.asarray(pressure_pa, dtype=np.float64)
    if not (np.all(flow >= 0) and np.all(gauge >= 0)):
        raise InputError(
            f"air flow and pressure must be 0 or more, got {flow.min()} m3/s and {gauge.min()} Pa"
        )
    ratio, base = values.value("air_heat_ratio"), values.value("atmosphere_pa")
    power = (ratio - 1.0) / ratio
    ideal = base * flow / power * (((gauge + base) / base) ** power - 1.0)
    return np.asarray(ideal / values.value("compressor_efficiency_share"))


def size_compressor(free_air_m3s: ArrayLike, *, values: Sheet = VALUES) -> FloatArray:
    """Return the motor power of a compressor that rests part of the time, W.

    Notes
    -----
    Compression power of the free air over the duty share, at the usual pressure.

    Raises
    ------
    InputError
        When the air flow is negative.
    """
    power = compute_compressor_power(free_air_m3s, values.value("air_pressure_pa"), values=values)
    return np.asarray(power / values.value("air_duty_share"))

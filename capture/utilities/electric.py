"""What current do the motors draw, and which feeder and service carry them?

Assumes three-phase squirrel-cage motors of usual speed and torque. The results are
planning figures; the design belongs to a licensed electrical engineer and local code.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from capture.basis import InputError, Sheet
from capture.basis.units import W_PER_HP
from capture.utilities.values import VALUES

#: rated power in hp -> full-load amperes at 208, 230 and 460 V (NFPA 70, Table 430.250)
FULL_LOAD_A: Final = MappingProxyType(
    {
        0.5: (2.4, 2.2, 1.1),
        0.75: (3.5, 3.2, 1.6),
        1.0: (4.6, 4.2, 2.1),
        1.5: (6.6, 6.0, 3.0),
        2.0: (7.5, 6.8, 3.4),
        3.0: (10.6, 9.6, 4.8),
        5.0: (16.7, 15.2, 7.6),
        7.5: (24.2, 22.0, 11.0),
        10.0: (30.8, 28.0, 14.0),
        15.0: (46.2, 42.0, 21.0),
        20.0: (59.4, 54.0, 27.0),
        25.0: (74.8, 68.0, 34.0),
        30.0: (88.0, 80.0, 40.0),
        40.0: (114.0, 104.0, 52.0),
        50.0: (143.0, 130.0, 65.0),
        60.0: (169.0, 154.0, 77.0),
        75.0: (211.0, 192.0, 96.0),
        100.0: (273.0, 248.0, 124.0),
        125.0: (343.0, 312.0, 156.0),
        150.0: (396.0, 360.0, 180.0),
        200.0: (528.0, 480.0, 240.0),
    }
)
#: nominal supply voltage -> column of the table
_COLUMN: Final = MappingProxyType({208: 0, 230: 1, 240: 1, 460: 2, 480: 2})
#: nominal supply voltage used for kVA, by any name of it
_SUPPLY_V: Final = MappingProxyType({208: 208, 230: 240, 240: 240, 460: 480, 480: 480})
#: usual service ratings, A (standard ratings of NFPA 70, 240.6(A), that services come in)
SERVICE_STEPS_A: Final = (
    100, 125, 150, 200, 225, 300, 400, 600, 800, 1000, 1200, 1600, 2000, 2500, 3000, 4000,
)  # fmt: skip
#: share by which a motor may exceed a rated size before the next size is taken
_RATING_SLACK: Final = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """One kind of motor on the list."""

    #: what it turns
    name: str
    #: how many of them
    count: int
    #: rated shaft power of one, a standard size, W
    power_w: float
    #: full-load current of one, A
    full_load_a: float
    #: fed through a variable-frequency drive
    on_drive: bool = False


def round_up_motor(power_w: float) -> float:
    """Return the next standard motor size, W.

    Raises
    ------
    InputError
        When the power is not positive or above the largest listed motor, 200 hp.

    References
    ----------
    NFPA 70, National Electrical Code, Table 430.250.

    Examples
    --------
    >>> round(round_up_motor(8000.0) / 745.6998715822702, 3)
    15.0
    """
    if not (math.isfinite(power_w) and power_w > 0):
        raise InputError(f"motor power must be over 0 W, got {power_w}; give its shaft power")
    power_hp = power_w / W_PER_HP
    for size_hp in FULL_LOAD_A:
        if power_hp <= size_hp * (1 + _RATING_SLACK):
            return size_hp * W_PER_HP
    raise InputError(
        f"motor power must be at most {max(FULL_LOAD_A):g} hp, got {power_hp:.0f} hp; "
        "split it into several motors"
    )


def compute_full_load_amps(power_w: float, *, volts: int = 480) -> float:
    """Look up a three-phase motor's full-load current.

    Parameters
    ----------
    power_w : float
        Rated shaft power, W; the next listed size is used.
    volts : {208, 230, 240, 460, 480}
        Nominal voltage; 240 and 480 V supplies use the 230 and 460 V columns.

    Returns
    -------
    float
        Current, A.

    Raises
    ------
    InputError
        For a voltage that has no column or a power beyond the table.

    References
    ----------
    NFPA 70, National Electrical Code, Table 430.250.

    Examples
    --------
    >>> compute_full_load_amps(20 * 745.6998715822702, volts=460)
    27.0
    """
    column = _COLUMN.get(volts)
    if column is None:
        raise InputError(f"volts must be one of {', '.join(map(str, _COLUMN))}, got {volts}")
    size_hp = min(FULL_LOAD_A, key=lambda hp: abs(hp * W_PER_HP - round_up_motor(power_w)))
    return FULL_LOAD_A[size_hp][column]


def compute_feeder_amps(
    motors: Sequence[Motor],
    *,
    continuous_a: float = 0.0,
    short_a: float = 0.0,
    values: Sheet = VALUES,
) -> float:
    """Return the least feeder ampacity for several motors and other loads.

    Parameters
    ----------
    motors : sequence of Motor
        Motors on a drive count by 1.25 times their current, the drive's rated input.
    continuous_a, short_a : float
        Other loads, A: those that run three hours or more, and the rest.

    Returns
    -------
    float
        Ampacity, A.

    Notes
    -----
    1.25 x largest motor + other motors + 1.25 x other continuous + other non-continuous.

    References
    ----------
    NFPA 70, National Electrical Code, 430.24, 215.2(A)(1), 430.122.

    Examples
    --------
    >>> def motor(amps):
    ...     return Motor(name="m", count=1, power_w=1.0, full_load_a=amps)
    >>> compute_feeder_amps([motor(40.0), motor(27.0), motor(14.0)])
    91.0
    """
    drive = values.value("drive_input_factor")
    each = [motor.full_load_a * (drive if motor.on_drive else 1.0) for motor in motors]
    total = sum(amps * motor.count for amps, motor in zip(each, motors, strict=True))
    largest = max(
        (amps for amps, motor in zip(each, motors, strict=True) if motor.count > 0), default=0.0
    )
    extra = (values.value("feeder_motor_factor") - 1.0) * largest
    return total + extra + values.value("feeder_continuous_factor") * continuous_a + short_a


def compute_phase_amps(power_va: float, *, volts: int = 480) -> float:
    """Return the line current of a balanced three-phase load: S / (sqrt(3) V).

    Examples
    --------
    >>> round(compute_phase_amps(83_138.0, volts=480), 1)
    100.0
    """
    return power_va / (math.sqrt(3.0) * supply_volts(volts))


def compute_apparent_power(amps: float, *, volts: int = 480) -> float:
    """Return the apparent power of a balanced three-phase current, VA."""
    return math.sqrt(3.0) * supply_volts(volts) * amps


def supply_volts(volts: int) -> int:
    """Return the supply's nominal voltage for a motor's or supply's voltage.

    Raises
    ------
    InputError
        For a voltage without a column in the motor table.
    """
    if volts not in _SUPPLY_V:
        raise InputError(f"volts must be one of {', '.join(map(str, _COLUMN))}, got {volts}")
    return _SUPPLY_V[volts]


def size_service(amps: float) -> tuple[int, int]:
    """Return the usual service rating that carries a load, and how many of them.

    Returns
    -------
    tuple of (int, int)
        Rating of one, A, and number of services of that rating.

    Raises
    ------
    InputError
        When the current is negative or not a number.

    Examples
    --------
    >>> size_service(437.0)
    (600, 1)
    >>> size_service(5000.0)
    (2500, 2)
    """
    if not (math.isfinite(amps) and amps >= 0):
        raise InputError(f"service current must be 0 A or more, got {amps}; check the motor list")
    number = max(1, math.ceil(amps / SERVICE_STEPS_A[-1]))
    return next(step for step in SERVICE_STEPS_A if step * number >= amps), number

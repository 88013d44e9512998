"""Which motors stand on the list, and what service do they need?

Splits each station's rated power into standard motors: dryers one each, pumps and drives
up to a usual largest size. Assumes nothing of make or model.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

from capture.basis import InputError, Sheet
from capture.utilities.electric import (
    Motor,
    compute_apparent_power,
    compute_feeder_amps,
    compute_full_load_amps,
    compute_phase_amps,
    round_up_motor,
    size_service,
)
from capture.utilities.hydraulics import compute_pump_power
from capture.utilities.reading import Stations
from capture.utilities.values import VALUES


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """One pumped station."""

    #: station it feeds
    station: str
    #: m3/s
    flow_m3s: float
    #: at the nozzles, Pa
    pressure_pa: float
    #: shaft power from flow, pressure and pump efficiency, W
    shaft_w: float
    #: rated power that the station lists, W
    listed_w: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Service:
    """The electrical service that the motor list and other loads point to."""

    #: supply voltage, three-phase
    volts: int
    #: rated shaft power of all motors, W
    connected_w: float
    #: full-load current of all motors, A
    full_load_a: float
    #: least feeder ampacity, A
    feeder_a: float
    #: feeder with spare, A
    wanted_a: float
    #: next usual rating, A
    service_a: int
    #: number of services of that rating
    services: int
    #: of the feeder current, VA
    apparent_va: float
    #: current of the rated service, VA
    service_va: float


def list_pumps(stations: Stations, *, values: Sheet = VALUES) -> tuple[Pump, ...]:
    """List what each watered station's pump must do.

    Notes
    -----
    Shaft power = flow x pressure / pump efficiency; a station's listed power may be higher
    since it also turns cloth or lifts water.
    """
    efficiency = values.value("pump_efficiency_share")
    return tuple(
        Pump(
            station=name,
            flow_m3s=float(flow),
            pressure_pa=float(pressure),
            shaft_w=float(compute_pump_power(flow, pressure, efficiency)),
            listed_w=float(listed),
        )
        for name, flow, pressure, listed in zip(
            stations.names,
            stations.flow_m3s,
            stations.pressure_pa,
            stations.power_w,
            strict=True,
        )
        if flow > 0 and pressure > 0
    )


def list_motors(
    stations: Stations,
    *,
    lines: int = 1,
    vacuum_w: float = 0.0,
    compressor_w: float = 0.0,
    volts: int = 480,
    drives: Collection[str] = (),
    values: Sheet = VALUES,
) -> tuple[Motor, ...]:
    """Split rated powers into standard three-phase motors.

    Parameters
    ----------
    stations : Stations
        With rated power by station.
    lines : int
        Lines side by side.
    vacuum_w, compressor_w : float
        Shaft power of central vacuums and of the air compressor.
    volts : int
        Supply voltage.
    drives : collection of str
        Roles of stations whose motors run on variable-frequency drives.

    Raises
    ------
    InputError
        When a role in ``drives`` is none of the stations'.

    Returns
    -------
    tuple of Motor
        In line order, then vacuums and air.
    """
    unknown = sorted(set(drives) - set(stations.roles))
    if unknown:
        raise InputError(
            f"drives: no station has the role {unknown[0]!r}; known are "
            f"{', '.join(sorted(set(stations.roles)))}"
        )
    wanted = []
    for at, name in enumerate(stations.names):
        power = float(stations.power_w[at])
        if power <= 0:
            continue
        if stations.dryer[at]:
            size = values.value("dryer_motor_w")
        elif stations.flow_m3s[at] > 0 and stations.pressure_pa[at] > 0:
            size = values.value("pump_motor_w")
        else:
            size = values.value("drive_motor_w")
        wanted.append((name, power, size, lines, stations.roles[at] in drives))
    wanted.append(("central vacuum", vacuum_w, values.value("pump_motor_w"), 1, False))
    wanted.append(("air compressor", compressor_w, values.value("pump_motor_w"), 1, False))
    return tuple(
        _split(name, power, size, times, volts, on_drive=on_drive)
        for name, power, size, times, on_drive in wanted
        if power > 0
    )


def _split(
    name: str, power_w: float, largest_w: float, times: int, volts: int, *, on_drive: bool
) -> Motor:
    number = max(1, math.ceil(power_w / largest_w - 0.05))
    size = round_up_motor(power_w / number)
    return Motor(
        name=name,
        count=number * times,
        power_w=size,
        full_load_a=compute_full_load_amps(size, volts=volts),
        on_drive=on_drive,
    )


def size_power(
    motors: tuple[Motor, ...],
    *,
    volts: int = 480,
    values: Sheet = VALUES,
) -> Service:
    """Size feeder and service for a motor list and the usual other loads.

    Returns
    -------
    Service

    References
    ----------
    NFPA 70, National Electrical Code, 430.24 and 240.6(A).
    """
    continuous = compute_phase_amps(values.value("other_continuous_w"), volts=volts)
    short = compute_phase_amps(values.value("other_short_w"), volts=volts)
    feeder = compute_feeder_amps(motors, continuous_a=continuous, short_a=short, values=values)
    wanted = feeder * (1.0 + values.value("service_spare_share"))
    rating, number = size_service(wanted)
    return Service(
        volts=volts,
        connected_w=sum(motor.power_w * motor.count for motor in motors),
        full_load_a=sum(motor.full_load_a * motor.count for motor in motors),
        feeder_a=feeder,
        wanted_a=wanted,
        service_a=rating,
        services=number,
        apparent_va=compute_apparent_power(feeder, volts=volts),
        service_va=compute_apparent_power(rating * number, volts=volts),
    )

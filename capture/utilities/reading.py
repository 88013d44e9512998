"""How is a line of any format read as one table of stations that use water, air and power?

Conveyor stations come placed and counted; a bay has no stations, so each bay stands as one
usual machine of its kind, said in ``assumed``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Offer, Sheet
from capture.line import Line, PlacedStation
from capture.utilities.values import VALUES

FloatArray = NDArray[np.float64]
#: role of the stations that blow
DRYER: Final = "dryer"
_COLUMNS: Final = ("start_m", "wetted_m", "flow_m3s", "pressure_pa", "power_w", "air_m3s")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stations:
    """A line's stations as arrays, shape (k,) each; amounts of all units of a station."""

    #: names in order
    names: tuple[str, ...]
    #: part each plays
    roles: tuple[str, ...]
    #: from the entry
    start_m: FloatArray
    #: length acted on
    wetted_m: FloatArray
    #: water while on
    flow_m3s: FloatArray
    #: at the nozzles
    pressure_pa: FloatArray
    #: rated shaft power
    power_w: FloatArray
    #: free air while on
    air_m3s: FloatArray
    #: arches, applicators or dryers
    count: tuple[int, ...]
    #: which water each takes: fresh, reclaimed, spot_free or none
    water: tuple[str, ...]
    #: what had to be assumed, one sentence each
    assumed: tuple[str, ...]

    @property
    def dryer(self) -> tuple[bool, ...]:
        """Which of them blow."""
        return tuple(role == DRYER for role in self.roles)

    def __post_init__(self) -> None:
        for name in _COLUMNS:
            column = getattr(self, name)
            bad = np.flatnonzero(~np.isfinite(column) | (column < 0))
            if bad.size:
                station = self.names[int(bad[0])]
                raise InputError(
                    f"station {station!r}: {name} must be 0 or more, got {column[bad[0]]}; mend it"
                )


def read_stations(line: Line, offer: Offer, *, values: Sheet = VALUES) -> Stations:
    """Turn a line into arrays, whatever its format.

    Parameters
    ----------
    line : Line
        Sized line; bays have no stations and get one stand-in station per bay.
    offer : Offer
        Says whether wash water is reclaimed.

    Raises
    ------
    InputError
        When a conveyor line has no stations or a number in it is not usable.

    Examples
    --------
    >>> from capture.line import size_line
    >>> stations = read_stations(size_line(98.0, Offer()), Offer())
    >>> sum(stations.dryer), "spot_free" in stations.water
    (1, True)
    """
    if not offer.is_conveyor:
        return _read_bays(line, offer, values)
    placed = line.stations
    if not placed:
        raise InputError(
            f"line: a {offer.format} line must have at least one station, got none; size it first"
        )

    def column(name: str) -> FloatArray:
        return np.array([getattr(station, name) for station in placed], dtype=np.float64)

    return Stations(
        names=tuple(station.name for station in placed),
        roles=tuple(station.role for station in placed),
        start_m=column("start_m"),
        wetted_m=np.array([_wetted(station) for station in placed], dtype=np.float64),
        flow_m3s=column("flow_m3s"),
        pressure_pa=column("pressure_pa"),
        power_w=column("power_w"),
        air_m3s=column("air_m3s"),
        count=tuple(station.count for station in placed),
        water=tuple(_water(station, offer) for station in placed),
        assumed=(),
    )


def _wetted(station: PlacedStation) -> float:
    """Length acted on: all arches together, else the whole zone."""
    return station.wetted_m * station.count if station.wetted_m > 0 else station.length_m


def _water(station: PlacedStation, offer: Offer) -> str:
    return "fresh" if station.water == "reclaimed" and not offer.reclaim else station.water


def _read_bays(line: Line, offer: Offer, values: Sheet) -> Stations:
    bays = max(1, line.bays)
    kind = "bay" if offer.format == "in_bay" else "self"
    one = np.ones(bays)
    return Stations(
        names=tuple(f"bay {number + 1}" for number in range(bays)),
        roles=("bay",) * bays,
        start_m=0.0 * one,
        wetted_m=0.0 * one,
        flow_m3s=values.value(f"{kind}_flow_m3s") * one,
        pressure_pa=values.value(f"{kind}_pressure_pa") * one,
        power_w=values.value(f"{kind}_power_w") * one,
        air_m3s=values.value("bay_air_m3s") * one,
        count=(1,) * bays,
        water=("fresh",) * bays,
        assumed=("Each bay is taken as the usual machine of its kind.",),
    )

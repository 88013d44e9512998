"""Which stations can a line be put together from, and which packages are usual?

Stations are data: a readable table that a user can edit, add to and reorder. Figures in
the file are in the trade's units with the unit in the key, or in SI; inside all is SI.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final

from capture.basis import InputError, raise_gathered

WATERS: Final = ("fresh", "reclaimed", "spot_free", "none")


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """One kind of station; amounts are per one of its arches, applicators or dryers.

    Raises
    ------
    InputError
        When a number is out of its range or the kind of water is not known.
    """

    #: short name, unique
    id: str
    #: name in trade words
    name: str
    #: what part it plays in the order rules
    role: str
    #: what it is for, one sentence
    purpose: str
    #: length that it takes at any speed
    body_m: float = 0.0
    #: further length per one
    each_m: float = 0.0
    #: least seconds from its start to the next station's
    zone_s: float = 0.0
    #: seconds that each spot of a car must be worked on; 0 when that does not apply
    contact_s: float = 0.0
    #: length that one works on
    wetted_m: float = 0.0
    #: least count
    count: int = 1
    #: station whose zone it hangs over, "" when it has its own
    with_station: str = ""
    #: how many seconds ahead of that one's start it begins
    lead_s: float = 0.0
    #: water of one while on
    flow_m3s: float = 0.0
    #: at the nozzles
    pressure_pa: float = 0.0
    #: air of one while on, at free-air conditions
    air_m3s: float = 0.0
    #: rated power of one
    power_w: float = 0.0
    #: rated power per length of the line
    power_w_m: float = 0.0
    #: installed cost of one
    cost_usd: float = 0.0
    #: installed cost per length of the line
    cost_usd_m: float = 0.0
    #: which water: fresh, reclaimed, spot_free or none
    water: str = "none"
    #: what is put on the car
    chemistry: str = ""
    #: how long that should act, and its ceiling in heat; 0 when it does not matter
    dwell_low_s: float = 0.0
    dwell_high_s: float = 0.0
    #: between applicators of one side
    spacing_m: float = 0.0
    #: what else it does
    side_effects: str = ""

    def __post_init__(self) -> None:
        for field in fields(self):
            amount = getattr(self, field.name)
            if isinstance(amount, float | int) and field.name != "lead_s":
                most = _MOST.get(field.name, 1e9)
                if not (math.isfinite(amount) and 0 <= amount <= most):
                    raise InputError(
                        f"station {self.id!r}: {field.name} must be 0 to {most:g}, got {amount}"
                    )
        if self.water not in WATERS:
            raise InputError(
                f"station {self.id!r}: water must be one of {', '.join(WATERS)}, got {self.water!r}"
            )
        if self.count < 1 or self.count != int(self.count):
            raise InputError(
                f"station {self.id!r}: count must be a whole number of 1 or more, got {self.count}"
            )
        if self.contact_s > 0 and self.wetted_m <= 0:
            raise InputError(
                f"station {self.id!r}: contact_s needs a wetted length above 0; give one"
            )


_MOST: Final = {
    "body_m": 60.0, "each_m": 30.0, "zone_s": 300.0, "contact_s": 300.0, "wetted_m": 60.0,
    "count": 200, "flow_m3s": 0.1, "pressure_pa": 3e7, "power_w": 5e5,
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Package:
    """A saved list of stations, and the chain speeds for which it is meant."""

    #: short name, unique
    id: str
    #: name in trade words
    name: str
    #: formats that may use it
    formats: tuple[str, ...]
    #: chain speeds between which it holds
    slowest_mps: float
    fastest_mps: float
    #: why these speeds
    reason: str
    #: station ids in order
    stations: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Catalog:
    """Stations by id and packages by id.

    Raises
    ------
    InputError
        When a package names a station that is not there, or hangs one over a missing zone.
    """

    #: stations that can be used
    stations: Mapping[str, Station]
    #: lists of them
    packages: Mapping[str, Package]

    def __post_init__(self) -> None:
        faults = [fault for package in self.packages.values() for fault in self._faults(package)]
        raise_gathered(faults, where="stations", kind=InputError)

    def _faults(self, package: Package) -> list[str]:
        unknown = [one for one in package.stations if one not in self.stations]
        faults = [f"package {package.id!r} names unknown station {one!r}" for one in unknown]
        if not 0 < package.slowest_mps <= package.fastest_mps <= 1.0:
            faults.append(
                f"package {package.id!r}: chain speeds must be above 0 and rise, up to 1 m/s"
            )
        zones = [
            one for one in package.stations
            if one in self.stations and not self.stations[one].with_station
        ]  # fmt: skip
        if not zones:
            faults.append(f"package {package.id!r} has no station with a zone of its own")
        for one in package.stations:
            host = self.stations[one].with_station if one in self.stations else ""
            if host and host not in zones:
                faults.append(f"package {package.id!r}: {one!r} hangs over {host!r}, not in it")
        return faults

    def pick(self, package: str) -> tuple[Station, ...]:
        """Return the stations of a package in order."""
        if not isinstance(package, str) or package not in self.packages:
            raise InputError(
                f"line: package must be one of {', '.join(self.packages)}, got {package!r}"
            )
        return tuple(self.stations[one] for one in self.packages[package].stations)

    def change_station(self, station: str, **changes: Any) -> Catalog:
        """Return a new catalog in which one station has other figures (SI)."""
        if station not in self.stations:
            raise InputError(f"line: there is no station {station!r}; add it first")
        known = {field.name for field in fields(Station)} - {"id"}
        unknown = sorted(set(changes) - known)
        if unknown:
            raise InputError(
                f"station {station!r}: there is no field {unknown[0]!r}; known are "
                f"{', '.join(sorted(known))}"
            )
        return self.add_station(replace(self.stations[station], **changes))

    def add_station(self, station: Station) -> Catalog:
        """Return a new catalog with a station added, or replaced if its id is known."""
        return replace(self, stations={**self.stations, station.id: station})

    def save_package(self, package: str, stations: Sequence[str], **changes: Any) -> Catalog:
        """Return a new catalog with a package's stations replaced, reordered or added.

        A new package takes name, formats and speeds from the complete one unless given.
        """
        base = self.packages.get(package) or replace(
            next(iter(self.packages.values())), id=package, name=package
        )
        made = replace(base, stations=tuple(stations), **changes)
        return replace(self, packages={**self.packages, package: made})

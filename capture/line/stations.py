"""Which stations can a line be put together from, and which packages are usual?

Stations are data: a readable table that a user can edit, add to and reorder. Figures in
the file are in the trade's units with the unit in the key, or in SI; inside all is SI.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, Final

from capture.basis import DataError, InputError, plain_text, raise_gathered
from capture.basis.offer import CONVEYOR_FORMATS
from capture.basis.units import (
    M3S_PER_GPM,
    M_PER_FT,
    MPS_PER_FT_PER_MIN,
    PA_PER_PSI,
    W_PER_HP,
)

_M3S_PER_CFM: Final = M_PER_FT**3 / 60
_M_PER_IN: Final = M_PER_FT / 12
_MOST_BYTES: Final = 500_000
_MOST_STATIONS: Final = 200
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
        if package not in self.packages:
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


#: key in the file -> (field, SI amount of one unit)
_KEYS: Final[Mapping[str, tuple[str, float]]] = {
    "body_ft": ("body_m", M_PER_FT), "each_ft": ("each_m", M_PER_FT),
    "wetted_ft": ("wetted_m", M_PER_FT), "gpm": ("flow_m3s", M3S_PER_GPM),
    "lpm": ("flow_m3s", 1e-3 / 60), "psi": ("pressure_pa", PA_PER_PSI),
    "bar": ("pressure_pa", 1e5), "hp": ("power_w", W_PER_HP), "kw": ("power_w", 1000.0),
    "hp_per_ft": ("power_w_m", W_PER_HP / M_PER_FT), "kw_per_m": ("power_w_m", 1000.0),
    "air_cfm": ("air_m3s", _M3S_PER_CFM), "usd": ("cost_usd", 1.0),
    "usd_per_ft": ("cost_usd_m", 1 / M_PER_FT), "usd_per_m": ("cost_usd_m", 1.0),
    "spacing_in": ("spacing_m", _M_PER_IN), "body_m": ("body_m", 1.0), "each_m": ("each_m", 1.0),
    "wetted_m": ("wetted_m", 1.0), "zone_s": ("zone_s", 1.0), "contact_s": ("contact_s", 1.0),
    "lead_s": ("lead_s", 1.0), "dwell_low_s": ("dwell_low_s", 1.0),
    "dwell_high_s": ("dwell_high_s", 1.0), "spacing_m": ("spacing_m", 1.0),
}  # fmt: skip
_TEXTS: Final[Mapping[str, str]] = {
    "id": "id", "name": "name", "role": "role", "purpose": "purpose", "with": "with_station",
    "water": "water", "chemistry": "chemistry", "side_effects": "side_effects",
}  # fmt: skip


def read_catalog(text: str, *, where: str = "stations.toml") -> Catalog:
    """Read stations and packages from TOML text.

    Raises
    ------
    DataError
        Naming every fault: not TOML, an unknown key, a missing name, an id twice.
    """
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DataError(f"{where}: not readable as TOML ({error}); mend that place") from None
    entries, lists = table.get("station", []), table.get("package", [])
    if not isinstance(entries, list) or not 0 < len(entries) <= _MOST_STATIONS:
        raise DataError(f"{where}: needs 1 to {_MOST_STATIONS} [[station]] entries")
    faults: list[str] = []
    stations: dict[str, Station] = {}
    for number, entry in enumerate(entries, start=1):
        station = _read_station(entry, number, faults)
        if station is not None and station.id in stations:
            faults.append(f"station {station.id!r} stands twice; rename one")
        elif station is not None:
            stations[station.id] = station
    packages = {
        package.id: package
        for number, entry in enumerate(lists, start=1)
        if (package := _read_package(entry, number, faults)) is not None
    }
    raise_gathered(faults, where=where)
    return Catalog(stations=stations, packages=packages)


def load_catalog(path: Path) -> Catalog:
    """Read stations and packages from a TOML file of at most 500 kB.

    Raises
    ------
    DataError
        When the file cannot be read or is not of that form.
    """
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise DataError(f"{path.name}: a station file is under 500 kB; is this another file?")
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise DataError(f"{path.name}: the station file cannot be read ({error})") from None
    return read_catalog(text, where=path.name)


@lru_cache(maxsize=1)
def usual_catalog() -> Catalog:
    """Return the stations and packages that come with the library."""
    text = (resources.files("capture.line") / "stations.toml").read_text(encoding="utf-8")
    return read_catalog(text)


def _read_station(entry: Any, number: int, faults: list[str]) -> Station | None:
    if not isinstance(entry, dict):
        faults.append(f"station {number} must be a table of keys")
        return None
    here = f"station {plain_text(entry.get('id', number), most=40)!r}"
    made: dict[str, Any] = {}
    for key, amount in entry.items():
        if key in _TEXTS and isinstance(amount, str):
            made[_TEXTS[key]] = plain_text(amount, most=300)
        elif key == "count" and isinstance(amount, int) and not isinstance(amount, bool):
            made["count"] = amount
        elif key in _KEYS and isinstance(amount, int | float) and not isinstance(amount, bool):
            field, size = _KEYS[key]
            made[field] = float(amount) * size
        else:
            faults.append(f"{here}: key {plain_text(key, most=40)!r} is unknown or of a wrong kind")
    missing = [key for key in ("id", "name", "role", "purpose") if not made.get(key)]
    if missing:
        faults.append(f"{here}: {', '.join(missing)} must be given")
        return None
    try:
        return Station(**made)
    except InputError as error:
        faults.append(str(error))
        return None


def _read_package(entry: Any, number: int, faults: list[str]) -> Package | None:
    try:
        formats = tuple(str(one) for one in entry["formats"])
        package = Package(
            id=plain_text(entry["id"], most=40),
            name=plain_text(entry["name"]),
            formats=formats,
            slowest_mps=float(entry["slowest_ft_min"]) * MPS_PER_FT_PER_MIN,
            fastest_mps=float(entry["fastest_ft_min"]) * MPS_PER_FT_PER_MIN,
            reason=plain_text(entry.get("reason", "")),
            stations=tuple(str(one) for one in entry["stations"]),
        )
    except (KeyError, TypeError, ValueError):
        faults.append(
            f"package {number}: id, name, formats, slowest_ft_min, fastest_ft_min and stations "
            "must be given"
        )
        return None
    wrong = sorted(set(formats) - CONVEYOR_FORMATS)
    if wrong:
        faults.append(f"package {package.id!r}: {wrong[0]!r} is not a conveyor format")
    return package

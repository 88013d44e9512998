"""How is a station file read, and which stations come with the library?

The file is TOML: figures in the trade's units with the unit in the key, or in SI. It comes
from outside: its size is bounded and every fault is named at once.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
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
from capture.line.stations import Catalog, Package, Station

_M3S_PER_CFM: Final = M_PER_FT**3 / 60
_M_PER_IN: Final = M_PER_FT / 12
_MOST_BYTES: Final = 500_000
_MOST_STATIONS: Final = 200

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

"""Which built-in numbers does the share stand on, and who says so?

All of them stand in ``starter.toml`` beside this file, to be read by people; here they
become one :class:`~capture.basis.Sheet`. A coefficient ``beta_<factor>`` is held as its
prior mean with 5th and 95th percentile, so its sd is (high - low) / (2 x 1.645); a value
the user overrides has no spread and is then held fixed by the regression.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from capture.basis import FORMATS, Grade, InputError, Sheet, Sourced
from capture.basis.draws import Z95

MEMORY: Final = "common practice, no source (from memory)"
OURS: Final = "modelling choice of this library"


def _read(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


#: the starter sheet as it stands in the file
STARTER: Final[Mapping[str, Any]] = _read(Path(__file__).with_name("starter.toml"))


def _plain(name: str, entry: Mapping[str, Any], unit: str) -> Sourced:
    grade: Grade = entry.get("grade", "practice")
    return Sourced(
        name=name,
        value=entry["value"],
        unit=entry.get("unit", unit),
        low=entry.get("low", entry["value"]),
        high=entry.get("high", entry["value"]),
        source=entry.get("source", OURS if grade == "invented" else MEMORY),
        locator=entry.get("locator", ""),
        grade=grade,
        meaning=entry["meaning"],
    )


def _exact(name: str, value: float, unit: str, meaning: str) -> Sourced:
    return Sourced(
        name=name,
        value=value,
        unit=unit,
        low=value,
        high=value,
        source=OURS,
        grade="invented",
        meaning=meaning,
    )


def _factor(name: str, entry: Mapping[str, Any]) -> Iterator[Sourced]:
    unit, mean, sd = entry["unit"], entry.get("mean", 0.0), entry["sd"]
    yield Sourced(
        name=f"beta_{name}",
        value=mean,
        unit=f"log share per {unit}",
        low=mean - Z95 * sd,
        high=mean + Z95 * sd,
        source=MEMORY,
        grade="practice",
        meaning=f"effect on the log of the share: {entry['meaning']}",
    )
    yield _exact(f"reference_{name}", entry["reference"], unit, f"reference value of {name}")
    yield _exact(f"spread_{name}", entry["spread"], unit, f"spread of {name} among sites")
    if "tight" in entry:
        meaning = f"prior sd of {name} until there are three known sites per factor"
        yield _exact(f"tight_{name}", entry["tight"], f"log share per {unit}", meaning)


def _entries() -> Iterator[Sourced]:
    for name, entry in STARTER["base"].items():
        yield _plain(f"base_{name}_share", entry, "share")
    for group in ("factor", "extra"):
        for name, entry in STARTER[group].items():
            yield from _factor(name, entry)
    for name, entry in STARTER["spread"].items():
        yield _plain(name, entry, "1")
    for group in ("other", "members"):
        for name, entry in STARTER[group].items():
            yield _plain(name, entry, "share")


#: least and most that an own value may be, where unit and spread do not say it
_PERMITTED: Final = {
    # as long as a delay may grow before it is capped
    "reference_delay": (0.0, 120.0),
    # logs are taken of a share and of a spread
    **{f"base_{name}_share": (1e-6, 0.5) for name in FORMATS},
    "sigma_log": (0.02, 2.0),
    "sigma_log_sd": (0.05, 2.0),
    "sigma_least": (0.01, 0.2),
    "sigma_most": (0.3, 5.0),
    "sigma_nodes": (8.0, 512.0),
    "leaving_month": (0.001, 1.0),
    "visits_member_month": (0.1, 31.0),
    "mature_members": (1.0, 1e6),
    "area_ticket_usd": (0.5, 500.0),
    "plan_price_usd": (1.0, 1000.0),
    "income_ref_usd": (100.0, 1e9),
    # a first year of nothing has no month from which to grow
    **{f"ramp_year_{year}_share": (0.01, 1.0) for year in (1, 2, 3)},
}

#: every constant of the share, to be read and overridden
VALUES: Final = Sheet("share", _entries(), permitted=_PERMITTED)


def replace_constants(values: Sheet, changed: Iterable[Sourced]) -> Sheet:
    """Return a sheet with some constants replaced, spread and all.

    Raises
    ------
    InputError
        For a name that the sheet does not hold.
    """
    entries = dict(values)
    for entry in changed:
        entries[values[entry.name].name] = entry
    return Sheet(values.room, entries.values())


def make_stream_sheet(stream: str, values: Sheet = VALUES) -> Sheet:
    """Return the sheet of one stream of cars: ``total``, ``tickets`` or ``members``.

    Parameters
    ----------
    stream : str
    values : Sheet
        The sheet of all cars; constants the user has set stay as they are.

    Returns
    -------
    Sheet
        With that stream's bases and coefficients.

    Raises
    ------
    InputError
        For another stream.

    Examples
    --------
    >>> round(make_stream_sheet("members").value("base_exterior_share"), 5)
    0.00544
    """
    if stream == "total":
        return values
    if stream not in STARTER["stream"]:
        raise InputError(f"stream must be total, tickets or members, got {stream!r}; pick one")
    differs = dict(STARTER["stream"][stream])
    part = differs.pop("base_factor")
    changed = [
        replace(old, value=old.value * part, low=old.low * part, high=old.high * part)
        for name, old in values.items()
        if name.startswith("base_") and old.grade != "yours"
    ]
    for name, entry in differs.items():
        old = values[f"beta_{name}"]
        if old.grade != "yours":
            mean, sd = entry["mean"], entry["sd"]
            low, high = mean - Z95 * sd, mean + Z95 * sd
            own = replace(old, value=mean, low=low, high=high, source=OURS, grade="invented")
            changed.append(own)
    return replace_constants(values, changed)


def prior_sd(values: Sheet, name: str) -> float:
    """Return the prior sd of one factor's coefficient; 0 when the user has fixed it.

    Examples
    --------
    >>> round(prior_sd(VALUES, "pull"), 9)
    0.13
    """
    entry = values[f"beta_{name}"]
    return (entry.high - entry.low) / (2 * Z95)

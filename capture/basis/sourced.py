"""Where does each built-in number come from, how sure is it, and how does a user change it?

A constant is a :class:`Sourced`; a room's constants are a :class:`Sheet`. Formulas take
a sheet and never a bare dimensional number, so one table shows every default and one
mapping overrides any of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from capture.basis.errors import InputError

Grade = Literal["exact", "published", "practice", "memory", "invented", "yours"]
GRADES: tuple[Grade, ...] = ("exact", "published", "practice", "memory", "invented", "yours")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sourced:
    """One number that the method stands on.

    ``low`` and ``high`` are the 5th and 95th percentile of what the number may be; equal
    to ``value`` when it is not uncertain.
    """

    #: short name, unique in its sheet, unit as its last part (``pitch_m``)
    name: str
    #: the value used, in ``unit``
    value: float
    #: SI unit, or "share", "count", "USD", "1" for a bare ratio
    unit: str
    #: 5th percentile
    low: float
    #: 95th percentile
    high: float
    #: title and year, or "common practice, no source"
    source: str
    #: table, equation, section; "" when there is none
    locator: str = ""
    #: how far the value can be trusted
    grade: Grade
    #: what it means, one plain sentence
    meaning: str

    def __post_init__(self) -> None:
        for field in ("value", "low", "high"):
            if not math.isfinite(getattr(self, field)):
                raise InputError(
                    f"{self.name}: {field} must be a finite number in {self.unit}, "
                    f"got {getattr(self, field)}; give a number"
                )
        if not self.low <= self.value <= self.high:
            raise InputError(
                f"{self.name}: low <= value <= high must hold in {self.unit}, got "
                f"{self.low}, {self.value}, {self.high}; reorder them"
            )
        if self.grade not in GRADES:
            raise InputError(f"{self.name}: grade must be one of {GRADES}, got {self.grade!r}")
        if not self.source or not self.meaning:
            raise InputError(f"{self.name}: a source and a meaning must be given")

    @property
    def is_uncertain(self) -> bool:
        """Whether the number has a spread."""
        return self.low < self.high


def practice(
    name: str,
    low: float,
    value: float,
    high: float,
    unit: str,
    meaning: str,
) -> Sourced:
    """Make a constant of the trade that has no source and was written from memory.

    Examples
    --------
    >>> practice("pitch_m", 5.5, 6.7, 8.5, "m", "car and gap on the chain").grade
    'practice'
    """
    return Sourced(
        name=name,
        value=value,
        unit=unit,
        low=low,
        high=high,
        source="common practice, no source (from memory)",
        grade="practice",
        meaning=meaning,
    )


#: units of what cannot be nothing
_NEVER_ZERO = frozenset(
    {"Pa s", "m", "m2", "m3", "m3/s", "m/s", "m/s2", "s", "min", "h", "W", "Pa", "kg/m3", "people"}
    | {"cars", "veh/day", "veh/h", "J/m3"}
)
#: words in the names of ratios that something is divided by
_DIVIDES = ("efficiency", "duty", "heat_ratio", "layout")
#: how many times what is known an own value may be, and which part of it at least if it divides
_FARTHEST = 1000.0
_NEAREST_NOTHING = 1e-4


def _check_own(name: str, known: Sourced, value: float) -> None:
    most = _FARTHEST * (max(abs(known.low), abs(known.high)) or 1.0)
    least = -most if known.low < 0 else 0.0
    if known.unit == "share" and known.low >= 0 and known.high <= 1:
        most = 1.0
    divides = known.unit in _NEVER_ZERO or any(word in known.name for word in _DIVIDES)
    zero_is_fine = not (known.low > 0 and divides)
    if not zero_is_fine:
        least = known.low * _NEAREST_NOTHING
    if math.isfinite(value) and least <= value <= most and (value != 0 or zero_is_fine):
        return
    bottom = f"{least:g}" if zero_is_fine else f"above 0, from {least:g}"
    raise InputError(
        f"{name} must be a finite number, {bottom} to {most:g} {known.unit}, got {value:g}; "
        "change it"
    )


class Sheet(Mapping[str, Sourced]):
    """A room's constants by name: a frozen mapping that can be overridden into a new one.

    Parameters
    ----------
    room : str
        Which room the constants belong to, such as ``"turning"``.
    entries : iterable of Sourced
        Names must be unique.

    Raises
    ------
    InputError
        When a name stands twice.

    Examples
    --------
    >>> sheet = Sheet("line", [practice("pitch_m", 5.5, 6.7, 8.5, "m", "car and gap")])
    >>> sheet.value("pitch_m")
    6.7
    >>> sheet.override({"pitch_m": 6.0})["pitch_m"].grade
    'yours'
    """

    __slots__ = ("_entries", "room")

    def __init__(self, room: str, entries: Iterable[Sourced]) -> None:
        self.room = room
        self._entries: dict[str, Sourced] = {}
        for entry in entries:
            if entry.name in self._entries:
                raise InputError(f"{room}: constant {entry.name!r} stands twice; rename one")
            self._entries[entry.name] = entry

    def __getitem__(self, name: str) -> Sourced:
        try:
            return self._entries[name]
        except KeyError:
            raise InputError(
                f"{self.room}: there is no constant {name!r}; known are {', '.join(self._entries)}"
            ) from None

    def __contains__(self, name: object) -> bool:
        return name in self._entries

    def __iter__(self) -> Iterator[str]:
        return iter(self._entries)

    def __len__(self) -> int:
        return len(self._entries)

    def value(self, name: str) -> float:
        """Return the value of one constant."""
        return self[name].value

    def override(self, values: Mapping[str, float]) -> Sheet:
        """Return a new sheet with some values replaced by the user's own.

        The user's value is taken as certain (low = high = value) and graded ``yours``.

        Raises
        ------
        InputError
            For an unknown name or a value that such a number cannot have: not finite, of
            the wrong sign, a share above 1, or a thousand times what is known.
        """
        changed = dict(self._entries)
        for name, value in values.items():
            _check_own(f"{self.room}.{name}", self[name], float(value))
            changed[name] = replace(
                self[name],
                value=float(value),
                low=float(value),
                high=float(value),
                source="your own value",
                locator="",
                grade="yours",
            )
        return Sheet(self.room, changed.values())

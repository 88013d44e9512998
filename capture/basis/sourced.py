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
from capture.basis.permitted import check_own, find_permitted

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
    #: least and most that a user's own value may be; None derives them, see
    #: :func:`capture.basis.permitted.find_permitted`
    least: float | None = None
    most: float | None = None

    def __post_init__(self) -> None:
        for field in ("value", "low", "high", "least", "most"):
            given = getattr(self, field)
            if given is None and field in ("least", "most"):
                continue
            if not math.isfinite(given):
                raise InputError(
                    f"{self.name}: {field} must be a finite number in {self.unit}, "
                    f"got {given}; give a number"
                )
        if not self.low <= self.value <= self.high:
            raise InputError(
                f"{self.name}: low <= value <= high must hold in {self.unit}, got "
                f"{self.low}, {self.value}, {self.high}; reorder them"
            )
        least = self.low if self.least is None else self.least
        most = self.high if self.most is None else self.most
        if not least <= self.low <= self.high <= most:
            raise InputError(
                f"{self.name}: what is permitted must hold what is known, got {least} to {most} "
                f"{self.unit} against {self.low} to {self.high}; widen it"
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


class Sheet(Mapping[str, Sourced]):
    """A room's constants by name: a frozen mapping that can be overridden into a new one.

    Parameters
    ----------
    room : str
        Which room the constants belong to, such as ``"turning"``.
    entries : iterable of Sourced
        Names must be unique.
    permitted : mapping of str to (float, float), optional
        Least and most that a user's own value may be, where unit and spread do not say it.

    Raises
    ------
    InputError
        When a name stands twice, or what is permitted leaves out what is known.

    Examples
    --------
    >>> sheet = Sheet("line", [practice("pitch_m", 5.5, 6.7, 8.5, "m", "car and gap")])
    >>> sheet.value("pitch_m")
    6.7
    >>> sheet.override({"pitch_m": 6.0})["pitch_m"].grade
    'yours'
    """

    __slots__ = ("_entries", "room")

    def __init__(
        self,
        room: str,
        entries: Iterable[Sourced],
        *,
        permitted: Mapping[str, tuple[float, float]] | None = None,
    ) -> None:
        self.room = room
        self._entries: dict[str, Sourced] = {}
        for entry in entries:
            if entry.name in self._entries:
                raise InputError(f"{room}: constant {entry.name!r} stands twice; rename one")
            self._entries[entry.name] = entry
        for name, (least, most) in (permitted or {}).items():
            self._entries[name] = replace(self[name], least=least, most=most)

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
            For an unknown name or a value that such a number cannot have; see
            :func:`capture.basis.permitted.find_permitted`.
        """
        changed = dict(self._entries)
        for name, value in values.items():
            own = check_own(f"{self.room}.{name}", self[name], float(value))
            least, most = find_permitted(self[name])
            changed[name] = replace(
                self[name],
                value=own,
                low=own,
                high=own,
                least=least,
                most=most,
                source="your own value",
                locator="",
                grade="yours",
            )
        return Sheet(self.room, changed.values())

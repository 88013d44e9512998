"""Where does each number of a study come from, and what does it stand on in turn?

A book of sources with one entry per built-in number, data layer, stream and step of the
method. A number names its entry; an entry names those that it was made from, so that the
trail from a result down to every constant can be walked.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from capture.basis import InputError, Sheet, Sourced, plain_text

#: how far an entry can be trusted, from the weakest
TRAIL_ORDER: Final = (
    "invented",
    "memory",
    "practice",
    "estimated",
    "computed",
    "yours",
    "measured",
    "published",
    "exact",
)
GRADE_WORDS: Final[Mapping[str, str]] = {
    "exact": "exact by definition",
    "published": "published",
    "practice": "trade practice, no source",
    "memory": "written from memory, check it",
    "invented": "invented, a modelling choice",
    "yours": "your own",
    "measured": "measured",
    "estimated": "estimated",
    "computed": "computed here",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One source of a number."""

    #: unique name, such as ``line.pitch_m``
    id: str
    #: title and year, or what was done
    title: str
    #: table, section, row or equation
    locator: str
    #: key of :data:`GRADE_WORDS`
    grade: str
    #: what it means, a plain sentence
    meaning: str = ""
    #: the number used; None for a step, which has many
    value: float | None = None
    #: its 5th and 95th percentile, when it has a spread
    low: float | None = None
    high: float | None = None
    #: unit of the three
    unit: str = ""
    #: ids that this entry was made from
    made_from: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the entry as a study file holds it."""
        written: dict[str, Any] = {
            "id": self.id,
            "title": self.title,
            "locator": self.locator,
            "grade": self.grade,
            "meaning": self.meaning,
            "value_used": self.value,
            "unit": self.unit,
            "made_from": list(self.made_from),
        }
        if self.low is not None and self.low != self.high:
            written |= {"low": self.low, "high": self.high}
        return written


class SourceBook:
    """The sources of one study.

    Examples
    --------
    >>> from capture.basis import practice
    >>> book = SourceBook()
    >>> book.add_sheet(Sheet("line", [practice("pitch_m", 5.5, 6.7, 8.5, "m", "car and gap")]))
    >>> book["line.pitch_m"].value
    6.7
    """

    def __init__(self) -> None:
        self._entries: dict[str, Entry] = {}

    def __getitem__(self, id: str) -> Entry:
        return self._entries[id]

    def __contains__(self, id: object) -> bool:
        return id in self._entries

    def add(self, entry: Entry) -> str:
        """Add an entry and return its id; the same entry may be added again.

        Raises
        ------
        InputError
            When another entry has that id, or its grade is unknown.
        """
        if entry.grade not in GRADE_WORDS:
            raise InputError(f"source {entry.id}: grade {entry.grade!r} is not known; see GRADES")
        known = self._entries.setdefault(entry.id, entry)
        if known != entry:
            raise InputError(f"source {entry.id} stands twice with other content; rename one")
        return entry.id

    def add_sheet(self, sheet: Sheet) -> None:
        """Add every built-in number of a room."""
        for number in sheet.values():
            self.add(describe_constant(sheet.room, number))

    def add_layer(self, layer: Any) -> str:
        """Add a data layer of an area."""
        name = layer.path.name if layer.path is not None else ""
        grade = "invented" if layer.invented else "measured"
        return self.add(
            Entry(
                id=f"data.{layer.kind}",
                title=plain_text(layer.source or f"{layer.kind} of the area"),
                locator=plain_text(name),
                grade=grade,
                meaning=plain_text(
                    "invented demo data" if layer.invented else layer.note or "as delivered"
                ),
            )
        )

    def room_ids(self, *rooms: str) -> tuple[str, ...]:
        """Return the ids of the built-in numbers of some rooms."""
        starts = tuple(f"{room}." for room in rooms)
        return tuple(name for name in self._entries if name.startswith(starts))

    def unresolved(self) -> list[str]:
        """Return ids that entries were made from but that have no entry."""
        wanted = {name for entry in self._entries.values() for name in entry.made_from}
        return sorted(wanted - set(self._entries))

    def entries(self) -> list[Entry]:
        """Return all entries, sorted by id."""
        return [self._entries[name] for name in sorted(self._entries)]

    def trail(self) -> list[Entry]:
        """Return all entries, the weakest grade first."""
        return sorted(self._entries.values(), key=lambda e: (TRAIL_ORDER.index(e.grade), e.id))

    def walk(self, id: str) -> list[Entry]:
        """Return an entry and all that it stands on, nearest first, each once."""
        seen: dict[str, Entry] = {}
        waiting = [id]
        while waiting:
            name = waiting.pop(0)
            if name not in seen and name in self._entries:
                seen[name] = self._entries[name]
                waiting.extend(seen[name].made_from)
        return list(seen.values())


def describe_constant(room: str, number: Sourced) -> Entry:
    """Turn a built-in number into an entry."""
    return Entry(
        id=f"{room}.{number.name}",
        title=number.source,
        locator=number.locator,
        grade=number.grade,
        meaning=number.meaning,
        value=number.value,
        low=number.low,
        high=number.high,
        unit=number.unit,
    )


def say_known(entry: Entry) -> str:
    """Say how a data entry is known: measured, estimated or invented demo data.

    Examples
    --------
    >>> say_known(Entry(id="a", title="t", locator="", grade="invented"))
    'invented demo data'
    """
    return "invented demo data" if entry.grade == "invented" else GRADE_WORDS[entry.grade]


def weakest_grade(entries: Iterable[Entry]) -> str:
    """Return the weakest grade among entries.

    Examples
    --------
    >>> weakest_grade([Entry(id="a", title="t", locator="", grade="published")])
    'published'
    """
    return min((entry.grade for entry in entries), key=TRAIL_ORDER.index, default="computed")

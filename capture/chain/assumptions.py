"""Which built-in numbers does a study stand on, and how does a user replace one?

Every room keeps its own sheet; here they are gathered, so that one table shows them all.
"""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import Final

from capture.basis import InputError, Sheet, Sourced, plain_text

#: rooms with a sheet, in the order in which data walks through them
ROOMS: Final = (
    "place",
    "passing",
    "turning",
    "seeing",
    "around",
    "share",
    "hours",
    "line",
    "utilities",
    "ground",
    "money",
)

Numbers = Mapping[str, Sheet]
#: the user's own numbers by ``room.name``; one that was learned keeps its own spread
Replaced = Mapping[str, float | Sourced]


def load_numbers(replaced: Replaced | None = None) -> dict[str, Sheet]:
    """Gather every room's sheet, some values replaced by the user's own.

    Parameters
    ----------
    replaced : mapping of str to float or Sourced, optional
        ``{"line.pitch_m": 7.0}``: room, dot, name of the constant. A bare number is taken as
        certain.

    Returns
    -------
    dict of str to Sheet
        By room, in the order of the chain.

    Raises
    ------
    InputError
        For an unknown room or name, or a value that is not finite.

    Examples
    --------
    >>> sheets = load_numbers({"line.pitch_m": 7.0})
    >>> sheets["line"].value("pitch_m")
    7.0
    """
    by_room: dict[str, dict[str, float | Sourced]] = {}
    for full_name, value in (replaced or {}).items():
        room, dot, name = full_name.partition(".")
        if not dot or room not in ROOMS:
            raise InputError(
                f"{full_name!r} is not room.name; rooms are {', '.join(ROOMS)}; "
                "the numbers command lists all names"
            )
        by_room.setdefault(room, {})[name] = value
    sheets: dict[str, Sheet] = {}
    for room in ROOMS:
        sheet: Sheet = importlib.import_module(f"capture.{room}.values").VALUES
        sheets[room] = _replace(sheet, by_room[room]) if room in by_room else sheet
    return sheets


def _replace(sheet: Sheet, own: Replaced) -> Sheet:
    bare = {name: value for name, value in own.items() if not isinstance(value, Sourced)}
    told = {name: value for name, value in own.items() if isinstance(value, Sourced)}
    for name, number in told.items():
        usual = sheet[name]
        if (number.name, number.unit) != (usual.name, usual.unit):
            raise InputError(
                f"{sheet.room}.{plain_text(name, most=60)} must be in {usual.unit}, got "
                f"{plain_text(number.name, most=60)} in {plain_text(number.unit, most=20)}; "
                "give the same number"
            )
        for end in (number.low, number.value, number.high):
            sheet.override({name: end})
    return Sheet(sheet.room, {**sheet.override(bare), **told}.values())


def parse_replaced(texts: list[str]) -> dict[str, float]:
    """Read ``room.name=value`` texts from a command line.

    Raises
    ------
    InputError
        When a text has no ``=``, its value is not a number, or a name stands twice.

    Examples
    --------
    >>> parse_replaced(["line.pitch_m=7"])
    {'line.pitch_m': 7.0}
    """
    replaced: dict[str, float] = {}
    for text in texts:
        name, equals, value = (part.strip() for part in text.partition("="))
        if name in replaced:
            raise InputError(f"--set {plain_text(name, most=60)} stands twice; leave one out")
        try:
            replaced[name] = float(value)
        except ValueError:
            equals = ""
        if not equals or "_" in value:
            raise InputError(
                f"--set {plain_text(text, most=80)}: write room.name=number, as in line.pitch_m=7"
            )
    return replaced

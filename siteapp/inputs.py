"""What is a study made from, and which inputs from a file are refused?

All are plain values, so that they can be kept, sent and laid side by side. Files come from
anybody: kinds, sizes and depth are checked before anything is made of them.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from typing import Any, Final

from capture.basis import DataError, Offer, plain_text

MOST_DRAWS: Final = 100_000
MOST_SEED: Final = 2**63 - 1
_MOST_DEEP: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """All that a study is made from; the rest follows by computation."""

    #: folder of the area, or a bare roads file
    area: str = ""
    #: "LAT,LON", "parcel:ID" or a file; "" before a site is placed
    site: str = ""
    #: what is to be built and sold, fields that differ from the usual ones
    offer: dict[str, Any] = field(default_factory=dict)
    #: built-in numbers replaced, by ``room.name``
    replaced: dict[str, float] = field(default_factory=dict)
    #: answers to the ground's questions, by item: a status, or all that is known
    answers: dict[str, Any] = field(default_factory=dict)
    #: changes of rivals by hand, in their order
    rivals: list[Any] = field(default_factory=list)
    #: where counts were tied by hand, by count
    ties: dict[str, Any] = field(default_factory=dict)
    #: which column of a count file holds what, by file and role
    columns: dict[str, Any] = field(default_factory=dict)
    #: dated notes on roads, such as road works, rows of a table
    notes: list[Any] = field(default_factory=list)
    #: the user's own washes with known cars, rows of a table
    known: list[Any] = field(default_factory=list)
    #: known sites left out of the fit, by id
    left_out: list[Any] = field(default_factory=list)
    #: driveway, sign, openings and other choices on the ground
    plan: dict[str, Any] = field(default_factory=dict)
    #: stations of the line where they are not the package's own, and other choices of it
    line: dict[str, Any] = field(default_factory=dict)
    #: country and state of the holidays, days shut, monthly weather
    year_choice: dict[str, Any] = field(default_factory=dict)
    #: the user's own sales by hour, rows of a table
    sales: list[Any] = field(default_factory=list)
    #: the user's own months of tickets and members, rows of a table
    member_months: list[Any] = field(default_factory=list)
    #: seed of the draws
    seed: int = 0
    #: number of possible worlds
    draws: int = 1000

    def change(self, **changes: Any) -> Inputs:
        """Return inputs with some of them changed."""
        return replace(self, **changes)

    def to_dict(self) -> dict[str, Any]:
        """Return plain JSON values."""
        return asdict(self)

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Inputs:
        """Read inputs that came from a file, every field checked.

        Raises
        ------
        DataError
            When a field is of another kind than it should be.
        """
        kinds = {name: type(usual) for name, usual in cls().to_dict().items()}
        kept = {}
        for name in (item.name for item in fields(cls)):
            if name not in values:
                continue
            if not isinstance(values[name], kinds[name]) or isinstance(values[name], bool):
                raise DataError(f"workspace: {name} must be {kinds[name].__name__}; export again")
            kept[name] = values[name]
        inputs = cls(**kept)
        Offer(**Offer().change(**inputs.offer).to_dict())
        for key, value in inputs.replaced.items():
            if not isinstance(value, int | float) or isinstance(value, bool):
                raise DataError(f"workspace: {plain_text(key)} must be a number; export again")
        for name, value, least, most in (
            ("draws", inputs.draws, 1, MOST_DRAWS),
            ("seed", inputs.seed, 0, MOST_SEED),
        ):
            if not least <= value <= most:
                raise DataError(
                    f"workspace: {name} must be {least:,} to {most:,}, got {value:,}; export again"
                )
        return inputs


def read_json(content: bytes | str) -> Any:
    """Read plain values from a file that anybody may have written.

    Raises
    ------
    DataError
        When it is no JSON, is nested without end, or holds what cannot be kept.

    Examples
    --------
    >>> read_json(b'{"a": [1]}')
    {'a': [1]}
    """
    try:
        values = json.loads(content, parse_constant=_refuse_constant)
    except (ValueError, RecursionError):
        raise DataError("workspace file: not readable as JSON; export it again") from None
    _check_plain(values)
    return values


def read_table(values: Any) -> dict[str, Any]:
    """Return values when they are a table by name; refuse others."""
    if not isinstance(values, dict):
        raise DataError("workspace: a study must be a table of inputs; export it again")
    return values


def _refuse_constant(name: str) -> None:
    raise ValueError(name)


def _check_plain(values: Any) -> None:
    """Refuse nesting without end, endless numbers and text that cannot be written."""
    level = [values]
    for _ in range(_MOST_DEEP):
        deeper: list[Any] = []
        for value in level:
            if isinstance(value, dict):
                deeper += [*value, *value.values()]
            elif isinstance(value, list):
                deeper += value
            elif not _is_writable(value):
                raise DataError("workspace file: holds a broken number or text; export it again")
        if not deeper:
            return
        level = deeper
    raise DataError(f"workspace file: nested over {_MOST_DEEP} deep; is this another file?")


def _is_writable(value: Any) -> bool:
    if isinstance(value, str):
        return value.isascii() or not any("\ud800" <= sign <= "\udfff" for sign in value)
    return not isinstance(value, float) or abs(value) < float("inf")

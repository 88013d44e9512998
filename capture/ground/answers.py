"""What do people know of each parcel's deal-breakers, written down in a file?

Assumes one row per parcel and item; a file is untrusted and every fault in it is named.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from capture.basis import DataError, InputError, plain_text, raise_gathered
from capture.ground.breakers import BY_KEY, Answer

_MOST_BYTES: Final = 2_000_000
_MOST_ROWS: Final = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerBook:
    """Answers of many parcels, by parcel id."""

    #: parcel id -> item key -> answer
    by_parcel: Mapping[str, Mapping[str, Answer]] = field(default_factory=dict)

    def of(self, parcel: str) -> Mapping[str, Answer]:
        """Return one parcel's answers, empty when nothing is known of it."""
        return self.by_parcel.get(parcel, {})


_COLUMNS: Final = ("parcel", "item", "status")
_AMOUNTS: Final = ("cost_low_usd", "cost_high_usd", "months_low", "months_high")


def load_answers(path: Path) -> AnswerBook:
    """Read deal-breaker answers from a CSV file.

    Parameters
    ----------
    path : Path
        Columns ``parcel``, ``item``, ``status`` and, if known, ``who``, ``date``,
        ``cost_low_usd``, ``cost_high_usd``, ``months_low``, ``months_high``, ``note``.

    Raises
    ------
    DataError
        When the file cannot be read or rows break rules; all faults are named.
    """
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise DataError(f"{path.name}: answers take under 2 MB; is this another file?")
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise DataError(f"{path}: cannot be read ({error.strerror}); check the path") from None
    except UnicodeDecodeError:
        raise DataError(f"{path.name}: must be text in UTF-8; save it as such") from None
    reader = csv.DictReader(io.StringIO(text))
    missing = [name for name in _COLUMNS if name not in (reader.fieldnames or ())]
    if missing:
        raise DataError(f"{path.name}: column {missing[0]!r} is missing; add it to the first line")
    book: dict[str, dict[str, Answer]] = {}
    faults: list[str] = []
    for number, row in enumerate(reader, start=2):
        if number > _MOST_ROWS:
            faults.append(f"more than {_MOST_ROWS} rows; split the file")
            break
        _read_row(number, row, book, faults)
    raise_gathered(faults, where=path.name)
    return AnswerBook(by_parcel=book)


def _read_row(
    number: int, row: Mapping[str, Any], book: dict[str, dict[str, Answer]], faults: list[str]
) -> None:
    cells = {key: (value or "").strip() for key, value in row.items() if isinstance(key, str)
             and (value is None or isinstance(value, str))}  # fmt: skip
    parcel, item = cells.get("parcel", ""), cells.get("item", "")
    if not parcel or item not in BY_KEY:
        what = "parcel is empty" if not parcel else f"item {plain_text(item, most=40)!r} not known"
        faults.append(f"row {number}: {what}; items are {', '.join(BY_KEY)}")
        return
    if item in book.get(parcel, {}):
        faults.append(f"row {number}: {item} of {plain_text(parcel, most=40)} stands twice")
        return
    try:
        amounts = {name: _number(name, cells.get(name, "")) for name in _AMOUNTS}
        status: Any = cells.get("status", "").lower()
        answer = Answer(status=status, who=cells.get("who", ""), date=cells.get("date", ""),
                        note=cells.get("note", ""), **amounts)  # fmt: skip
    except InputError as error:
        faults.append(f"row {number}: {error}")
        return
    book.setdefault(parcel, {})[item] = answer


def _number(name: str, text: str) -> float | None:
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise InputError(f"{name} must be a number, got {plain_text(text, most=20)!r}") from None

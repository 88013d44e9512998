"""How do dated notes on roads, such as road works, get from a study into the chain?

A note is a row of plain values and may come from a file, so it is checked here by the
library's own reader. A struck note stays in the list and changes nothing, so that it can be
brought back.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from capture.basis import CaptureError, DataError, plain_text
from siteapp.workspace import Inputs

MOST_NOTES: Final = 200
#: field of a row that says that it is struck
STRUCK: Final = "struck"


def get_notes(inputs: Inputs) -> tuple[Any, ...]:
    """Return the notes of a study that are not struck, as the chain takes them.

    Raises
    ------
    CaptureError
        When a row is not a note.

    Examples
    --------
    >>> row = {"road": "Mill Road", "starts": "2026-07-01", "factor": 0.6, "why": "widening"}
    >>> [note.road for note in get_notes(Inputs(notes=[row, {**row, "struck": True}]))]
    ['Mill Road']
    """
    if not inputs.notes:
        return ()
    from capture.passing.works import read_notes

    if len(inputs.notes) > MOST_NOTES:
        raise DataError(
            f"road notes: a study holds at most {MOST_NOTES}, got {len(inputs.notes)}; strike some"
        )
    held = [_check_row(row) for row in inputs.notes]
    return tuple(read_notes([row for row, struck in held if not struck], where="road notes"))


def _check_row(row: Any) -> tuple[dict[str, Any], bool]:
    if not isinstance(row, Mapping):
        raise DataError("road notes: each must be a table of fields; take the last change back")
    struck = row.get(STRUCK, False)
    return {str(name): value for name, value in row.items() if name != STRUCK}, struck is True


def check_note(row: Mapping[str, Any]) -> str:
    """Return what is wrong with a row in one sentence, "" when nothing is."""
    from capture.passing.works import read_notes

    try:
        read_notes([_check_row(row)[0]], where="road notes")
    except CaptureError as error:
        return str(error)
    return ""


def put_note(notes: list[Any], row: Mapping[str, Any], at: int | None = None) -> list[Any]:
    """Return the notes with one more, or with one in another's place.

    Examples
    --------
    >>> put_note([{"why": "a"}], {"why": "b"}), put_note([{"why": "a"}], {"why": "b"}, 0)
    ([{'why': 'a'}, {'why': 'b'}], [{'why': 'b'}])
    """
    kept = [dict(one) for one in notes]
    if at is None:
        return [*kept, dict(row)]
    return [dict(row) if k == at else one for k, one in enumerate(kept)]


def strike_note(notes: list[Any], at: int, *, struck: bool) -> list[Any]:
    """Return the notes with one of them struck, or brought back.

    Examples
    --------
    >>> strike_note([{"why": "a"}], 0, struck=True)
    [{'why': 'a', 'struck': True}]
    >>> strike_note([{"why": "a", "struck": True}], 0, struck=False)
    [{'why': 'a'}]
    """
    row = {name: value for name, value in notes[at].items() if name != STRUCK}
    return put_note(notes, {**row, STRUCK: True} if struck else row, at)


def name_note(row: Mapping[str, Any]) -> str:
    """Name a note in a few words."""
    where = row.get("road") or "around a place"
    return plain_text(f"{where}, from {row.get('starts', '')}: {row.get('why', '')}", most=100)

"""What are all the inputs of a study, the weakest first, and how far does each move the answer?

One row an input: built-in numbers, choices, data files, streams, answers about the parcel and
what was given by hand. How far an uncertain input moves the value today is read from the
draws: the value in the middle of the worlds where the input is in its lowest tenth, and where
it is in its highest. Inputs without draws of their own, such as files, have no such figure.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from capture.basis import plain_text
from capture.papers.sources import GRADE_WORDS, TRAIL_ORDER, SourceBook
from capture.papers.why import measure_inputs
from capture.papers.withheld import WITHHELD, is_private, is_withheld

#: start of an input's id -> what a reader calls it
ROOM_WORDS: Final[Mapping[str, str]] = {
    "data": "data files",
    "given": "given by hand",
    "answer": "answers about the parcel",
    "offer": "choices of what to build",
    "stream": "counts on the roads passing",
    "place": "roads and driving",
    "passing": "cars passing",
    "turning": "turning in",
    "seeing": "being seen",
    "around": "rivals and people",
    "share": "share washed",
    "hours": "busy hour",
    "line": "line",
    "utilities": "water and power",
    "ground": "ground",
    "money": "money",
}
#: what a study may have been given by hand -> what it is
_GIVEN: Final[Mapping[str, str]] = {
    "known": "washes with known cars",
    "sales": "sales by hour",
    "rivals": "rivals as changed by hand",
    "ties": "counts tied to roads by hand",
    "columns": "columns of count files chosen by hand",
    "notes": "dated notes on roads",
    "driveways": "driveways by hand",
    "frontage": "a driveway moved by hand",
    "works": "what would be built or cut",
    "line": "choices of the line",
    "year_choice": "holidays, closed days, usual weather",
}
BUILT_IN: Final = "built in"
COLUMNS: Final = (
    "room", "what", "value", "low", "high", "unit", "grade", "how_sure", "source", "where_in_it",
    "changed_by", "part", "npv_if_low_usd", "npv_if_high_usd", "id",
)  # fmt: skip


def make_trail(
    study: Any, book: SourceBook, *, changed: Mapping[str, str] | None = None
) -> pd.DataFrame:
    """Make the table of all inputs of a study, the weakest grade first.

    Parameters
    ----------
    study : Study
    book : SourceBook
        Of the study.
    changed : mapping of str to str, optional
        Who changed an input and when, by its id.

    Returns
    -------
    DataFrame
        Columns ``COLUMNS``; ``value`` in ``unit``, or text where ``unit`` is empty; ``part``
        is the part of the spread of the value today that the input accounts for alone, NaN
        where it has no draws, 0 where it is not beyond chance; ``npv_if_low_usd`` and
        ``npv_if_high_usd`` stand where it is.
    """
    said = dict(changed or {})
    rows = [_row_of(entry, said) for entry in book.entries() if not entry.id.startswith("step.")]
    rows += list(_list_answers(study, said))
    rows += list(_list_given(study, said))
    rows += list(_list_seeds(study))
    moved = measure_inputs(study, np.asarray(study.money.npv_usd, dtype=np.float64)[0])
    for row in rows:
        found = moved.get(str(row["id"]))
        row["part"] = np.nan if found is None else found.part
        moves = None if found is None or found.part == 0 else found
        row["npv_if_low_usd"] = np.nan if moves is None else moves.at_low
        row["npv_if_high_usd"] = np.nan if moves is None else moves.at_high
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    weak = table["grade"].map({grade: k for k, grade in enumerate(TRAIL_ORDER)})
    order = np.lexsort((table["id"], -table["part"].fillna(-1.0), weak))
    return table.iloc[order].reset_index(drop=True)


def _make_row(
    id: str, what: str, value: Any, grade: str, source: str, changed: Mapping[str, str],
    by: str = "",
) -> dict[str, Any]:  # fmt: skip
    room = id.partition(".")[0]
    return {
        "id": id,
        "room": ROOM_WORDS.get(room, room),
        "what": what,
        "value": value,
        "low": np.nan,
        "high": np.nan,
        "unit": "",
        "grade": grade,
        "how_sure": GRADE_WORDS[grade],
        "source": source,
        "where_in_it": "",
        "changed_by": changed.get(id, by),
    }


def _row_of(entry: Any, changed: Mapping[str, str]) -> dict[str, Any]:
    own = "you" if entry.grade == "yours" else BUILT_IN
    by = "the area's file" if entry.id.startswith(("data.", "stream.")) else own
    row = _make_row(
        entry.id, entry.meaning or entry.title, entry.value, entry.grade, entry.title, changed, by
    )
    hidden = entry.title == WITHHELD and is_private(entry)
    row["value"] = WITHHELD if hidden else entry.value
    spread = entry.low is not None and entry.low != entry.high
    return {
        **row,
        "low": entry.low if spread else np.nan,
        "high": entry.high if spread else np.nan,
        "unit": "" if hidden else entry.unit,
        "where_in_it": entry.locator,
    }


def _list_answers(study: Any, changed: Mapping[str, str]) -> Iterator[dict[str, Any]]:
    for row in study.ground.table:
        if row.status == "unknown":
            continue
        who = ", ".join(filter(None, (row.who, row.date))) or "you"
        yield _make_row(
            f"answer.{row.breaker.key}", row.breaker.item, row.status, "yours",
            plain_text(row.note) or "an answer", changed, who,
        )  # fmt: skip


def _list_given(study: Any, changed: Mapping[str, str]) -> Iterator[dict[str, Any]]:
    request = study.chain.request
    for name, words in _GIVEN.items():
        part = getattr(request, name, None)
        if part is None or _is_empty(part):
            continue
        value = WITHHELD if is_withheld(study) and name in {"known", "sales"} else _say_size(part)
        yield _make_row(f"given.{name}", words, value, "yours", "given by hand", changed, "you")


def _is_empty(part: Any) -> bool:
    if is_dataclass(part) and not isinstance(part, type) and not hasattr(part, "__len__"):
        try:
            return bool(part == type(part)())
        except TypeError:
            return False
    return hasattr(part, "__len__") and len(part) == 0


def _say_size(part: Any) -> str:
    if hasattr(part, "__len__"):
        count = len(part)
        return f"{count:,} rows" if count != 1 else "1 row"
    changed = [item.name for item in fields(part)] if is_dataclass(part) else []
    return "given" if not changed else "chosen"


def _list_seeds(study: Any) -> Iterator[dict[str, Any]]:
    for name, words, value in (
        ("seed", "seed of the draws", study.worlds.seed),
        ("draws", "number of possible worlds", study.worlds.draws),
        ("year", "year looked at", study.year),
    ):
        yield _make_row(f"given.{name}", words, f"{value}", "exact", "a choice", {}, BUILT_IN)


def count_grades(trail: pd.DataFrame) -> pd.DataFrame:
    """Count the inputs by grade, the weakest first, with their part of the spread.

    Examples
    --------
    >>> table = pd.DataFrame({"grade": ["memory", "exact"], "part": [0.2, float("nan")]})
    >>> count_grades(table)["inputs"].to_list()
    [1, 1]
    """
    grouped = trail.groupby("grade", sort=False)["part"]
    table = pd.DataFrame({"inputs": grouped.size(), "part": grouped.sum()}).reset_index()
    table["how_sure"] = table["grade"].map(dict(GRADE_WORDS))
    weak = table["grade"].map({grade: k for k, grade in enumerate(TRAIL_ORDER)})
    return table.iloc[np.argsort(weak.to_numpy())].reset_index(drop=True)

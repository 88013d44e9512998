"""What of a study is the client's own, and how is it kept out of screens and papers?

Some figures are the client's and not the reader's: its prices, the price of its land, its
own sales and washes, the answers it was given about a parcel, and every built-in number
that it replaced. A study seen through :func:`withhold` shows the word *withheld* in their
place. What was worked out from them stays; whoever knows the method can narrow them down
from it, which is said beside the switch.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final, cast

import numpy as np
import pandas as pd

from capture.basis import Sourced, UnitSystem, convert_out
from capture.papers.sources import Entry, SourceBook

WITHHELD: Final = "withheld"
SYSTEMS: Final[tuple[UnitSystem, ...]] = ("us", "metric")
#: fields of the offer that are the client's own, each with what it is
PRIVATE_OFFER: Final[Mapping[str, str]] = {
    "ticket_price_usd": "price of a single wash",
    "plan_price_usd_month": "price of the plan a month",
    "land_cost_usd": "price of the land",
}
#: factor of the share -> field of the offer that it tells
_TELLING_FACTORS: Final = {"log_price": "ticket_price_usd"}
#: parts of what a study was asked for that are the client's own, each with what it is
PRIVATE_PARTS: Final[Mapping[str, str]] = {
    "known": "own washes with known cars",
    "answers": "answers about the parcel",
    "sales": "own sales by hour",
    "line": "costs of own stations",
}
#: fields of an app's saved inputs that are the client's own, each with what it is
PRIVATE_INPUTS: Final[Mapping[str, str]] = {
    "replaced": "own numbers in place of built-in ones",
    "answers": "answers about the parcel",
    "known": "own washes with known cars",
    "left_out": "own washes left out",
    "sales": "own sales by hour",
    "member_months": "own months of tickets and members",
    "line": "costs of own stations",
}
#: parts of a study file that hold a room's result
_RESULTS: Final = ("line", "queue", "utilities", "ground", "money")
_FROM_ANSWERS: Final = ("fails: ", "to be dealt with: ")


class Withheld:
    """A study seen without the client's own figures; all else is the study's.

    Parameters
    ----------
    study : Study
    """

    withheld: Final = True

    def __init__(self, study: Any) -> None:
        self._study = study
        self.ground = hide_answers(study.ground)
        self.line = hide_costs(study.line) if _has_own_stations(study) else study.line

    def __getattr__(self, name: str) -> Any:
        return getattr(self._study, name)


def withhold(study: Any) -> Any:
    """See a study without the client's own figures; its papers then say *withheld*.

    Examples
    --------
    >>> is_withheld(object())
    False
    """
    return study if is_withheld(study) else Withheld(study)


def is_withheld(study: Any) -> bool:
    """Whether the client's own figures are to be kept out."""
    return bool(getattr(study, "withheld", False))


def hide_answers(ground: Any) -> Any:
    """Return a parcel's findings without what was answered about it."""
    table = tuple(
        replace(
            row,
            status=cast(Any, WITHHELD),
            who="",
            date="",
            cost_low_usd=0.0,
            cost_high_usd=0.0,
            months_low=0.0,
            months_high=0.0,
            note=WITHHELD,
            source=WITHHELD,
        )
        if _is_answered(row)
        else row
        for row in ground.table
    )
    return replace(
        ground,
        table=table,
        reasons=tuple(hide_reasons(ground.reasons)),
        cost_low_usd=0.0,
        cost_high_usd=0.0,
        months_low=0.0,
        months_high=0.0,
    )


def _has_own_stations(study: Any) -> bool:
    choice = getattr(study.chain.request, "line", None)
    return getattr(choice, "catalog", None) is not None


def hide_costs(line: Any) -> Any:
    """Return a line whose stations tell no cost; what all of it costs stays."""
    return replace(line, stations=tuple(replace(one, cost_usd=np.nan) for one in line.stations))


def _is_answered(row: Any) -> bool:
    return row.status != "unknown" or bool(row.who or row.date or row.note)


def hide_reasons(reasons: Any) -> list[str]:
    """Keep of a parcel's reasons those that tell no answer.

    Examples
    --------
    >>> hide_reasons(["the building fits", "fails: sewer (Ann, 2024-01-02)"])
    ['the building fits', 'an answer that is withheld']
    """
    kept = [text for text in reasons if not text.startswith(_FROM_ANSWERS)]
    hidden = len(reasons) - len(kept)
    if hidden:
        kept.append(f"{hidden} answers that are withheld" if hidden > 1 else
                    "an answer that is withheld")  # fmt: skip
    return kept


def withhold_many(many: Any) -> Any:
    """See a screening without the answers about its parcels."""
    reasons = [
        "; ".join(hide_reasons(str(text).split("; "))) if isinstance(text, str) else text
        for text in many.ranking["reason"]
    ]
    hidden = pd.Series(reasons, index=many.ranking.index, dtype=object)
    return replace(many, ranking=many.ranking.assign(reason=hidden))


def hide_book(book: SourceBook) -> SourceBook:
    """Return a book of sources in which the client's own entries tell no number."""
    hidden = SourceBook()
    for entry in book.entries():
        hidden.add(_hide_entry(entry) if is_private(entry) else entry)
    return hidden


def is_private(entry: Entry) -> bool:
    """Whether an entry of the sources is the client's own.

    Examples
    --------
    >>> is_private(Entry(id="line.pitch_m", title="your own value", locator="", grade="yours"))
    True
    """
    kind, _, name = entry.id.partition(".")
    return name in PRIVATE_OFFER if kind == "offer" else entry.grade == "yours"


def _hide_entry(entry: Entry) -> Entry:
    name = entry.id.partition(".")[2]
    meaning = PRIVATE_OFFER.get(name, entry.meaning) if entry.id.startswith("offer.") else (
        entry.meaning
    )  # fmt: skip
    return replace(
        entry, title=WITHHELD, locator="", meaning=meaning, value=None, low=None, high=None
    )


def list_withheld(study: Any) -> list[str]:
    """List in words what of a study is the client's own and was left out."""
    request = study.chain.request
    named = [words for name, words in PRIVATE_OFFER.items()
             if getattr(study.offer, name) is not None]  # fmt: skip
    named += [words for name, words in PRIVATE_PARTS.items() if _is_given(request, name)]
    own = [f"own number {room}.{number.name}" for room, number in list_own(study)]
    return [*named, *own]


def list_own(study: Any) -> list[tuple[str, Sourced]]:
    """List the built-in numbers that the client replaced, each with its room."""
    return [
        (room, number)
        for room, sheet in study.numbers.items()
        for number in sheet.values()
        if number.grade == "yours"
    ]


def hide_cells(table: pd.DataFrame, study: Any) -> pd.DataFrame:
    """Return a table of assumptions in which no number is one of the client's own.

    Parameters
    ----------
    table : DataFrame
        Columns ``value`` and ``unit``, in any units.
    study : Study
    """
    own = []
    for _, number in list_own(study):
        for system in SYSTEMS:
            amount, label = convert_out(number.value, number.unit, system)
            own.append((round(amount, 2), label))
    hidden = [
        WITHHELD if (value, unit) in own else value
        for value, unit in zip(table["value"], table["unit"], strict=True)
    ]
    return table.assign(value=pd.Series(hidden, index=table.index, dtype=object))


def _is_given(request: Any, name: str) -> bool:
    part = getattr(request, name, None)
    if part is None:
        return False
    return getattr(part, "catalog", None) is not None if name == "line" else True


def hide_told(told: Mapping[str, Any], study: Any) -> dict[str, Any]:
    """Return the content of a study file without the client's own figures.

    Parameters
    ----------
    told : mapping
        As :func:`capture.papers.study_json.make_study_dict` makes it.
    study : Study
        Whose own figures are left out.

    Returns
    -------
    dict
        With the list ``withheld`` of what is not in it.
    """
    offer = {name: WITHHELD if name in PRIVATE_OFFER and value is not None else value
             for name, value in told["offer"].items()}  # fmt: skip
    asked = dict(told["request"])
    asked |= {"replaced": {}, "offer_exact": {}}
    asked.pop("learned", None)
    given = {
        name: part for name, part in asked.get("given", {}).items() if name not in PRIVATE_PARTS
    }
    if "given" in asked:
        asked["given"] = given
    rate = dict(told["capture_rate"])
    rate["multipliers"] = [
        {key: value for key, value in row.items() if key != "x"}
        if row["name"] in _TELLING_FACTORS
        else row
        for row in rate["multipliers"]
    ]
    own = frozenset(number.name for _, number in list_own(study))
    results = {name: _hide_named(told[name], own) for name in _RESULTS if name in told}
    return {**told, **results, "offer": offer, "request": asked, "capture_rate": rate,
            "withheld": list_withheld(study)}  # fmt: skip


def _hide_named(thing: Any, own: frozenset[str]) -> Any:
    """Leave out of a result what bears the name of a number that is the client's own."""
    if isinstance(thing, dict):
        return {
            key: WITHHELD if key in own else _hide_named(value, own) for key, value in thing.items()
        }
    return [_hide_named(one, own) for one in thing] if isinstance(thing, list) else thing


def hide_inputs(inputs: Mapping[str, Any]) -> dict[str, Any]:
    """Return saved inputs without the client's own figures, and a list of what they lack.

    Examples
    --------
    >>> hidden = hide_inputs({"offer": {"ticket_price_usd": 15.0, "bays": 2}, "sales": []})
    >>> hidden["offer"], hidden["withheld"]
    ({'bays': 2}, ['price of a single wash'])
    """
    kept = dict(inputs)
    named = []
    if "offer" in kept:
        named += [words for name, words in PRIVATE_OFFER.items() if name in kept["offer"]]
        kept["offer"] = {
            name: value for name, value in kept["offer"].items() if name not in PRIVATE_OFFER
        }
    for name, words in PRIVATE_INPUTS.items():
        if kept.pop(name, None):
            named.append(words)
    return {**kept, "withheld": list(dict.fromkeys(named))}


def hide_steps(table: pd.DataFrame) -> pd.DataFrame:
    """Return the steps of the share without the price that they stand on.

    Examples
    --------
    >>> hide_steps(pd.DataFrame({"key": ["log_price"], "here": ["1.2 of the area's"]}))["here"][0]
    'withheld'
    """
    tells = table["key"].isin(list(_TELLING_FACTORS))
    return table.assign(here=np.where(tells, WITHHELD, table["here"]))

"""What one sentence may be said to the seller of a parcel, and which claims may be printed?

The sentence holds only what passes and how many would be washed, each with its range; money
is the buyer's own. A claim may be printed when it was measured, or is said as an estimate
with its range. Assumes a finished study.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from capture.basis import FORMAT_WORDS, UnitSystem, plain_text
from capture.papers.argument import make_argument


@dataclass(frozen=True, slots=True, kw_only=True)
class Pitch:
    """What may be said of a parcel to those outside."""

    #: the sentence
    sentence: str
    #: claims that may be printed, each as it may be worded
    may: tuple[str, ...]
    #: claims that may not, each with why
    may_not: tuple[str, ...]


def make_pitch(study: Any, *, system: UnitSystem = "us") -> Pitch:
    """Make the sentence for the seller, and say what may and may not be printed.

    Parameters
    ----------
    study : Study
    system : {"us", "metric"}
        What the reader uses.
    """
    claims = {claim.key: claim for claim in make_argument(study, system=system)}
    passing, cars = claims["passing"], claims["cars"]
    name = plain_text(study.sites.names[0], most=80)
    kind = FORMAT_WORDS[study.offer.format]
    start = "" if kind.endswith("s") else "an " if kind[0] in "aeiou" else "a "
    sentence = (
        f"Past {name} drive about {passing.said} vehicles a day that could be washed "
        f"({passing.spread}, {_say_source(study)}); by our estimate {start}{kind} here would wash "
        f"about {cars.said} cars a day, nine times out of ten {cars.spread}."
    )
    return Pitch(sentence=sentence, may=_list_may(study, claims), may_not=_list_may_not(study))


def _is_measured(study: Any) -> tuple[bool, bool]:
    measured = np.asarray(study.streams.measured, dtype=bool)
    return bool(measured.any()), bool(measured.all())


def _say_source(study: Any) -> str:
    some, every = _is_measured(study)
    if study.area.invented:
        return "invented for a demonstration"
    return "counted" if every else "partly counted" if some else "estimated, not counted"


def _list_may(study: Any, claims: dict[str, Any]) -> tuple[str, ...]:
    if study.area.invented:
        return ()
    said = []
    for r in np.flatnonzero(np.asarray(study.streams.measured, dtype=bool)):
        said.append(
            f"vehicles on {plain_text(study.streams.road[r] or 'the road')}: "
            f"{plain_text(study.streams.source[r], most=160)}"
        )
    cars = claims["cars"]
    said.append(
        f"an estimate of {cars.said} cars a day, if its range of {cars.spread} stands by it"
    )
    return tuple(dict.fromkeys(said))


def _list_may_not(study: Any) -> tuple[str, ...]:
    """List what may not be printed as a claim, each with why."""
    some, every = _is_measured(study)
    said = []
    if study.area.invented:
        said.append("anything of this: the data are invented for a demonstration")
    if not every:
        which = "some of its roads were" if some else "its roads were"
        said.append(f"'counted' for the vehicles passing: {which} not counted")
    said += [
        "any number without its range: the middle alone is a promise that nobody can keep",
        "earnings, payback or return: they are the buyer's own reckoning, not a fact of the parcel",
    ]
    table = study.ground.table
    open_items = sum(row.status != "pass" for row in table)
    if open_items:
        said.append(
            f"'approved' or 'ready to build': {open_items} of {len(table)} deal-breakers are not "
            "cleared"
        )
    if study.ground.fit != "pass":
        said.append("'the wash fits the parcel': that is not shown")
    if not int(study.fit.known_count):
        said.append("'proven share': no wash with known cars stands behind it")
    return tuple(said)

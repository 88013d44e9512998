"""How is any number of a screen accounted for: by which step, from what, moved by what?

A number with draws of its own is accounted for by them. A cell of a table without draws is
accounted for by the step that made it, and by what moves the nearest number of the argument
among the inputs that the step stands on. Assumes a finished study.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from capture.basis import InputError, UnitSystem
from capture.papers.argument import Claim, make_argument
from capture.papers.numbers import sum_draws
from capture.papers.passing_tables import name_streams
from capture.papers.pictures import make_money_table, say_factor
from capture.papers.words import say_amount, say_spread

#: screen -> steps that made its numbers, the first unless a table's caption says otherwise
SCREEN_STEPS: Final[Mapping[str, tuple[str, ...]]] = {
    "Area": ("passing",),
    "Sites": ("passing", "ground"),
    "Passing": ("passing",),
    "Turning in & seeing": ("turning", "seeing"),
    "Rivals & people": ("around",),
    "Share": ("share", "year"),
    "Busy hour": ("busy", "year"),
    "Line": ("line", "queue", "utilities", "ground"),
    "Money": ("money", "ground"),
    "Compare": ("money",),
    "Papers": ("money",),
    "Trail": ("money",),
}
#: words of a table's caption -> step that made it
_CAPTION_STEPS: Final = (
    (("wait", "queue", "stack", "lanes"), "queue"),
    (("water", "power", "pump", "motor", "pipe", "air", "heat", "noise"), "utilities"),
    (("place", "fit", "parcel", "ground"), "ground"),
    (("see", "seen", "sight", "letters", "view", "sign"), "seeing"),
    (("cars a year", "month"), "year"),
)
#: step -> claim of the argument that stands nearest above it
_NEAREST: Final[Mapping[str, str]] = {
    "passing": "passing",
    "turning": "share",
    "seeing": "share",
    "around": "share",
    "share": "share",
    "year": "cars",
    "busy": "hour",
    "line": "line",
    "queue": "hour",
    "utilities": "line",
    "ground": "line",
    "money": "pay",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """One number of a screen, ready to be explained."""

    #: what it is called, with where it stands
    label: str
    #: what is explained; its draws tell what moves it
    claim: Claim
    #: the number of the argument whose draws stand in where it has none; "" with its own
    instead: str = ""


def list_accounts(study: Any, screen: str, *, system: UnitSystem = "us") -> tuple[Account, ...]:
    """List the numbers of a screen that have draws of their own, those of the argument first.

    Parameters
    ----------
    study : Study
    screen : str
        Key of :data:`SCREEN_STEPS`.
    system : {"us", "metric"}
        What the reader uses.

    Raises
    ------
    InputError
        When there is no such screen.
    """
    if screen not in SCREEN_STEPS:
        raise InputError(f"screen must be one of {', '.join(SCREEN_STEPS)}, got {screen!r}")
    claims = make_argument(study, system=system)
    found = [Account(label=f"{claim.said} {claim.words}", claim=claim) for claim in claims]
    steps = SCREEN_STEPS[screen]
    for step, make in _OWN.items():
        if step in steps:
            found += [
                _make_own(words, draws, unit, step, system) for words, draws, unit in make(study)
            ]
    return tuple(found)


def _make_own(words: str, draws: Any, unit: str, step: str, system: UnitSystem) -> Account:
    array = np.asarray(draws, dtype=np.float64).ravel()
    found = sum_draws(array, unit).range
    said = say_amount(found.value, unit, system)
    claim = Claim(
        key=f"own {words}", said=said, words=words, spread=say_spread(found, system), step=step,
        draws=array, unit=unit,
    )  # fmt: skip
    return Account(label=f"{words}: {said}", claim=claim)


def _list_streams(study: Any) -> list[tuple[str, Any, str]]:
    names = name_streams(study.streams)
    return [(f"past on {name}", study.vehicles[r], "vehicles/day") for r, name in enumerate(names)]


def _list_factors(study: Any) -> list[tuple[str, Any, str]]:
    share, found = study.share, []
    for k, name in enumerate(share.names):
        if not bool(share.missing[0, k]):
            beyond = float(share.x[0, k]) - float(study.fit.reference[k])
            found.append((f"times {say_factor(name)}", np.exp(share.beta[k] * beyond), "1"))
    return [
        ("share at the reference site", share.base, "share"),
        *found,
        ("times who runs it", share.operator, "1"),
        ("times untried ground", share.selection, "1"),
        ("times what no factor tells", share.residual[0], "1"),
    ]


def _list_hours(study: Any) -> list[tuple[str, Any, str]]:
    busy = study.busy
    return [
        ("busy hour with chance at its middle", busy.expected[0], "cars/h"),
        ("cars on the busiest day", busy.busiest_day[0], "cars/day"),
    ]


def _list_line(study: Any) -> list[tuple[str, Any, str]]:
    lines = study.lines
    return [
        ("building length", lines.building_length_m, "m"),
        ("chain speed", lines.chain_speed_mps, "chain_mps"),
        ("cars an hour that the line carries", lines.cars_per_hour, "cars/h"),
        ("rated power of all stations", lines.power_w, "w"),
        ("water of all stations at once", lines.flow_m3s, "m3s"),
        ("installed equipment", lines.capital_usd, "USD"),
    ]


def _list_money(study: Any) -> list[tuple[str, Any, str]]:
    rows = make_money_table(study).to_dict("records")
    return [
        (str(row["what"]), np.asarray(getattr(study.money, row["key"]))[0], str(row["unit"]))
        for row in rows
    ]


_OWN: Final[Mapping[str, Any]] = {
    "passing": _list_streams,
    "share": _list_factors,
    "busy": _list_hours,
    "line": _list_line,
    "money": _list_money,
}


def choose_step(screen: str, caption: str) -> str:
    """Choose the step that made a table, by the screen that it stands on and its caption.

    Examples
    --------
    >>> choose_step("Line", "How long they wait"), choose_step("Money", "Loan and owner's cash")
    ('queue', 'money')
    """
    steps = SCREEN_STEPS.get(screen, ("money",))
    words = caption.lower()
    return next(
        (
            step
            for names, step in _CAPTION_STEPS
            if step in steps and any(name in words for name in names)
        ),
        steps[0],
    )


def account_for_row(
    study: Any, screen: str, caption: str, row: str, said: str, *, system: UnitSystem = "us"
) -> Account:
    """Account for one row of a table.

    Parameters
    ----------
    study : Study
    screen, caption : str
        Where the table stands and what is written over it.
    row : str
        What the row is called.
    said : str
        Its numbers as said.
    system : {"us", "metric"}
        What the reader uses.

    Returns
    -------
    Account
        With draws of its own when a number of that name has them.
    """
    for known in list_accounts(study, screen, system=system):
        if known.claim.words.casefold() == row.casefold():
            return known
    step = choose_step(screen, caption)
    claims = {claim.key: claim for claim in make_argument(study, system=system)}
    near = claims[_NEAREST[step]]
    claim = Claim(
        key=f"row {row}", said=said, words=row, spread="", step=step, draws=near.draws,
        unit=near.unit,
    )  # fmt: skip
    return Account(label=f"{row}: {said}", claim=claim, instead=f"{near.said} {near.words}")

"""What is each column of a count file, how sure is that, and what must the user be asked?

A column is matched by the words of its heading and by whether its values fit. A match of
at least 0.7 that no other column comes near is taken; from 0.4 on it is a question; below,
the column is listed as not used. Answers are remembered by the file's headings.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import pandas as pd

from capture.basis import DataError, InputError, plain_text
from capture.passing.roles import ROLES, VEHICLE_CLASSES, Role, name_score, split_words

SURE: Final = 0.7
UNSURE: Final = 0.4
CLEAR_GAP: Final = 0.1
MOST_COLUMNS: Final = 400
#: columns that the reader adds or that hold geometry
_OWN: Final = frozenset({"row", "geometry"})
_YEARED = re.compile(r"^(?:aadt|adt|dtv|tmja|kvl|aawdt|awdt)\D{0,3}((?:19|20)\d{2})$")
_YEAR_FIRST = re.compile(r"^((?:19|20)\d{2})\D{0,3}(?:aadt|adt|dtv|tmja|kvl|aawdt|awdt)$")
_HOURED = re.compile(r"^(?:h|hr|hour|hour ?_?)?\s?0?(\d{1,2})(?:\s?(?:00))?(?:\s.*)?$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What one column was taken for."""

    #: heading as it stands in the file
    column: str
    #: role, or "" when not used
    role: str
    #: 0-1; 1 also when the user said so
    confidence: float
    #: one sentence why
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What the file does not say and the user must."""

    #: what is asked for
    role: str
    #: the question as a sentence
    text: str
    #: columns that come into question, best first
    options: tuple[str, ...]
    #: whether the file cannot be used without an answer
    needed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """What each column of a file holds, and what is still open."""

    #: role -> heading
    roles: Mapping[str, str]
    #: one row per column of the file
    taken: tuple[Taken, ...]
    #: what could not be told
    questions: tuple[Question, ...]
    #: year -> heading, where volumes of several years stand side by side
    years: Mapping[int, str] = field(default_factory=dict)
    #: hour of day -> heading, where the 24 hours stand side by side
    hours: Mapping[int, str] = field(default_factory=dict)
    #: vehicle class -> heading, where classes are counted apart
    classes: Mapping[str, str] = field(default_factory=dict)
    #: remembered under this name
    signature: str = ""

    def table(self) -> pd.DataFrame:
        """Return column, taken for, confidence and why, one row per column of the file."""
        return pd.DataFrame(
            [(t.column, t.role or "not used", t.confidence, t.why) for t in self.taken],
            columns=["column", "taken_for", "confidence", "why"],
        )


def make_signature(headings: Sequence[str]) -> str:
    """Return the name under which answers about files with these headings are remembered.

    Examples
    --------
    >>> make_signature(["B", "a"]) == make_signature(["A ", "b"])
    True
    """
    plain = "\x1f".join(sorted(str(h).strip().lower() for h in headings if h not in _OWN))
    return hashlib.blake2b(plain.encode(), digest_size=12).hexdigest()


def guess_columns(
    table: pd.DataFrame,
    *,
    answers: Mapping[str, str] | None = None,
    hourly: bool = False,
) -> Columns:
    """Guess what each column holds.

    Parameters
    ----------
    table : DataFrame
        As read from the file, untouched.
    answers : mapping of str to str, optional
        Role -> heading that the user (or the memory) said; "" says that there is none.
    hourly : bool
        Whether the rows are intervals rather than days or averages.

    Raises
    ------
    InputError
        When an answer names an unknown role or a column that is not there.
    DataError
        When there are no columns or more than 400.

    Examples
    --------
    >>> found = guess_columns(pd.DataFrame({"Lat": [40.1], "Lon": [-75.0], "AADT": [9000]}))
    >>> dict(found.roles)
    {'lat': 'Lat', 'lon': 'Lon', 'aadt': 'AADT'}
    """
    headings = [str(column) for column in table.columns if str(column) not in _OWN]
    if not 0 < len(headings) <= MOST_COLUMNS:
        raise DataError(
            f"a count file must have 1 to {MOST_COLUMNS} columns, got {len(headings)}; "
            "check the separator"
        )
    said = _check_answers(answers or {}, headings)
    years, hours, classes = _families(headings)
    family = {*years.values(), *hours.values(), *classes.values()}
    skip = {"aadt"} if hourly or hours else {"volume", "clock"}
    if not hourly and _tells_hours(headings):
        skip = {"clock"}
    if years and not hourly:
        skip.add("aadt")
    scores = _score_all(table, [h for h in headings if h not in family], skip | set(said))
    roles = {role: heading for role, heading in said.items() if heading}
    for heading in roles.values():
        scores = {pair: s for pair, s in scores.items() if pair[1] != heading}
    picked, questions = _settle(scores, roles)
    roles.update(picked)
    questions = [q for q in questions if q.role not in said]
    questions += _missing(roles, said, years=years, hours=hours, hourly=hourly, open_=questions)
    order = {role.name: k for k, role in enumerate(ROLES)}
    return Columns(
        roles=dict(sorted(roles.items(), key=lambda pair: order.get(pair[0], 99))),
        taken=tuple(_say(h, roles, scores, said, years, hours, classes) for h in headings),
        questions=tuple(questions),
        years=years,
        hours=hours,
        classes=classes,
        signature=make_signature(headings),
    )


def _tells_hours(headings: Sequence[str]) -> bool:
    """Whether a column says how many hours were counted, so that a volume is of those."""
    role = next(role for role in ROLES if role.name == "hours")
    return any(name_score(role, split_words(heading)) >= 0.9 for heading in headings)


def _check_answers(answers: Mapping[str, str], headings: Sequence[str]) -> dict[str, str]:
    names = [role.name for role in ROLES]
    for role, heading in answers.items():
        if role not in names:
            raise InputError(f"answers: there is no role {role!r}; known are {', '.join(names)}")
        if heading and heading not in headings:
            raise InputError(
                f"answers: {role} is said to be column {heading!r}, which the file lacks; it has "
                + ", ".join(plain_text(h, most=40) for h in headings[:20])
            )
    return dict(answers)


def _families(
    headings: Sequence[str],
) -> tuple[dict[int, str], dict[int, str], dict[str, str]]:
    years: dict[int, str] = {}
    hours: dict[int, str] = {}
    classes: dict[str, str] = {}
    for heading in headings:
        words = " ".join(split_words(heading))
        yeared = _YEARED.match(words) or _YEAR_FIRST.match(words)
        if yeared:
            years.setdefault(int(yeared[1]), heading)
        houred = _HOURED.match(words)
        if houred and int(houred[1]) <= 24:
            hours.setdefault(int(houred[1]), heading)
        for name, (known, _, _) in VEHICLE_CLASSES.items():
            if words in known:
                classes.setdefault(name, heading)
    if len(hours) < 24:
        hours = {}
    elif 0 not in hours:
        hours = {hour - 1: heading for hour, heading in hours.items()}
    return (
        years,
        {h: c for h, c in sorted(hours.items()) if h < 24},
        classes if len(classes) > 1 else {},
    )


def _score_all(
    table: pd.DataFrame, headings: Sequence[str], skip: set[str]
) -> dict[tuple[str, str], float]:
    scores: dict[tuple[str, str], float] = {}
    for heading in headings:
        words = split_words(heading)
        for role in ROLES:
            if role.name in skip:
                continue
            named = name_score(role, words)
            if named > 0:
                column = table[heading]
                sample = column if len(column) <= 5000 else column.iloc[:: len(column) // 5000]
                fit = role.fits(sample)
                score = _score(role, named, fit)
                if score >= UNSURE / 2:
                    scores[role.name, heading] = round(score, 3)
    return scores


def _score(role: Role, named: float, fit: float) -> float:
    """Weigh heading and values; a clear heading stands even over values that are all bad."""
    if fit > 0:
        return named * (0.6 + 0.4 * fit)
    return SURE if named >= 0.95 and role.name in ("aadt", "volume") else 0.0


def _settle(
    scores: Mapping[tuple[str, str], float], already: Mapping[str, str]
) -> tuple[dict[str, str], list[Question]]:
    left = dict(scores)
    roles: dict[str, str] = {}
    questions: list[Question] = []
    while left:
        (role, heading), score = max(left.items(), key=lambda pair: pair[1])
        if score < UNSURE:
            break
        others = [
            h for (r, h), s in left.items() if r == role and h != heading and s > score - CLEAR_GAP
        ]
        options = (heading, *others)
        if role not in already and score >= SURE and not others:
            roles[role] = heading
            left = {pair: s for pair, s in left.items() if pair[1] != heading and pair[0] != role}
            continue
        if (role not in already and role not in ("volume", "heavy", "kind")) or role not in already:
            questions.append(_ask(role, options))
        left = {pair: s for pair, s in left.items() if pair[0] != role}
    return roles, questions


def _ask(role: str, options: tuple[str, ...]) -> Question:
    known = next(r for r in ROLES if r.name == role)
    shown = " or ".join(plain_text(option, most=60) for option in options)
    return Question(
        role=role,
        text=f"which column is {known.meaning} ({role}): {shown}, or none?",
        options=options,
        needed=known.needed,
    )


def _missing(
    roles: Mapping[str, str],
    said: Mapping[str, str],
    *,
    years: Mapping[int, str],
    hours: Mapping[int, str],
    hourly: bool,
    open_: Sequence[Question],
) -> list[Question]:
    asked = {question.role for question in open_}
    found: list[Question] = []
    volume = "volume" if hourly else "aadt"
    enough = (
        volume in roles or (years and not hourly) or hours or "axles" in roles or "volume" in roles
    )
    if not enough and volume not in asked:
        text = f"no column looks like {'vehicles in one interval' if hourly else 'vehicles a day'}"
        found.append(Question(role=volume, text=f"{text}; which is it?", options=(), needed=True))
    return found


def _say(
    heading: str,
    roles: Mapping[str, str],
    scores: Mapping[tuple[str, str], float],
    said: Mapping[str, str],
    years: Mapping[int, str],
    hours: Mapping[int, str],
    classes: Mapping[str, str],
) -> Taken:
    for role, column in roles.items():
        if column == heading:
            if said.get(role) == heading:
                return Taken(column=heading, role=role, confidence=1.0, why="you said so")
            score = scores.get((role, heading), 0.0)
            return Taken(column=heading, role=role, confidence=score, why="heading and values fit")
    for label, family in (("aadt", years), ("hour", hours), ("class", classes)):
        for key, column in family.items():
            if column == heading:
                return Taken(
                    column=heading,
                    role=f"{label} {key}",
                    confidence=0.95,
                    why="one of a row of like headings",
                )
    best = max(((s, r) for (r, h), s in scores.items() if h == heading), default=(0.0, ""))
    why = f"perhaps {best[1]}, not sure enough" if best[0] >= UNSURE else "fits nothing looked for"
    return Taken(column=heading, role="", confidence=best[0], why=why)

"""Does an order of stations keep to what practice advises, and why does each advice hold?

Washers differ over order and spacing, so a rule that is not kept is told with its reason
and the line is laid out all the same.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, Final, Protocol

from capture.basis import DataError, plain_text
from capture.basis.units import M_PER_FT

_M_PER_IN: Final = M_PER_FT / 12
_MOST_BYTES: Final = 200_000


class Placed(Protocol):
    """What a rule looks at in a placed station."""

    @property
    def name(self) -> str:
        """In trade words."""

    @property
    def role(self) -> str:
        """Part it plays in the rules."""

    @property
    def start_m(self) -> float:
        """From the first roller."""

    @property
    def length_m(self) -> float:
        """Of its own zone."""

    @property
    def enters_s(self) -> float:
        """Seconds from entry."""

    @property
    def spacing_m(self) -> float:
        """Between applicators of one side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One advice on order or spacing."""

    #: short name, unique
    id: str
    #: which check it is; see ``rules.toml``
    kind: str
    #: why it is advised, one sentence
    reason: str
    #: role that it is about
    first: str = ""
    #: role that it is set against
    then: str = ""
    #: range of what is measured
    low: float = 0.0
    high: float = float("inf")
    #: circumstance of the site under which it does not hold
    unless: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleBreak:
    """A broken rule: what was found, and why practice advises otherwise."""

    #: which rule
    rule: str
    #: what is there, one sentence
    found: str
    #: why it is advised against
    reason: str

    def __str__(self) -> str:
        return f"{self.found}; {self.reason} (common practice)"


@lru_cache(maxsize=1)
def usual_rules() -> tuple[Rule, ...]:
    """Return the rules that come with the library."""
    text = (resources.files("capture.line") / "rules.toml").read_text(encoding="utf-8")
    return read_rules(text)


def read_rules(text: str, *, where: str = "rules.toml") -> tuple[Rule, ...]:
    """Read rules from TOML text.

    Raises
    ------
    DataError
        When the text is not TOML, a rule lacks a key or is of an unknown kind.
    """
    try:
        entries = tomllib.loads(text).get("rule", [])
        rules = tuple(_read_rule(entry) for entry in entries)
    except (tomllib.TOMLDecodeError, TypeError, ValueError) as error:
        raise DataError(f"{where}: a rule is not readable ({error}); mend that place") from None
    for rule in rules:
        if rule.kind not in _CHECKS:
            raise DataError(
                f"{where}: rule {rule.id!r} must be of kind {', '.join(_CHECKS)}, got {rule.kind!r}"
            )
    return rules


def _read_rule(entry: dict[str, Any]) -> Rule:
    """Make a rule of a table of keys, texts cut to size and ranges to numbers."""
    numbers = {key: float(entry[key]) for key in ("low", "high") if key in entry}
    texts = {key: plain_text(said) for key, said in entry.items() if key not in numbers}
    return Rule(**(texts | numbers))  # type: ignore[arg-type]


def load_rules(path: Path) -> tuple[Rule, ...]:
    """Read rules from a TOML file of at most 200 kB.

    Raises
    ------
    DataError
        When the file cannot be read or is not of that form.
    """
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise DataError(f"{path.name}: a rules file is under 200 kB; is this another file?")
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise DataError(f"{path.name}: the rules file cannot be read ({error})") from None
    return read_rules(text, where=path.name)


def check_rules(
    stations: Sequence[Placed],
    *,
    line_s: float,
    circumstances: Collection[str] = (),
    rules: Sequence[Rule] | None = None,
) -> tuple[RuleBreak, ...]:
    """Check placed stations against the rules of order and spacing.

    Parameters
    ----------
    stations : sequence of PlacedStation
        In order of their start.
    line_s : float
        Seconds from the first roller to the exit.
    circumstances : collection of str
        What holds at the site, such as ``"mud_roads"``.
    rules : sequence of Rule, optional
        By default those that come with the library.

    Returns
    -------
    tuple of RuleBreak
        Empty when all rules are kept.
    """
    found = []
    for rule in usual_rules() if rules is None else rules:
        if rule.unless and rule.unless in circumstances:
            continue
        said = _CHECKS[rule.kind](rule, stations, line_s)
        if said:
            found.append(RuleBreak(rule=rule.id, found=said, reason=rule.reason))
    return tuple(found)


def _of(role: str, stations: Sequence[Placed]) -> list[Placed]:
    return sorted((one for one in stations if one.role == role), key=lambda one: one.start_m)


def _before(rule: Rule, stations: Sequence[Placed], line_s: float) -> str:
    first, then = _of(rule.first, stations), _of(rule.then, stations)
    if first and then and first[-1].start_m > then[0].start_m:
        return f"{first[-1].name} comes after {then[0].name}"
    return ""


def _first_before(rule: Rule, stations: Sequence[Placed], line_s: float) -> str:
    first, then = _of(rule.first, stations), _of(rule.then, stations)
    if then and first and first[0].start_m > then[0].start_m:
        return f"{then[0].name} comes before {first[0].name}"
    return ""


def _next(rule: Rule, stations: Sequence[Placed], line_s: float) -> str:
    first, then = _of(rule.first, stations), _of(rule.then, stations)
    if not first or not then:
        return ""
    zones = sorted((one for one in stations if one.length_m > 0), key=lambda one: one.start_m)
    ahead = [one for one in zones if one.start_m < then[0].start_m]
    if ahead and ahead[-1].role != rule.first:
        return f"{ahead[-1].name} stands right before {then[0].name}, not {first[0].name}"
    return ""


def _lead(rule: Rule, stations: Sequence[Placed], line_s: float) -> str:
    first, then = _of(rule.first, stations), _of(rule.then, stations)
    if not first or not then:
        return ""
    seconds = then[0].enters_s - first[0].enters_s
    if not rule.low - 1e-6 <= seconds <= rule.high + 1e-6:
        return (
            f"{first[0].name} leads {then[0].name} by {seconds:.0f} s, advised "
            f"{rule.low:g} to {rule.high:g} s"
        )
    return ""


def _position(rule: Rule, stations: Sequence[Placed], line_s: float) -> str:
    first = _of(rule.first, stations)
    if not first:
        return ""
    length = max(one.start_m + one.length_m for one in stations)
    share = (first[0].start_m + first[0].length_m / 2) / length
    if not rule.low <= share <= rule.high:
        return (
            f"{first[0].name} stands at {share:.0%} of the line, advised "
            f"{rule.low:.0%} to {rule.high:.0%}"
        )
    return ""


def _absent(rule: Rule, stations: Sequence[Placed], line_s: float) -> str:
    first = _of(rule.first, stations)
    return f"{first[0].name} is in the line" if first else ""


def _needs(rule: Rule, stations: Sequence[Placed], line_s: float) -> str:
    first, then = _of(rule.first, stations), _of(rule.then, stations)
    return f"{first[0].name} is there without {rule.then}" if first and not then else ""


def _spacing(rule: Rule, stations: Sequence[Placed], line_s: float) -> str:
    for one in _of(rule.first, stations):
        inches = one.spacing_m / _M_PER_IN
        if not rule.low <= inches <= rule.high:
            return (
                f"applicators of {one.name} stand {inches:.0f} in apart, advised "
                f"{rule.low:g} to {rule.high:g} in"
            )
    return ""


def _line(rule: Rule, stations: Sequence[Placed], line_s: float) -> str:
    if not rule.low <= line_s <= rule.high:
        return f"a car is in the line for {line_s:.0f} s, advised at most {rule.high:g} s"
    return ""


def _contact(rule: Rule, stations: Sequence[Placed], line_s: float) -> str:
    first = _of(rule.first, stations)
    length = max((one.start_m + one.length_m for one in stations), default=0.0)
    seconds = sum(one.length_m for one in first) * line_s / length if length > 0 else 0.0
    if first and not rule.low <= seconds <= rule.high:
        return (
            f"{rule.first} stations last {seconds:.0f} s together, advised "
            f"{rule.low:g} to {rule.high:g} s"
        )
    return ""


_CHECKS: Final[dict[str, Callable[[Rule, Sequence[Any], float], str]]] = {
    "before": _before, "first_before": _first_before, "next": _next, "lead": _lead,
    "position": _position, "absent": _absent, "needs": _needs, "spacing": _spacing,
    "line": _line, "contact": _contact,
}  # fmt: skip

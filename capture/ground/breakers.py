"""What can sink a parcel that no count shows, and what is known of each?

One table per parcel: every item is pass, ask, fail or unknown, with who said so, when,
what it may cost and how long it may take. Unknown never counts as pass.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal, get_args

from capture.basis import InputError, plain_text

Status = Literal["pass", "ask", "fail", "unknown"]
STATUSES: Final[tuple[Status, ...]] = get_args(Status)
#: what weighs most stands first
_WEIGHT: Final[tuple[Status, ...]] = ("fail", "unknown", "ask", "pass")
Effect = Literal["cost", "share lost", "land lost", "ends it"]
_MOST_USD: Final = 1e9
_MOST_MONTHS: Final = 240.0
PRACTICE: Final = "common practice, no source (from memory)"


@dataclass(frozen=True, slots=True, kw_only=True)
class DealBreaker:
    """One item to be asked of every parcel."""

    #: short key, used in answer files
    key: str
    #: what is asked, plain words
    item: str
    #: whom to ask
    ask_whom: str
    #: what a bad answer does
    effect: Effect
    #: usual cost when it must be dealt with, USD
    cost_low_usd: float = 0.0
    #: usual highest cost, USD
    cost_high_usd: float = 0.0
    #: usual delay, months
    months_low: float = 0.0
    #: usual longest delay, months
    months_high: float = 0.0


def _item(
    key: str,
    item: str,
    ask_whom: str,
    effect: Effect,
    thousand_usd: tuple[float, float] = (0.0, 0.0),
    months: tuple[float, float] = (0.0, 0.0),
) -> DealBreaker:
    return DealBreaker(
        key=key,
        item=item,
        ask_whom=ask_whom,
        effect=effect,
        cost_low_usd=1000.0 * thousand_usd[0],
        cost_high_usd=1000.0 * thousand_usd[1],
        months_low=months[0],
        months_high=months[1],
    )


#: items in the order in which they are usually asked
DEAL_BREAKERS: Final[tuple[DealBreaker, ...]] = (
    _item("zoning", "use allowed or conditional; no moratorium on washes", "planning office",
          "cost", (10, 75), (3, 12)),
    _item("driveway", "driveway permit, left turn kept, spacing to the next driveway",
          "road authority", "cost", (5, 400), (2, 12)),
    _item("median", "no planned closing of the median opening", "road authority", "share lost"),
    _item("widening", "no road widening or taking of frontage", "road authority", "land lost"),
    _item("sewer", "sewer capacity and discharge permit", "sewer authority", "cost",
          (10, 300), (2, 9)),
    _item("water", "water tap, no drought limits", "water utility", "cost", (15, 250), (1, 6)),
    _item("impact_fees", "impact fees known", "planning office", "cost", (0, 300)),
    _item("deed", "no deed restriction or neighbour's exclusive right", "title company",
          "ends it"),
    _item("homes", "homes next door: noise, hours, wall", "planning office", "cost",
          (20, 200), (1, 4)),
    _item("flood", "flood zone, wetland, detention", "flood map, civil engineer", "cost",
          (25, 500), (3, 12)),
    _item("contamination", "soil and ground water clean", "environmental assessor", "cost",
          (5, 500), (1, 12)),
    _item("power", "three-phase power and transformer near", "electric utility", "cost",
          (20, 250), (4, 18)),
    _item("easements", "easements and cross-access", "title company", "cost", (5, 100), (1, 6)),
    _item("stacking", "local rule for stacking on the parcel", "planning office", "land lost"),
    _item("rival", "no rival filed or under construction", "permit office", "share lost"),
)  # fmt: skip
BY_KEY: Final = MappingProxyType({item.key: item for item in DEAL_BREAKERS})


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What is known of one item on one parcel; costs left out take the usual ones.

    Raises
    ------
    InputError
        When the status is not one of the four or an amount breaks its rule.
    """

    #: pass, ask, fail or unknown
    status: Status
    #: who said so
    who: str = ""
    #: when, year-month-day
    date: str = ""
    #: least cost, USD
    cost_low_usd: float | None = None
    #: most cost, USD
    cost_high_usd: float | None = None
    #: least delay, months
    months_low: float | None = None
    #: most delay, months
    months_high: float | None = None
    #: anything else
    note: str = ""

    def __post_init__(self) -> None:
        if self.status not in STATUSES:
            raise InputError(
                f"deal-breaker: status must be one of {', '.join(STATUSES)}, got {self.status!r}"
            )
        for low, high, most, unit in (
            ("cost_low_usd", "cost_high_usd", _MOST_USD, "USD"),
            ("months_low", "months_high", _MOST_MONTHS, "months"),
        ):
            pair = [getattr(self, name) for name in (low, high)]
            for name, amount in zip((low, high), pair, strict=True):
                if amount is not None and not (math.isfinite(amount) and 0 <= amount <= most):
                    raise InputError(
                        f"deal-breaker: {name} must be 0 to {most:g} {unit}, got {amount}"
                    )
            if None not in pair and pair[0] > pair[1]:
                raise InputError(f"deal-breaker: {low} must not be over {high}, got {pair}")
        if self.date:
            _check_date(self.date)


def _check_date(text: str) -> None:
    try:
        dt.date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"deal-breaker: date must be year-month-day, got {plain_text(text, most=20)!r}"
        ) from None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One row of a parcel's table."""

    #: what is asked
    breaker: DealBreaker
    #: pass, ask, fail or unknown
    status: Status
    #: who said so
    who: str
    #: when
    date: str
    #: least cost that it adds, USD; 0 unless asked
    cost_low_usd: float
    #: most cost that it adds, USD
    cost_high_usd: float
    #: least delay, months
    months_low: float
    #: most delay, months
    months_high: float
    #: anything else
    note: str
    #: whose figures the costs are
    source: str


def judge_item(breaker: DealBreaker, answer: Answer | None) -> Finding:
    """Turn an answer, or its absence, into one row of the table.

    Costs and delay are added only for *ask*; an unknown item keeps its usual range in
    ``breaker`` so that it can be shown, and adds nothing.
    """
    if answer is None:
        answer = Answer(status="unknown")
    asks = answer.status == "ask"
    own = any(
        getattr(answer, name) is not None
        for name in ("cost_low_usd", "cost_high_usd", "months_low", "months_high")
    )
    cost = _pair(answer.cost_low_usd, answer.cost_high_usd, breaker.cost_low_usd,
                 breaker.cost_high_usd) if asks else (0.0, 0.0)  # fmt: skip
    months = _pair(answer.months_low, answer.months_high, breaker.months_low,
                   breaker.months_high) if asks else (0.0, 0.0)  # fmt: skip
    return Finding(
        breaker=breaker,
        status=answer.status,
        who=plain_text(answer.who),
        date=answer.date,
        cost_low_usd=cost[0],
        cost_high_usd=cost[1],
        months_low=months[0],
        months_high=months[1],
        note=plain_text(answer.note, most=1000),
        source="yours" if own else PRACTICE,
    )


def _pair(
    low: float | None, high: float | None, usual_low: float, usual_high: float
) -> tuple[float, float]:
    if low is None and high is None:
        return usual_low, usual_high
    if low is None:
        return min(usual_low, float(high or 0.0)), float(high or 0.0)
    return float(low), max(float(low), usual_high) if high is None else float(high)


def judge_parcel(answers: Mapping[str, Answer] | None = None) -> tuple[Finding, ...]:
    """Return the whole table of one parcel, every item once.

    Raises
    ------
    InputError
        When an answer's key is not an item of the table.

    Examples
    --------
    >>> table = judge_parcel({"sewer": Answer(status="ask")})
    >>> [row.status for row in table if row.breaker.key == "sewer"]
    ['ask']
    """
    known = dict(answers or {})
    for key in known:
        if key not in BY_KEY:
            raise InputError(
                f"deal-breaker: there is no item {plain_text(key, most=40)!r}; known are "
                f"{', '.join(BY_KEY)}"
            )
    return tuple(judge_item(item, known.get(item.key)) for item in DEAL_BREAKERS)


def weigh(statuses: Sequence[Status]) -> Status:
    """Return the status that decides: fail, then unknown, then ask, then pass.

    Examples
    --------
    >>> weigh(["pass", "ask", "unknown"])
    'unknown'
    """
    return next((status for status in _WEIGHT if status in statuses), "unknown")

"""What do an operator's own months of tickets and members teach, and how is that shown?

One row a month: ticket visits, joins, leavers, members, their washes, prices. Each of the
five constants of members learns from the months that tell it; the rest keep practice's.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import DataError, Sheet, Sourced, plain_text, raise_gathered
from capture.share import VALUES, learn_elasticity, learn_level
from capture.share.cells import read_number
from capture.share.learn import list_learnable
from capture.share.months import find_month

FloatArray = NDArray[np.float64]

MOST_MONTHS: Final = 120
#: column -> (least, most, unit)
_NUMBERS: Final[Mapping[str, tuple[float, float, str]]] = {
    "tickets": (0.0, 5e5, "visits"),
    "joins": (0.0, 1e5, "members"),
    "leavers": (0.0, 1e5, "members"),
    "members": (0.0, 5e5, "members"),
    "member_washes": (0.0, 1e6, "washes"),
    "ticket_price_usd": (0.01, 1000.0, "USD"),
    "plan_price_usd": (0.01, 1000.0, "USD"),
}
COLUMNS: Final = ("month", *_NUMBERS)
#: months at a price so alike that they are one price
_ONE_PRICE: Final = 1.005


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MemberLearning:
    """What own months taught."""

    #: constants that learned something, with their new range
    learned: tuple[Sourced, ...]
    #: ``what, before, low, after, low, high, months``: one row a constant
    table: pd.DataFrame
    #: what could not be learned and why, one sentence each
    notes: tuple[str, ...]


def clean_months(table: pd.DataFrame) -> list[dict[str, str]]:
    """Turn a typed table into rows of plain text to be kept, each number checked.

    Raises
    ------
    DataError
        With every cell that is no number within its bounds.

    Examples
    --------
    >>> clean_months(pd.DataFrame({"month": ["jan", ""], "tickets": ["4,100", ""]}))
    [{'month': 'jan', 'tickets': '4100'}]
    """
    if len(table) > MOST_MONTHS:
        raise DataError(f"your months: at most {MOST_MONTHS} rows are kept, got {len(table)}")
    faults: list[str] = []
    rows = []
    for number, row in enumerate(table.to_dict("records"), start=1):
        kept = {}
        for name in COLUMNS:
            cell = row.get(name)
            text = "" if cell is None or pd.isna(cell) else plain_text(cell, most=20)
            if name in _NUMBERS:
                text = text.replace(",", "")
                _check(number, name, text, faults)
            if text:
                kept[name] = text
        if kept:
            rows.append(kept)
    raise_gathered(faults, where="your months")
    return rows


def _check(number: int, name: str, text: str, faults: list[str]) -> None:
    value = read_number(text)
    least, most, unit = _NUMBERS[name]
    if value is not None and not least <= value <= most:
        faults.append(
            f"row {number}: {name} must be {least:g} to {most:g} {unit}, "
            f"got {plain_text(text, most=20)!r}"
        )


def learn_members(
    rows: Sequence[Mapping[str, str]],
    *,
    month_share: FloatArray | None = None,
    values: Sheet = VALUES,
) -> MemberLearning:
    """Learn the constants of members from own months.

    Parameters
    ----------
    rows : sequence of mapping of str to str
        From :func:`clean_months`.
    month_share : ndarray, shape (12,), optional
        Part of a year's cars in each month, which is taken out before prices are judged;
        months are taken as alike when it is left out or a row does not name its month.
    values : Sheet
        The share's constants; one that the user has set by hand is not learned.

    Returns
    -------
    MemberLearning

    Raises
    ------
    DataError
        When a row is no mapping.
    """
    if any(not isinstance(row, Mapping) for row in rows):
        raise DataError("your months: each row must be a mapping of column to text; type it again")
    columns = {name: _column(rows, name) for name in _NUMBERS}
    season = np.array([_season(row.get("month", ""), month_share) for row in rows])
    told: list[Sourced] = []
    notes: list[str] = []
    table = []
    for prior in list_learnable(values):
        after = prior
        try:
            if prior.high > prior.low and rows:
                after = _LEARN[prior.name](prior, columns, season)
                told.append(after)
        except DataError as error:
            notes.append(str(error))
        table.append(
            {
                "what": prior.meaning,
                "before": prior.value,
                "before_low": prior.low,
                "before_high": prior.high,
                "after": after.value,
                "low": after.low,
                "high": after.high,
                "unit": prior.unit,
                "from": "your months" if after is not prior else prior.grade,
            }
        )
    return MemberLearning(learned=tuple(told), table=pd.DataFrame(table), notes=tuple(notes))


def _column(rows: Sequence[Mapping[str, str]], name: str) -> FloatArray:
    cells = [read_number(row.get(name, "")) for row in rows]
    return np.array([math.nan if cell is None else cell for cell in cells], dtype=np.float64)


def _season(month: str, share: FloatArray | None) -> float:
    at = find_month(f"cars_{month.strip().lower().rpartition('-')[2]}")
    return 1.0 if share is None or at is None else float(12 * share[at] / np.sum(share))


def _rate(above: str, below: str) -> Callable[..., Sourced]:
    def learn(prior: Sourced, columns: Mapping[str, FloatArray], _: FloatArray) -> Sourced:
        over, under = columns[above], columns[below]
        use = np.isfinite(over) & np.isfinite(under) & (over > 0) & (under > 0)
        if not use.any():
            raise DataError(f"{prior.meaning}: no month tells {above} and {below}")
        return learn_level(prior, over[use] / under[use], over[use])

    return learn


def _elasticity(price: str, amount: str, by: str = "") -> Callable[..., Sourced]:
    def learn(prior: Sourced, columns: Mapping[str, FloatArray], season: FloatArray) -> Sourced:
        paid = columns[price]
        with np.errstate(divide="ignore", invalid="ignore"):
            counted = columns[amount] / (columns[by] if by else season)
        use = np.isfinite(paid) & np.isfinite(counted) & (counted > 0)
        if use.sum() < 2 or paid[use].max() < _ONE_PRICE * paid[use].min():
            raise DataError(f"{prior.meaning}: months at two prices in {price} are needed")
        return learn_elasticity(prior, paid[use], counted[use])

    return learn


_LEARN: Final[Mapping[str, Callable[..., Sourced]]] = {
    "joins_per_ticket": _rate("joins", "tickets"),
    "leaving_month": _rate("leavers", "members"),
    "visits_member_month": _rate("member_washes", "members"),
    "ticket_elasticity": _elasticity("ticket_price_usd", "tickets"),
    "join_elasticity": _elasticity("plan_price_usd", "joins", "tickets"),
}

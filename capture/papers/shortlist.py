"""Which few of many parcels are worth a visit, what may each cost, and whom to call next?

Three tables from one ranking: the parcels that stand, in as few columns as fit a page; all
that is known of one parcel; and the struck-out ones, each with its reason. Assumes a ranking
of :func:`capture.chain.many`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from capture.basis import UnitSystem, plain_text
from capture.ground import AnswerBook
from capture.ground.breakers import judge_parcel
from capture.papers.html_table import Columns
from capture.papers.withheld import WITHHELD
from capture.papers.words import say_amount, say_lengths, say_long_years, say_money
from capture.place.parcels import find_asking, read_prices

#: row of one parcel's table -> unit
_DETAILS: Final[Mapping[str, tuple[str, str]]] = {
    "vehicles_per_day": ("vehicles passing a day", "count"),
    "measured": ("known by", ""),
    "share": ("share washed", "share"),
    "cars_per_day": ("washed a day", "count"),
    "cars_per_day_low": ("washed a day, at least", "count"),
    "cars_per_day_high": ("washed a day, at most", "count"),
    "design_hour_cars": ("cars in the design hour, with headroom", "count"),
    "line_length_m": ("line", "m"),
    "chain_speed_mps": ("its speed", "chain_mps"),
    "capital_usd": ("spent by opening", "USD"),
    "npv_usd": ("worth today, mean", "USD"),
    "npv_low_usd": ("worth today, at least", "USD"),
    "npv_high_usd": ("worth today, at most", "USD"),
    "chance_npv_positive": ("chance that it is worth more than it costs", "share"),
    "payback_years": ("pays back in", "years"),
    "land_ceiling_usd": ("land may cost at most", "USD"),
    "chance_top": ("chance to be among the first", "share"),
}
SHORT: Final[Columns] = {
    "rank": ("rank", "count"),
    "parcel": ("parcel", ""),
    "cars_per_day": ("washed a day", "count"),
    "npv_usd": ("worth, mean", "USD"),
    "payback": ("pays back in", ""),
    "land": ("land may cost", ""),
    "asking": ("asked for it", ""),
    "call": ("next phone call", ""),
}
STRUCK: Final[Columns] = {
    "parcel": ("parcel", ""),
    "reason": ("why it is struck out", ""),
    "vehicles_per_day": ("pass a day", "count"),
    "npv_usd": ("would be worth, mean", "USD"),
}


def make_short_table(
    ranking: pd.DataFrame, book: AnswerBook | None, *, hidden: bool = False
) -> pd.DataFrame:
    """Make the table of the parcels that stand, best first, with the next phone call.

    Parameters
    ----------
    ranking : DataFrame
        Of :func:`capture.chain.many`.
    book : AnswerBook or None
        What is known of the parcels.
    hidden : bool
        Whether the answers are the client's and withheld; the next call is then too.
    """
    standing = ranking[~ranking["struck"].to_numpy(dtype=bool)]
    asking = find_asking(ranking)
    return standing.assign(
        parcel=name_parcels(standing),
        payback=[say_long_years(years) for years in standing["payback_years"]],
        land=[say_land(price) for price in standing["land_ceiling_usd"]],
        asking=[say_asking(price) for price in standing[asking]] if asking else "",
        call=[WITHHELD if hidden else say_call(str(name), book) for name in standing["id"]],
    ).reset_index(drop=True)


def name_parcels(ranking: pd.DataFrame) -> list[str]:
    """Name parcels by name and id, since names repeat along a road."""
    return [
        f"{name} ({parcel})" if name != parcel else str(name)
        for name, parcel in zip(ranking["name"], ranking["id"], strict=True)
    ]


def say_land(price: float) -> str:
    """Say the highest land price at even odds.

    Examples
    --------
    >>> say_land(812_000.0), say_land(-30_000.0)
    ('$812,000', 'nothing')
    """
    return say_money(price) if price > 0 else "nothing"


def say_asking(price: Any) -> str:
    """Say what is asked for a parcel.

    Examples
    --------
    >>> say_asking("$504,000"), say_asking(None)
    ('$504,000', 'not told')
    """
    amount = float(read_prices([price])[0])
    return say_money(amount) if math.isfinite(amount) and amount > 0 else "not told"


def say_call(parcel: str, book: AnswerBook | None) -> str:
    """Say whom to call next about a parcel, and about what.

    Examples
    --------
    >>> say_call("P01", None)
    'planning office: use allowed or conditional'
    """
    table = judge_parcel(None if book is None else book.of(parcel))
    for status in ("unknown", "ask"):
        for row in table:
            if row.status == status:
                return f"{row.breaker.ask_whom}: {re.split('[,;:]', row.breaker.item)[0]}"
    return "nobody: all is answered"


def make_struck_table(ranking: pd.DataFrame, system: UnitSystem) -> pd.DataFrame:
    """Make the table of the struck-out parcels, each with its reason in the reader's units."""
    struck = ranking[ranking["struck"].to_numpy(dtype=bool)]
    return struck.assign(
        parcel=name_parcels(struck),
        reason=[say_lengths(plain_text(text, most=600), system) for text in struck["reason"]],
    ).reset_index(drop=True)


def make_parcel_table(ranking: pd.DataFrame, parcel: str, system: UnitSystem) -> pd.DataFrame:
    """Make the table of all that the ranking says of one parcel: what, said, in words.

    Returns
    -------
    DataFrame
        Columns ``what, said``.
    """
    row = ranking[ranking["id"] == parcel].iloc[0]
    rows = []
    for name, (words, unit) in _DETAILS.items():
        if name == "payback_years":
            said = say_long_years(float(row[name]))
        else:
            said = say_amount(float(row[name]), unit, system) if unit else str(row[name])
        rows.append({"what": words, "said": said})
    asking = find_asking(ranking)
    if asking:
        rows.append({"what": "asked for it", "said": say_asking(row[asking])})
    reason = say_lengths(plain_text(row["reason"], most=600), system)
    rows.append({"what": "what the ground says", "said": reason})
    return pd.DataFrame(rows)

"""Which way did the counted vehicles drive, by what a direction column says?

Bearings are degrees clockwise from north. A label such as ``1`` parts two directions but
names neither; a label such as ``both`` says that the figure holds both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from capture.passing.roles import split_words, to_number

_POINTS: Final = {
    "n": 0.0, "north": 0.0, "northbound": 0.0, "nb": 0.0, "ne": 45.0, "northeast": 45.0,
    "e": 90.0, "east": 90.0, "eastbound": 90.0, "eb": 90.0, "se": 135.0, "southeast": 135.0,
    "s": 180.0, "south": 180.0, "southbound": 180.0, "sb": 180.0, "sw": 225.0, "southwest": 225.0,
    "w": 270.0, "west": 270.0, "westbound": 270.0, "wb": 270.0, "nw": 315.0, "northwest": 315.0,
}  # fmt: skip
_BOTH: Final = frozenset(
    {"both", "combined", "total", "two", "twoway", "all", "bidirectional", "b"}
)
#: federal travel-direction codes, used only when the column holds them and nothing else
_CODES: Final = {1: 0.0, 2: 45.0, 3: 90.0, 4: 135.0, 5: 180.0, 6: 225.0, 7: 270.0, 8: 315.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Direction:
    """What one label says."""

    #: label as it stands, "" when empty
    label: str
    #: degrees clockwise from north, NaN when not named
    bearing_deg: float
    #: whether it holds both directions; None when not said
    both: bool | None


def read_directions(column: pd.Series) -> tuple[list[Direction], str]:
    """Read a direction column.

    Returns
    -------
    tuple of (list of Direction, str)
        One per row, and how the labels were taken.

    Examples
    --------
    >>> read_directions(pd.Series(["NB", "both", None]))[0][0].bearing_deg
    0.0
    """
    numbers = to_number(column)
    given = numbers.dropna()
    if len(given) and len(given) == column.notna().sum():
        return _numeric(numbers, given)
    known = {value: _one(value) for value in column.dropna().unique()}
    unknown = _one(None)
    return [known.get(value, unknown) for value in column], "compass words"


def _numeric(numbers: pd.Series, given: pd.Series) -> tuple[list[Direction], str]:
    kinds = {float(value) for value in given.unique()}
    if kinds <= {1.0, 3.0, 5.0, 7.0} and kinds & {3.0, 5.0, 7.0}:
        return [_coded(value) for value in numbers], "codes 1 north, 3 east, 5 south, 7 west"
    if max(kinds) > 9 and max(kinds) <= 360 and min(kinds) >= 0:
        return [
            Direction(label=_plain(v), bearing_deg=v % 360, both=None if math.isnan(v) else False)
            for v in numbers
        ], "degrees clockwise from north"
    return [
        Direction(label=_plain(v), bearing_deg=math.nan, both=True if v == 0 else None)
        for v in numbers
    ], "labels that name no bearing (0, if any, is both)"


def _plain(value: float) -> str:
    return "" if math.isnan(value) else f"{value:g}"


def _coded(value: float) -> Direction:
    bearing = math.nan if math.isnan(value) else _CODES[int(value)]
    return Direction(
        label=_plain(value), bearing_deg=bearing, both=None if math.isnan(value) else False
    )


def _one(value: object) -> Direction:
    if value is None or (isinstance(value, float) and math.isnan(value)) or value is pd.NA:
        return Direction(label="", bearing_deg=math.nan, both=None)
    text = str(value).strip()
    words = split_words(text.replace("&", " both "))
    if _BOTH & set(words) or len({w for w in words if w in _POINTS}) > 1:
        return Direction(label=text, bearing_deg=math.nan, both=True)
    for word in words:
        if word in _POINTS:
            return Direction(label=text, bearing_deg=_POINTS[word], both=False)
    return Direction(label=text, bearing_deg=math.nan, both=None)


def read_two_way(column: pd.Series, *, heading: str) -> list[bool | None]:
    """Read whether both directions are in a figure, from yes/no, 1/2 or words.

    Examples
    --------
    >>> read_two_way(pd.Series(["yes", 0, "2-way"]), heading="two_way")
    [True, False, True]
    """
    negated = "oneway" in "".join(split_words(heading))
    return [_flag(value, negated=negated) for value in column]


def _flag(value: object, *, negated: bool) -> bool | None:
    words = split_words(value)
    text = " ".join(words)
    if isinstance(value, bool | np.bool_):
        return bool(value) != negated
    if text in ("yes", "y", "true", "t", "1", "1 0"):
        return not negated
    if text in ("no", "n", "false", "f", "0", "0 0"):
        return negated
    if text in ("2", "2 0", "both") or "two" in words or ("2" in words and "way" in words):
        return True
    if "one" in words or ("1" in words and "way" in words):
        return False
    return None


def turn_between(a_deg: float, b_deg: float) -> float:
    """Return the angle between two bearings, 0 to 180 degrees.

    Examples
    --------
    >>> turn_between(350, 20)
    30.0
    """
    return abs((float(a_deg) - float(b_deg) + 180.0) % 360.0 - 180.0)

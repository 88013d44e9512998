"""When did a rival open or close, and how many hours a day does it wash?

Dates become decimal years, hours a mean per day of the week. What cannot be read is NaN,
never a guess.
"""

from __future__ import annotations

import calendar
import math
import re
from typing import Final

_DAYS: Final = ("mo", "tu", "we", "th", "fr", "sa", "su")
_SPAN: Final = re.compile(r"(\d{1,2}):(\d{2})\s*-\s*(\d{1,2}):(\d{2})")
_MOST_HOURS_TEXT: Final = 400


def read_date(text: object) -> float:
    """Turn a date as people write it into a decimal year; NaN when it says nothing.

    Parameters
    ----------
    text : object
        ``2016``, ``2016-05``, ``2016-05-20``, ``05/2016``, ``5/20/2016`` or a number.

    Returns
    -------
    float
        A year alone is taken at its middle, a month alone at its middle.

    Examples
    --------
    >>> read_date("2016"), round(read_date("2016-01-01"), 2), read_date("soon")
    (2016.5, 2016.0, nan)
    """
    word = str(text).strip()
    word = re.sub(r"\.0+$", "", word)
    if re.fullmatch(r"(19|20)\d\d", word):
        return float(word) + 0.5
    if found := re.fullmatch(r"((?:19|20)\d\d)[-/.](\d{1,2})(?:[-/.](\d{1,2}))?.*", word):
        year, month, day = found.groups()
    elif found := re.fullmatch(r"(\d{1,2})/(?:(\d{1,2})/)?((?:19|20)\d\d)", word):
        month, day, year = found.groups()
    else:
        return math.nan
    return _decimal_year(int(year), int(month), int(day) if day else None)


def _decimal_year(year: int, month: int, day: int | None) -> float:
    if not 1 <= month <= 12:
        return math.nan
    length = calendar.monthrange(year, month)[1]
    if day is not None and not 1 <= day <= length:
        return math.nan
    within = (day - 1) / length if day is not None else 0.5
    return year + (month - 1 + within) / 12


def read_opening_hours(text: object) -> float:
    """Turn opening hours, as maps write them or as a plain number, into hours a day.

    Returns
    -------
    float
        Mean over the seven days of the week; NaN when not told or not understood.

    Examples
    --------
    >>> read_opening_hours("24/7"), read_opening_hours("Mo-Sa 08:00-20:00; Su 10:00-18:00")
    (24.0, 11.428571428571429)
    >>> read_opening_hours("12"), read_opening_hours("by appointment")
    (12.0, nan)
    """
    word = str(text).strip().lower()[:_MOST_HOURS_TEXT]
    if word == "24/7":
        return 24.0
    try:
        hours = float(word)
    except ValueError:
        return _read_rules(word)
    return hours if 0 < hours <= 24 else math.nan


def _read_rules(word: str) -> float:
    hours = [0.0] * 7
    understood = False
    for rule in word.split(";"):
        said = rule.strip()
        if not said:
            continue
        spans = _SPAN.findall(said)
        days = _read_days(_SPAN.sub("", said).replace("off", "").replace("closed", ""))
        if days is None or not (spans or "off" in said or "closed" in said):
            return math.nan
        understood = True
        lengths = [_span_hours(*(int(part) for part in span)) for span in spans]
        if any(length is None for length in lengths):
            return math.nan
        length = sum(length for length in lengths if length is not None)
        for day in days:
            hours[day] = min(24.0, length)
    total = sum(hours) / 7
    return total if understood and total > 0 else math.nan


def _span_hours(from_h: int, from_min: int, to_h: int, to_min: int) -> float | None:
    """Length of a span that may run past midnight, written 02:00 or 26:00; None for none."""
    if from_h > 24 or to_h > 30 or from_min > 59 or to_min > 59:
        return None
    length = (to_h - from_h) + (to_min - from_min) / 60
    return length if length > 0 else length + 24


def _read_days(text: str) -> list[int] | None:
    """Read day names such as ``mo-fr,su``; all days for "", None when not understood."""
    parts = [part.strip() for part in text.split(",") if part.strip()]
    days: list[int] = []
    for part in parts:
        if part == "ph":
            continue
        ends = [piece.strip()[:2] for piece in part.split("-")]
        if len(ends) > 2 or any(end not in _DAYS for end in ends):
            return None
        first, last = _DAYS.index(ends[0]), _DAYS.index(ends[-1])
        days += [(first + k) % 7 for k in range((last - first) % 7 + 1)]
    return days if parts else list(range(7))

"""How does a sheet read well, on screen and printed: headings, digits, widths, heights?

Programs that open workbooks differ in what they work out for themselves; row heights, page
breaks and digits are therefore written into the file.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from typing import Any, Final

#: widest column, in characters of the usual type
WIDEST: Final = 44
#: characters across one printed page, held sideways, that can still be read
PAGE_WIDE: Final = 160
LINE_HIGH: Final = 15.0
#: unit at the end of a column's name -> how it is written
_UNITS: Final = {
    "usd": "USD", "m": "m", "m2": "m²", "s": "s", "w": "W", "m3s": "m³/s", "pa": "Pa",
    "mps": "m/s", "deg": "degrees", "veh": "vehicles",
}  # fmt: skip
#: names that letters alone do not tell
_WORDS: Final = {
    "npv_usd": "value today (USD)",
    "npv_low_usd": "value today, low (USD)",
    "npv_high_usd": "value today, high (USD)",
    "chance_npv_positive": "chance that it is worth more than it costs",
    "chance_top": "chance to be among the first",
    "share": "share washed",
    "share_low": "share washed, low",
    "share_high": "share washed, high",
    "usd": "middle (USD)",
    "struck": "struck out",
    "fit": "fits on the parcel",
    "payback_years": "years until it has paid back",
    "capital_usd": "cost of building it (USD)",
    "land_ceiling_usd": "most the land may cost (USD)",
}
#: end of a column's name -> how its numbers are shown
_SHOWN: Final = (
    ("share", "0.00%"),
    ("share_low", "0.00%"),
    ("share_high", "0.00%"),
    ("chance_npv_positive", "0%"),
    ("chance_top", "0%"),
    ("_usd", "#,##0"),
    ("per_day", "#,##0"),
)
#: columns of whole numbers that are names and not amounts
_PLAIN: Final = frozenset({"year", "rank", "month", "hour", "row", "no.", "number", "osm_way"})
_LADDER: Final = ((1000.0, "#,##0"), (10.0, "0.0"), (1.0, "0.00"))
#: ways in which a number may be shown
FORMATS: Final = ("", "0", *sorted({shown for _, shown in (*_SHOWN, *_LADDER)}))


def say_heading(name: str) -> str:
    """Say a column's name in words, its unit in brackets.

    Examples
    --------
    >>> say_heading("wait_s half of cars"), say_heading("cars_per_day_low")
    ('wait (s) half of cars', 'cars per day, low')
    """
    if name in _WORDS:
        return _WORDS[name]
    first, space, rest = name.partition(" ")
    *words, last = first.split("_")
    if words and last in _UNITS:
        end = f", {words.pop()}" if len(words) > 1 and words[-1] in ("low", "high") else ""
        return f"{' '.join(words)}{end} ({_UNITS[last]}){space}{rest}"
    if words and last in ("low", "high"):
        return f"{' '.join(words)}, {last}{space}{rest}"
    return f"{' '.join([*words, last])}{space}{rest}"


def choose_format(column: str, amount: float) -> str:
    """Choose how a number is shown; the cell holds all its digits.

    Examples
    --------
    >>> choose_format("land_ceiling_usd", 1234.5), choose_format("minutes", 2.05475)
    ('#,##0', '0.00')
    """
    if column in _PLAIN:
        return "0"
    told = next((shown for end, shown in _SHOWN if column.endswith(end)), None)
    if told is not None:
        return told
    if amount == int(amount) and abs(amount) < 1000:
        return "0"
    return next((shown for least, shown in _LADDER if abs(amount) >= least), "")


def count_lines(text: str, wide: float) -> int:
    """Count the lines that a text takes in a column so many characters wide.

    Examples
    --------
    >>> count_lines("ask the road authority about spacing", 20)
    3
    """
    return max(1, len(textwrap.wrap(text, max(int(wide), 1))))


def set_rows(sheet: Any, lines: Sequence[int]) -> None:
    """Give each row the height of its lines; the heading is row 0."""
    for row, count in enumerate(lines):
        if count > 1:
            sheet.set_row(row, LINE_HIGH * count)


def set_page(sheet: Any, widths: Sequence[float], rows: int) -> None:
    """Set a sheet up for paper: sideways, headings on each page, as many across as needed."""
    sheet.freeze_panes(1, 1)
    sheet.set_landscape()
    sheet.fit_to_pages(max(1, math.ceil(sum(widths) / PAGE_WIDE)), 0)
    sheet.repeat_rows(0)
    sheet.repeat_columns(0)
    sheet.set_footer("&L&A&R&P / &N")
    sheet.autofilter(0, 0, rows, max(len(widths) - 1, 0))

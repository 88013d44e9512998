"""How does text from outside get onto a screen as text and nothing else?"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Hashable, Mapping
from typing import Final, TypeVar

from capture.basis import escape_text

#: signs that mean something in Markdown
_SIGNS: Final = re.compile(r"[*_\[\]()!:#~|>+\-.=@/]")


Key = TypeVar("Key", bound=Hashable)


def tell_apart(names: Mapping[Key, str]) -> dict[Key, str]:
    """Number the names that read alike: the toolkit tells choices apart by their text alone.

    Examples
    --------
    >>> tell_apart({1: "Try", 2: "Try", 3: "Other"})
    {1: 'Try, no. 1', 2: 'Try, no. 2', 3: 'Other'}
    """
    alike, seen = Counter(names.values()), Counter[str]()
    told = {}
    for key, name in names.items():
        seen[name] += 1
        told[key] = f"{name}, no. {seen[name]}" if alike[name] > 1 else name
    return told


def as_markdown(text: object, *, most: int = 200) -> str:
    """Make a string from outside safe inside Markdown: no link, image, icon or formula.

    Examples
    --------
    >>> as_markdown("[a](b)")
    '&#91;a&#93;&#40;b&#41;'
    """
    safe = escape_text(text, most=most)
    parts = re.split(r"(&#?\w+;)", safe)
    return "".join(
        part if part.startswith("&") else _SIGNS.sub(lambda hit: f"&#{ord(hit[0])};", part)
        for part in parts
    )


def say_withheld(what: str) -> str:
    """Say that something of the client's own is not shown.

    Examples
    --------
    >>> say_withheld("own sales by hour").partition(".")[0]
    'Own sales by hour: withheld'
    """
    start = what[:1].upper() + what[1:]
    return f"{start}: withheld. Switch the client's numbers on at the side to see or change it."


def fill(sentence: str, *values: object) -> str:
    """Fill a sentence of ours, which may hold HTML, with escaped values.

    Examples
    --------
    >>> fill("<b>{}</b> pass", "<i>")
    '<b>&lt;i&gt;</b> pass'
    """
    return sentence.format(*(escape_text(value, most=400) for value in values))

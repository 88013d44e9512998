"""How does text from outside get onto a screen as text and nothing else?"""

from __future__ import annotations

import re
from typing import Final

from capture.basis import escape_text

#: signs that mean something in Markdown
_SIGNS: Final = re.compile(r"[*_\[\]()!:#~|>+\-.=@/]")


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


def fill(sentence: str, *values: object) -> str:
    """Fill a sentence of ours, which may hold HTML, with escaped values.

    Examples
    --------
    >>> fill("<b>{}</b> pass", "<i>")
    '<b>&lt;i&gt;</b> pass'
    """
    return sentence.format(*(escape_text(value, most=400) for value in values))

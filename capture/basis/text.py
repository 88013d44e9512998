"""How does text from a file or a map service get into a page without being run?

One function for every string from outside. It HTML-escapes and also turns the signs that
start a template (``{ }``), a JavaScript template literal (backtick, ``$``) or an escape
(a backslash) into numeric entities, since folium renders its output again as a template.
"""

from __future__ import annotations

import html
from typing import Final

_ALSO: Final = {ord(sign): f"&#{ord(sign)};" for sign in "`${}\\"}
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r")
MOST_LABEL: Final = 200


def escape_text(text: object, *, most: int = MOST_LABEL) -> str:
    """Make a string from outside safe in HTML, a folium map and a template.

    Parameters
    ----------
    text : object
        Turned into ``str``; control signs are dropped.
    most : int
        Longer text is cut and ends in an ellipsis.

    Examples
    --------
    >>> escape_text("<b>{{7*191}}</b>")
    '&lt;b&gt;&#123;&#123;7*191&#125;&#125;&lt;/b&gt;'
    """
    return html.escape(plain_text(text, most=most), quote=True).translate(_ALSO)


def plain_text(text: object, *, most: int = MOST_LABEL) -> str:
    r"""Drop control signs and cut a string from outside, without escaping it.

    Examples
    --------
    >>> plain_text("a\x00b")
    'ab'
    """
    kept = str(text)
    if not kept.isprintable():
        kept = "".join(sign if sign.isprintable() else " " * (sign in "\n\t") for sign in kept)
    kept = kept.strip()
    return kept if len(kept) <= most else kept[: most - 1] + "…"


def cell_text(text: object, *, most: int = 5000) -> str:
    """Make a string from outside safe in a spreadsheet or CSV cell: never a formula.

    Examples
    --------
    >>> cell_text("=HYPERLINK(1)")
    "'=HYPERLINK(1)"
    """
    kept = plain_text(text, most=most)
    return "'" + kept if kept.startswith(_FORMULA_STARTS) else kept

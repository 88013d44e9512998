"""Do two spellings name the same road?

Abbreviations, accents, case and signs are set aside; what is left is compared as words.
"""

from __future__ import annotations

import re
import unicodedata
from difflib import SequenceMatcher
from functools import lru_cache
from typing import Final

_SHORT: Final = {
    "st": "street", "str": "street", "rd": "road", "ave": "avenue", "av": "avenue",
    "blvd": "boulevard", "hwy": "highway", "pkwy": "parkway", "pky": "parkway", "dr": "drive",
    "ln": "lane", "ct": "court", "pl": "place", "ter": "terrace", "cir": "circle",
    "expy": "expressway", "fwy": "freeway", "tpke": "turnpike", "sq": "square", "trl": "trail",
    "n": "north", "s": "south", "e": "east", "w": "west", "ste": "saint", "mt": "mount",
    "strasse": "street", "katu": "katu", "us": "us", "sr": "sr", "i": "i",
}  # fmt: skip
_POINTS: Final = frozenset({"north", "south", "east", "west"})


@lru_cache(maxsize=20_000)
def plain_name(name: str) -> str:
    """Return a road name in plain words.

    Examples
    --------
    >>> plain_name("N. Harrow Blvd."), plain_name("Hämeentie")
    ('north harrow boulevard', 'hameentie')
    """
    text = unicodedata.normalize("NFKD", name.replace("ß", "ss")).encode("ascii", "ignore").decode()
    words = re.findall(r"[a-z0-9]+", text.lower())
    return " ".join(_SHORT.get(word, word) for word in words)


@lru_cache(maxsize=50_000)
def compute_likeness(a: str, b: str) -> float:
    """Return how alike two road names are, 0 to 1.

    Examples
    --------
    >>> compute_likeness("Harrow Blvd", "HARROW BOULEVARD")
    1.0
    >>> compute_likeness("Harrow Boulevard", "Tillman Road") < 0.5
    True
    """
    left, right = plain_name(a), plain_name(b)
    if not left or not right:
        return 0.0
    if left == right:
        return 1.0
    first, second = set(left.split()), set(right.split())
    if (first - _POINTS) == (second - _POINTS):
        return 0.9
    if first < second or second < first:
        return 0.85
    return 0.85 * SequenceMatcher(None, left, right, autojunk=False).ratio()


def split_refs(text: str) -> frozenset[str]:
    """Return the route numbers in a text, such as ``US 40;MD 7``, as plain words.

    Examples
    --------
    >>> sorted(split_refs("US-40; I 95"))
    ['i95', 'us40']
    """
    parts = re.split(r"[;,/]", text.lower())
    return frozenset(re.sub(r"[^a-z0-9]", "", part) for part in parts if re.search(r"\d", part))

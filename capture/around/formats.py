"""Which kind of wash is a rival, and how alike is it to what is planned?

Formats of rivals are those that can be planned plus a conveyor of unknown service, a wash
at a fuel station, a hand wash and *unknown*. The table ``formats.toml`` beside this file
holds likeness and size; it is read once and can be replaced. Assumes that an unknown format
is a middling rival, never none.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import FORMATS, DataError, InputError, raise_gathered

FloatArray = NDArray[np.float64]

RIVAL_FORMATS: Final[tuple[str, ...]] = (*FORMATS, "conveyor", "fuel", "hand", "unknown")
#: formats whose size counts per bay
BAY_FORMATS: Final = frozenset({"in_bay", "fuel", "self_service"})
TABLE_FILE: Final = Path(__file__).with_name("formats.toml")
_MOST_TABLE_BYTES: Final = 50_000

#: pattern in a word from outside -> format, first match wins
_WORDS: Final = (
    (r"full.?serv|full", "full_service"),
    (r"flex", "flex"),
    (r"self|coin|wand|bays?$|jet", "self_service"),
    (r"in.?bay|roll.?over|touch.?(less|free)|automatic$|soft.?touch|iba", "in_bay"),
    (r"fuel|gas|petrol|forecourt|c.?store", "fuel"),
    (r"hand|detail|manual|valet", "hand"),
    (r"exterior|express", "exterior"),
    (r"tunnel|conveyor|drive.?through|belt", "conveyor"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FormatTable:
    """Likeness of every rival format to every planned format, and each one's size."""

    #: rival format -> planned format -> likeness, 0-1
    likeness: Mapping[str, Mapping[str, float]]
    #: rival format -> pull from home against an exterior conveyor
    size: Mapping[str, float]
    #: rival format -> words for people
    words: Mapping[str, str]

    def weigh(self, formats: Iterable[str], offered: str) -> FloatArray:
        """Return the likeness of each rival to what is offered, shape (K,).

        Examples
        --------
        >>> load_format_table().weigh(["exterior", "self_service"], "exterior").tolist()
        [1.0, 0.15]
        """
        if offered not in FORMATS:
            raise InputError(
                f"format offered must be one of {', '.join(FORMATS)}, got {offered!r}; pick one"
            )
        return np.array([self.likeness[name][offered] for name in formats], dtype=np.float64)

    def measure_size(self, formats: Iterable[str], bays: Iterable[float]) -> FloatArray:
        """Return the size of each wash in the gravity model, shape (K,)."""
        return np.array(
            [
                self.size[name] * (max(1.0, count) if name in BAY_FORMATS else 1.0)
                for name, count in zip(formats, bays, strict=True)
            ],
            dtype=np.float64,
        )


@lru_cache(maxsize=8)
def load_format_table(path: Path = TABLE_FILE) -> FormatTable:
    """Load likeness and size from a TOML file such as ``formats.toml``.

    Raises
    ------
    DataError
        One error that names every format left out and every number outside its bounds.
    """
    try:
        if path.stat().st_size > _MOST_TABLE_BYTES:
            raise DataError(f"{path.name}: must be under {_MOST_TABLE_BYTES // 1000} kB; cut it")
        read: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise DataError(f"{path.name}: not readable as TOML ({error}); mend it") from None
    raise_gathered(_list_faults(read), where=path.name)
    return FormatTable(
        likeness={name: {k: float(v) for k, v in read[name]["likeness"].items()} for name in read},
        size={name: float(read[name]["size"]) for name in read},
        words={name: str(read[name].get("words", name)) for name in read},
    )


def _list_faults(read: Mapping[str, Any]) -> list[str]:
    missing = [name for name in RIVAL_FORMATS if name not in read]
    faults = [f"there is no table for {', '.join(missing)}; add it"] if missing else []
    for name, row in read.items():
        likeness = row.get("likeness") if isinstance(row, dict) else None
        if not isinstance(likeness, dict) or set(likeness) != set(FORMATS):
            faults.append(f"{name}: likeness must name {', '.join(FORMATS)}")
            continue
        bad = {k: v for k, v in likeness.items() if not _is_between(v, 0, 1)}
        faults += [f"{name}: likeness to {k} must be 0 to 1, got {v!r}" for k, v in bad.items()]
        if not _is_between(row.get("size"), 0, 100):
            faults.append(f"{name}: size must be 0 to 100, got {row.get('size')!r}")
    return faults


def _is_between(value: Any, low: float, high: float) -> bool:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return number and low <= value <= high


def read_format(text: object) -> str:
    """Take a word from a table for a rival format; ``unknown`` when it says nothing.

    Examples
    --------
    >>> read_format("Express Tunnel"), read_format("in-bay automatic"), read_format("")
    ('exterior', 'in_bay', 'unknown')
    """
    word = str(text).strip().lower()
    plain = re.sub(r"[\s\-]+", "_", word)
    if plain in RIVAL_FORMATS:
        return plain
    for pattern, name in _WORDS:
        if re.search(pattern, word):
            return name
    return "unknown"


def read_tags(tags: Mapping[str, str]) -> str:
    """Tell a rival's format from its map tags.

    Parameters
    ----------
    tags : mapping of str to str
        Of an element that is a car wash or a fuel station with one.

    Notes
    -----
    ``automated=yes`` alone may be a conveyor or a machine in a bay: the tag's meaning leaves
    it open, a conveyor is the stronger rival and is assumed only where ``car_wash`` or the
    name says tunnel, express or conveyor.

    Examples
    --------
    >>> read_tags({"amenity": "car_wash", "self_service": "yes", "automated": "no"})
    'self_service'
    >>> read_tags({"amenity": "fuel", "car_wash": "yes"})
    'fuel'
    """
    if tags.get("amenity") == "fuel":
        return "fuel"
    said = read_format(tags.get("car_wash", ""))
    if said == "unknown":
        said = read_format(tags.get("car_wash:type", tags.get("wash:type", "")))
    if said != "unknown":
        return said
    automated, self_service = tags.get("automated"), tags.get("self_service")
    if self_service in ("yes", "only") and automated != "yes":
        return "self_service"
    named = _read_name(tags.get("name", ""))
    if named != "unknown":
        return named
    if automated == "yes":
        return "in_bay"
    if automated == "no" and self_service == "no":
        return "hand"
    return "unknown"


def _read_name(name: str) -> str:
    """Take a format from a business name, only where the word leaves no doubt."""
    low = name.lower()
    for pattern, found in (
        (r"\bhand\b", "hand"),
        (r"\bself[ -]?serv|\bcoin\b", "self_service"),
        (r"\btouch ?(less|free)\b", "in_bay"),
        (r"\bexpress\b", "exterior"),
        (r"\btunnel\b", "conveyor"),
    ):
        if re.search(pattern, low):
            return found
    return "unknown"

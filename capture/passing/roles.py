"""Which words and values give away what a column of a count file holds?

A role is what a column may be taken for. Words are in the languages in which road
authorities publish; each has a weight of 0 to 1 and the value test multiplies it. Words and
weights are this library's own judgement, from memory.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from typing import Final

import numpy as np
import pandas as pd


@dataclass(frozen=True, slots=True, kw_only=True)
class Role:
    """One thing that a column may be taken for."""

    #: short name
    name: str
    #: what it means, said to the user
    meaning: str
    #: words of a heading and how strongly each points here
    words: Mapping[str, float]
    #: words that rule it out whatever else the heading says
    never: frozenset[str]
    #: share of values that fit, 0-1
    fits: Callable[[pd.Series], float]
    #: whether a count file is useless without it
    needed: bool = False


def split_words(heading: object) -> list[str]:
    """Split a heading into plain lower-case words, accents dropped.

    Examples
    --------
    >>> split_words("AADT_2019 (veh/day)"), split_words("CountYear"), split_words("ÅDT")
    (['aadt', '2019', 'veh', 'day'], ['count', 'year'], ['adt'])
    """
    text = (
        unicodedata.normalize("NFKD", str(heading).replace("ß", "ss"))
        .encode("ascii", "ignore")
        .decode()
    )
    text = re.sub(r"([a-z])([A-Z])", r"\1 \2", text)
    return [word for word in re.split(r"[^a-zA-Z0-9]+", text.lower()) if word]


def to_number(column: pd.Series) -> pd.Series:
    """Read numbers written as ``12,345``, ``12 345``, ``12345 vpd`` or ``1234,5``; else NaN.

    Examples
    --------
    >>> to_number(pd.Series(["12,345", "1 200", "n/a", "850 vpd"])).tolist()
    [12345.0, 1200.0, nan, 850.0]
    """
    if pd.api.types.is_bool_dtype(column):
        return pd.Series(np.nan, index=column.index)
    if pd.api.types.is_numeric_dtype(column):
        return column.astype("float64")
    text = column.astype("string").str.strip().str.replace(r"[\s\u00a0\u202f']", "", regex=True)
    text = text.str.replace(r"(?i)(veh/?d(ay)?|vpd|veh|vehicles|adt|aadt|kpl)\.?$", "", regex=True)
    grouped = text.str.fullmatch(r"[+-]?[0-9]{1,3}(,[0-9]{3})+(\.[0-9]+)?").fillna(False)
    text = text.where(~grouped, text.str.replace(",", ""))
    text = text.str.replace(r"^([+-]?[0-9]+),([0-9]+)$", r"\1.\2", regex=True)
    return pd.to_numeric(text, errors="coerce").astype("float64")


def _share(column: pd.Series, test: Callable[[pd.Series], pd.Series]) -> float:
    given = column.dropna()
    if given.dtype == object or pd.api.types.is_string_dtype(given):
        given = given[given.astype("string").str.strip() != ""]
    return float(test(given).mean()) if len(given) else 0.0


def _between(low: float, high: float) -> Callable[[pd.Series], float]:
    return lambda column: _share(column, lambda given: to_number(given).between(low, high))


def _text(column: pd.Series) -> float:
    return _share(column, lambda given: to_number(given).isna())


def _any(column: pd.Series) -> float:
    return 1.0 if column.notna().any() else 0.0


def _dates(column: pd.Series) -> float:
    from capture.passing.moments import read_dates

    if pd.api.types.is_numeric_dtype(column):
        return _share(column, lambda given: given.between(19_000_101, 21_001_231))
    return _share(column, lambda given: read_dates(given)[0].notna())


def _clock(column: pd.Series) -> float:
    from capture.passing.moments import read_clock

    return _share(column, lambda given: pd.Series(~np.isnan(read_clock(given)[0])))


def _direction(column: pd.Series) -> float:
    return 1.0 if column.nunique() <= 40 and column.notna().any() else 0.2


def _grid(column: pd.Series) -> float:
    return _share(column, lambda given: to_number(given).abs() > 400)


def _few(most: int) -> Callable[[pd.Series], float]:
    return lambda column: 1.0 if column.nunique() <= most else 0.2


def _kind(column: pd.Series) -> float:
    return _text(column) if column.nunique() <= 12 else 0.2


#: role -> share of values that fit it
_FITS: Final[Mapping[str, Callable[[pd.Series], float]]] = {
    "station": _any,
    "road": _text,
    "ref": _any,
    "road_class": _any,
    "lat": _between(-90, 90),
    "lon": _between(-180, 180),
    "x": _grid,
    "y": _grid,
    "aadt": _between(0, 500_000),
    "year": _between(1950, 2100),
    "date": _dates,
    "clock": _clock,
    "volume": _between(0, 40_000),
    "direction": _direction,
    "two_way": _few(6),
    "heavy_share": _between(0, 100),
    "heavy": _between(0, 200_000),
    "kind": _kind,
    "hours": _between(0.25, 9000),
    "axles": _between(0, 1_000_000),
}


def _load_roles() -> tuple[Role, ...]:
    text = resources.files("capture.passing").joinpath("words.toml").read_text(encoding="utf-8")
    held = tomllib.loads(text)
    return tuple(
        Role(
            name=name,
            meaning=held[name]["meaning"],
            words=held[name]["words"],
            never=frozenset(held[name].get("never", ())),
            fits=fits,
            needed=held[name].get("needed", False),
        )
        for name, fits in _FITS.items()
    )


ROLES: Final[tuple[Role, ...]] = _load_roles()
#: vehicle classes counted apart: class -> (words, whether it is heavy, whether it may be washed)
VEHICLE_CLASSES: Final[Mapping[str, tuple[frozenset[str], bool, bool]]] = {
    "car": (frozenset({"ha", "car", "cars", "pkw", "vl", "cars and taxis"}), False, True),
    "van": (frozenset({"pa", "van", "vans", "lgv", "lgvs", "lfw"}), False, True),
    "truck": (frozenset({"ka", "truck", "rigid", "lkw"}), True, False),
    "artic": (frozenset({"ra", "artic", "articulated", "lastzug", "semi"}), True, False),
    "bus": (frozenset({"la", "bus", "buses", "buses and coaches"}), True, False),
    "motorcycle": (
        frozenset({"mp", "motorcycle", "motorcycles", "mc", "two wheeled motor vehicles"}),
        False,
        False,
    ),
    "tram": (frozenset({"rv", "tram", "trams"}), False, False),
}


def name_score(role: Role, words: Sequence[str]) -> float:
    """Return how strongly the words of a heading point to a role, 0 to 1.

    Each word beyond those known weakens it by a tenth, a telling word by a fifth at most.
    """
    if role.never & set(words):
        return 0.0
    joined = " ".join(words)
    if joined in role.words:
        return role.words[joined]
    best = 0.0
    for known, weight in role.words.items():
        if known in words or (" " in known and f" {known} " in f" {joined} "):
            extra = sum(not word.isdigit() for word in words) - len(known.split())
            least = 0.8 if weight >= 0.95 else 0.0
            best = max(best, weight * max(0.9 ** max(extra, 0), least))
    return best

"""Which words and values give away what a column of a count file holds?

A role is what a column may be taken for. Words are in the languages in which road
authorities publish; each has a weight of 0 to 1 and the value test multiplies it. Words and
weights are this library's own judgement, from memory.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
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
    grouped = text.str.fullmatch(r"[+-]?\d{1,3}(,\d{3})+(\.\d+)?").fillna(False)
    text = text.where(~grouped, text.str.replace(",", ""))
    text = text.str.replace(r"^([+-]?\d+),(\d+)$", r"\1.\2", regex=True)
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


ROLES: Final[tuple[Role, ...]] = (
    Role(
        name="station",
        meaning="the count's own number or name",
        words={
            "station": 0.95,
            "stationid": 1,
            "site": 0.7,
            "siteid": 0.95,
            "id": 0.6,
            "piste": 0.9,
            "count id": 0.95,
            "station id": 1,
            "tc number": 0.9,
            "counter": 0.85,
            "cosite": 0.95,
            "zahlstelle": 0.95,
            "objectid": 0.3,
            "fid": 0.3,
            "locationid": 0.9,
            "location id": 0.9,
        },
        fits=_any,
    ),
    Role(
        name="road",
        meaning="the name of the road",
        words={
            "road": 0.85,
            "street": 0.85,
            "name": 0.7,
            "road name": 1,
            "street name": 1,
            "nimi": 0.9,
            "on road": 1,
            "roadname": 1,
            "strasse": 0.9,
            "rue": 0.9,
            "calle": 0.9,
            "tie": 0.7,
            "location": 0.6,
            "description": 0.5,
            "desc": 0.45,
            "roadway": 0.85,
            "gata": 0.85,
        },
        fits=_text,
    ),
    Role(
        name="ref",
        meaning="the number of the route",
        words={
            "ref": 0.8,
            "route": 0.85,
            "route id": 0.85,
            "route number": 0.95,
            "routeid": 0.85,
            "road number": 0.95,
            "highway": 0.7,
            "tienro": 0.9,
            "rte": 0.85,
            "sign": 0.4,
        },
        fits=_any,
    ),
    Role(
        name="road_class",
        meaning="the class of the road",
        words={
            "road class": 1,
            "class": 0.6,
            "functional class": 0.95,
            "fclass": 0.9,
            "f system": 0.95,
            "functional": 0.8,
            "fc": 0.7,
            "highway class": 0.9,
        },
        fits=_any,
    ),
    Role(
        name="lat",
        meaning="latitude, degrees",
        words={"lat": 1, "latitude": 1, "breitengrad": 1, "ycoord": 0.7, "y": 0.72},
        fits=_between(-90, 90),
    ),
    Role(
        name="lon",
        meaning="longitude, degrees",
        words={
            "lon": 1,
            "lng": 1,
            "long": 0.95,
            "longitude": 1,
            "langengrad": 1,
            "xcoord": 0.7,
            "x": 0.72,
        },
        fits=_between(-180, 180),
    ),
    Role(
        name="x",
        meaning="metres or feet east in a map grid",
        words={
            "x": 0.8,
            "easting": 1,
            "east": 0.7,
            "xcoord": 0.85,
            "x coord": 0.9,
            "x gk25": 1,
            "rechtswert": 1,
            "itm e": 0.8,
            "point x": 0.9,
            "x etrs": 1,
        },
        fits=lambda c: _share(c, lambda g: to_number(g).abs() > 400),
    ),
    Role(
        name="y",
        meaning="metres or feet north in a map grid",
        words={
            "y": 0.8,
            "northing": 1,
            "north": 0.7,
            "ycoord": 0.85,
            "y coord": 0.9,
            "y gk25": 1,
            "hochwert": 1,
            "itm n": 0.8,
            "point y": 0.9,
            "y etrs": 1,
        },
        fits=lambda c: _share(c, lambda g: to_number(g).abs() > 400),
    ),
    Role(
        name="aadt",
        meaning="vehicles on an average day",
        words={
            "aadt": 1,
            "adt": 0.9,
            "aawdt": 0.85,
            "awdt": 0.85,
            "dtv": 0.95,
            "dtvw": 0.85,
            "tmja": 0.95,
            "imd": 0.9,
            "tmda": 0.95,
            "tgm": 0.85,
            "kvl": 0.95,
            "vmd": 0.6,
            "daily": 0.75,
            "per day": 1,
            "vehicles per day": 1,
            "veh day": 1,
            "vpd": 0.95,
            "daily volume": 0.95,
            "volume": 0.55,
            "traffic volume": 0.65,
            "traffic": 0.5,
            "vehicles": 0.55,
            "count": 0.45,
            "flow": 0.5,
            "avg daily traffic": 1,
            "average daily traffic": 1,
            "annual average daily traffic": 1,
            "average daily": 0.95,
            "current vol": 0.7,
            "all vehs": 0.8,
            "all motor vehicles": 0.9,
            "total": 0.45,
        },
        fits=lambda c: _share(c, lambda g: to_number(g).between(0, 500_000)),
        needed=True,
    ),
    Role(
        name="year",
        meaning="the year of the count",
        words={
            "year": 1,
            "yr": 0.95,
            "aadt year": 1,
            "count year": 1,
            "jahr": 1,
            "annee": 1,
            "ano": 0.9,
            "vuosi": 1,
            "ar": 0.8,
            "aar": 0.8,
            "year record": 0.9,
            "anno": 1,
            "jaar": 1,
        },
        fits=_between(1950, 2100),
    ),
    Role(
        name="date",
        meaning="the day of the count",
        words={
            "date": 1,
            "day": 0.6,
            "count date": 1,
            "datum": 1,
            "fecha": 1,
            "pvm": 1,
            "timestamp": 0.9,
            "datetime": 1,
            "start": 0.6,
            "start date": 0.95,
            "dato": 1,
            "paiva": 0.95,
        },
        fits=_dates,
    ),
    Role(
        name="clock",
        meaning="the time of day at which an interval starts",
        words={
            "time": 0.9,
            "hour": 1,
            "hr": 0.9,
            "aika": 0.95,
            "zeit": 0.95,
            "stunde": 1,
            "heure": 1,
            "hora": 1,
            "kl": 0.8,
            "timme": 1,
            "start time": 1,
            "interval": 0.8,
            "tunti": 1,
            "hour of day": 1,
            "timestamp": 0.3,
        },
        fits=_clock,
    ),
    Role(
        name="volume",
        meaning="vehicles in one interval",
        words={
            "volume": 0.95,
            "vehicles": 0.95,
            "count": 0.85,
            "flow": 0.9,
            "autot": 1,
            "total": 0.8,
            "traffic": 0.7,
            "kfz": 0.95,
            "fahrzeuge": 0.95,
            "all": 0.5,
            "veh": 0.85,
            "hourly": 0.8,
            "hourly volume": 1,
            "total volume": 1,
            "vol": 0.9,
            "all motor vehicles": 1,
            "veh h": 0.95,
            "vehicles h": 0.95,
        },
        fits=lambda c: _share(c, lambda g: to_number(g).between(0, 40_000)),
    ),
    Role(
        name="direction",
        meaning="which way the counted vehicles drove",
        words={
            "direction": 1,
            "dir": 0.95,
            "suunta": 1,
            "richtung": 1,
            "sens": 0.95,
            "sentido": 1,
            "bearing": 0.95,
            "heading": 0.9,
            "travel direction": 1,
            "bound": 0.8,
            "riktning": 1,
            "direction of travel": 1,
            "direction deg": 1,
        },
        fits=_direction,
    ),
    Role(
        name="two_way",
        meaning="whether both directions are in the figure",
        words={
            "two way": 1,
            "twoway": 1,
            "both": 0.7,
            "both directions": 1,
            "one way": 0.8,
            "oneway": 0.8,
            "facility type": 0.7,
            "bidirectional": 0.95,
            "ways": 0.6,
        },
        fits=lambda c: 1.0 if c.nunique() <= 6 else 0.2,
    ),
    Role(
        name="heavy_share",
        meaning="heavy vehicles as a share or per cent",
        words={
            "heavy share": 1,
            "truck pct": 1,
            "pct truck": 1,
            "percent trucks": 1,
            "heavy pct": 1,
            "hgv pct": 1,
            "truck percent": 1,
            "hv": 0.7,
            "percent heavy": 1,
            "sv anteil": 0.95,
            "trkpct": 0.9,
            "t factor": 0.75,
            "share heavy": 1,
        },
        fits=_between(0, 100),
    ),
    Role(
        name="heavy",
        meaning="heavy trucks and buses counted",
        words={
            "heavy": 0.85,
            "trucks": 0.9,
            "hgv": 0.9,
            "all hgvs": 0.95,
            "sv": 0.7,
            "aadtt": 0.95,
            "truck aadt": 1,
            "heavy vehicles": 1,
            "aadt combination": 0.4,
            "truck volume": 0.9,
            "dtvsv": 0.95,
            "lkw": 0.9,
            "kvl raskas": 0.95,
            "raskas": 0.9,
        },
        fits=lambda c: _share(c, lambda g: to_number(g).between(0, 200_000)),
    ),
    Role(
        name="kind",
        meaning="how the count was made: tube, axles, permanent",
        words={
            "kind": 0.8,
            "count type": 1,
            "type": 0.45,
            "method": 0.8,
            "counttype": 1,
            "equipment": 0.8,
            "device": 0.7,
            "estimation method": 0.8,
        },
        fits=lambda c: _text(c) if c.nunique() <= 12 else 0.2,
    ),
    Role(
        name="hours",
        meaning="how many hours were counted",
        words={
            "hours": 0.9,
            "duration": 0.9,
            "hours counted": 1,
            "count hours": 1,
            "duration h": 1,
            "length hours": 0.9,
        },
        fits=_between(0.25, 9000),
    ),
    Role(
        name="axles",
        meaning="axles counted, two to a car",
        words={"axles": 0.95, "axle": 0.9, "axle count": 1, "axles day": 1, "axle volume": 1},
        fits=lambda c: _share(c, lambda g: to_number(g).between(0, 1_000_000)),
    ),
)

#: words that rule a role out whatever else the heading says
NEVER: Final[Mapping[str, frozenset[str]]] = {
    "aadt": frozenset(
        [
            "future",
            "forecast",
            "projected",
            "truck",
            "trucks",
            "combination",
            "single",
            "heavy",
            "year",
            "bus",
            "peak",
            "am",
            "pm",
            "factor",
            "percent",
            "pct",
            "hgv",
            "share",
        ]
    ),
    "volume": frozenset(["year", "factor", "percent", "pct", "share"]),
}
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
    if NEVER.get(role.name, frozenset()) & set(words):
        return 0.0
    joined = " ".join(words)
    if joined in role.words:
        return role.words[joined]
    best = 0.0
    for known, weight in role.words.items():
        if known in words or (" " in known and f" {known} " in f" {joined} "):
            extra = len(words) - len(known.split())
            least = 0.8 if weight >= 0.95 else 0.0
            best = max(best, weight * max(0.9**extra, least))
    return best

"""How is a line of any format read as one table of stations that use water and power?

Assumes the field names that the line room gives its stations; whatever a line does not
say (which water, how long an arch wets) is filled from the sheet and said in ``assumed``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Offer, Sheet
from capture.utilities.values import VALUES

FloatArray = NDArray[np.float64]
Water = Literal["fresh", "reclaimed", "spot_free", "none"]
#: words in a station's name or purpose that tell which water it takes, first match wins
_WATER_WORDS: Final[tuple[tuple[str, Water], ...]] = (
    ("spot", "spot_free"),
    ("rinse", "fresh"),
    ("foam", "fresh"),
    ("sealant", "fresh"),
    ("wax", "fresh"),
    ("protect", "fresh"),
    ("high-pressure", "reclaimed"),
    ("high pressure", "reclaimed"),
    ("underbody", "reclaimed"),
    ("cloth", "reclaimed"),
    ("wrap", "reclaimed"),
    ("side", "reclaimed"),
    ("friction", "reclaimed"),
)
_DRYER_WORDS: Final = ("dryer", "dry", "blower")


class StationLike(Protocol):
    """What utilities need to know of a placed station."""

    @property
    def name(self) -> str:
        """Name in trade words."""

    @property
    def start_m(self) -> float:
        """Where it begins, from the entry."""

    @property
    def length_m(self) -> float:
        """Length of its zone."""

    @property
    def count(self) -> int:
        """How many arches, applicators or dryers."""

    @property
    def power_w(self) -> float:
        """Rated power of all of them."""

    @property
    def flow_m3s(self) -> float:
        """Water of all of them while on."""

    @property
    def pressure_pa(self) -> float:
        """Pressure at the nozzles."""


class LineLike(Protocol):
    """What utilities need to know of a line."""

    @property
    def stations(self) -> Sequence[Any]:
        """Placed stations in order; empty for bays."""

    @property
    def chain_speed_mps(self) -> float:
        """Speed of the chain."""

    @property
    def cars_per_hour(self) -> float:
        """Cars an hour of all lines together, loading efficiency included."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stations:
    """A line's stations as arrays, shape (k,) each."""

    #: names in order
    names: tuple[str, ...]
    #: from the entry
    start_m: FloatArray
    #: length acted on
    wetted_m: FloatArray
    #: water while on
    flow_m3s: FloatArray
    #: at the nozzles
    pressure_pa: FloatArray
    #: rated shaft power
    power_w: FloatArray
    #: arches, applicators or dryers
    count: tuple[int, ...]
    #: which water each takes
    water: tuple[Water, ...]
    #: which are dryers
    dryer: tuple[bool, ...]
    #: what had to be assumed, one sentence each
    assumed: tuple[str, ...]


def read_stations(line: LineLike, offer: Offer, *, values: Sheet = VALUES) -> Stations:
    """Turn a line into arrays, whatever its format.

    Parameters
    ----------
    line : Line
        Sized line; bays have no stations and get one stand-in station per bay.
    offer : Offer
        Says whether wash water is reclaimed.

    Raises
    ------
    InputError
        When a conveyor line has no stations or a number in it is not usable.
    """
    placed = list(line.stations)
    if not placed and offer.is_conveyor:
        raise InputError(
            f"line: a {offer.format} line must have at least one station, got none; size it first"
        )
    if not offer.is_conveyor:
        return _read_bays(line, offer, values)
    assumed: set[str] = set()
    wetted = [_wetted(station, values, assumed) for station in placed]
    water = [_water(station, offer, assumed) for station in placed]
    table = Stations(
        names=tuple(str(station.name) for station in placed),
        start_m=np.array([station.start_m for station in placed], dtype=np.float64),
        wetted_m=np.array(wetted, dtype=np.float64),
        flow_m3s=np.array([station.flow_m3s for station in placed], dtype=np.float64),
        pressure_pa=np.array([station.pressure_pa for station in placed], dtype=np.float64),
        power_w=np.array([station.power_w for station in placed], dtype=np.float64),
        count=tuple(max(1, round(station.count)) for station in placed),
        water=tuple(water),
        dryer=tuple(_is_dryer(station) for station in placed),
        assumed=tuple(sorted(assumed)),
    )
    _refuse_bad(table)
    return table


def _refuse_bad(table: Stations) -> None:
    for name in ("start_m", "wetted_m", "flow_m3s", "pressure_pa", "power_w"):
        column = getattr(table, name)
        bad = np.flatnonzero(~np.isfinite(column) | (column < 0))
        if bad.size:
            station = table.names[int(bad[0])]
            raise InputError(
                f"station {station!r}: {name} must be 0 or more, got {column[bad[0]]}; mend it"
            )


def _text(station: Any) -> str:
    return f"{station.name} {getattr(station, 'purpose', '')}".lower()


def _is_dryer(station: Any) -> bool:
    return bool(station.flow_m3s == 0 and any(word in _text(station) for word in _DRYER_WORDS))


def _wetted(station: Any, values: Sheet, assumed: set[str]) -> float:
    """Length acted on: given, the whole zone for dry and touching stations, else one arch."""
    given = getattr(station, "wetted_length_m", None) or getattr(station, "wetted_m", None)
    if given is not None and given > 0:
        return float(given) * max(1, int(station.count))
    if station.flow_m3s == 0 or "cloth" in _text(station) or "wrap" in _text(station):
        return float(station.length_m)
    assumed.add("arches wet the usual length, since the line does not give it")
    return float(
        min(values.value("wetted_length_m") * max(1, round(station.count)), station.length_m)
    )


def _water(station: Any, offer: Offer, assumed: set[str]) -> Water:
    if station.flow_m3s == 0:
        return "none"
    given = getattr(station, "water", None)
    kind: Water
    if given in ("fresh", "reclaimed", "spot_free"):
        kind = given
    else:
        text = _text(station)
        kind = next((water for word, water in _WATER_WORDS if word in text), "fresh")
        assumed.add("which water a station takes is told from its name")
    return "fresh" if kind == "reclaimed" and not offer.reclaim else kind


def _read_bays(line: LineLike, offer: Offer, values: Sheet) -> Stations:
    bays = max(1, int(getattr(line, "bays", None) or offer.bays))
    kind = "bay" if offer.format == "in_bay" else "self"
    column = np.ones(bays)
    fresh: Water = "fresh"
    return Stations(
        names=tuple(f"bay {number + 1}" for number in range(bays)),
        start_m=0.0 * column,
        wetted_m=0.0 * column,
        flow_m3s=values.value(f"{kind}_flow_m3s") * column,
        pressure_pa=values.value(f"{kind}_pressure_pa") * column,
        power_w=values.value(f"{kind}_power_w") * column,
        count=(1,) * bays,
        water=(fresh,) * bays,
        dryer=(False,) * bays,
        assumed=("each bay is taken as the usual machine of its kind",),
    )

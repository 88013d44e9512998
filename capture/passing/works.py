"""What do dated notes on roads, such as road works, change about a stream?

A note names a road or a place, a time and by how much fewer or more vehicles pass. Its part
of the year looked at counts; a note outside that year changes nothing and is still said.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, plain_text, raise_gathered
from capture.passing.names import compute_likeness

if TYPE_CHECKING:
    from capture.area import Area

FloatArray = NDArray[np.float64]
Z95: Final = 1.6448536269514722
SAME_NAME: Final = 0.85
MOST_NOTES: Final = 500
_FIELDS: Final = frozenset(
    {"road", "lat", "lon", "reach_m", "starts", "ends", "factor", "low", "high", "why"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadNote:
    """A dated note on a road.

    Raises
    ------
    InputError
        When it names neither a road nor a place, or a number or date is out of order.

    Examples
    --------
    >>> note = RoadNote(road="Mill Road", starts=date(2026, 7, 1), factor=0.6, why="widening")
    >>> round(note.active_share(2026), 3)
    0.504
    """

    #: name of the road, "" for a place
    road: str = ""
    #: degrees north, NaN for a road
    lat: float = math.nan
    #: degrees east, NaN for a road
    lon: float = math.nan
    #: how far from the place it holds, m
    reach_m: float = 500.0
    #: first day
    starts: date
    #: last day, None for good
    ends: date | None = None
    #: vehicles with it over vehicles without it
    factor: float
    #: 5th percentile of the factor, NaN for a fifth of the change below
    low: float = math.nan
    #: 95th percentile of the factor
    high: float = math.nan
    #: what happens, one sentence
    why: str

    def __post_init__(self) -> None:
        named = bool(self.road) or (math.isfinite(self.lat) and math.isfinite(self.lon))
        faults = []
        if not named:
            faults.append("a road or a lat and lon must be given")
        if not (math.isfinite(self.factor) and 0 < self.factor <= 5):
            faults.append(f"factor must be above 0 and at most 5, got {self.factor}")
        low, high = self.bounds
        if not 0 < low <= self.factor <= high:
            faults.append(f"low <= factor <= high must hold, got {low}, {self.factor}, {high}")
        if self.ends is not None and self.ends < self.starts:
            faults.append(f"ends must not be before starts, got {self.starts} to {self.ends}")
        raise_gathered(faults, where=f"note on {self.road or 'a place'}", kind=InputError)

    @property
    def bounds(self) -> tuple[float, float]:
        """5th and 95th percentile of the factor."""
        slack = 0.2 * abs(1 - self.factor)
        low = self.low if math.isfinite(self.low) else max(self.factor - slack, self.factor / 2)
        return low, self.high if math.isfinite(self.high) else self.factor + slack

    def active_share(self, year: int) -> float:
        """Return the share of a year in which the note holds, 0 to 1."""
        first, following = date(year, 1, 1), date(year + 1, 1, 1)
        end = following if self.ends is None else min(self.ends + timedelta(days=1), following)
        days = (end - max(self.starts, first)).days
        return max(days, 0) / (following - first).days

    def effect(self, year: int) -> tuple[float, float]:
        """Return the factor over the whole year and the spread of its logarithm."""
        share = self.active_share(year)
        low, high = (1 - share * (1 - bound) for bound in self.bounds)
        return 1 - share * (1 - self.factor), math.log(high / low) / (2 * Z95)

    def describe(self, year: int) -> str:
        """Say the note in one sentence."""
        until = f"to {self.ends}" if self.ends else "on"
        share = self.active_share(year)
        when = f"holds {share:.0%} of {year}" if share > 0 else f"does not touch {year}"
        low, high = self.bounds
        return (
            f"{plain_text(self.why, most=120)}, from {self.starts} {until}: "
            f"vehicles x{self.factor:.2f} ({low:.2f}-{high:.2f}), {when}"
        )


def read_notes(rows: Sequence[Mapping[str, Any]], *, where: str = "area.toml") -> list[RoadNote]:
    """Read notes from tables such as ``[[layers.roads.notes]]``.

    Raises
    ------
    InputError
        When a field is unknown, missing or of the wrong kind.
    """
    if not isinstance(rows, Sequence) or isinstance(rows, str) or len(rows) > MOST_NOTES:
        raise InputError(f"{where}: notes must be a list of up to {MOST_NOTES} tables; mend it")
    return [_read_note(row, f"{where}: note {k + 1}") for k, row in enumerate(rows)]


def _read_note(row: Mapping[str, Any], where: str) -> RoadNote:
    if not isinstance(row, Mapping):
        raise InputError(f"{where} must be a table of fields; mend it")
    unknown = sorted(set(row) - _FIELDS)
    lacking = sorted({"starts", "factor", "why"} - set(row))
    faults = [f"there is no field {plain_text(n, most=40)!r}" for n in unknown]
    faults += [f"{name} must be given" for name in lacking]
    raise_gathered(faults, where=where, kind=InputError)
    made: dict[str, Any] = {k: row[k] for k in ("road", "why") if k in row}
    made = {k: plain_text(v, most=200) for k, v in made.items()}
    for name in ("lat", "lon", "reach_m", "factor", "low", "high"):
        if name in row:
            made[name] = _number(row[name], name, where)
    for name in ("starts", "ends"):
        if name in row:
            made[name] = _day(row[name], name, where)
    return RoadNote(**made)


def _number(value: Any, name: str, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise InputError(f"{where}: {name} must be a number, got {value!r}; change it")
    return float(value)


def _day(value: Any, name: str, where: str) -> date:
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(str(value))
    except ValueError:
        raise InputError(
            f"{where}: {name} must be a day such as 2026-05-31, got {plain_text(value, most=40)!r}"
        ) from None


def find_notes(area: Area | None) -> list[RoadNote]:
    """Return the notes that an area holds in its roads layer."""
    layer = area.layers.get("roads") if area is not None else None
    rows = layer.options.get("notes") if layer is not None else None
    return read_notes(rows) if rows else []


def touches(note: RoadNote, *, road: str, lat: float, lon: float) -> bool:
    """Whether a note holds for a road at a place."""
    if note.road and compute_likeness(note.road, road) < SAME_NAME:
        return False
    if not math.isfinite(note.lat):
        return True
    north = (lat - note.lat) * 111_320.0
    east = (lon - note.lon) * 111_320.0 * math.cos(math.radians(note.lat))
    return math.hypot(north, east) <= note.reach_m

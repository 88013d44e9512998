"""Where did the user say that a count belongs?"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from capture.basis import DataError, InputError, plain_text

if TYPE_CHECKING:
    import pandas as pd

#: counts that a remark names before it only numbers the rest
MOST_NAMED: Final = 6


def make_key(count: Mapping[str, Any]) -> str:
    """Return the name under which a decision about a count is kept.

    Examples
    --------
    >>> make_key({"station": "A1", "road": "High St", "lat": 40.123456, "lon": -75.0})
    'A1|high street|40.1235|-75.0000'
    """
    from capture.passing.names import plain_name

    spot = f"{float(count['lat']):.4f}|{float(count['lon']):.4f}"
    return f"{count['station']}|{plain_name(str(count['road']))}|{spot}"


def check_decisions(
    decisions: Mapping[str, Mapping[str, float]],
) -> Mapping[str, Mapping[str, float]]:
    """Return decisions, each an empty mapping or a position on Earth.

    Raises
    ------
    InputError
        When one is something else.

    Examples
    --------
    >>> check_decisions({"A1|high street|40.1235|-75.0000": {}})
    {'A1|high street|40.1235|-75.0000': {}}
    """
    for key, spot in decisions.items():
        if not spot:
            continue
        lat, lon = spot.get("lat"), spot.get("lon")
        good = set(spot) == {"lat", "lon"} and all(
            isinstance(v, int | float) and math.isfinite(v) for v in (lat, lon)
        )
        if not (
            good and lat is not None and lon is not None and abs(lat) <= 90 and abs(lon) <= 180
        ):
            raise InputError(
                f"tie of count {tell_key(key)} must be lat and lon in degrees, or nothing to leave "
                f"it untied, got {plain_text(dict(spot), most=80)}; put it on its road again"
            )
    return decisions


def tell_key(key: str) -> str:
    """Tell which count a key is about.

    Examples
    --------
    >>> tell_key("A1|high street|40.1235|-75.0000")
    'A1 (high street)'
    """
    station, _, rest = key.partition("|")
    road = plain_text(rest.partition("|")[0], most=60)
    told = plain_text(station, most=60) or "without a name"
    return f"{told} ({road})" if road else told


def find_unknown(
    decisions: Mapping[str, Mapping[str, float]] | None, counts: pd.DataFrame
) -> list[str]:
    """Say of which decisions there is no such count, in one sentence or none.

    Parameters
    ----------
    decisions : mapping, optional
        As for :func:`capture.passing.tie.tie_counts`.
    counts : DataFrame
        With a column ``key``.
    """
    left = [key for key in decisions or {} if key not in set(counts["key"])]
    if not left:
        return []
    named = ", ".join(map(tell_key, left[:MOST_NAMED])) + (", ..." if left[MOST_NAMED:] else "")
    return [
        f"{len(left)} tie(s) by hand are not used, since the area has no such count: {named}; has "
        "its file changed? Tie them again"
    ]


class TieDecisions:
    """Keeps which road a user said a count belongs to, in a JSON file.

    Parameters
    ----------
    path : Path
        Made on the first decision.

    Raises
    ------
    DataError
        When the file is there but holds something else.
    """

    __slots__ = ("path",)

    def __init__(self, path: Path) -> None:
        self.path = path

    def load(self) -> dict[str, dict[str, float]]:
        """Return key -> position; an empty mapping means left untied."""
        if not self.path.exists():
            return {}
        fault = f"{self.path.name}: not a list of decisions on counts; delete it to start anew"
        if self.path.stat().st_size > 5_000_000:
            raise DataError(fault)
        try:
            held: Any = json.loads(self.path.read_text(encoding="utf-8"))
        except ValueError:
            raise DataError(fault) from None
        if not isinstance(held, dict):
            raise DataError(fault)
        for spot in held.values():
            if not isinstance(spot, dict) or (spot and set(spot) != {"lat", "lon"}):
                raise DataError(fault)
            if not all(isinstance(v, int | float) and math.isfinite(v) for v in spot.values()):
                raise DataError(fault)
        return held

    def decide(self, key: str, *, lat: float | None = None, lon: float | None = None) -> None:
        """Keep where the user put a count; without a position it stays untied.

        Raises
        ------
        InputError
            When the position is not on Earth.
        """
        spot: dict[str, float] = {}
        if lat is not None and lon is not None:
            if not (abs(lat) <= 90 and abs(lon) <= 180):
                raise InputError(
                    f"position of a count must be degrees within 90 and 180, got {lat}, {lon}; "
                    "click on the map again"
                )
            spot = {"lat": float(lat), "lon": float(lon)}
        held = {**self.load(), key: spot}
        self.path.parent.mkdir(parents=True, exist_ok=True)
        spare = self.path.with_suffix(".part")
        spare.write_text(json.dumps(held, indent=1, sort_keys=True), encoding="utf-8")
        spare.replace(self.path)

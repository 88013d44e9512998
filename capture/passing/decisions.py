"""Where did the user say that a count belongs?"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from capture.basis import DataError, InputError

if TYPE_CHECKING:
    pass


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

"""What must a wash site hold: building, stacking, lanes, vacuum bays?

Read from a sized line, or a row of a line table, and an offer; what neither says takes the
usual value.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

from capture.basis import InputError, Offer, Sheet
from capture.ground.values import VALUES

_MOST_M: Final = 2000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Needs:
    """What a site must hold, m."""

    #: building along the way of travel
    building_length_m: float
    #: building across it
    building_width_m: float
    #: stacking, all lanes together
    stacking_m: float
    #: lanes side by side
    lanes: int
    #: wished vacuum bays
    vacuum_bays: int
    #: fewest vacuum bays that still serve
    vacuum_bays_least: int
    #: cars drive through bays rather than a conveyor
    bays: bool

    def __post_init__(self) -> None:
        for name in ("building_length_m", "building_width_m", "stacking_m"):
            amount = getattr(self, name)
            if not (math.isfinite(amount) and 0 <= amount <= _MOST_M):
                raise InputError(f"ground: {name} must be 0 to {_MOST_M:g} m, got {amount}")
        if not 1 <= self.lanes <= 40 or not 0 <= self.vacuum_bays <= 200:
            raise InputError(
                f"ground: lanes must be 1 to 40 and vacuum bays 0 to 200, got {self.lanes} and "
                f"{self.vacuum_bays}; change them"
            )

    @property
    def lane_length_m(self) -> float:
        """Length of each lane."""
        return self.stacking_m / self.lanes


def read_needs(
    line: Any,
    offer: Offer,
    *,
    stacking_m: float | None = None,
    vacuum_bays: int | None = None,
    values: Sheet = VALUES,
) -> Needs:
    """Tell from a line and an offer what the site must hold.

    Parameters
    ----------
    line : Line
        With ``building_length_m`` and, if known, ``building_width_m`` (or
        ``building_area_m2``) and ``bays``; a Line, or a row of a LineTable.
    stacking_m : float, optional
        Stacking of all lanes; the usual cars x space when left out.
    vacuum_bays : int, optional
        How many are wanted; the usual number when left out.

    Raises
    ------
    InputError
        When a length is negative, not finite or beyond 2 km.
    """
    bays = int(getattr(line, "bays", 0) or offer.bays)
    if offer.is_conveyor:
        lanes, wished = offer.pay_lanes, round(values.value("vacuum_bays"))
        least = round(values.value("vacuum_bays_least"))
    else:
        lanes, wished, least = bays, 2 * bays, 1
    if stacking_m is None:
        stacking_m = values.value("car_space_m") * (
            values.value("stacking_cars") if offer.is_conveyor else 2.0 * lanes
        )
    return Needs(
        building_length_m=float(line.building_length_m),
        building_width_m=_building_width(line, offer, bays, values),
        stacking_m=float(stacking_m),
        lanes=int(lanes),
        vacuum_bays=wished if vacuum_bays is None else int(vacuum_bays),
        vacuum_bays_least=least if vacuum_bays is None else min(least, int(vacuum_bays)),
        bays=not offer.is_conveyor,
    )


def _building_width(line: Any, offer: Offer, bays: int, values: Sheet) -> float:
    """Width that the line gives, or its area over its length, or the usual one."""
    width = getattr(line, "building_width_m", None)
    if width is not None:
        return float(width)
    area = getattr(line, "building_area_m2", None)
    if area is not None and line.building_length_m > 0:
        return float(area) / float(line.building_length_m)
    if not offer.is_conveyor:
        return bays * values.value("bay_width_m") + values.value("equipment_room_m")
    lines = max(1, int(getattr(line, "lines", 1)))
    return values.value("building_width_m") + (lines - 1) * values.value("line_width_m")

"""What of a site does not fit on a parcel, and by how much?

Bisects what still fits: stacking first, then the building; and how much farther out the
parcel's edges would have to stand for all to fit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from shapely.geometry import Polygon

from capture.basis import Sheet
from capture.ground.needs import Needs
from capture.ground.placing import Placement, place_site
from capture.ground.searching import fits_core
from capture.ground.values import VALUES

#: share at which a search for what still fits stops
_CLOSE: Final = 1 / 64
_FIRST_EDGE_M: Final = 4.0
_MOST_EDGE_M: Final = 100.0
_EDGE_STEP_M: Final = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Shortfall:
    """What does not fit, and by how much; 0 where it does."""

    #: building, m
    building_m: float = 0.0
    #: stacking, m of lane
    stacking_m: float = 0.0
    #: vacuum bays
    vacuum_bays: int = 0
    #: how much farther out every parcel edge would have to stand for all to fit, m; inf
    #: beyond 100 m
    edge_m: float = 0.0
    #: area, m2, as a rule of thumb
    area_m2: float = 0.0

    @property
    def any(self) -> bool:
        """Whether building, stacking or vacuum bays are short."""
        return self.building_m > 0 or self.stacking_m > 0 or self.vacuum_bays > 0


def fit_site(
    shape: Polygon,
    needs: Needs,
    *,
    driveways: Sequence[tuple[float, float]] = (),
    values: Sheet = VALUES,
) -> tuple[Shortfall, tuple[Placement, ...]]:
    """Place the site, with as much of its stacking or building as fits when not all does."""

    def place(wanted: Needs) -> tuple[Placement, ...]:
        return tuple(place_site(shape, wanted, driveways=driveways, values=values))

    def lanes(share: float) -> Needs:
        return replace(needs, stacking_m=share * needs.stacking_m)

    placements = place(needs)
    stacking = 0.0
    if not placements and fits_core(shape, lanes(0.0), values=values):
        held = _largest(lambda share: fits_core(shape, lanes(share), values=values))
        stacking = (1.0 - held) * needs.stacking_m
        placements = place(lanes(held))
    if placements:
        bays = max(0, needs.vacuum_bays - placements[0].vacuum_bays)
        edge = _edge_m(shape, needs, values) if stacking > 0 else 0.0
        return Shortfall(stacking_m=stacking, vacuum_bays=bays, edge_m=edge), placements

    def building(share: float) -> Needs:
        return replace(lanes(0.0), building_length_m=share * needs.building_length_m)

    held = _largest(lambda share: fits_core(shape, building(share), values=values))
    return (
        Shortfall(
            building_m=(1.0 - held) * needs.building_length_m,
            stacking_m=needs.stacking_m,
            vacuum_bays=needs.vacuum_bays,
            edge_m=_edge_m(shape, needs, values),
        ),
        (),
    )


def _edge_m(shape: Polygon, needs: Needs, values: Sheet) -> float:
    """Least growth of the parcel on all sides with which building, lanes and turn fit."""

    def fits(growth: float) -> bool:
        grown = shape.buffer(growth, join_style="mitre")
        return fits_core(grown, needs, values=values)

    high = _FIRST_EDGE_M
    while high <= _MOST_EDGE_M and not fits(high):
        high *= 2.0
    if high > _MOST_EDGE_M:
        return float("inf")
    low = 0.0 if high == _FIRST_EDGE_M else 0.5 * high
    while high - low > _EDGE_STEP_M:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if fits(middle) else (middle, high)
    return high


def _largest(fits: Callable[[float], bool]) -> float:
    """Bisect the largest share that still fits, 0 when nothing does."""
    low, high = 0.0, 1.0
    while high - low > _CLOSE:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low

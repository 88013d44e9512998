"""What if the sign were higher, the hedge cut, or the driveway elsewhere?

Each trial looks twice, before and after, with nothing else changed, and hands back both.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Offer
from capture.seeing.seeing import Seeing, add_seeing

if TYPE_CHECKING:
    import pandas as pd

    from capture.passing import Streams
    from capture.place import Frontage, Place

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeeingChange:
    """Sight before and after one change."""

    #: what was changed, in words
    what: str
    #: as it is
    before: Seeing
    #: as it would be
    after: Seeing
    #: washable vehicles a day of the streams before and after, which weigh the means
    vehicles_before: FloatArray
    vehicles_after: FloatArray

    @property
    def sight_before(self) -> float:
        """Sight of an average passing driver as it is, 0-1."""
        return _mean(self.before.sight, self.vehicles_before)

    @property
    def sight_after(self) -> float:
        """Sight of an average passing driver as it would be, 0-1."""
        return _mean(self.after.sight, self.vehicles_after)

    def to_table(self, roads: Collection[str]) -> pd.DataFrame:
        """Return ``road``, ``sight_before``, ``sight_after``, ``seen_before_m``, ``seen_after_m``.

        Raises
        ------
        InputError
            When the change has another number of streams after than before.
        """
        import pandas as pd

        if len(self.before.sight) != len(self.after.sight):
            raise InputError("this change has other streams after than before; compare the means")
        return pd.DataFrame(
            {
                "road": list(roads),
                "sight_before": self.before.sight,
                "sight_after": self.after.sight,
                "seen_before_m": self.before.seen_m,
                "seen_after_m": self.after.seen_m,
            }
        )


def _mean(sight: FloatArray, vehicles: FloatArray) -> float:
    total = float(np.sum(vehicles))
    return float(np.sum(sight * vehicles) / total) if total > 0 else float(np.mean(sight))


def try_sign_height(
    place: Place,
    streams: Streams,
    frontage: Frontage,
    *,
    offer: Offer,
    height_m: float,
    **given: Any,
) -> SeeingChange:
    """Try another height of the sign; further arguments go to :func:`add_seeing`.

    Raises
    ------
    InputError
        When the offer does not allow that height.
    """
    other = offer.change(sign_height_m=height_m)
    return SeeingChange(
        what=f"sign at {height_m:g} m instead of {offer.sign_height_m:g} m",
        before=add_seeing(place, streams, frontage, offer=offer, **given),
        after=add_seeing(place, streams, frontage, offer=other, **given),
        vehicles_before=np.asarray(streams.vehicles_per_day),
        vehicles_after=np.asarray(streams.vehicles_per_day),
    )


def try_cut_screens(
    place: Place,
    streams: Streams,
    frontage: Frontage,
    *,
    offer: Offer,
    kinds: Collection[str] = ("hedge",),
    within_m: float = 150.0,
    height_m: float = 0.0,
    **given: Any,
) -> SeeingChange:
    """Try cutting hedges, walls or trees near the driveways down to a height.

    Parameters
    ----------
    kinds : collection of str
        Of "tree_row", "hedge", "wall", "wood".
    within_m : float
        How near to a driveway's mouth a screen must come to be cut.
    height_m : float
        What is left of it.

    Raises
    ------
    InputError
        For an unknown kind or a negative height.
    """
    known = {"tree_row", "hedge", "wall", "wood"}
    if set(kinds) - known:
        raise InputError(f"kinds must be of {', '.join(sorted(known))}, got {sorted(kinds)}")
    if not height_m >= 0:
        raise InputError(f"height must be 0 m or more, got {height_m}; give what is left standing")
    cut = cut_screens(place, frontage, kinds=kinds, within_m=within_m, height_m=height_m)
    given.pop("walls", None)
    return SeeingChange(
        what=f"{' and '.join(kinds)} within {within_m:g} m cut to {height_m:g} m",
        before=add_seeing(place, streams, frontage, offer=offer, **given),
        after=add_seeing(cut, streams, frontage, offer=offer, **given),
        vehicles_before=np.asarray(streams.vehicles_per_day),
        vehicles_after=np.asarray(streams.vehicles_per_day),
    )


def cut_screens(
    place: Place,
    frontage: Frontage,
    *,
    kinds: Collection[str],
    within_m: float,
    height_m: float,
) -> Place:
    """Return a place in which some screens near driveways are lower; nothing else changes."""
    import shapely

    screens = place.screens
    if not len(screens.height_m):
        return place
    mouths = shapely.multipoints(np.column_stack([frontage.x, frontage.y]))
    near = shapely.distance(screens.geometry, mouths) <= within_m
    of_kind = np.array([kind in kinds for kind in screens.kind])
    heights = np.where(near & of_kind, np.minimum(screens.height_m, height_m), screens.height_m)
    return replace(place, screens=replace(screens, height_m=heights))


def try_moved(
    place: Place,
    before: tuple[Streams, Frontage],
    after: tuple[Streams, Frontage],
    *,
    offer: Offer,
    **given: Any,
) -> SeeingChange:
    """Compare two positions of the driveway, each with its own streams."""
    return SeeingChange(
        what="driveway moved",
        before=add_seeing(place, *before, offer=offer, **given),
        after=add_seeing(place, *after, offer=offer, **given),
        vehicles_before=np.asarray(before[0].vehicles_per_day),
        vehicles_after=np.asarray(after[0].vehicles_per_day),
    )

"""What would one more rival at a clicked spot do to each site?

The room is run twice, without and with the new wash, so that nothing can differ but that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture.area import Area
from capture.around.around import Around, add_around
from capture.around.rivals import Rivals
from capture.around.values import VALUES
from capture.basis import Offer, Sheet
from capture.place import Place

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RivalEffect:
    """What surrounds S sites before and after one more rival."""

    #: without it
    before: Around
    #: with it
    after: Around
    #: rivals with the new one at the end
    rivals: Rivals

    @property
    def pull_change(self) -> FloatArray:
        """How much pull rises, 0 or more, (S,)."""
        return self.after.pull - self.before.pull

    @property
    def passed_change(self) -> FloatArray:
        """How much more of each stream has just passed a rival, 0 or more, (R,)."""
        return self.after.passed_first_share - self.before.passed_first_share

    @property
    def seconds(self) -> FloatArray:
        """Driving time from each site to the new rival, (S,)."""
        return self.after.rival_seconds[:, -1]


def compare_rival(
    area: Area,
    place: Place,
    volumes: Any,
    streams: Any,
    sites: Any,
    rivals: Rivals,
    *,
    lat: float,
    lon: float,
    format: str = "exterior",
    offer: Offer,
    driving_side: str = "right",
    values: Sheet = VALUES,
) -> RivalEffect:
    """Put one more open rival at a spot and compare; parameters as in ``add_around``.

    Parameters
    ----------
    lat, lon : float
        The spot, degrees.
    format : str
        One of the rival formats.

    Returns
    -------
    RivalEffect

    Raises
    ------
    InputError
        For a spot that is not on Earth or a format that is not known.
    """
    more = rivals.add(
        place=place, lat=lat, lon=lon, format=format, name="one more rival", status="open"
    )
    before, after = (
        add_around(
            area,
            place,
            volumes,
            streams,
            sites,
            listed,
            offer=offer,
            driving_side=driving_side,
            values=values,
        )
        for listed in (rivals, more)
    )
    return RivalEffect(before=before, after=after, rivals=more)

"""What if the median were opened, the driveway kept to one side, or moved?

Each trial computes twice, before and after, with nothing else changed, and hands back both.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError
from capture.turning.turning import Turning, add_turning

if TYPE_CHECKING:
    import pandas as pd

    from capture.passing import Streams, Volumes
    from capture.place import Frontage, Place

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class TurningChange:
    """Cost of turning in and out before and after one change."""

    #: what was changed, in words
    what: str
    #: as it is
    before: Turning
    #: as it would be
    after: Turning
    #: washable vehicles a day of the streams before and after, which weigh the means
    vehicles_before: FloatArray
    vehicles_after: FloatArray

    @property
    def delay_before_s(self) -> float:
        """Cost to an average passing driver as it is, s."""
        return _mean(self.before.delay_s, self.vehicles_before)

    @property
    def delay_after_s(self) -> float:
        """Cost to an average passing driver as it would be, s."""
        return _mean(self.after.delay_s, self.vehicles_after)

    def to_table(self, roads: Collection[str]) -> pd.DataFrame:
        """Return ``road``, ``delay_before_s``, ``delay_after_s``, ``way_before``, ``way_after``.

        Raises
        ------
        InputError
            When the change has another number of streams after than before.
        """
        import pandas as pd

        if len(self.before.delay_s) != len(self.after.delay_s):
            raise InputError("this change has other streams after than before; compare the means")
        return pd.DataFrame(
            {
                "road": list(roads),
                "delay_before_s": self.before.delay_s,
                "delay_after_s": self.after.delay_s,
                "way_before": self.before.way_in,
                "way_after": self.after.way_in,
            }
        )


def _mean(delay: FloatArray, vehicles: FloatArray) -> float:
    total = float(np.sum(vehicles))
    return float(np.sum(delay * vehicles) / total) if total > 0 else float(np.mean(delay))


def _compare(
    what: str,
    place: Place,
    volumes: Volumes,
    before: tuple[Streams, Frontage, dict[str, Any]],
    after: tuple[Streams, Frontage, dict[str, Any]],
) -> TurningChange:
    made = [
        add_turning(place, volumes, streams, frontage, **given)
        for streams, frontage, given in (before, after)
    ]
    return TurningChange(
        what=what,
        before=made[0],
        after=made[1],
        vehicles_before=np.asarray(before[0].vehicles_per_day),
        vehicles_after=np.asarray(after[0].vehicles_per_day),
    )


def try_opening(
    place: Place, volumes: Volumes, streams: Streams, frontage: Frontage, **given: Any
) -> TurningChange:
    """Try opening the median in front of every driveway; the rest goes to :func:`add_turning`."""
    opened = {**given, "openings": np.ones(len(frontage.segment), dtype=bool)}
    return _compare(
        "median opened at the driveway", place, volumes, (streams, frontage, given),
        (streams, frontage, opened),
    )  # fmt: skip


def try_near_side_only(
    place: Place, volumes: Volumes, streams: Streams, frontage: Frontage, **given: Any
) -> TurningChange:
    """Try keeping the driveways to near-side turns, as a permit may ask."""
    kept = {**given, "near_side_only": np.ones(len(frontage.segment), dtype=bool)}
    return _compare(
        "driveway kept to near-side turns", place, volumes, (streams, frontage, given),
        (streams, frontage, kept),
    )  # fmt: skip


def try_moved(
    place: Place,
    volumes: Volumes,
    before: tuple[Streams, Frontage],
    after: tuple[Streams, Frontage],
    **given: Any,
) -> TurningChange:
    """Compare two positions of the driveway, each with its own streams."""
    return _compare("driveway moved", place, volumes, (*before, given), (*after, given))

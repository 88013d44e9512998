"""Which of the rivals are the operator's own washes, and so no rivals at all?

An own wash is found by its name, or by standing almost where a rival of the list stands.
Assumes that an operator does not stand on the same lot as somebody else's wash.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

#: an own wash this near to one of the list is the same
SAME_M: Final = 120.0


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnRival:
    """A wash of the list that is the operator's own."""

    #: what the operator calls it
    own: str
    #: id in the list of rivals
    rival_id: str
    #: between the two spots, metres
    apart_m: float


def find_own_rivals(
    rivals: Any, place: Any, spots: Mapping[str, tuple[float, float]]
) -> tuple[OwnRival, ...]:
    """Find open washes of the list that are the operator's own.

    Parameters
    ----------
    rivals : Rivals
        The list.
    place : Place
        Gives the projection.
    spots : mapping of str to (lat, lon)
        Own washes by name, degrees.

    Returns
    -------
    tuple of OwnRival
        One for each own wash at most, in the order of ``spots``.
    """
    found = []
    standing = np.array([status == "open" for status in rivals.status], dtype=bool)
    called = [str(name).strip().casefold() for name in rivals.names]
    for own, (lat, lon) in spots.items():
        if not standing.any():
            break
        x, y = place.network.projection.to_xy([lat], [lon])
        apart = np.hypot(np.asarray(rivals.x) - x[0], np.asarray(rivals.y) - y[0])
        apart = np.where(standing, apart, np.inf)
        same = np.array([name == own.strip().casefold() != "" for name in called]) & standing
        at = int(np.argmin(np.where(same, apart, np.inf) if same.any() else apart))
        if same.any() or apart[at] <= SAME_M:
            found.append(OwnRival(own=own, rival_id=rivals.ids[at], apart_m=float(apart[at])))
            standing[at] = False
    return tuple(found)

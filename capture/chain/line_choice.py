"""Which line is chosen by hand, where not the shortest that the format may use?

Stations and packages, what holds at the site, places for waiting cars, a lane of its own
for plan members, and in what share of the worlds the busy hour shall be met. Bays have
no stations, so for them only the last counts.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from capture.basis import InputError, check_amount

if TYPE_CHECKING:
    from capture.line import Catalog

#: what fits a lane of two kilometres
_MOST_PLACES: Final = 250.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LineChoice:
    """What is chosen of the line; nothing where nothing is said.

    Raises
    ------
    InputError
        When an amount breaks its rule or the catalog has no such package.

    Examples
    --------
    >>> LineChoice(stacking_places=12.0).plan_lane
    False
    """

    #: stations and packages; None takes the usual ones
    catalog: Catalog | None = None
    #: one package only; None takes the shortest that the format may use
    package: str | None = None
    #: places for waiting cars before the street; None takes practice's
    stacking_places: float | None = None
    #: whether one pay lane serves plan members only
    plan_lane: bool = False
    #: in what share of the worlds the busy hour shall be met
    confidence_share: float = 0.5
    #: what holds at the site, such as ``"mud_roads"``; some advice on the line then does not
    circumstances: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        places = self.stacking_places
        if places is not None:
            check_amount("line", "stacking_places", places, 0, _MOST_PLACES, "cars")
        check_amount("line", "confidence_share", self.confidence_share, 0, 1, "share")
        if not 0 < self.confidence_share < 1:
            raise InputError(
                "line: confidence_share must be above 0 and below 1, got "
                f"{self.confidence_share!r}; 0.5 is usual"
            )
        if self.circumstances:
            from capture.line import usual_rules

            known = sorted({rule.unless for rule in usual_rules() if rule.unless})
            for name in self.circumstances:
                if name not in known:
                    raise InputError(
                        f"line: circumstances must be of {', '.join(known)}, got {name!r}"
                    )
        if self.package is not None:
            from capture.line import usual_catalog

            (self.catalog or usual_catalog()).pick(self.package)

    @property
    def stations_key(self) -> Hashable:
        """What sizing reads, as a key by content."""
        if self.catalog is None:
            return self.package
        stations, packages = self.catalog.stations, self.catalog.packages
        return self.package, tuple(stations.values()), tuple(packages.values())

    @property
    def queue_key(self) -> Hashable:
        """What the queue reads besides the line, as a key."""
        return self.stacking_places, self.plan_lane

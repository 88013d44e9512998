"""What would be built or cut at a site that the map does not show?

Openings in a median, driveways kept to near-side turns, slopes, shared ways in, places of
sign and front, screens cut. Driveways are named by their site and their own name, so that
what is asked for one never slips to another.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from numbers import Real
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, check_amount, plain_text

if TYPE_CHECKING:
    from capture.place import Frontage, Place

FloatArray = NDArray[np.float64]
#: (id of the site, name of its driveway)
Driveway = tuple[str, str]
#: field, least, most, unit
_LIMITS: Final = (
    ("grade_percent", -20.0, 20.0, "percent"),
    ("access_s", 0.0, 600.0, "s"),
    ("cut_screens", 0.0, 60.0, "m"),
)
_MOST_METRES: Final = 1e6
_BY_DRIVEWAY: Final = (
    "openings", "near_side_only", "grade_percent", "access_s", "front_xy", "sign_xy",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Works:
    """Works at driveways and beside the road; nothing is built where nothing is said.

    Raises
    ------
    InputError
        For a number that its rule forbids, or a driveway both opened and kept to one side.

    Examples
    --------
    >>> Works(grade_percent={("P01", "D1"): 4.0}).is_none
    False
    >>> Works().is_none
    True
    """

    #: driveways in front of which a raised median is open
    openings: Collection[Driveway] = frozenset()
    #: driveways at which nobody can turn across
    near_side_only: Collection[Driveway] = frozenset()
    #: upgrade of the driveway towards the road, percent
    grade_percent: Mapping[Driveway, float] = field(default_factory=dict)
    #: seconds from the driveway to the wash and the same back, as over a neighbour's land
    access_s: Mapping[Driveway, float] = field(default_factory=dict)
    #: where the building's front stands, metres
    front_xy: Mapping[Driveway, tuple[float, float]] = field(default_factory=dict)
    #: where the sign stands, metres
    sign_xy: Mapping[Driveway, tuple[float, float]] = field(default_factory=dict)
    #: id in the map of a hedge, wall, tree row or wood -> height left of it, metres
    cut_screens: Mapping[int, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for field_name in _BY_DRIVEWAY:
            _check_names(field_name, getattr(self, field_name))
        for name, low, high, unit in _LIMITS:
            for value in getattr(self, name).values():
                check_amount("works", name, value, low, high, unit)
        for name in ("front_xy", "sign_xy"):
            for spot in getattr(self, name).values():
                if not _is_spot(spot):
                    raise InputError(
                        f"works: {name} must be x and y in metres, got "
                        f"{plain_text(spot, most=60)!r}; place it again"
                    )
        if both := set(self.openings) & set(self.near_side_only):
            raise InputError(
                f"works: driveway {min(both)[1]} is both opened to turns across and kept to the "
                "near side; choose one"
            )

    @property
    def is_none(self) -> bool:
        """Whether nothing is built or cut."""
        return not any((*self.turning_key, *self.seeing_key, *self.screens_key))

    @property
    def turning_key(self) -> tuple[Hashable, ...]:
        """What turning in and out reads, as a key."""
        return (
            tuple(sorted(self.openings)),
            tuple(sorted(self.near_side_only)),
            tuple(sorted(self.grade_percent.items())),
            tuple(sorted(self.access_s.items())),
        )

    @property
    def seeing_key(self) -> tuple[Hashable, ...]:
        """What looking reads besides the screens, as a key."""
        return (
            tuple(sorted(self.near_side_only)),
            tuple(sorted((at, tuple(xy)) for at, xy in self.front_xy.items())),
            tuple(sorted((at, tuple(xy)) for at, xy in self.sign_xy.items())),
        )

    @property
    def screens_key(self) -> tuple[Hashable, ...]:
        """What the screens read, as a key."""
        return tuple(sorted(self.cut_screens.items()))

    @property
    def driveways(self) -> frozenset[Driveway]:
        """All driveways named."""
        named = (self.openings, self.near_side_only, self.grade_percent, self.access_s,
                 self.front_xy, self.sign_xy)  # fmt: skip
        return frozenset(at for each in named for at in each)


def _check_names(field_name: str, named: Any) -> None:
    """Refuse what does not name driveways by site and driveway."""
    good = isinstance(named, Collection) and not isinstance(named, str)
    for at in named if good else [named]:
        if not isinstance(at, tuple) or len(at) != 2 or not all(isinstance(p, str) for p in at):
            raise InputError(
                f"works: {field_name} must name driveways as (site, driveway), got "
                f"{plain_text(at, most=60)!r}; name them so"
            )


def _is_spot(spot: Any) -> bool:
    if not isinstance(spot, Sequence) or isinstance(spot, str) or len(spot) != 2:
        return False
    return all(isinstance(each, Real) and abs(float(each)) <= _MOST_METRES for each in spot)


def join_works(each: Iterable[Works]) -> Works:
    """Put the works of several sites together; what is cut is cut for all of them.

    Examples
    --------
    >>> both = join_works([Works(openings=[("P01", "D1")]), Works(openings=[("P02", "D1")])])
    >>> sorted(both.openings)
    [('P01', 'D1'), ('P02', 'D1')]
    """
    held = list(each)

    def all_of(name: str) -> dict[Any, Any]:
        return {at: given for works in held for at, given in getattr(works, name).items()}

    return Works(
        openings=frozenset(at for works in held for at in works.openings),
        near_side_only=frozenset(at for works in held for at in works.near_side_only),
        grade_percent=all_of("grade_percent"),
        access_s=all_of("access_s"),
        front_xy=all_of("front_xy"),
        sign_xy=all_of("sign_xy"),
        cut_screens=all_of("cut_screens"),
    )


def say_works(works: Works) -> tuple[str, ...]:
    """Say what is taken to be built or cut, one sentence each, for papers to repeat.

    Examples
    --------
    >>> say_works(Works(openings=[("P01", "D1")]))
    ('Taken as built, not as the map shows it: the median is open at driveway D1 of P01.',)
    """
    said = [f"the median is open at driveway {name} of {site}" for site, name in works.openings]
    said += [
        f"nobody turns across at driveway {name} of {site}" for site, name in works.near_side_only
    ]
    for words, unit, named in (
        ("rises towards the road by", "percent", works.grade_percent),
        ("leads over a way that takes", "s", works.access_s),
    ):
        said += [
            f"driveway {name} of {site} {words} {value:g} {unit}"
            for (site, name), value in named.items()
        ]
    for words, spots in (("sign", works.sign_xy), ("building front", works.front_xy)):
        said += [f"the {words} at driveway {name} of {site} is placed" for site, name in spots]
    said += [
        f"what grows or stands as {osm_id} in the map is cut to {left:g} m"
        for osm_id, left in works.cut_screens.items()
    ]
    return tuple(f"Taken as built, not as the map shows it: {each}." for each in sorted(said))


def check_works(works: Works, ids: Sequence[str], frontage: Frontage) -> None:
    """Refuse works at a driveway that is not there.

    Raises
    ------
    InputError
        Naming the driveways that there are.
    """
    known = _name_driveways(ids, frontage)
    for site, driveway in sorted(works.driveways - set(known)):
        raise InputError(
            f"works: there is no driveway {driveway!r} at site {site!r}; there are "
            f"{', '.join(f'{name} at {at}' for at, name in known[:8])}"
        )


def lay_turning(works: Works, ids: Sequence[str], frontage: Frontage) -> dict[str, Any]:
    """Lay works out by driveway as the room of turning takes them, arrays of (F,)."""
    known = _name_driveways(ids, frontage)
    return {
        "openings": _mark(works.openings, known),
        "near_side_only": _mark(works.near_side_only, known),
        "grade_percent": np.array([works.grade_percent.get(at, 0.0) for at in known]),
        "access_s": np.array([works.access_s.get(at, 0.0) for at in known]),
    }


def lay_seeing(works: Works, ids: Sequence[str], frontage: Frontage) -> dict[str, Any]:
    """Lay works out by driveway as the room of seeing takes them, arrays of (F,) or (F, 2)."""
    known = _name_driveways(ids, frontage)
    return {
        "near_side_only": _mark(works.near_side_only, known),
        "front_xy": _spot(works.front_xy, known),
        "sign_xy": _spot(works.sign_xy, known),
    }


def cut_place(place: Place, works: Works) -> Place:
    """Return a place whose screens are cut as asked; nothing else changes.

    Raises
    ------
    InputError
        When the map has no screen of an id.
    """
    if not works.cut_screens:
        return place
    screens = place.screens
    ids = np.asarray(screens.osm_id)
    heights = np.array(screens.height_m, dtype=np.float64)
    for osm_id, left in works.cut_screens.items():
        at = ids == osm_id
        if not at.any():
            raise InputError(
                f"works: the map has no hedge, wall, tree row or wood with id {osm_id}; "
                "list_screens names those near a site"
            )
        heights[at] = np.minimum(heights[at], left)
    return replace(place, screens=replace(screens, height_m=heights))


def _name_driveways(ids: Sequence[str], frontage: Frontage) -> list[Driveway]:
    sites = np.asarray(frontage.site).tolist()
    return [(ids[site], name) for site, name in zip(sites, frontage.driveway, strict=True)]


def _mark(named: Collection[Driveway], known: Sequence[Driveway]) -> NDArray[np.bool_]:
    return np.array([at in named for at in known], dtype=bool)


def _spot(
    named: Mapping[Driveway, tuple[float, float]], known: Sequence[Driveway]
) -> FloatArray | None:
    if not named:
        return None
    nowhere = (np.nan, np.nan)
    return np.array([named.get(at, nowhere) for at in known], dtype=np.float64).reshape(-1, 2)

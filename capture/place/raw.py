"""What does any reader hand on, before it becomes a network?

The one small interface between file formats and the rest: a reader fills a :class:`Raw`,
:func:`capture.place.build.build_place` turns it into flat arrays. So the choice of reader
stays behind this file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from capture.place.network import Floats, Ints, Longs

#: tags of a drivable way that are kept, in the order of ``Raw.way_tags`` rows
WAY_TAGS = (
    "highway",
    "name",
    "ref",
    "oneway",
    "junction",
    "lanes",
    "maxspeed",
    "bridge",
    "tunnel",
    "lanes:forward",
    "lanes:backward",
    "lanes:both_ways",
    "turn:lanes:both_ways",
    "turn:lanes",
    "turn:lanes:forward",
    "turn:lanes:backward",
    "centre_turn_lane",
    "maxspeed:forward",
    "maxspeed:backward",
    "divider",
    "overtaking",
    "lane_markings",
    "dual_carriageway",
)
#: whole numbers that stand for several columns stay below
_MOST_KEY: Final = 1 << 62


@dataclass(frozen=True, slots=True, kw_only=True)
class TagRows:
    """The ``WAY_TAGS`` of W ways as codes."""

    #: which of ``words`` each value is, 0 where absent, (W, tags)
    codes: Ints
    #: the values; the first stands for none
    words: Sequence[str | None]

    @classmethod
    def of(cls, rows: Sequence[Sequence[str | None]]) -> TagRows:
        """Hold rows of values in the order of ``WAY_TAGS``."""
        index: dict[str | None, int] = {None: 0}
        codes = [index.setdefault(value, len(index)) for row in rows for value in row]
        return cls(
            codes=np.array(codes, dtype=np.int32).reshape(len(rows), len(WAY_TAGS)),
            words=list(index),
        )

    def column(self, name: str) -> Ints:
        """Return the codes of one tag, shape (W,)."""
        return self.codes[:, WAY_TAGS.index(name)]

    def row(self, at: int) -> tuple[str | None, ...]:
        """Return the values of one way."""
        return tuple(self.words[code] for code in self.codes[at].tolist())

    def __len__(self) -> int:
        return len(self.codes)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shapes:
    """Buildings, screens or features as read; each traces its point, line or ring."""

    #: "n", "w" or "r" and the id of each, (S,)
    osm_id: Sequence[str]
    #: the tags kept of each
    tags: Sequence[Mapping[str, str]]
    #: first point of each, (S+1,)
    indptr: Longs
    #: degrees north, (points,)
    lat: Floats
    #: degrees east, (points,)
    lon: Floats

    @classmethod
    def of(cls, shapes: Sequence[tuple[str, Mapping[str, str], Floats, Floats]]) -> Shapes:
        """Hold shapes given one by one: id, tags, latitudes, longitudes."""
        counts = [len(lat) for _, _, lat, _ in shapes]
        none = [np.empty(0)]
        return cls(
            osm_id=[shape[0] for shape in shapes],
            tags=[shape[1] for shape in shapes],
            indptr=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
            lat=np.concatenate([shape[2] for shape in shapes] or none),
            lon=np.concatenate([shape[3] for shape in shapes] or none),
        )

    def take(self, at: Longs) -> Shapes:
        """Return some of them, in the order of ``at``."""
        points, indptr = take_runs(self.indptr, at)
        chosen = at.tolist()
        return Shapes(
            osm_id=[self.osm_id[k] for k in chosen],
            tags=[self.tags[k] for k in chosen],
            indptr=indptr,
            lat=self.lat[points],
            lon=self.lon[points],
        )

    def __len__(self) -> int:
        return len(self.osm_id)


def lay_runs(first: Longs, counts: Longs) -> tuple[Longs, Longs]:
    """Return which items runs hold that begin at ``first``, and where each then begins."""
    starts = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    return np.repeat(first - starts[:-1], counts) + np.arange(starts[-1]), starts


def take_runs(indptr: Longs, at: Longs) -> tuple[Longs, Longs]:
    """Return which items some runs hold, and where each run then begins.

    Examples
    --------
    >>> take_runs(np.array([0, 2, 5, 6]), np.array([2, 1]))
    (array([5, 2, 3, 4]), array([0, 1, 4]))
    """
    return lay_runs(indptr[at], indptr[at + 1] - indptr[at])


def number_values(codes: Ints) -> tuple[Longs, Longs]:
    """Number distinct values as they appear: where each stands first, and each item's number.

    Parameters
    ----------
    codes : ndarray, shape (n,)
        Whole numbers from 0 on, not much larger than there are.

    Examples
    --------
    >>> number_values(np.array([7, 3, 7, 5], dtype=np.int32))
    (array([0, 1, 3]), array([0, 1, 0, 2]))
    """
    if len(codes) == 0:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    at = np.full(int(codes.max()) + 1, -1, dtype=np.int64)
    at[codes[::-1]] = np.arange(len(codes))[::-1]
    first = np.sort(at[at >= 0])
    at[codes[first]] = np.arange(len(first))
    return first, at[codes]


def number_rows(codes: Ints) -> tuple[Longs, Longs]:
    """Number distinct rows: where each stands first, and each row's number.

    Examples
    --------
    >>> number_rows(np.array([[1, 0], [0, 2], [1, 0]], dtype=np.int32))
    (array([0, 1]), array([0, 1, 0]))
    """
    whole = np.zeros(len(codes), dtype=np.int64)
    size = 1
    for column in codes.T:
        if not column.any():
            continue
        first, number = number_values(column)
        if size * len(first) >= _MOST_KEY:
            kept, whole = np.unique(whole, return_inverse=True)
            size = len(kept)
        whole = whole * len(first) + number
        size *= len(first)
    _, first, inverse = np.unique(whole, return_index=True, return_inverse=True)
    return first, inverse


NO_SHAPES: Final = Shapes.of([])


@dataclass(slots=True, kw_only=True)
class Restriction:
    """One turn restriction as read."""

    #: such as "no_left_turn" or "only_straight_on"
    kind: str
    #: ways that it starts from
    from_ways: tuple[int, ...]
    #: node in between, 0 when there is none
    via_node: int
    #: ways in between
    via_ways: tuple[int, ...]
    #: ways that it leads to
    to_ways: tuple[int, ...]


@dataclass(slots=True, kw_only=True)
class Raw:
    """What one roads file holds; W drivable ways with R node references."""

    #: id of each way, (W,)
    way_id: Longs
    #: per way a row of the ``WAY_TAGS`` values
    way_tags: TagRows
    #: first reference of each way, (W+1,)
    ref_indptr: Longs
    #: node ids, (R,)
    ref_id: Longs
    #: degrees north, (R,)
    ref_lat: Floats
    #: degrees east, (R,)
    ref_lon: Floats
    #: ids of nodes with a signal, a stop sign, a crossing
    signal_id: Longs
    stop_id: Longs
    crossing_id: Longs
    #: turn restrictions
    restrictions: list[Restriction] = field(default_factory=list)
    #: buildings
    buildings: Shapes = NO_SHAPES
    #: tree rows, hedges, walls, woods
    screens: Shapes = NO_SHAPES
    #: washes, fuel stations, places that draw trips
    features: Shapes = NO_SHAPES
    #: what a reader should know
    notes: list[str] = field(default_factory=list)

"""What does any reader hand on, before it becomes a network?

The one small interface between file formats and the rest: a reader fills a :class:`Raw`,
:func:`capture.place.build.build_place` turns it into flat arrays. So the choice of reader
stays behind this file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

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


@dataclass(slots=True, kw_only=True)
class Shape:
    """A building, screen or feature as read; ``lat``/``lon`` trace its point, line or ring."""

    #: "n", "w" or "r" and the id
    osm_id: str
    #: the tags kept
    tags: Mapping[str, str]
    #: degrees north
    lat: NDArray[np.float64]
    #: degrees east
    lon: NDArray[np.float64]


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
    way_id: NDArray[np.int64]
    #: per way a row of the ``WAY_TAGS`` values, None where absent
    way_tags: list[tuple[str | None, ...]]
    #: first reference of each way, (W+1,)
    ref_indptr: NDArray[np.int64]
    #: node ids, (R,)
    ref_id: NDArray[np.int64]
    #: degrees north, (R,)
    ref_lat: NDArray[np.float64]
    #: degrees east, (R,)
    ref_lon: NDArray[np.float64]
    #: ids of nodes with a signal, a stop sign, a crossing
    signal_id: NDArray[np.int64]
    stop_id: NDArray[np.int64]
    crossing_id: NDArray[np.int64]
    #: turn restrictions
    restrictions: list[Restriction] = field(default_factory=list)
    #: buildings
    buildings: list[Shape] = field(default_factory=list)
    #: tree rows, hedges, walls, woods
    screens: list[Shape] = field(default_factory=list)
    #: washes, fuel stations, places that draw trips
    features: list[Shape] = field(default_factory=list)
    #: what a reader should know
    notes: list[str] = field(default_factory=list)

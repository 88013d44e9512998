"""How are roads held so that millions of look-ups cost next to nothing?

Flat arrays: nodes, segments (a piece of one way between two junctions, with its geometry)
and directed edges sorted by tail (CSR). A two-way segment has two edges, a one-way segment
one. Metres are those of the network's own projection; seconds are free-flow, from the
posted or class speed, without delay at signals.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from dataclasses import field as dataclass_field
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, LocalProjection
from capture.place.values import MOTORWAY, SERVICE

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Longs = NDArray[np.int64]
Bytes = NDArray[np.int8]
Bools = NDArray[np.bool_]


class Labels(Sequence[str]):
    """Texts that repeat, held once each: reads like a list of str.

    Parameters
    ----------
    codes : ndarray of int32, shape (n,)
        Which word each item is.
    words : sequence of str
        The words.

    Examples
    --------
    >>> names = Labels.of(["High Street", "", "High Street"])
    >>> names[2], len(names), int(names.codes[0] == names.codes[2])
    ('High Street', 3, 1)
    """

    __slots__ = ("codes", "words")

    def __init__(self, codes: Ints, words: Sequence[str]) -> None:
        self.codes = codes
        self.words = tuple(words)

    @classmethod
    def of(cls, texts: Sequence[str]) -> Labels:
        """Hold a list of texts."""
        index: dict[str, int] = {}
        codes = np.fromiter(
            (index.setdefault(text, len(index)) for text in texts), np.int32, len(texts)
        )
        return cls(codes, tuple(index))

    def __len__(self) -> int:
        return len(self.codes)

    @overload
    def __getitem__(self, at: int) -> str: ...
    @overload
    def __getitem__(self, at: slice) -> Labels: ...
    def __getitem__(self, at: int | slice) -> str | Labels:
        if isinstance(at, slice):
            return Labels(self.codes[at], self.words)
        return self.words[int(self.codes[at])]

    def __iter__(self) -> Iterator[str]:
        words = self.words
        return (words[code] for code in self.codes.tolist())

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and list(self) == list(other)

    def __hash__(self) -> int:
        return id(self)

    def __repr__(self) -> str:
        return f"Labels({len(self)} of {len(self.words)} words)"

    def to_list(self) -> list[str]:
        """Return a plain list."""
        return list(self)

    def to_array(self) -> NDArray[np.object_]:
        """Return an object array, shape (n,)."""
        words = np.empty(len(self.words), dtype=object)
        words[:] = self.words
        taken: NDArray[np.object_] = words[self.codes]
        return taken


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, weakref_slot=True)
class Network:
    """Drivable roads of an area: N nodes, G segments, E directed edges.

    Raises
    ------
    InputError
        When the arrays do not fit together.
    """

    #: metres of this network
    projection: LocalProjection
    #: side of the road that people drive on
    driving_side: str = "right"

    #: metres east of the centre, (N,)
    node_x: Floats
    #: metres north of the centre, (N,)
    node_y: Floats
    #: degrees north, (N,)
    node_lat: Floats
    #: degrees east, (N,)
    node_lon: Floats
    #: id in the map, (N,)
    node_id: Longs
    #: traffic signal at the junction, (N,)
    node_signal: Bools
    #: stop sign on an approach, (N,)
    node_stop: Bools
    #: marked crossing at the junction, (N,)
    node_crossing: Bools

    #: first edge of each node, (N+1,)
    indptr: Longs
    #: node an edge leaves, (E,), rising
    edge_tail: Ints
    #: node an edge enters, (E,)
    edge_head: Ints
    #: segment of the edge, (E,)
    edge_segment: Ints
    #: whether the edge runs along its segment's geometry, (E,)
    edge_forward: Bools
    #: the edge the other way on the same segment, -1 if none, (E,)
    edge_reverse: Ints
    #: length, (E,)
    edge_length_m: Floats
    #: free speed, (E,)
    edge_speed_mps: Floats
    #: free driving time, (E,)
    edge_seconds: Floats

    #: node at the start of the geometry, (G,)
    segment_tail: Ints
    #: node at the end of the geometry, (G,)
    segment_head: Ints
    #: id of the way in the map, (G,)
    segment_way: Longs
    #: road name, "" if none, (G,)
    segment_name: Labels
    #: road number, "" if none, (G,)
    segment_ref: Labels
    #: index into ROAD_CLASSES, (G,)
    segment_class: Bytes
    #: whether it is a ramp or slip road, (G,)
    segment_link: Bools
    #: lanes of this carriageway, all directions, (G,)
    segment_lanes: Floats
    #: lanes along the geometry, (G,)
    segment_lanes_forward: Floats
    #: lanes against the geometry, (G,)
    segment_lanes_backward: Floats
    #: whether it is one-way, along its geometry, (G,)
    segment_oneway: Bools
    #: whether it is part of a roundabout, (G,)
    segment_roundabout: Bools
    #: whether it is on a bridge, (G,)
    segment_bridge: Bools
    #: whether it is in a tunnel, (G,)
    segment_tunnel: Bools
    #: whether the map gives the speed limit, (G,)
    segment_speed_given: Bools
    #: whether the map gives the lanes, (G,)
    segment_lanes_given: Bools
    #: index into SEPARATIONS, (G,)
    segment_separation: Bytes
    #: the carriageway of the other direction of a dual road, -1 if none, (G,)
    segment_opposite: Ints
    #: whether a turn bay is marked (a lane for turning only), (G,)
    segment_turn_bay: Bools
    #: length, (G,)
    segment_length_m: Floats
    #: edge along the geometry, -1 if none, (G,)
    segment_edge_forward: Ints
    #: edge against the geometry, -1 if none, (G,)
    segment_edge_backward: Ints
    #: first point of each segment's geometry, (G+1,)
    geom_indptr: Longs
    #: metres east, (points,)
    geom_x: Floats
    #: metres north, (points,)
    geom_y: Floats

    #: edge from which a turn is forbidden, (bans,)
    banned_from: Ints
    #: edge into which it is forbidden, (bans,)
    banned_to: Ints
    #: first entry of each forbidden path of three and more edges, (paths+1,)
    banned_path_indptr: Longs = dataclass_field(default_factory=lambda: np.zeros(1, np.int64))
    #: edges of the forbidden paths, one after the other
    banned_path_edge: Ints = dataclass_field(default_factory=lambda: np.empty(0, np.int32))

    def __post_init__(self) -> None:
        nodes, edges, segments = self.nodes, self.edges, self.segments
        sizes = {"node": nodes, "edge": edges, "segment": segments}
        for field in fields(self):
            size = sizes.get(field.name.split("_")[0])
            value: Any = getattr(self, field.name)
            if size is not None and len(value) != size:
                raise InputError(
                    f"network: {field.name} must have {size} items, got {len(value)}; read it again"
                )
        if len(self.indptr) != nodes + 1 or len(self.geom_indptr) != segments + 1:
            raise InputError("network: indptr and geom_indptr must be one longer than what they "
                             "point into; read it again")  # fmt: skip

    @property
    def nodes(self) -> int:
        """Number of nodes."""
        return len(self.node_x)

    @property
    def edges(self) -> int:
        """Number of directed edges."""
        return len(self.edge_tail)

    @property
    def segments(self) -> int:
        """Number of segments."""
        return len(self.segment_tail)

    def banned_paths(self) -> list[tuple[int, ...]]:
        """Return the forbidden paths of three and more edges."""
        ends = self.banned_path_indptr.tolist()
        edges = self.banned_path_edge.tolist()
        return [tuple(edges[a:b]) for a, b in itertools.pairwise(ends)]

    def segment_line(self, segment: int) -> Floats:
        """Return a segment's geometry, shape (points, 2), metres."""
        part = slice(int(self.geom_indptr[segment]), int(self.geom_indptr[segment + 1]))
        return np.column_stack([self.geom_x[part], self.geom_y[part]])

    def edge_line(self, edge: int) -> Floats:
        """Return an edge's geometry in the direction of travel, shape (points, 2), metres."""
        line = self.segment_line(int(self.edge_segment[edge]))
        return line if self.edge_forward[edge] else line[::-1]


def frontable_segments(network: Network) -> Bools:
    """Roads a driveway may open on: no ramps, bridges, tunnels, motorways or service roads.

    Returns
    -------
    ndarray of bool, shape (G,)
    """
    road_class = np.asarray(network.segment_class)
    good: Bools = (
        (road_class != MOTORWAY)
        & (road_class != SERVICE)
        & ~np.asarray(network.segment_link)
        & ~np.asarray(network.segment_bridge)
        & ~np.asarray(network.segment_tunnel)
        & ~np.asarray(network.segment_roundabout)
    )
    return good

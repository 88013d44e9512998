"""Where are a driver's eyes, second by second, before they pass the driveway?

Walks back along the road a stream comes on, straight over junctions (its own road's name
first), and places eye points every few metres in the stream's lane. Assumes one lane
position: the middle of the stream's lanes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Sheet
from capture.seeing.values import VALUES

if TYPE_CHECKING:
    from capture.place import Network

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
#: finest step and longest walk that are allowed, metres
LEAST_STEP_M: Final = 0.5
MOST_WALK_M: Final = 5000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Approach:
    """Eye points of R streams, nearest to the driveway first; at most K each."""

    #: metres (R, K, 2), 0 beyond ``count``
    eyes: FloatArray
    #: unit direction of travel (R, K, 2)
    heading: FloatArray
    #: segment that the point lies on (R, K), -1 beyond ``count``
    segment: IntArray
    #: eye points of each stream (R,)
    count: IntArray
    #: metres between eye points; the first lies one step before the driveway
    step_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadArrays:
    """What walking back along roads needs of a network, made once."""

    #: in the order that the compiled walk takes
    arrays: tuple[Any, ...]
    #: half the width of each directed piece's own lanes, 0 where one-way, by number (S,)
    offset_m: FloatArray


def prepare_roads(network: Network, *, values: Sheet = VALUES) -> RoadArrays:
    """Prepare a network for walking back along its roads; forbidden turns are not walked."""
    from capture.place.turns import turn_graph

    turns = turn_graph(network)
    segment = np.asarray(network.edge_segment, np.int64)
    forward = np.asarray(network.edge_forward)
    lanes = np.where(forward, np.asarray(network.segment_lanes_forward)[segment],
                     np.asarray(network.segment_lanes_backward)[segment])  # fmt: skip
    two_way = np.asarray(network.edge_reverse) >= 0
    offset = np.where(two_way, 0.5 * np.maximum(lanes, 1.0) * values.value("lane_m"), 0.0)

    def by_piece(values: Any, kind: Any) -> Any:
        made = np.asarray(values, dtype=kind)
        return made if turns.size == len(made) else made[turns.base]

    arrays = (
        turns.base, by_piece(network.edge_tail, np.int64),
        by_piece(network.edge_reverse, np.int64), by_piece(segment, np.int64),
        by_piece(forward, np.bool_), by_piece(network.edge_length_m, np.float64),
        by_piece(_headings(network), np.float64), by_piece(_names(network)[segment], np.int64),
        turns.banned_back, turns.in_start, turns.in_edge,
        np.asarray(network.geom_indptr, np.int64), np.asarray(network.geom_x, np.float64),
        np.asarray(network.geom_y, np.float64),
    )  # fmt: skip
    offset = by_piece(offset, np.float64)
    return RoadArrays(arrays=arrays, offset_m=offset)


def walk_approach(
    roads: RoadArrays,
    edge: IntArray,
    fraction: FloatArray,
    *,
    distance_m: FloatArray,
    driving_side: str,
    values: Sheet = VALUES,
) -> Approach:
    """Walk back from each driveway along the road that its stream comes on.

    Parameters
    ----------
    roads : RoadArrays
        From :func:`prepare_roads`.
    edge, fraction : ndarray, shape (R,)
        Position of each stream at its driveway.
    distance_m : ndarray of float, shape (R,)
        How far to walk.
    driving_side : {"right", "left"}
        Side on which traffic keeps.

    Raises
    ------
    InputError
        When the steps are too fine or the walk too long to be held in memory.
    """
    from capture.seeing.kernels import walk_approaches

    step = values.value("step_m")
    longest = float(np.max(distance_m, initial=0.0))
    if not step >= LEAST_STEP_M or not longest <= MOST_WALK_M:
        raise InputError(
            f"an approach is walked in steps of at least {LEAST_STEP_M:g} m over at most "
            f"{MOST_WALK_M:g} m, got steps of {step:g} m over {longest:g} m; change step_m, "
            "least_walk_m or walk_over_needed"
        )
    points = np.ceil(np.asarray(distance_m, dtype=np.float64) / step).astype(np.int64)
    eyes, ahead, where, count = walk_approaches(
        np.asarray(edge, np.int64), np.asarray(fraction, np.float64), points, step,
        roads.offset_m, 1.0 if driving_side == "right" else -1.0, *roads.arrays,
        float(np.cos(np.radians(values.value("straight_degrees")))),
    )  # fmt: skip
    return Approach(eyes=eyes, heading=ahead, segment=where, count=count, step_m=step)


def _headings(network: Network) -> FloatArray:
    """Directions at the start and end of each directed piece, (E, 4)."""
    x, y = np.asarray(network.geom_x), np.asarray(network.geom_y)
    segment, forward = np.asarray(network.edge_segment), np.asarray(network.edge_forward)
    first = np.asarray(network.geom_indptr)[segment]
    last = np.asarray(network.geom_indptr)[segment + 1] - 1

    def unit(a: IntArray, b: IntArray) -> FloatArray:
        vector = np.stack([x[b] - x[a], y[b] - y[a]], axis=1)
        return np.asarray(vector / np.maximum(np.hypot(*vector.T), 1e-9)[:, None])

    start, end = unit(first, first + 1), unit(last - 1, last)
    turned = forward[:, None]
    return np.hstack([np.where(turned, start, -end), np.where(turned, end, -start)])


def _names(network: Network) -> IntArray:
    """A number for each road name, -1 for none, (G,)."""
    codes = getattr(network.segment_name, "codes", None)
    if codes is not None:
        unnamed = [word == "" for word in network.segment_name.words]
        numbers = np.where(unnamed, -1, np.arange(len(unnamed)))
        return np.asarray(numbers[np.asarray(codes)], dtype=np.int64)
    names = list(network.segment_name)
    index: dict[str, int] = {}
    return np.array(
        [index.setdefault(name, len(index)) if name else -1 for name in names], dtype=np.int64
    )

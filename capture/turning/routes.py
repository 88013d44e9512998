"""How many seconds is it from one place on the road to another, turns and bans counted?

A bounded search over directed road pieces: a state is "just turned onto this piece", so
turn restrictions, turns back and the time each turn takes are respected. Assumes that
positions are a directed piece and a share of its length; only ways shorter than the
limit are found.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import Sheet
from capture.turning.values import VALUES

if TYPE_CHECKING:
    from capture.place import Network

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
#: road classes on which nobody turns back
NO_U_TURN_CLASSES: Final = ("motorway",)


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnMap:
    """A network's directed pieces with what a turn from each onto the next costs.

    Pieces are numbered as :func:`capture.place.turns.turn_graph` does: the E edges, then the
    twins of those in the middle of a turn restriction that spans whole roads; S in all.
    """

    #: number of edges E
    edges: int
    #: the edge that each piece is (S,)
    base: IntArray
    #: outgoing pieces by node, for driving on: pointer (N+1,) and pieces
    indptr: IntArray
    out_edge: NDArray[np.int32]
    #: incoming pieces by node, for walking back: pointer (N+1,) and pieces
    in_indptr: IntArray
    in_edge: NDArray[np.int32]
    #: end nodes of each piece (S,)
    tail: NDArray[np.int32]
    head: NDArray[np.int32]
    #: the same road the other way, an edge, -1 where one-way (S,)
    reverse: NDArray[np.int32]
    #: time and length of each piece (S,)
    seconds: FloatArray
    length_m: FloatArray
    #: unit direction at the start and the end of each piece (S, 4): x, y, x, y
    headings: FloatArray
    #: sorted codes from * S + to of forbidden turns, driving on and walking back
    banned: IntArray
    banned_back: IntArray
    #: time of joining each piece by turning back onto it, inf where nobody does (S,)
    join_s: FloatArray
    #: longest link through a median, metres
    link_m: float
    #: signals (N,)
    signal: NDArray[np.bool_]
    #: time of a near-side turn, of a turn across, and of waiting at a signal besides
    near_turn_s: float
    cross_turn_s: float
    signal_s: float
    #: +1 where a turn to the left crosses oncoming traffic, -1 where one to the right does
    cross_sign: float
    #: cosine of the largest bend that is straight on
    straight_cosine: float


def compute_headings(network: Network) -> FloatArray:
    """Compute the unit directions at both ends of every directed piece.

    Returns
    -------
    ndarray of float, shape (E, 4)
        Direction at the start (x, y), then at the end (x, y), in travel direction.
    """
    x, y = np.asarray(network.geom_x), np.asarray(network.geom_y)
    indptr = np.asarray(network.geom_indptr)
    segment = np.asarray(network.edge_segment)
    forward = np.asarray(network.edge_forward)
    first, last = indptr[segment], indptr[segment + 1] - 1

    def unit(here: IntArray, there: IntArray) -> FloatArray:
        vector = np.stack([x[there] - x[here], y[there] - y[here]], axis=1)
        size = np.hypot(vector[:, 0], vector[:, 1])
        return np.asarray(vector / np.maximum(size, 1e-9)[:, None])

    at_first, at_last = unit(first, first + 1), unit(last - 1, last)
    start = np.where(forward[:, None], at_first, -at_last)
    end = np.where(forward[:, None], at_last, -at_first)
    return np.ascontiguousarray(np.hstack([start, end]))


def make_turn_map(
    network: Network, *, driving_side: str, join_s: FloatArray, values: Sheet = VALUES
) -> TurnMap:
    """Make the turn map of a network.

    Parameters
    ----------
    network : Network
        Directed pieces sorted by their tail.
    driving_side : {"right", "left"}
        Side on which traffic keeps.
    join_s : ndarray of float, shape (E,)
        Time of joining each piece by turning back onto it, inf where nobody does.
    """
    from capture.place.turns import turn_graph

    graph = turn_graph(network)

    def by_piece(values: Any, kind: Any) -> Any:
        made = np.asarray(values, dtype=kind)
        return made if graph.size == len(made) else made[graph.base]

    return TurnMap(
        edges=network.edges,
        base=graph.base,
        indptr=graph.out_start,
        out_edge=graph.out_edge,
        in_indptr=graph.in_start,
        in_edge=graph.in_edge,
        tail=by_piece(network.edge_tail, np.int32),
        head=by_piece(network.edge_head, np.int32),
        reverse=by_piece(network.edge_reverse, np.int32),
        seconds=by_piece(network.edge_seconds, np.float64),
        length_m=by_piece(network.edge_length_m, np.float64),
        headings=by_piece(compute_headings(network), np.float64),
        banned=graph.banned_on,
        banned_back=graph.banned_back,
        join_s=by_piece(join_s, np.float64),
        link_m=values.value("median_link_m"),
        signal=np.asarray(network.node_signal, dtype=np.bool_),
        near_turn_s=values.value("junction_near_turn_s"),
        cross_turn_s=values.value("junction_cross_turn_s"),
        signal_s=values.value("junction_signal_s"),
        cross_sign=1.0 if driving_side == "right" else -1.0,
        straight_cosine=float(np.cos(np.radians(values.value("straight_degrees")))),
    )


def find_leads(
    turns: TurnMap, edge: IntArray, fraction: FloatArray, *, distance_m: float
) -> tuple[IntArray, FloatArray, IntArray, FloatArray]:
    """Find where a stream comes from and goes on to, straight along its road.

    Parameters
    ----------
    turns : TurnMap
        Where.
    edge, fraction : ndarray, shape (R,)
        Position of each stream at its driveway.
    distance_m : float
        How far to go at least, where the road goes on.

    Returns
    -------
    tuple
        First piece, seconds from its start to the position, last piece, seconds from the
        position to its end; each of shape (R,).
    """
    from capture.turning.kernels import walk_leads

    made: tuple[IntArray, FloatArray, IntArray, FloatArray] = walk_leads(
        np.asarray(edge, np.int64), np.asarray(fraction, np.float64), float(distance_m),
        *_arrays(turns), turns.in_indptr, turns.in_edge, turns.banned_back, turns.length_m,
        turns.straight_cosine,
    )  # fmt: skip
    return made


def find_marks(
    turns: TurnMap, edge: IntArray, fraction: FloatArray, *, distance_m: float
) -> FloatArray:
    """Find how far the next signal and the next junction are along each stream's road.

    Returns
    -------
    ndarray of float, shape (R, 4)
        Metres to a signal before and after the position, then to a junction of three or
        more legs before and after it; inf where there is none within ``distance_m``.
    """
    from capture.turning.kernels import walk_marks

    nodes = turns.indptr.size - 1
    tail, head = turns.tail[: turns.edges], turns.head[: turns.edges]
    one_way = turns.reverse[: turns.edges] < 0
    legs = np.bincount(tail, minlength=nodes) + np.bincount(head[one_way], minlength=nodes)
    made: FloatArray = walk_marks(
        np.asarray(edge, np.int64), np.asarray(fraction, np.float64), float(distance_m),
        *_arrays(turns), turns.in_indptr, turns.in_edge, turns.banned_back, turns.length_m,
        turns.straight_cosine, turns.signal, legs >= 3,
    )  # fmt: skip
    return made


def find_routes(
    turns: TurnMap,
    *,
    start_edge: IntArray,
    start_fraction: FloatArray,
    target_indptr: IntArray,
    target_edge: IntArray,
    target_fraction: FloatArray,
    limit_s: FloatArray,
) -> tuple[FloatArray, IntArray]:
    """Find the quickest way from each start to each of its targets.

    Parameters
    ----------
    turns : TurnMap
        Where.
    start_edge, start_fraction : ndarray, shape (n,)
        Starts.
    target_indptr : ndarray of int, shape (n+1,)
        Which targets belong to which start.
    target_edge, target_fraction : ndarray, shape (P,)
        Targets.
    limit_s : ndarray of float, shape (n,)
        Longest way looked for from each start.

    Returns
    -------
    tuple
        Seconds (P,), inf where there is no way within the limit, and how often the way
        turns back (P,).
    """
    from capture.turning.kernels import search_routes

    made: tuple[FloatArray, IntArray] = search_routes(
        np.asarray(start_edge, np.int64), np.asarray(start_fraction, np.float64),
        np.asarray(target_indptr, np.int64), np.asarray(target_edge, np.int64),
        np.asarray(target_fraction, np.float64), np.asarray(limit_s, np.float64), *_arrays(turns),
        turns.length_m, turns.join_s, turns.signal, turns.near_turn_s, turns.cross_turn_s,
        turns.signal_s, turns.link_m, turns.cross_sign, turns.straight_cosine,
    )  # fmt: skip
    return made


def _arrays(turns: TurnMap) -> tuple[Any, ...]:
    return (
        turns.base,
        turns.indptr,
        turns.out_edge,
        turns.tail,
        turns.head,
        turns.reverse,
        turns.seconds,
        turns.headings,
        turns.banned,
    )

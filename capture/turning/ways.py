"""By which ways can a passing driver get in, and by which back to the way they were going?

For every stream the ways in are: turn in where it passes; or reach any other stream of
the same site (the other direction, by turning back or round the block, or the other road
of a corner site) and turn in there. Ways out mirror them. The time of a way is what it
adds to driving past. Crossing is possible unless a raised median or the driveway itself
forbids it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from capture.basis import Sheet
from capture.turning.gaps import compute_capacity, compute_delay
from capture.turning.headways import compute_headways
from capture.turning.routes import NO_U_TURN_CLASSES, TurnMap, find_leads, find_routes

if TYPE_CHECKING:
    from capture.passing import Streams, Volumes
    from capture.place import Network

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """All pairs of a stream and a stream of the same site by which it may turn in or out."""

    #: first pair of each stream (R+1,)
    indptr: IntArray
    #: the stream that is passing (P,)
    stream: IntArray
    #: the stream in whose lane it turns in or out (P,)
    by: IntArray
    #: what the way in adds to driving past, s, inf where there is none (P,)
    in_detour_s: FloatArray
    #: how often the way in turns back (P,)
    in_backs: IntArray
    #: the same for the way out (P,)
    out_detour_s: FloatArray
    out_backs: IntArray


def pair_streams(site: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Pair each stream with every stream of its site, itself included.

    Parameters
    ----------
    site : ndarray of int, shape (R,)
        Site of each stream.

    Returns
    -------
    tuple of ndarray of int
        Pointer (R+1,), the stream (P,) and its partner (P,), partners in rising order.

    Examples
    --------
    >>> pointer, stream, by = pair_streams(np.array([0, 1, 0]))
    >>> pointer.tolist(), stream.tolist(), by.tolist()
    ([0, 2, 3, 5], [0, 0, 1, 2, 2], [0, 2, 1, 0, 2])
    """
    order = np.argsort(site, kind="stable")
    ordered = site[order]
    first = np.searchsorted(ordered, site, side="left")
    last = np.searchsorted(ordered, site, side="right")
    pointer = np.concatenate([[0], np.cumsum(last - first)]).astype(np.int64)
    stream = np.repeat(np.arange(site.size), last - first)
    within = np.arange(pointer[-1]) - pointer[:-1][stream]
    return pointer, stream, order[first[stream] + within]


def compute_join_seconds(
    network: Network,
    volumes: Volumes,
    *,
    values: Sheet,
) -> FloatArray:
    """Compute what joining each directed piece by turning back onto it takes.

    Parameters
    ----------
    network : Network
        Roads.
    volumes : Volumes
        Their traffic; a piece without any is taken as empty.

    Returns
    -------
    ndarray of float, shape (E,)
        Gap waited for plus manoeuvre, s, capped; inf on motorways and roundabouts.
    """
    from capture.place.values import ROAD_CLASSES

    segment = np.asarray(network.edge_segment)
    flow = np.nan_to_num(np.asarray(volumes.edge_vehicles_per_day, dtype=np.float64))
    lanes = np.asarray(network.segment_lanes, dtype=np.float64)[segment]
    both = np.where(np.asarray(network.segment_oneway)[segment], 2.0 * lanes, lanes)
    critical, follow_up = compute_headways("u_turn", lanes=both, values=values)
    capacity = compute_capacity(
        flow * values.value("join_hour_share"), critical_s=critical, follow_up_s=follow_up
    )
    delay = compute_delay(values.value("entering_veh_h"), capacity, values=values)
    taken = np.minimum(delay, values.value("delay_cap_s")) + values.value("u_turn_manoeuvre_s")
    never = [ROAD_CLASSES.index(name) for name in NO_U_TURN_CLASSES if name in ROAD_CLASSES]
    closed = (
        np.isin(np.asarray(network.segment_class)[segment], never)
        | np.asarray(network.segment_roundabout)[segment]
    )
    return np.where(closed, np.inf, taken)


def find_openings(network: Network, streams: Streams, *, values: Sheet) -> NDArray[np.bool_]:
    """Find the streams in front of whose driveway the map shows an opening in the median.

    Parameters
    ----------
    network : Network
        Roads.
    streams : Streams
        R streams.

    Returns
    -------
    ndarray of bool, shape (R,)
        Whether a short link leaves the stream's road within reach of the driveway and
        meets the other carriageway there; True for far streams behind a raised median only.
    """
    from capture.place.values import RAISED_MEDIAN

    edge, fraction = np.asarray(streams.edge, np.int64), np.asarray(streams.fraction, np.float64)
    far = ~np.asarray(streams.near_side, dtype=bool)
    far &= np.asarray(streams.separation) == RAISED_MEDIAN
    length = np.asarray(network.edge_length_m)[edge]
    reach, link = values.value("opening_reach_m"), values.value("median_link_m")
    opened = np.zeros(edge.size, dtype=bool)
    for r in np.flatnonzero(far & (np.minimum(fraction, 1 - fraction) * length <= reach)).tolist():
        e = int(edge[r])
        ends = [(fraction[r], network.edge_tail[e]), (1 - fraction[r], network.edge_head[e])]
        near = _near_nodes(network, streams, r)
        for share, node in ends:
            if share * length[r] > reach:
                continue
            at = slice(int(network.indptr[node]), int(network.indptr[node + 1]))
            short = np.asarray(network.edge_length_m)[at] <= link
            opened[r] |= bool(np.isin(np.asarray(network.edge_head)[at][short], near).any())
    return opened


def _near_nodes(network: Network, streams: Streams, r: int) -> IntArray:
    """Ends of the pieces on which the same driveway's near streams pass."""
    rows = np.flatnonzero(
        (np.asarray(streams.driveway) == streams.driveway[r]) & np.asarray(streams.near_side)
    )
    edges = np.asarray(streams.edge)[rows].astype(np.int64)
    return np.concatenate([network.edge_tail[edges], network.edge_head[edges]]).astype(np.int64)


def find_ways(
    turns: TurnMap,
    *,
    site: IntArray,
    edge: IntArray,
    fraction: FloatArray,
    own_in_s: FloatArray,
    own_out_s: FloatArray,
    values: Sheet,
) -> Ways:
    """Find the time that each way in and out adds to driving past.

    Parameters
    ----------
    turns : TurnMap
        Roads.
    site, edge, fraction : ndarray, shape (R,)
        Site and position of each stream.
    own_in_s, own_out_s : ndarray of float, shape (R,)
        Longest wait of turning in and out where the stream passes, inf where that is shut;
        a way that adds more is never taken and not looked for.
    """
    pointer, stream, by = pair_streams(site)
    first, before, last, after = find_leads(
        turns, edge, fraction, distance_m=values.value("route_lead_m")
    )
    limit = values.value("route_limit_s")
    most_in, most_out = np.minimum(own_in_s, limit), np.minimum(own_out_s, limit)
    in_s, in_backs = find_routes(
        turns, start_edge=first, start_fraction=np.zeros(site.size), target_indptr=pointer,
        target_edge=edge[by], target_fraction=fraction[by], limit_s=before + most_in,
    )  # fmt: skip
    # the way out of every stream leads from each partner: searched from the partner
    longest = np.zeros(site.size)
    np.maximum.at(longest, stream, np.where(stream == by, 0.0, (after + most_out)[by]))
    out_s, out_backs = find_routes(
        turns, start_edge=edge, start_fraction=fraction, target_indptr=pointer,
        target_edge=last[by], target_fraction=np.ones(by.size), limit_s=longest,
    )  # fmt: skip
    mirror = _mirror(pointer, stream, by)
    own = stream == by
    return Ways(
        indptr=pointer,
        stream=stream,
        by=by,
        in_detour_s=_added(in_s, before[stream], most_in[stream], own),
        in_backs=np.where(own, 0, in_backs),
        out_detour_s=_added(out_s[mirror], after[stream], most_out[stream], own),
        out_backs=np.where(own, 0, out_backs[mirror]),
    )


def _added(
    total: FloatArray, base: FloatArray, most: FloatArray, own: NDArray[np.bool_]
) -> FloatArray:
    added = np.maximum(total - base, 0.0)
    return np.where(own, 0.0, np.where(added <= most, added, np.inf))


def _mirror(pointer: IntArray, stream: IntArray, by: IntArray) -> IntArray:
    """Find for each pair (a, b) where the pair (b, a) stands: partners are in one order."""
    place_of = np.empty(stream.size, dtype=np.int64)
    code = stream * (pointer.size) + by
    order = np.argsort(code, kind="stable")
    wanted = by * (pointer.size) + stream
    place_of[:] = order[np.searchsorted(code[order], wanted)]
    return place_of

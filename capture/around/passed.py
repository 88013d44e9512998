"""Which share of a stream has just driven past another wash?

The stream is followed upstream, against traffic, for a few minutes, splitting over the roads
that feed it. A driver who passed a wash counts with that wash's likeness, one who passed
several with the greatest. Where the map ends nothing is known, so shares near the edge are
at the low side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.around.beside import Beside
from capture.around.feeders import Feeders
from capture.basis import InputError, Sheet
from capture.place.network import Network

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def compute_passed_first(
    network: Network,
    feeders: Feeders,
    beside: Beside,
    edge: ArrayLike,
    fraction: ArrayLike,
    *,
    values: Sheet,
) -> FloatArray:
    r"""Compute the share of each stream that has just driven past a rival.

    Parameters
    ----------
    network : Network
    feeders : Feeders
    beside : Beside
        Rivals only, not the site itself.
    edge : array_like of int, shape (R,)
        Edge of each stream at the site.
    fraction : array_like, shape (R,)
        Share of that edge driven when the site is reached.
    values : Sheet
        ``passed_window_s`` and ``passed_step_s``.

    Returns
    -------
    ndarray of float, shape (R,)
        0 to 1; likeness of the most alike rival passed, averaged over the stream.

    Raises
    ------
    InputError
        For an edge that the network does not have.

    Notes
    -----
    With :math:`P_l(e, t)` the chance that who leaves edge *e* has passed a rival of
    likeness *l* or more within the last *t* seconds, :math:`P_l(e, t) = 1` when the edge
    has such a rival within *t*, else :math:`\sum_f s_{fe} P_l(f, t - t_e)` over the edges
    that feed it; the mean of the greatest likeness passed is
    :math:`\sum_l (l - l_{-1}) P_l`. Time runs in steps, between which chances are
    interpolated.
    """
    from capture.around.passed_kernel import fill_chances

    at = np.atleast_1d(np.asarray(edge, dtype=np.int64))
    along = np.atleast_1d(np.asarray(fraction, dtype=np.float64))
    if at.size and not ((at >= 0) & (at < network.edges)).all():
        raise InputError(f"streams must lie on edges 0 to {network.edges - 1}; snap them again")
    window = values.value("passed_window_s")
    steps = max(1, math.ceil(window / values.value("passed_step_s")))
    seconds = np.asarray(network.edge_seconds, dtype=np.float64)
    found = np.zeros(len(at))
    active = _find_between(feeders, beside, at, seconds, window)
    if not len(active):
        return found
    feed_start, feed_at, feed_share = _take_feeders(feeders, active, network.edges)
    place = np.full(network.edges, -1, dtype=np.int64)
    place[active] = np.arange(len(active))
    streams = _lay_streams(
        feeders, beside, at, along, place=place, seconds=seconds, window_s=window
    )
    before = 0.0
    for level in np.unique(beside.weight[beside.weight > 0]):
        first = _last_pass_s(beside, seconds, level)
        chance = fill_chances(
            seconds[active], first[active], feed_start, feed_at, feed_share, window / steps, steps
        )
        found += (level - before) * _look_back(streams, chance, window / steps, level)
        before = float(level)
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Streams:
    """Streams with what lies behind them, laid flat."""

    #: number of streams
    count: int
    #: seconds left of the window at the start of the own edge, (R,)
    left_s: FloatArray
    #: stream, weight of each rival passed on the own edge
    own_row: IntArray
    own_weight: FloatArray
    #: stream, place among the edges looked at, share of each feeder of the own edge
    fed_row: IntArray
    fed_at: IntArray
    fed_share: FloatArray


def _lay_streams(
    feeders: Feeders,
    beside: Beside,
    edge: IntArray,
    fraction: FloatArray,
    *,
    place: IntArray,
    seconds: FloatArray,
    window_s: float,
) -> _Streams:
    row, rival = _expand(beside.indptr, edge)
    ahead = (fraction[row] - beside.fraction[rival]) * seconds[edge[row]]
    passed = (ahead >= 0) & (ahead <= window_s)
    fed_row, fed = _expand(feeders.indptr, edge)
    fed_at = place[feeders.edge[fed]]
    known = fed_at >= 0
    return _Streams(
        count=len(edge),
        left_s=window_s - fraction * seconds[edge],
        own_row=row[passed],
        own_weight=beside.weight[rival[passed]],
        fed_row=fed_row[known],
        fed_at=fed_at[known],
        fed_share=feeders.share[fed[known]],
    )


def _expand(indptr: IntArray, index: IntArray) -> tuple[IntArray, IntArray]:
    """List the entries of some rows of a sparse table: place in ``index``, entry."""
    counts = np.diff(indptr)[index]
    start = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    row = np.repeat(np.arange(len(index)), counts)
    return row, np.repeat(indptr[index] - start[:-1], counts) + np.arange(start[-1])


def _find_between(
    feeders: Feeders, beside: Beside, streams: IntArray, seconds: FloatArray, window_s: float
) -> IntArray:
    """Find the edges that lie within the window after some rival and before some stream."""
    from scipy.sparse.csgraph import dijkstra

    starts = np.flatnonzero(np.diff(beside.indptr) > 0)
    if not len(starts) or not len(streams):
        return np.empty(0, dtype=np.int64)
    limit = window_s + float(seconds.max())
    after = dijkstra(feeders.onward, indices=starts, min_only=True, limit=limit)
    before = dijkstra(feeders.back, indices=np.unique(streams), min_only=True, limit=limit)
    return np.flatnonzero(np.isfinite(after) & np.isfinite(before))


def _take_feeders(
    feeders: Feeders, active: IntArray, edges: int
) -> tuple[IntArray, IntArray, FloatArray]:
    """Take the feeders of some edges, numbered by their place among them, -1 if not among."""
    place = np.full(edges, -1, dtype=np.int64)
    place[active] = np.arange(len(active))
    counts = np.diff(feeders.indptr)[active]
    start = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    _, rows = _expand(feeders.indptr, active)
    return start, place[feeders.edge[rows]], feeders.share[rows]


def _last_pass_s(beside: Beside, seconds: FloatArray, level: float) -> FloatArray:
    """Seconds from the last rival of the level on each edge to the edge's end, inf if none."""
    edge = np.repeat(np.arange(len(seconds)), np.diff(beside.indptr))
    held = beside.weight >= level
    first = np.full(len(seconds), np.inf)
    np.minimum.at(first, edge[held], ((1.0 - beside.fraction) * seconds[edge])[held])
    return first


def _look_back(streams: _Streams, chance: FloatArray, step_s: float, level: float) -> FloatArray:
    """Look back from each stream's site: its own edge first, then what feeds it."""
    steps = np.maximum(streams.left_s, 0.0) / step_s
    below = np.minimum(np.floor(steps).astype(np.int64), len(chance) - 1)
    above = np.minimum(below + 1, len(chance) - 1)
    row, at = streams.fed_row, streams.fed_at
    part = (steps - below)[row]
    mixed = chance[below[row], at] * (1 - part) + chance[above[row], at] * part
    summed = np.bincount(row, streams.fed_share * mixed, minlength=streams.count)
    passed = np.asarray(summed, dtype=np.float64)
    passed[streams.left_s < 0] = 0.0
    passed[streams.own_row[streams.own_weight >= level]] = 1.0
    return passed

"""Which share of a stream has just driven past another wash?

The stream is followed upstream, against traffic, for a few minutes, splitting over the roads
that feed it. A driver who passed a wash counts with that wash's likeness, one who passed
several with the greatest. Where the map ends nothing is known, so shares near the edge are
at the low side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.around.beside import Beside
from capture.around.feeders import Feeders
from capture.basis import InputError, Sheet
from capture.place.network import Network

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: a table larger than this is made anew each time
_MOST_KEPT_BYTES = 200_000_000


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
    at = np.atleast_1d(np.asarray(edge, dtype=np.int64))
    along = np.atleast_1d(np.asarray(fraction, dtype=np.float64))
    if at.size and not ((at >= 0) & (at < network.edges)).all():
        raise InputError(f"streams must lie on edges 0 to {network.edges - 1}; snap them again")
    chances = _recall_chances(network, feeders, beside, values)
    streams = _lay_streams(feeders, beside, at, along, network=network, chances=chances)
    found = np.zeros(len(at))
    before = 0.0
    for level, table in zip(chances.levels.tolist(), chances.tables, strict=True):
        found += (level - before) * _look_back(streams, table, chances.step_s, level)
        before = level
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chances:
    """The chance of having passed a rival, for A numbers that some rival lies before."""

    #: likenesses that occur, rising, (L,)
    levels: FloatArray
    #: for each level, by step of time and number, (steps + 1, A)
    tables: tuple[FloatArray, ...]
    #: which of the A each number of the feeders is, -1 for none, (S,)
    place: IntArray
    #: seconds of a step
    step_s: float
    #: seconds looked back
    window_s: float


_CHANCES: WeakKeyDictionary[Network, tuple[Feeders, Beside, Chances]] = WeakKeyDictionary()


def _recall_chances(network: Network, feeders: Feeders, beside: Beside, values: Sheet) -> Chances:
    """Return the table of the same roads, flows and rivals as last time, or make it anew."""
    window = values.value("passed_window_s")
    steps = max(1, math.ceil(window / values.value("passed_step_s")))
    kept = _CHANCES.get(network)
    if kept and kept[0] is feeders and kept[1] is beside:
        same = kept[2].window_s == window and kept[2].step_s == window / steps
        if same:
            return kept[2]
    made = _make_chances(network, feeders, beside, window_s=window, steps=steps)
    if sum(table.nbytes for table in made.tables) <= _MOST_KEPT_BYTES:
        _CHANCES[network] = (feeders, beside, made)
    return made


def _make_chances(
    network: Network, feeders: Feeders, beside: Beside, *, window_s: float, steps: int
) -> Chances:
    """Fill the table for every likeness that occurs; it does not depend on any stream."""
    from capture.around.passed_kernel import fill_chances

    edge_seconds = np.asarray(network.edge_seconds, dtype=np.float64)
    seconds = edge_seconds[feeders.base]
    active = _find_downstream(feeders, beside, seconds, window_s)
    feed_start, feed_at, feed_share = _take_feeders(feeders, active)
    levels = np.unique(beside.weight[beside.weight > 0])
    step = window_s / steps
    tables = []
    for level in levels.tolist():
        first = _last_pass_s(beside, edge_seconds, level)[feeders.base[active]]
        tables.append(
            fill_chances(seconds[active], first, feed_start, feed_at, feed_share, step, steps)
        )
    place = np.full(len(feeders.base), -1, dtype=np.int64)
    place[active] = np.arange(len(active))
    return Chances(levels=levels, tables=tuple(tables), place=place, step_s=step, window_s=window_s)


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
    network: Network,
    chances: Chances,
) -> _Streams:
    seconds, window_s = np.asarray(network.edge_seconds, np.float64), chances.window_s
    row, rival = _expand(beside.indptr, edge)
    ahead = (fraction[row] - beside.fraction[rival]) * seconds[edge[row]]
    passed = (ahead >= 0) & (ahead <= window_s)
    fed_row, fed = _expand(feeders.indptr, edge)
    fed_at = chances.place[feeders.edge[fed]]
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


def _find_downstream(
    feeders: Feeders, beside: Beside, seconds: FloatArray, window_s: float
) -> IntArray:
    """Find the numbers whose start some rival lies within the window before, or that hold one."""
    from scipy.sparse.csgraph import dijkstra

    starts = np.flatnonzero(np.diff(beside.indptr)[feeders.base] > 0)
    if not len(starts):
        return starts
    limit = window_s + float(seconds.max())
    after = dijkstra(feeders.onward, indices=starts, min_only=True, limit=limit)
    return np.flatnonzero(after - seconds <= window_s)


def _take_feeders(feeders: Feeders, active: IntArray) -> tuple[IntArray, IntArray, FloatArray]:
    """Take the feeders of some numbers, as their place among them, -1 if not among."""
    place = np.full(len(feeders.base), -1, dtype=np.int64)
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

"""Along which road does a driver come to a place?

Walks back from a position against the direction of travel: at each junction the predecessor
that runs straightest on, one of the same name before any other.
"""

from __future__ import annotations

import numpy as np

from capture.basis import InputError
from capture.place.network import Floats, Longs, Network
from capture.place.turns import TurnGraph, turn_graph

#: cosine below which a predecessor is a turn of more than 60 degrees and of another name
_LEAST_COSINE = 0.5
_SAME_NAME_BONUS = 2.5


def walk_upstream(network: Network, edge: int, fraction: float, *, distance_m: float) -> Floats:
    """Return the path that leads to a position.

    Parameters
    ----------
    network : Network
        The roads.
    edge : int
        Edge the position lies on.
    fraction : float
        Share of the edge's length, 0-1, in the direction of travel.
    distance_m : float
        How far back.

    Returns
    -------
    ndarray of float, shape (k, 2)
        Metres, in the direction of travel, ending at the position; shorter than asked where
        the road begins.

    Raises
    ------
    InputError
        When the edge, fraction or distance is out of range.
    """
    if not (0 <= edge < network.edges and 0 <= fraction <= 1 and distance_m > 0):
        raise InputError(
            f"upstream: edge must be 0 to {network.edges - 1}, fraction 0 to 1, distance above "
            f"0 m, got {edge}, {fraction}, {distance_m}; mend them"
        )
    lines = [_cut_end(network.edge_line(edge), fraction * float(network.edge_length_m[edge]))]
    walked = fraction * float(network.edge_length_m[edge])
    turns = turn_graph(network)
    seen = {edge}
    number = edge
    while walked < distance_m:
        number = _step_back(network, turns, number)
        previous = int(turns.base[number]) if number >= 0 else -1
        if previous < 0 or previous in seen:
            break
        seen.add(previous)
        lines.append(network.edge_line(previous)[:-1])
        walked += float(network.edge_length_m[previous])
    path = np.concatenate(lines[::-1])
    return _cut_start(path, distance_m)


def upstream_edge(network: Network, edge: int) -> int:
    """Return the edge that drivers on ``edge`` most likely came from, -1 if there is none."""
    turns = turn_graph(network)
    number = _step_back(network, turns, edge)
    return int(turns.base[number]) if number >= 0 else -1


def _step_back(network: Network, turns: TurnGraph, number: int) -> int:
    """The number that drivers most likely came from, given what they drive next; -1 if none."""
    edge = int(turns.base[number])
    tail = int(network.edge_tail[edge])
    numbers = turns.in_edge[turns.in_start[tail] : turns.in_start[tail + 1]].astype(np.int64)
    numbers = numbers[turns.base[numbers] != network.edge_reverse[edge]]
    numbers = numbers[~np.isin(numbers * turns.size + number, turns.banned_back)]
    codes, words = network.segment_name.codes, network.segment_name.words
    mine = codes[network.edge_segment[edge]]
    heading = _heading(network.edge_line(edge)[:2])
    best, best_score = -1, -np.inf
    for candidate in numbers.tolist():
        came = int(turns.base[candidate])
        cosine = float(heading @ _heading(network.edge_line(came)[-2:]))
        same = bool(codes[network.edge_segment[came]] == mine and words[mine])
        if not same and cosine < _LEAST_COSINE:
            continue
        score = cosine + _SAME_NAME_BONUS * same
        if score > best_score:
            best, best_score = candidate, score
    return best


def _heading(line: Floats) -> Floats:
    step = line[1] - line[0]
    unit: Floats = step / max(float(np.hypot(*step)), 1e-9)
    return unit


def _along(line: Floats) -> Floats:
    steps = np.hypot(np.diff(line[:, 0]), np.diff(line[:, 1]))
    return np.concatenate([[0.0], np.cumsum(steps)])


def _cut_end(line: Floats, length_m: float) -> Floats:
    along = _along(line)
    keep: Longs = np.flatnonzero(along < length_m - 1e-9)
    end = [np.interp(length_m, along, line[:, 0]), np.interp(length_m, along, line[:, 1])]
    return np.vstack([line[keep], end])


def _cut_start(line: Floats, length_m: float) -> Floats:
    return _cut_end(line[::-1], min(length_m, float(_along(line)[-1])))[::-1].copy()

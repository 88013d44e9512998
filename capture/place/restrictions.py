"""Which pairs of directed edges may not be driven one after the other?

A ``no_...`` restriction forbids its own turn; an ``only_...`` forbids all the others. A
restriction whose middle is a way forbids the whole path over it. One whose ways do not meet
is counted in the notes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from capture.place.network import Ints, Longs
from capture.place.raw import Raw, Restriction

#: most edges before the last of a forbidden path
_MOST_PATH = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Bans:
    """Forbidden pairs of edges, sorted by the first."""

    banned_from: Ints
    banned_to: Ints
    #: forbidden paths of three and more edges
    paths: tuple[tuple[int, ...], ...]
    notes: tuple[str, ...]


def resolve_restrictions(
    raw: Raw, node_id: Longs, edges: Mapping[str, Any], segment_way: Longs
) -> Bans:
    """Turn restrictions on ways into forbidden pairs of edges.

    Parameters
    ----------
    raw : Raw
        Restrictions as read.
    node_id : ndarray, shape (N,)
        Ids of the network's nodes.
    edges : mapping
        Edge columns of the network.
    segment_way : ndarray, shape (G,)
        Way of each segment.
    """
    found: set[tuple[int, int]] = set()
    paths: set[tuple[int, ...]] = set()
    unused = 0
    if raw.restrictions:
        into = np.argsort(edges["edge_head"], kind="stable")
        into_start = np.searchsorted(edges["edge_head"][into], np.arange(len(node_id) + 1))
        way = segment_way[edges["edge_segment"]]
        asked = [r.via_node for r in raw.restrictions]
        node_of = {int(node_id[k]): int(k) for k in np.flatnonzero(np.isin(node_id, asked))}
        for restriction in raw.restrictions:
            if restriction.via_ways:
                over = _paths(restriction, edges, way)
                unused += not over
                paths |= over
                continue
            node = node_of.get(restriction.via_node, -1)
            if node < 0:
                unused += 1
                continue
            entering = into[into_start[node] : into_start[node + 1]]
            leaving = np.arange(edges["indptr"][node], edges["indptr"][node + 1])
            pairs = _pairs(restriction, entering, leaving, way, edges["edge_reverse"])
            unused += not pairs
            found |= pairs
    pairs_array = np.array(sorted(found), dtype=np.int32).reshape(-1, 2)
    notes = []
    if unused:
        notes.append(f"{unused} turn restrictions do not fit the roads read and are not applied")
    return Bans(
        banned_from=pairs_array[:, 0],
        banned_to=pairs_array[:, 1],
        paths=tuple(sorted(paths)),
        notes=tuple(notes),
    )


def _pairs(
    restriction: Restriction, entering: Longs, leaving: Longs, way: Longs, reverse: Ints
) -> set[tuple[int, int]]:
    sources = entering[np.isin(way[entering], restriction.from_ways)]
    targets = leaving[np.isin(way[leaving], restriction.to_ways)]
    pairs: set[tuple[int, int]] = set()
    if len(targets) == 0:
        return pairs
    for source in sources.tolist():
        back = int(reverse[source])
        if restriction.kind.startswith("only_"):
            allowed = set(targets.tolist()) | {back}
            pairs |= {(source, int(t)) for t in leaving.tolist() if t not in allowed}
        elif restriction.kind == "no_u_turn":
            pairs |= {(source, int(t)) for t in targets.tolist()}
        else:
            pairs |= {(source, int(t)) for t in targets.tolist() if t != back}
    return pairs


def _paths(restriction: Restriction, edges: Mapping[str, Any], way: Longs) -> set[tuple[int, ...]]:
    """Forbidden paths over the ways in the middle, at most a few edges long."""
    indptr, head, reverse = edges["indptr"], edges["edge_head"], edges["edge_reverse"]
    middle = set(restriction.via_ways)
    found: set[tuple[int, ...]] = set()
    waiting: list[tuple[int, ...]] = [
        (int(e),) for e in np.flatnonzero(np.isin(way, restriction.from_ways))
    ]
    while waiting:
        path = waiting.pop()
        last = path[-1]
        leaving = range(int(indptr[head[last]]), int(indptr[head[last] + 1]))
        onward = [e for e in leaving if e != reverse[last] and e not in path]
        if len(path) > 1 and middle <= {int(way[e]) for e in path[1:]}:
            targets = [e for e in onward if way[e] in restriction.to_ways]
            if targets and restriction.kind.startswith("only_"):
                found |= {(*path, e) for e in onward if e not in targets}
            else:
                found |= {(*path, e) for e in targets}
        if len(path) < _MOST_PATH:
            waiting += [(*path, e) for e in onward if int(way[e]) in middle]
    return found

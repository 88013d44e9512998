"""Which pairs of directed edges may not be driven one after the other?

A ``no_...`` restriction forbids its own turn; an ``only_...`` forbids all the others. A
restriction whose middle is a way instead of a node forbids nothing here and is counted in
the notes, as is one whose ways do not meet its node.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from capture.place.network import Ints, Longs
from capture.place.raw import Raw, Restriction


@dataclass(frozen=True, slots=True, kw_only=True)
class Bans:
    """Forbidden pairs of edges, sorted by the first."""

    banned_from: Ints
    banned_to: Ints
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
    unused = over_ways = 0
    if raw.restrictions:
        into = np.argsort(edges["edge_head"], kind="stable")
        into_start = np.searchsorted(edges["edge_head"][into], np.arange(len(node_id) + 1))
        way = segment_way[edges["edge_segment"]]
        node_of = {int(number): k for k, number in enumerate(node_id)}
        for restriction in raw.restrictions:
            if restriction.via_ways:
                over_ways += 1
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
    if over_ways:
        notes.append(f"{over_ways} turn restrictions that span a whole road are not applied")
    if unused:
        notes.append(f"{unused} turn restrictions do not fit the roads read and are not applied")
    return Bans(banned_from=pairs_array[:, 0], banned_to=pairs_array[:, 1], notes=tuple(notes))


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

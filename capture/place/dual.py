"""Which one-way carriageway carries the other direction of a dual road?

Two one-way roads of one name (or number) that run against each other side by side, the other
one on the driver's left where people drive on the right. Each carriageway is sampled along
its length and the opposite that most samples see wins.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture.basis import Sheet
from capture.place.network import Floats, Ints, Longs
from capture.place.values import TERTIARY

#: cosine beyond which two directions count as opposite
_OPPOSITE_COSINE = -0.8
_NEIGHBOURS = 12


def find_opposites(segments: Mapping[str, Any], *, driving_side: str, values: Sheet) -> Ints:
    """Return per segment the opposite carriageway, -1 if none, shape (G,).

    Parameters
    ----------
    segments : mapping
        The segment columns of a network.
    driving_side : {"right", "left"}
        Of the area.
    values : Sheet
        ``opposite_reach_m`` and ``opposite_sample_m``.
    """
    from scipy.spatial import cKDTree

    count = len(segments["segment_tail"])
    opposite = np.full(count, -1, dtype=np.int32)
    chosen = np.flatnonzero(
        segments["segment_oneway"]
        & ~segments["segment_link"]
        & ~segments["segment_roundabout"]
        & (segments["segment_class"] <= TERTIARY)
    )
    if len(chosen) < 2:
        return opposite
    owner, xy, way = _sample(segments, chosen, values.value("opposite_sample_m"))
    reach = values.value("opposite_reach_m")
    tree = cKDTree(xy, balanced_tree=False, compact_nodes=False)
    _, near = tree.query(xy, k=min(_NEIGHBOURS, len(xy)), distance_upper_bound=reach)
    left, k = np.nonzero(near < len(xy))
    right = near[left, k]
    good = _judge(segments, owner[left], owner[right], xy, way, left, right, driving_side)
    return _vote(opposite, owner[left][good], owner[right][good])


def _sample(
    segments: Mapping[str, Any], chosen: Longs, spacing_m: float
) -> tuple[Longs, Floats, Floats]:
    """Points along the chosen segments: owner (P,), place (P, 2), unit direction (P, 2)."""
    indptr, x, y = segments["geom_indptr"], segments["geom_x"], segments["geom_y"]
    counts = indptr[chosen + 1] - indptr[chosen]
    first = np.concatenate([[0], np.cumsum(counts)])
    taken = np.repeat(indptr[chosen] - first[:-1], counts) + np.arange(first[-1])
    px, py = x[taken], y[taken]
    step = np.hypot(np.diff(px), np.diff(py))
    step[first[1:-1] - 1] = 0.0
    along = np.concatenate([[0.0], np.cumsum(step)])
    begin, end = along[first[:-1]], along[first[1:] - 1]
    pieces = np.maximum(np.ceil((end - begin) / spacing_m), 1).astype(np.int64)
    which = np.repeat(np.arange(len(chosen)), pieces)
    number = np.arange(len(which)) - (np.cumsum(pieces) - pieces)[which]
    target = begin[which] + (number + 0.5) / pieces[which] * (end - begin)[which]
    at = np.searchsorted(along, target, side="right") - 1
    at = np.clip(at, first[:-1][which], first[1:][which] - 2)
    dx, dy = px[at + 1] - px[at], py[at + 1] - py[at]
    length = np.maximum(np.hypot(dx, dy), 1e-9)
    share = np.clip((target - along[at]) / length, 0.0, 1.0)
    xy = np.column_stack([px[at] + share * dx, py[at] + share * dy])
    return chosen[which], xy, np.column_stack([dx, dy]) / length[:, None]


def _judge(
    segments: Mapping[str, Any], a: Longs, b: Longs, xy: Floats, way: Floats, left: Longs,
    right: Longs, driving_side: str,
) -> NDArray[np.bool_]:  # fmt: skip
    name, ref = segments["segment_name"].codes, segments["segment_ref"].codes
    blank_name = _blank(segments["segment_name"])
    blank_ref = _blank(segments["segment_ref"])
    road_class = segments["segment_class"]
    same: NDArray[np.bool_] = (road_class[a] == road_class[b]) & (a != b)
    some = np.flatnonzero(same)
    c, d = a[some], b[some]
    same[some] = ((name[c] == name[d]) & (name[c] != blank_name)) | (
        (ref[c] == ref[d]) & (ref[c] != blank_ref)
    )
    left, right = left[same], right[same]
    against = (way[left] * way[right]).sum(axis=1) < _OPPOSITE_COSINE
    gap = xy[right] - xy[left]
    cross = way[left][:, 0] * gap[:, 1] - way[left][:, 1] * gap[:, 0]
    sided = cross > 0 if driving_side == "right" else cross < 0
    along = np.abs((way[left] * gap).sum(axis=1))
    beside = along <= np.abs(cross) + 15.0
    same[same] = against & sided & beside
    return same


def _blank(texts: Any) -> int:
    return texts.words.index("") if "" in texts.words else -1


def _vote(opposite: Ints, a: Longs, b: Longs) -> Ints:
    if len(a) == 0:
        return opposite
    count = len(opposite)
    pairs, votes = np.unique(a.astype(np.int64) * count + b, return_counts=True)
    left, right = np.divmod(pairs, count)
    order = np.lexsort((right, -votes, left))
    first, at = np.unique(left[order], return_index=True)
    result = opposite.copy()
    result[first] = right[order[at]]
    return result

"""How do outlines become shapes: nodes, closed or open ways, multipolygons put together?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

import numpy as np

from capture.place.layers import (
    BUILDING,
    FEATURE,
    HIGHWAY,
    SCREEN,
    is_building,
    is_feature,
    is_screen,
)
from capture.place.line_kernel import NODE, WAY
from capture.place.lines import Lines, read_members
from capture.place.network import Bools, Bytes, Longs
from capture.place.raw import Raw, Shapes, take_runs

_MOST_TAGS = 60
_MOST_TEXT = 255
_LEAST_RING = 4
_HEIGHT_KEYS = ("height", "building:levels")
#: node ids, and where their places stand
Run = tuple[list[int], list[int]]
_Area = tuple[str, Mapping[str, str], Longs, int]


def add_shapes(raw: Raw, lines: Lines, marks: Bytes) -> None:
    """Fill in buildings, screens and features.

    Parameters
    ----------
    raw : Raw
        That is being read.
    lines : Lines
        All that was read.
    marks : ndarray of int8, shape (K,)
        What its tags make of each object; nodes that control traffic count as nothing.
    """
    at, flags = _find_outlines(lines, marks)
    areas = list(_find_areas(lines, marks))
    points, _ = take_runs(lines.ref_indptr, at)
    points = np.concatenate([points, *(area[2] for area in areas)])
    counts = [*np.diff(lines.ref_indptr)[at].tolist(), *(len(area[2]) for area in areas)]
    numbers = zip(lines.kind[at].tolist(), lines.number[at].tolist(), strict=True)
    shapes = Shapes(
        osm_id=[*(f"{chr(kind)}{number}" for kind, number in numbers), *(a[0] for a in areas)],
        tags=[*_keep_tags(lines, at, flags), *(area[1] for area in areas)],
        indptr=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        lat=lines.lat[points],
        lon=lines.lon[points],
    )
    flags = np.concatenate([flags, np.array([area[3] for area in areas], dtype=np.int8)])
    raw.buildings = shapes.take(np.flatnonzero(flags & BUILDING))
    raw.screens = shapes.take(np.flatnonzero((flags & SCREEN > 0) & (np.diff(shapes.indptr) > 1)))
    raw.features = shapes.take(np.flatnonzero(flags & FEATURE))


def _find_outlines(lines: Lines, marks: Bytes) -> tuple[Longs, Bytes]:
    """Nodes and ways that are something, and their flags; a building must be a ring."""
    node = (lines.kind == NODE) & (marks & FEATURE > 0)
    way = (lines.kind == WAY) & (marks & HIGHWAY == 0) & (marks & (BUILDING | FEATURE | SCREEN) > 0)
    way &= np.diff(lines.ref_indptr) >= 2
    at = np.flatnonzero(node | way)
    points, starts = take_runs(lines.ref_indptr, at)
    whole = np.abs(lines.lat[points]) <= 90.0
    whole &= np.abs(lines.lon[points]) <= 180.0
    at = at[np.logical_and.reduceat(whole, starts[:-1])] if len(at) else at
    flags = marks[at].copy()
    first, last = lines.ref_indptr[at], lines.ref_indptr[at + 1] - 1
    ring = (lines.ref[first] == lines.ref[last]) & (last - first + 1 >= _LEAST_RING)
    flags[~ring] &= ~BUILDING
    flags[lines.kind[at] == NODE] = FEATURE
    return at, flags


def _keep_tags(lines: Lines, at: Longs, flags: Bytes) -> list[Mapping[str, str]]:
    """All tags of features and screens, of plain buildings only what says their height."""
    pairs = [(key[:_MOST_TEXT], value[:_MOST_TEXT]) for key, value in lines.pairs]
    high = np.array([key in _HEIGHT_KEYS and bool(value) for key, value in pairs], dtype=bool)
    tags, starts = take_runs(lines.tag_indptr, at)
    asked = np.repeat(flags & (FEATURE | SCREEN) > 0, np.diff(starts)) | high[lines.tag[tags]]
    begin = np.concatenate([[0], np.cumsum(asked)])[starts].tolist()
    codes = lines.tag[tags[asked]].tolist()
    return [
        _first_tags([pairs[code] for code in codes[a:b]]) if b > a else {}
        for a, b in pairwise(begin)
    ]


def _first_tags(pairs: Sequence[tuple[str, str]]) -> dict[str, str]:
    kept = dict(pairs)
    return kept if len(kept) <= _MOST_TAGS else dict(list(kept.items())[:_MOST_TAGS])


def _find_areas(lines: Lines, marks: Bytes) -> Iterator[_Area]:
    """Rings of multipolygons: id, tags, where their places stand, flags."""
    wanted: dict[int, dict[str, str]] = {}
    relations_of: dict[int, list[int]] = {}
    for number, pairs, members in lines.relations:
        get = dict(reversed(pairs)).get
        some = get("building") or is_feature(get) or is_screen(get)
        if get("type") == "multipolygon" and some:
            wanted[number] = _first_tags([(k[:_MOST_TEXT], v[:_MOST_TEXT]) for k, v in pairs])
            for kind, ref, role in read_members(members):
                if kind == "w" and role != "inner":
                    relations_of.setdefault(ref, []).append(number)
    for number, pieces in _gather_outers(lines, marks, relations_of).items():
        get = wanted[number].get
        for k, points in enumerate(join_rings(pieces)):
            flags = BUILDING * is_building(get) + SCREEN * is_screen(get)
            flags += FEATURE * (k == 0 and is_feature(get))
            yield f"r{number}", wanted[number], np.array(points, dtype=np.int64), flags


def _gather_outers(
    lines: Lines, marks: Bytes, relations_of: Mapping[int, Sequence[int]]
) -> dict[int, list[Run]]:
    """Pieces of outline of each relation, relations in the order that their ways come."""
    outers: dict[int, list[Run]] = {}
    member = np.isin(lines.number, np.fromiter(relations_of, np.int64, len(relations_of)))
    at = np.flatnonzero(member & (lines.kind == WAY) & (marks & HIGHWAY == 0))
    known = ~np.isnan(lines.lat)
    for way in at.tolist():
        pieces = list(_runs_of(lines, known, way))
        for relation in relations_of[int(lines.number[way])]:
            outers.setdefault(relation, []).extend(pieces)
    return outers


def _runs_of(lines: Lines, known: Bools, way: int) -> Iterator[Run]:
    """Cut a way's nodes into runs whose places are known."""
    first, end = int(lines.ref_indptr[way]), int(lines.ref_indptr[way + 1])
    gaps = (np.flatnonzero(~known[first:end]) + first).tolist()
    for begin, stop in zip([first, *(gap + 1 for gap in gaps)], [*gaps, end], strict=True):
        if stop - begin > 1:
            yield lines.ref[begin:stop].tolist(), list(range(begin, stop))


def join_rings(pieces: Sequence[Run]) -> list[list[int]]:
    """Join pieces of outlines end to end into closed rings; what does not close is left out.

    Examples
    --------
    >>> join_rings([([1, 2, 3], [10, 11, 12]), ([1, 4, 3], [20, 21, 22])])
    [[20, 21, 22, 11, 10]]
    """
    rings = []
    waiting = [(list(ids), list(points)) for ids, points in pieces]
    while waiting:
        ids, points = waiting.pop()
        joined = True
        while ids[0] != ids[-1] and joined:
            joined = False
            for k, (more, others) in enumerate(waiting):
                if more[0] == ids[-1] or more[-1] == ids[-1]:
                    step = 1 if more[0] == ids[-1] else -1
                    ids += more[::step][1:]
                    points += others[::step][1:]
                    del waiting[k]
                    joined = True
                    break
        if ids[0] == ids[-1] and len(ids) >= _LEAST_RING:
            rings.append(points)
    return rings

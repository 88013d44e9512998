"""How does an OpenStreetMap file become roads, controls, forbidden turns and shapes?

Formats ``.osm.pbf``, ``.osm``, ``.osm.gz``, ``.osm.bz2``, through libosmium. All that needs a
look at each object is done on columns (:mod:`capture.place.lines`); only relations, which are
few, are looked at one by one.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from capture.place.layers import FEATURE, HIGHWAY, mark_tag
from capture.place.line_kernel import NODE, WAY
from capture.place.lines import CONTROLS, Lines, read_lines, read_members
from capture.place.network import Bools, Bytes, Ints, Longs
from capture.place.outlines import add_shapes
from capture.place.raw import WAY_TAGS, Raw, Restriction, TagRows, lay_runs, number_rows, take_runs
from capture.place.tags import HIGHWAYS, is_open_to_cars

#: a flag for each way to control traffic
_CONTROLS: Final = {value: 1 << k for k, value in enumerate(CONTROLS)}
_ACCESS: Final = ("access", "vehicle", "motor_vehicle", "motorcar", "service", "area")
#: service roads are asked for the tags before this one only
_SHORT: Final = WAY_TAGS.index("lanes:forward")


def read_osm(path: Path, form: str = "", *, roads_only: bool = False) -> Raw:
    """Read an OpenStreetMap file; :func:`capture.place.checks.check_roads_file` comes first.

    Parameters
    ----------
    path : Path
        The file.
    form : str
        What libosmium calls its format, "" to go by the file's ending.
    roads_only : bool
        Leave out buildings, screens and features.

    Returns
    -------
    Raw
        Ways open to cars, cut where the extract leaves their nodes out.

    Raises
    ------
    RuntimeError
        What libosmium raises on a broken file; :func:`capture.place.open_place` turns it into
        a sentence.
    DataError
        When there is no room for temporary files.
    """
    lines = read_lines(path, form, roads_only=roads_only)
    marks = _any_tag(lines, [mark_tag(key, value) for key, value in lines.pairs])
    controls = _any_tag(
        lines, [_CONTROLS.get(value, 0) * (key == "highway") for key, value in lines.pairs]
    )
    controls[lines.kind != NODE] = 0
    raw = _take_roads(lines, marks)
    raw.signal_id, raw.stop_id, raw.crossing_id = (
        lines.number[controls & flag > 0] for flag in _CONTROLS.values()
    )
    raw.restrictions = _take_restrictions(lines)
    if not roads_only:
        marks[controls > 0] &= ~FEATURE
        add_shapes(raw, lines, marks)
    return raw


def _any_tag(lines: Lines, flags: Sequence[int]) -> Bytes:
    """Join the flags of each object's tags."""
    joined = np.zeros(len(lines.kind), dtype=np.int8)
    some = np.diff(lines.tag_indptr) > 0
    if some.any():
        each = np.array(flags, dtype=np.int8)[lines.tag]
        joined[some] = np.bitwise_or.reduceat(each, lines.tag_indptr[:-1][some])
    return joined


def _take_roads(lines: Lines, marks: Bytes) -> Raw:
    at = np.flatnonzero((lines.kind == WAY) & (marks & HIGHWAY > 0))
    tags = _tag_table(lines, at, (*WAY_TAGS, *_ACCESS))
    words: list[str | None] = [None, *(value for _, value in lines.pairs)]
    kept = _is_open(tags, words)
    at, tags = at[kept], tags[kept, : len(WAY_TAGS)]
    service = np.array([word == "service" for word in words], dtype=bool)
    tags[service[tags[:, 0]], _SHORT:] = 0
    points, starts = take_runs(lines.ref_indptr, at)
    way, first, counts = cut_at_gaps(np.isnan(lines.lat[points]), starts)
    used, indptr = lay_runs(first, counts)
    points = points[used]
    found = np.bincount(way, weights=counts, minlength=len(at))
    cut = int((found < np.diff(starts)).sum())
    nothing = np.empty(0, dtype=np.int64)
    return Raw(
        way_id=lines.number[at[way]],
        way_tags=TagRows(codes=tags[way], words=words),
        ref_indptr=indptr,
        ref_id=lines.ref[points],
        ref_lat=lines.lat[points],
        ref_lon=lines.lon[points],
        signal_id=nothing,
        stop_id=nothing,
        crossing_id=nothing,
        notes=[f"{cut} roads are cut where the extract ends"] if cut else [],
    )


def _tag_table(lines: Lines, at: Longs, names: Sequence[str]) -> Ints:
    """Codes of some tags of some objects, 0 where absent, else one more than the pair."""
    place = {name: k for k, name in enumerate(names)}
    columns = np.array([place.get(key, -1) for key, _ in lines.pairs], dtype=np.int64)
    items, starts = take_runs(lines.tag_indptr, at)
    owner = np.repeat(np.arange(len(at)), np.diff(starts))
    tag = lines.tag[items]
    column = columns[tag]
    asked = column >= 0
    table = np.zeros((len(at), len(names)), dtype=np.int32)
    # backwards, so that the first of two tags of one key stays
    table[owner[asked][::-1], column[asked][::-1]] = tag[asked][::-1] + 1
    return table


def _is_open(tags: Ints, words: Sequence[str | None]) -> Bools:
    """Whether cars may use each way, from its class and access; asked once per combination."""
    first, inverse = number_rows(tags[:, [0, *range(len(WAY_TAGS), tags.shape[1])]])
    kept = []
    for row in tags[first].tolist():
        access = {key: words[code] for key, code in zip(_ACCESS, row[-len(_ACCESS) :], strict=True)}
        kept.append(
            words[row[0]] in HIGHWAYS
            and access["service"] != "emergency_access"
            and access["area"] != "yes"
            and is_open_to_cars(access)
        )
    return np.array(kept, dtype=bool)[inverse]


def cut_at_gaps(gap: Bools, starts: Longs) -> tuple[Longs, Longs, Longs]:
    """Cut ways into runs of two and more known nodes.

    Parameters
    ----------
    gap : ndarray of bool, shape (R,)
        Whether a node's place is unknown.
    starts : ndarray, shape (W+1,)
        First node of each way.

    Returns
    -------
    tuple of ndarray
        Per run its way, its first node and how many nodes it has.

    Examples
    --------
    >>> gap = np.array([False, False, True, False, False, False])
    >>> cut_at_gaps(gap, np.array([0, 4, 6]))
    (array([0, 1]), array([0, 4]), array([2, 2]))
    """
    begins = np.zeros(len(gap) + 1, dtype=bool)
    begins[starts] = True
    begins[:-1] |= gap
    begins[1:] |= gap
    first = np.flatnonzero(begins)
    first, counts = first[:-1], np.diff(first)
    kept = counts >= 2
    first, counts = first[kept], counts[kept]
    return np.searchsorted(starts, first, side="right") - 1, first, counts


def _take_restrictions(lines: Lines) -> list[Restriction]:
    found = []
    for _, pairs, members in lines.relations:
        get = dict(reversed(pairs)).get
        if get("type") != "restriction":
            continue
        kind = get("restriction:motorcar") or get("restriction:motor_vehicle") or get("restriction")
        excepted = (get("except") or "").split(";")
        if kind and kind.startswith(("no_", "only_")) and "motorcar" not in excepted:
            found.append(_make_restriction(kind, members))
    return found


def _make_restriction(kind: str, members: str) -> Restriction:
    known = read_members(members)

    def ways(role: str) -> tuple[int, ...]:
        return tuple(ref for kind_, ref, role_ in known if kind_ == "w" and role_ == role)

    return Restriction(
        kind=kind,
        from_ways=ways("from"),
        via_node=next((ref for kind_, ref, role in known if (kind_, role) == ("n", "via")), 0),
        via_ways=ways("via"),
        to_ways=ways("to"),
    )

"""How is a part of a large extract taken: all that touches a box of degrees?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from capture.place.raw import Raw, Shapes

Box = tuple[float, float, float, float]


def cut_to_box(raw: Raw, box: Box) -> Raw:
    """Keep ways and shapes with a point in the box; a way keeps its whole length.

    Parameters
    ----------
    raw : Raw
        What a reader found.
    box : tuple of float
        South, west, north, east in degrees.

    Returns
    -------
    Raw
        A new one; restrictions are kept, since those whose ways are gone resolve to nothing.
    """
    south, west, north, east = box
    inside = (
        (raw.ref_lat >= south)
        & (raw.ref_lat <= north)
        & (raw.ref_lon >= west)
        & (raw.ref_lon <= east)
    )
    touched = np.add.reduceat(inside, raw.ref_indptr[:-1]) > 0 if len(raw.way_id) else inside[:0]
    counts = np.diff(raw.ref_indptr)
    refs = np.repeat(touched, counts)
    kept = set(raw.way_id[touched].tolist())

    def near(shapes: Shapes) -> Shapes:
        if len(shapes) == 0:
            return shapes
        within = (
            (shapes.lat >= south)
            & (shapes.lat <= north)
            & (shapes.lon >= west)
            & (shapes.lon <= east)
        )
        return shapes.take(np.flatnonzero(np.logical_or.reduceat(within, shapes.indptr[:-1])))

    return replace(
        raw,
        way_id=raw.way_id[touched],
        way_tags=replace(raw.way_tags, codes=raw.way_tags.codes[touched]),
        ref_indptr=np.concatenate([[0], np.cumsum(counts[touched])]).astype(np.int64),
        ref_id=raw.ref_id[refs],
        ref_lat=raw.ref_lat[refs],
        ref_lon=raw.ref_lon[refs],
        restrictions=[
            r for r in raw.restrictions if kept.issuperset((*r.from_ways, *r.via_ways, *r.to_ways))
        ],
        buildings=near(raw.buildings),
        screens=near(raw.screens),
        features=near(raw.features),
    )

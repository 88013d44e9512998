"""Where does a lot come nearest to a road, and where along that front would a driveway lie?

Vectorised over pairs of a lot and a segment. The mouth lies in the middle of the stretch of
road that is equally near, not at whichever corner happens to be nearest; where a road runs
through the lot, the mouth lies on the road.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from capture.place.network import Bools, Bytes, Floats, Ints, Longs, Network
from capture.place.snap import road_grid

if TYPE_CHECKING:
    from capture.place.sites import Sites

#: how much farther than the nearest point a stretch of road may be and still be the front
_FRONT_SLACK_M = 1.0
_SHORTEST_FRONT_M = 2.0
_PROBE_M = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Meetings:
    """Where P pairs of lot and segment meet; metres."""

    #: mouth on the lot's edge, (P,)
    x: Floats
    y: Floats
    #: point on the road's line, (P,)
    line_x: Floats
    line_y: Floats
    #: between the two, (P,)
    distance_m: Floats
    #: along the segment, 0-1, (P,)
    fraction: Floats
    #: +1 when the lot lies left of the segment's direction, -1 right, (P,)
    side: Bytes


def near_pairs(
    network: Network, sites: Sites, wanted: Longs, allowed: Bools, reach_m: float
) -> tuple[Longs, Ints, Floats]:
    """List the allowed segments within reach of each wanted site.

    Parameters
    ----------
    network : Network
        G segments.
    sites : Sites
        S points or lots.
    wanted : ndarray of int, shape (W,)
        Sites to look at.
    allowed : ndarray of bool, shape (G,)
        Segments to look at.
    reach_m : float
        From the lot's edge.

    Returns
    -------
    site, segment, gap_m : ndarray, shape (pairs,)
    """
    import shapely

    from capture.place.grid_kernels import segments_in_boxes

    lots = _lots(sites, wanted)
    boxes = shapely.bounds(lots) + np.array([-reach_m, -reach_m, reach_m, reach_m])
    grid = road_grid(network)
    row, segment = segments_in_boxes(
        boxes, grid.start, grid.pieces, grid.segment, allowed, grid.x0, grid.y0, grid.cell,
        grid.nx, grid.ny,
    )  # fmt: skip
    gap = shapely.distance(lots[row], _lines(network, segment))
    near = gap <= reach_m
    return wanted[row[near]], segment[near], gap[near]


def _lots(sites: Sites, index: Longs) -> NDArray[np.object_]:
    import shapely

    lots: Any = shapely.points(sites.x[index], sites.y[index])
    lots = np.atleast_1d(np.asarray(lots, dtype=object))
    for row, k in enumerate(index.tolist()):
        if sites.polygons[k] is not None:
            lots[row] = sites.polygons[k]
    made: NDArray[np.object_] = lots
    return made


def _lines(network: Network, segment: Ints) -> NDArray[np.object_]:
    """Shapely lines of segments that may repeat, each made once."""
    import shapely

    which, back = np.unique(segment, return_inverse=True)
    first = np.asarray(network.geom_indptr)[which]
    counts = np.asarray(network.geom_indptr)[which + 1] - first if len(which) else first
    owner = np.repeat(np.arange(len(which)), counts)
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]]) if len(which) else first
    points = np.repeat(first - starts, counts) + np.arange(len(owner))
    coords = np.column_stack([network.geom_x[points], network.geom_y[points]])
    lines: Any = shapely.linestrings(coords, indices=owner) if len(which) else np.empty(0, object)
    made: NDArray[np.object_] = np.asarray(lines, dtype=object)[back]
    return made


def meet_lots(network: Network, sites: Sites, site: Longs, segment: Ints) -> Meetings:
    """Say where P lots meet P segments.

    Parameters
    ----------
    network : Network
        The roads.
    sites : Sites
        S points or lots.
    site, segment : ndarray of int, shape (P,)
        The pairs.
    """
    import shapely

    lots, lines = _lots(sites, site), _lines(network, segment)
    middle = _front_middles(lots, lines)
    edges = np.where(shapely.get_type_id(lots) == 3, shapely.get_exterior_ring(lots), lots)
    mouth = shapely.get_point(shapely.shortest_line(edges, middle), 0)
    inside = (shapely.get_type_id(lots) == 3) & shapely.intersects(lots, middle)
    mouth = np.where(inside, middle, mouth)
    along = shapely.line_locate_point(lines, middle)
    length = shapely.length(lines)
    before = shapely.line_interpolate_point(lines, np.maximum(along - _PROBE_M, 0.0))
    after = shapely.line_interpolate_point(lines, np.minimum(along + _PROBE_M, length))
    x, y = shapely.get_x(mouth), shapely.get_y(mouth)
    line_x, line_y = shapely.get_x(middle), shapely.get_y(middle)
    far = np.hypot(x - line_x, y - line_y)
    to_x = np.where(far > 0, x, sites.x[site]) - line_x
    to_y = np.where(far > 0, y, sites.y[site]) - line_y
    way_x = shapely.get_x(after) - shapely.get_x(before)
    way_y = shapely.get_y(after) - shapely.get_y(before)
    return Meetings(
        x=x,
        y=y,
        line_x=line_x,
        line_y=line_y,
        distance_m=far,
        fraction=np.clip(along / length, 0.0, 1.0),
        side=np.where(way_x * to_y - way_y * to_x > 0, 1, -1).astype(np.int8),
    )


def _front_middles(lots: NDArray[np.object_], lines: NDArray[np.object_]) -> NDArray[np.object_]:
    """Points on the lines: the middle of the longest stretch about as near as the nearest."""
    import shapely

    nearest = shapely.get_point(shapely.shortest_line(lots, lines), -1)
    is_lot = shapely.get_type_id(lots) == 3
    if not is_lot.any():
        made: NDArray[np.object_] = nearest
        return made
    gap = shapely.distance(lots, lines)
    slack = np.where(gap > 0, gap + _FRONT_SLACK_M, 0.0)
    fronts = shapely.intersection(lines, np.where(is_lot, shapely.buffer(lots, slack), lots))
    parts, owner = shapely.get_parts(fronts, return_index=True)
    size = shapely.length(parts)
    order = np.lexsort((-size, owner))
    owners, first = np.unique(owner[order], return_index=True)
    best = order[first]
    middles: NDArray[np.object_] = np.array(nearest, dtype=object)
    good = is_lot[owners] & (size[best] >= _SHORTEST_FRONT_M)
    longest = parts[best[good]]
    middles[owners[good]] = shapely.line_interpolate_point(longest, 0.5, normalized=True)
    return middles

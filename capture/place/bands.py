"""Which ground lies within so many minutes of a place?

The reached roads, cut where time runs out, are painted on a grid and widened by a reach;
small holes are filled and the outline is smoothed. Assumes that people live within a short
walk of a road they can drive on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from capture.basis import InputError, Sheet
from capture.place.drive import _check_limit
from capture.place.network import Bools, Floats, Ints, Longs, Network
from capture.place.positions import start_edges
from capture.place.search import search_graph
from capture.place.snap import Snap
from capture.place.sweeper import Swept, borrow_sweeper
from capture.place.values import VALUES

if TYPE_CHECKING:
    from shapely import MultiPolygon

_MOST_CELLS = 40_000_000


def compute_band(
    network: Network,
    position: Snap,
    *,
    limit_s: float,
    reverse: bool = False,
    seconds: Floats | None = None,
    values: Sheet = VALUES,
) -> MultiPolygon:
    """Compute the ground within a drive time of one position.

    Parameters
    ----------
    network : Network
        The roads.
    position : Snap
        One position, or several that serve together (the driveways of one site).
    limit_s : float
        Drive time.
    reverse : bool
        Ground from which the position is reached instead.
    seconds : ndarray, shape (E,), optional
        Driving time of each edge; free-flow when left out.
    values : Sheet
        ``band_reach_m``, ``band_cell_m``, ``band_hole_m2``.

    Returns
    -------
    MultiPolygon
        Metres in the network's projection; valid, without small holes.

    Raises
    ------
    InputError
        When the limit is not positive or finite, or the position is on no road.
    """
    _check_limit(limit_s)
    if not np.isfinite(limit_s) or not (position.segment >= 0).all():
        raise InputError("band: needs a finite limit and a position on a road; mend either")
    graph = search_graph(network, reverse=reverse, seconds=seconds)
    _, edges, keys = start_edges(network, graph, position)
    with borrow_sweeper(graph) as sweeper:
        swept = sweeper.run(edges, keys, graph.limit_ticks(limit_s))
        segment, low, high = _stretches(network, swept)
    return _draw(network, segment, low, high, values)


def _stretches(network: Network, swept: Swept) -> tuple[Ints, Floats, Floats]:
    """Segment and metres from its start of every stretch that is driven within the limit."""
    graph, limit = swept.sweeper.graph, swept.sweeper.limit
    cost = graph.roads.cost
    edge, begun = swept.driven_edges()
    begin = np.zeros(len(edge))
    under_way = swept.first_edge
    part = 1.0 - swept.first_key / cost[under_way]
    edge = np.concatenate([edge, under_way])
    begun = np.concatenate([begun, np.zeros(len(under_way))])
    begin = np.concatenate([begin, np.clip(part, 0.0, 1.0)])
    end = np.clip(begin + (limit - begun) / cost[edge], begin, 1.0)
    outside = graph.outside[edge]
    ahead = np.asarray(network.edge_forward[outside]) != graph.reverse
    length = network.edge_length_m[outside]
    low = np.where(ahead, begin, 1.0 - end) * length
    high = np.where(ahead, end, 1.0 - begin) * length
    return network.edge_segment[outside], low, high


def _draw(
    network: Network, segment: Ints, low: Floats, high: Floats, values: Sheet
) -> MultiPolygon:
    from capture.place.grid_kernels import paint_edges
    from capture.place.outline_kernels import widen

    cell, reach = values.value("band_cell_m"), values.value("band_reach_m")
    points = _points(network, np.unique(segment))
    x, y = network.geom_x[points], network.geom_y[points]
    margin = reach + 2 * cell
    x0, y0 = float(x.min()) - margin, float(y.min()) - margin
    nx = int((float(x.max()) + margin - x0) / cell) + 2
    ny = int((float(y.max()) + margin - y0) / cell) + 2
    if nx * ny > _MOST_CELLS:
        raise InputError("band: too large to draw; ask for a shorter drive or a coarser cell")
    grid = np.zeros((ny, nx), dtype=np.uint8)
    paint_edges(
        segment, low, high, network.geom_indptr, network.geom_x, network.geom_y, x0, y0, cell, grid
    )
    return _trace(widen(grid, reach / cell), x0, y0, cell, values.value("band_hole_m2"))


def _points(network: Network, segments: Ints) -> Longs:
    """Points of the geometry of some segments."""
    first = np.asarray(network.geom_indptr)[segments]
    counts = np.asarray(network.geom_indptr)[segments + 1] - first
    starts = np.concatenate([[0], np.cumsum(counts)])
    points: Longs = np.repeat(first - starts[:-1], counts) + np.arange(starts[-1])
    return points


def _trace(mask: Bools, x0: float, y0: float, cell: float, hole_m2: float) -> MultiPolygon:
    """Turn marked cells into smoothed polygons."""
    import shapely
    from scipy.ndimage import label

    from capture.place.outline_kernels import follow_outlines

    corners, starts, cells = follow_outlines(mask)
    places = np.array([x0, y0]) + corners * cell
    owner = np.repeat(np.arange(len(cells)), np.diff(starts))
    rings = shapely.polygons(shapely.linearrings(places, indices=owner))
    outer = shapely.is_ccw(shapely.get_exterior_ring(rings))
    part = label(mask, np.ones((3, 3)))[0][cells[:, 0], cells[:, 1]]
    holes: dict[int, list[Any]] = {}
    for k in np.flatnonzero(~outer & (shapely.area(rings) >= hole_m2)).tolist():
        holes.setdefault(int(part[k]), []).append(rings[k].exterior)
    parts = [
        shapely.Polygon(rings[k].exterior, holes.get(int(part[k]), []))
        for k in np.flatnonzero(outer).tolist()
    ]
    # outlines may touch themselves at corners, and ground may lie in a hole that was filled
    joined = shapely.union_all(shapely.make_valid(parts))
    clean = shapely.make_valid(shapely.simplify(joined, cell * 0.75)).buffer(0)
    polygons = [p for p in shapely.get_parts(clean) if p.geom_type == "Polygon" and p.area > 0]
    return shapely.MultiPolygon(polygons)

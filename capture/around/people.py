"""How many people, households and vehicles are within some minutes' drive, with what income?

A zone's counts are spread evenly over its ground. The ground is shared out among junctions,
each taking what lies nearest to it, so a band of driving time is the ground of the junctions
within it and any number of sites costs one search each. Assumes that homes join the road
network at the nearest junction of an ordinary road.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from capture.around.zones import AMOUNTS, Zones
from capture.basis import Sheet
from capture.place import Place
from capture.place.network import Network

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
ObjectArray = NDArray[np.object_]

#: the first road class, motorway counted 0, at which homes join the network
_FIRST_HOME_CLASS = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JunctionPeople:
    """What lives on the ground of each junction of a network; N nodes."""

    #: people, households, vehicles, income_usd: each (N,); NaN everywhere when not told
    amounts: Mapping[str, FloatArray]
    #: share of the layer's people (else households) that lies within the roads' reach
    inside_share: float


_SPREAD: WeakKeyDictionary[Place, tuple[Zones, float, JunctionPeople]] = WeakKeyDictionary()


def weigh_areas(zones: ObjectArray, shapes: ObjectArray) -> tuple[IntArray, IntArray, FloatArray]:
    """Tell which share of each zone's ground lies in each shape.

    Parameters
    ----------
    zones : ndarray of shapely geometries, shape (Z,)
        Polygons, or points, which lie wholly in the shapes that cover them.
    shapes : ndarray of shapely Polygons, shape (B,)
        Bands or cells in the same plane.

    Returns
    -------
    tuple of ndarray
        Zone, shape and share 0-1, for every pair that overlaps.

    Examples
    --------
    >>> import shapely
    >>> whole = np.array([shapely.box(0, 0, 2, 1)])
    >>> zone, shape, share = weigh_areas(whole, np.array([shapely.box(1, 0, 5, 5)]))
    >>> share.tolist()
    [0.5]
    """
    import shapely

    tree = shapely.STRtree(shapes)
    zone, shape = tree.query(zones, predicate="intersects")
    ground = shapely.area(zones)[zone]
    flat = ground == 0
    inside = shapely.contains_properly(zones[zone], shapes[shape])
    cut = np.where(inside, shapely.area(shapes[shape]), 0.0)
    rest = ~inside & ~flat
    cut[rest] = shapely.area(shapely.intersection(zones[zone[rest]], shapes[shape[rest]]))
    share = np.where(flat, 1.0, cut / np.where(flat, 1.0, ground))
    kept = share > 0
    return zone[kept].astype(np.int64), shape[kept].astype(np.int64), share[kept]


def spread_people(zones: Zones, place: Place, *, values: Sheet) -> JunctionPeople:
    """Share the zones' counts out among the junctions of the place's roads.

    Parameters
    ----------
    zones : Zones
    place : Place
    values : Sheet
        ``margin_m``: people farther than this outside the roads are not counted.

    Returns
    -------
    JunctionPeople
        Kept for the place, so that the next call answers at once.
    """
    margin = values.value("margin_m")
    kept = _SPREAD.get(place)
    if kept and kept[0] is zones and kept[1] == margin:
        return kept[2]
    nodes, cells = make_cells(place.network, margin_m=margin)
    zone, cell, share = weigh_areas(zones.geometry, cells)
    share = share / np.maximum(_times_covered(zones, zone, share), 1.0)
    amounts = {}
    for name in AMOUNTS:
        told = zones.amounts[name]
        summed = _sum_at(nodes[cell], told[zone] * share, place.network.nodes)
        amounts[name] = np.full(place.network.nodes, np.nan) if np.isnan(told).all() else summed
    base = "people" if "people" in zones.columns else "households"
    total = float(np.nansum(zones.amounts[base]))
    inside = float(np.nansum(amounts[base])) / total if total > 0 else 1.0
    if inside == 0:  # a layer of another place: nobody is known of here, not nobody there
        amounts = {name: np.full(place.network.nodes, np.nan) for name in AMOUNTS}
    made = JunctionPeople(amounts=amounts, inside_share=min(inside, 1.0))
    _SPREAD[place] = (zones, margin, made)
    return made


def _sum_at(index: IntArray, amount: FloatArray, count: int) -> FloatArray:
    return np.asarray(np.bincount(index, amount, minlength=count), dtype=np.float64)


def _times_covered(zones: Zones, zone: IntArray, share: FloatArray) -> FloatArray:
    """Keep a point on the border of two cells from counting twice."""
    covered = np.bincount(zone, share, minlength=len(zones))
    return np.asarray(covered[zone])


def make_cells(network: Network, *, margin_m: float) -> tuple[IntArray, ObjectArray]:
    """Give every junction of an ordinary road the ground that is nearest to it.

    Returns
    -------
    tuple of (ndarray of int, ndarray of shapely Polygons)
        Nodes and their cells, which tile the roads' hull widened by the margin.
    """
    import shapely
    from scipy.spatial import QhullError, Voronoi

    nodes = _home_nodes(network)
    xy = np.column_stack([network.node_x, network.node_y])[nodes]
    hull: Any = shapely.buffer(shapely.convex_hull(shapely.multipoints(xy)), margin_m)
    if len(nodes) < 3:
        return nodes[:1], np.array([hull], dtype=object)
    low, high = np.array(hull.bounds[:2]), np.array(hull.bounds[2:])
    middle, far = (low + high) / 2, 10.0 * float(np.max(high - low))
    corners = middle + far * np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]])
    try:
        diagram = Voronoi(np.vstack([xy, corners]) - middle)
    except QhullError:
        return nodes[:1], np.array([hull], dtype=object)
    cells = _polygons(diagram, len(nodes), middle)
    outside = ~shapely.contains_properly(hull, cells)
    cells[outside] = shapely.intersection(cells[outside], hull)
    return nodes, cells


def _home_nodes(network: Network) -> IntArray:
    """Junctions that some ordinary road touches, one for each spot."""
    ordinary = (np.asarray(network.segment_class) >= _FIRST_HOME_CLASS) & ~network.segment_link
    ends = np.concatenate([network.segment_tail[ordinary], network.segment_head[ordinary]])
    nodes = np.unique(ends) if len(ends) else np.arange(network.nodes)
    spot = np.column_stack([network.node_x, network.node_y])[nodes].round(1)
    _, first = np.unique(spot, axis=0, return_index=True)
    return np.asarray(nodes[np.sort(first)], dtype=np.int64)


def _polygons(diagram: Any, count: int, middle: FloatArray) -> ObjectArray:
    """Turn the regions of the first points into polygons, corners in order of angle."""
    import shapely

    regions = [diagram.regions[k] for k in diagram.point_region[:count]]
    sizes = np.array([len(region) for region in regions])
    cell = np.repeat(np.arange(count), sizes)
    corner = diagram.vertices[np.concatenate(regions).astype(np.int64)]
    away = corner - diagram.points[cell]
    order = np.lexsort((np.arctan2(away[:, 1], away[:, 0]), cell))
    rings = shapely.linearrings(corner[order] + middle, indices=cell[order])
    made: ObjectArray = shapely.polygons(rings)
    return made

"""What lies under a map's marks when there are no tiles: roads and buildings, kept small.

Lines are simplified to about a metre and a half, rounded to 5 decimals of a degree, sorted
by grid cell and bundled into shapes of many parts. Coordinates are written as whole
numbers, each as the step from the one before, which a few lines of script turn back; so
no name and no other text of the extract gets into it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

SIMPLIFY_M: Final = 1.5
CELL_M: Final = 500.0
CHUNK: Final = 150
#: parts of a degree that coordinates are rounded to
SCALE: Final = 100_000
MOST_ROADS: Final = 120_000
MOST_BUILDINGS: Final = 60_000
#: index of a road's class -> how wide it is drawn; the last is for all other classes
_TIER_OF_CLASS: Final = (0, 0, 1, 1, 2)
TIERS: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Background:
    """Roads and buildings of an extract, packed for a map."""

    #: script that leaves the shapes in ``window.siteGround``
    script: str
    #: south, west, north, east, degrees
    bounds: tuple[float, float, float, float]
    #: how many roads are drawn, and how many there are
    roads: tuple[int, int]
    #: how many buildings are drawn, and how many there are
    buildings: tuple[int, int]


def pack_lines(
    lines: Any, projection: Any, *, simplify_m: float = SIMPLIFY_M, scale: int = SCALE
) -> list[list[list[int]]]:
    """Pack lines or rings into bundles of whole-number steps.

    Parameters
    ----------
    lines : array of shapely LineString, shape (k,)
        In metres of the projection.
    projection : LocalProjection
    simplify_m : float
        How far a line may be moved to make it shorter.
    scale : int
        Parts of a degree that coordinates are rounded to.

    Returns
    -------
    list of bundles
        A bundle is a list of parts; a part is ``[lat, lon, dlat, dlon, ...]`` in parts of
        a degree, 1e-5 unless ``scale`` says otherwise.

    Examples
    --------
    >>> from capture.basis import LocalProjection
    >>> plane = LocalProjection(centre_lat=40.0, centre_lon=-75.0)
    >>> line = shapely.LineString([(0, 0), (0, 1110.35)])
    >>> pack_lines(np.array([line]), plane)
    [[[4000000, -7500000, 1000, 0]]]
    """
    lines = np.asarray(lines, dtype=object)
    if lines.size == 0:
        return []
    lines = shapely.simplify(lines, simplify_m)
    lines = lines[_sort_by_cell(shapely.bounds(lines))]
    points, owner = shapely.get_coordinates(lines, return_index=True)
    lat, lon = projection.to_latlon(points[:, 0], points[:, 1])
    grid = np.rint(np.column_stack([lat, lon]) * scale).astype(np.int64)
    steps = np.diff(grid, axis=0, prepend=0)
    first = np.flatnonzero(np.diff(owner, prepend=-1))
    steps[first] = grid[first]
    keep = np.any(steps != 0, axis=1)
    keep[first] = True
    parts = _split_parts(steps[keep], owner[keep])
    return [parts[start : start + CHUNK] for start in range(0, len(parts), CHUNK)]


def _sort_by_cell(bounds: FloatArray) -> NDArray[np.intp]:
    cell_x = np.floor((bounds[:, 0] + bounds[:, 2]) / (2 * CELL_M))
    cell_y = np.floor((bounds[:, 1] + bounds[:, 3]) / (2 * CELL_M))
    return np.lexsort((cell_x, cell_y))


def _split_parts(steps: NDArray[np.int64], owner: NDArray[np.intp]) -> list[list[int]]:
    starts = np.flatnonzero(np.diff(owner, prepend=-1))
    ends = np.append(starts[1:], len(owner))
    flat = steps.ravel().tolist()
    return [flat[2 * a : 2 * b] for a, b in zip(starts, ends, strict=True) if b - a > 1]


def _pick_nearest(lines: Any, most: int, near: tuple[float, float]) -> Any:
    if len(lines) <= most:
        return lines
    bounds = shapely.bounds(lines)
    far = np.hypot(
        (bounds[:, 0] + bounds[:, 2]) / 2 - near[0], (bounds[:, 1] + bounds[:, 3]) / 2 - near[1]
    )
    return lines[np.sort(np.argsort(far, kind="stable")[:most])]


def make_background(place: Any, *, near: tuple[float, float] | None = None) -> Background:
    """Pack a place's roads and buildings for drawing.

    Beyond 120,000 roads or 60,000 buildings only the nearest to ``near`` are drawn, which
    the counts in the result tell.

    Parameters
    ----------
    place : Place
        With its network and buildings.
    near : tuple of (x, y), optional
        In metres; the middle of the network when left out.
    """
    network = place.network
    owner = np.repeat(np.arange(len(network.geom_indptr) - 1), np.diff(network.geom_indptr))
    points = np.column_stack([network.geom_x, network.geom_y])
    lines: Any = np.atleast_1d(np.asarray(shapely.linestrings(points, indices=owner)))
    tier = np.full(len(lines), TIERS - 1)
    known = np.asarray(network.segment_class) < len(_TIER_OF_CLASS)
    tier[known] = np.array(_TIER_OF_CLASS)[np.asarray(network.segment_class)[known]]
    rings = _outer_rings(place)
    south, west, north, east = _extent(network)
    at = near or _middle(network)
    drawn_tiers = [_pick_nearest(lines[tier == t], MOST_ROADS, at) for t in range(TIERS)]
    drawn_rings = _pick_nearest(rings, MOST_BUILDINGS, at)
    shapes = {
        "roads": [pack_lines(drawn, network.projection) for drawn in drawn_tiers],
        "buildings": pack_lines(drawn_rings, network.projection),
    }
    return Background(
        script=f"window.siteGround={json.dumps(shapes, separators=(',', ':'))};",
        bounds=(south, west, north, east),
        roads=(sum(len(drawn) for drawn in drawn_tiers), len(lines)),
        buildings=(len(drawn_rings), len(rings)),
    )


def _outer_rings(place: Any) -> Any:
    buildings = getattr(place, "buildings", None)
    polygons = getattr(buildings, "polygons", None)
    if polygons is None or len(polygons) == 0:
        return np.empty(0, dtype=object)
    kept = np.asarray(polygons, dtype=object)
    kept = shapely.get_parts(kept)
    kept = kept[shapely.get_type_id(kept) == shapely.GeometryType.POLYGON]
    return shapely.get_exterior_ring(kept)


def _extent(network: Any) -> tuple[float, float, float, float]:
    lat, lon = network.node_lat, network.node_lon
    return float(lat.min()), float(lon.min()), float(lat.max()), float(lon.max())


def _middle(network: Any) -> tuple[float, float]:
    return float(np.median(network.node_x)), float(np.median(network.node_y))


class _Holder:
    """Makes a place a key by being the same object, whatever its fields."""

    __slots__ = ("place",)

    def __init__(self, place: Any) -> None:
        self.place = place

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Holder) and other.place is self.place

    def __hash__(self) -> int:
        return id(self.place)


@lru_cache(maxsize=4)
def _make_once(holder: _Holder) -> Background:
    return make_background(holder.place)


def keep_background(place: Any) -> Background:
    """Return the background of a place, packed once and kept for the last four places."""
    return _make_once(_Holder(place))

"""What stands where: roads, buildings, what screens the view, washes and other features?

One :class:`Place` is read from one roads file. Buildings keep their outer ring only, since
that is what blocks a view and bounds a lot.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from capture.place.network import Bools, Floats, Labels, Longs, Network

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, kw_only=True, eq=False)
class Buildings:
    """Outlines of B buildings as flat rings, metres."""

    #: id of the way or relation in the map, (B,)
    osm_id: Longs
    #: first point of each ring, (B+1,)
    ring_indptr: Longs
    #: metres east, (points,); a ring's last point repeats its first
    ring_x: Floats
    #: metres north, (points,)
    ring_y: Floats
    #: height above ground, (B,)
    height_m: Floats
    #: whether the map gives height or levels, (B,)
    height_known: Bools

    def __len__(self) -> int:
        return len(self.osm_id)

    @cached_property
    def polygons(self) -> NDArray[np.object_]:
        """Shapely Polygons, shape (B,); made when first asked for."""
        import shapely

        rings = np.arange(len(self) + 1, dtype=np.int64)
        coords = np.column_stack([self.ring_x, self.ring_y])
        made: NDArray[np.object_] = shapely.from_ragged_array(
            shapely.GeometryType.POLYGON, coords, (np.asarray(self.ring_indptr), rings)
        )
        return made


@dataclass(frozen=True, kw_only=True, eq=False)
class Screens:
    """What hides without being a building: tree rows, hedges, walls, woods; K of them."""

    #: id of the way in the map, (K,)
    osm_id: Longs
    #: "tree_row", "hedge", "wall" or "wood", (K,)
    kind: Labels
    #: first point of each line or ring, (K+1,)
    line_indptr: Longs
    #: metres east, (points,)
    line_x: Floats
    #: metres north, (points,)
    line_y: Floats
    #: height above ground, (K,)
    height_m: Floats
    #: whether the map gives the height, (K,)
    height_known: Bools

    def __len__(self) -> int:
        return len(self.osm_id)

    @cached_property
    def geometry(self) -> NDArray[np.object_]:
        """Shapely LineStrings, or Polygons for closed woods, shape (K,)."""
        import shapely

        made = np.empty(len(self), dtype=object)
        for k in range(len(self)):
            part = slice(int(self.line_indptr[k]), int(self.line_indptr[k + 1]))
            line = np.column_stack([self.line_x[part], self.line_y[part]])
            closed = self.kind[k] == "wood" and len(line) > 3 and bool((line[0] == line[-1]).all())
            made[k] = shapely.Polygon(line) if closed else shapely.LineString(line)
        return made


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, weakref_slot=True)
class Place:
    """Everything that one roads file says about an area."""

    #: drivable roads
    network: Network
    #: outlines with heights
    buildings: Buildings
    #: tree rows, hedges, walls, woods
    screens: Screens
    #: washes, fuel stations, places that draw trips: columns ``osm_id`` (text such as "n12"),
    #: ``kind`` ("car_wash", "fuel", "attraction"), ``name``, ``amenity``, ``shop``, ``lat``,
    #: ``lon``, ``x``, ``y``, ``area_m2`` (0 for points), ``tags`` (dict)
    features: pd.DataFrame
    #: in words, for papers
    source: str
    #: of the roads file
    sha256: str
    #: south, west, north, east of what was read, degrees
    extent: tuple[float, float, float, float]
    #: what a reader should know about the reading, one sentence each
    notes: tuple[str, ...] = ()

    def describe(self) -> dict[str, Any]:
        """Count what was read."""
        return {
            "junctions": self.network.nodes,
            "road pieces": self.network.segments,
            "road km": round(float(self.network.segment_length_m.sum()) / 1000, 1),
            "forbidden turns": len(self.network.banned_from)
            + len(self.network.banned_path_indptr)
            - 1,
            "buildings": len(self.buildings),
            "washes": int((self.features["kind"] == "car_wash").sum()),
        }

"""Which obstacles does a view not count?

Buildings on the parcel (they make way for the wash), a building that a target stands in,
and bridges that the approach itself runs over.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from capture.seeing.targets import DRIVEWAY

if TYPE_CHECKING:
    from capture.place import Place, Sites

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Own:
    """Finds the obstacles that streams do not count; made once for a place."""

    #: shapely index of building outlines, None where there are none
    tree: Any
    #: site and building of each building that stands on a parcel, sites rising (n, 2)
    on_parcel: IntArray
    #: whether each segment is a bridge (G,)
    bridge: NDArray[np.bool_]
    #: owner number of segment 0 as a bridge
    base: int

    @classmethod
    def of(cls, place: Place, sites: Sites | None, *, base: int) -> Own:
        """Prepare a place.

        Parameters
        ----------
        sites : Sites, optional
            Parcels, metres.
        base : int
            Owner number of segment 0 as a bridge.
        """
        import shapely

        built = len(place.buildings.height_m) > 0
        return cls(
            tree=shapely.STRtree(place.buildings.polygons) if built else None,
            on_parcel=_find_on_parcels(place, sites) if built else np.zeros((0, 2), np.int64),
            bridge=np.asarray(place.network.segment_bridge, dtype=bool),
            base=base,
        )

    def find(
        self, site: NDArray[np.int32], spots: FloatArray, segments: IntArray
    ) -> tuple[IntArray, IntArray]:
        """Find what each of some streams does not count.

        Parameters
        ----------
        site : ndarray of int, shape (R,)
            Site of each stream.
        spots : ndarray of float, shape (R, T, 3)
            Targets.
        segments : ndarray of int, shape (R, K)
            Segments of the approach, -1 for none.

        Returns
        -------
        tuple of ndarray of int
            Pointer (R+1,) and owners.
        """
        row, k = np.nonzero((segments >= 0) & self.bridge[np.maximum(segments, 0)])
        pairs = [(row, segments[row, k] + self.base), self._find_at(spots), self._find_on(site)]
        rows = np.concatenate([pair[0] for pair in pairs]).astype(np.int64)
        owner = np.concatenate([pair[1] for pair in pairs]).astype(np.int64)
        kept = np.unique(np.column_stack([rows, owner]), axis=0)
        pointer = np.zeros(len(spots) + 1, dtype=np.int64)
        np.cumsum(np.bincount(kept[:, 0], minlength=len(spots)), out=pointer[1:])
        return pointer, np.ascontiguousarray(kept[:, 1])

    def _find_at(self, spots: FloatArray) -> tuple[IntArray, IntArray]:
        import shapely

        if self.tree is None or not len(spots):
            return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
        flat = spots[:, : DRIVEWAY + 1, :2].reshape(-1, 2)
        at, building = self.tree.query(shapely.points(flat), predicate="within")
        return at // (DRIVEWAY + 1), building

    def _find_on(self, site: NDArray[np.int32]) -> tuple[IntArray, IntArray]:
        first = np.searchsorted(self.on_parcel[:, 0], site, side="left")
        sizes = np.searchsorted(self.on_parcel[:, 0], site, side="right") - first
        starts = np.concatenate([[0], np.cumsum(sizes)[:-1]]) if len(site) else sizes
        at = np.repeat(first - starts, sizes) + np.arange(sizes.sum())
        return np.repeat(np.arange(len(site)), sizes), self.on_parcel[at, 1]


def _find_on_parcels(place: Place, sites: Sites | None) -> IntArray:
    import shapely

    parcels = [] if sites is None else [i for i, p in enumerate(sites.polygons) if p is not None]
    if sites is None or not parcels:
        return np.zeros((0, 2), dtype=np.int64)
    tree = shapely.STRtree(shapely.centroid(place.buildings.polygons))
    which, building = tree.query([sites.polygons[i] for i in parcels], predicate="contains")
    found = np.column_stack([np.asarray(parcels)[which], building]).astype(np.int64)
    return np.asarray(found[np.lexsort((found[:, 1], found[:, 0]))])

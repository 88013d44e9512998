"""Which parcel was meant by a click on the map?

A parcel is small on a map of a whole town, so one that the spot just misses is meant as well.
"""

from __future__ import annotations

from typing import Any, Final

import shapely

#: a click this near to a parcel means that parcel
NEAR_M: Final = 15.0


def find_parcel(sites: Any, projection: Any, lat: float, lon: float) -> str:
    """Return the id of the parcel at a spot, "" where there is none.

    Parameters
    ----------
    sites : Sites
        Parcels; those without a shape are never meant.
    projection : LocalProjection
        Of the shapes.
    lat, lon : float
        The spot, degrees.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> from capture.basis import LocalProjection
    >>> plane = LocalProjection(centre_lat=40.0, centre_lon=-75.0)
    >>> lots = SimpleNamespace(ids=("A", "B"), polygons=(None, shapely.box(0, 0, 50, 50)))
    >>> find_parcel(lots, plane, 40.0001, -74.9999), find_parcel(lots, plane, 41.0, -75.0)
    ('B', '')
    """
    x, y = projection.to_xy([lat], [lon])
    spot = shapely.Point(float(x[0]), float(y[0]))
    found = [
        (float(shapely.distance(shape, spot)), at)
        for at, shape in enumerate(sites.polygons)
        if shape is not None
    ]
    far, at = min(found, default=(NEAR_M + 1.0, 0))
    return str(sites.ids[at]) if far <= NEAR_M else ""

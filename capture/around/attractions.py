"""How many shops, schools and the like draw drivers past a site anyway?

Counts places of the map, and of the area's own table where there is one, within a straight
distance. A count is crude on purpose: maps differ in how many small shops they hold.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.area import Area
from capture.around.keep import recall
from capture.basis import plain_text
from capture.place import Place

FloatArray = NDArray[np.float64]

#: tag -> values of places that many people drive to (our choice, from memory)
DRAWS: Final[Mapping[str, frozenset[str]]] = {
    "shop": frozenset(
        {
            "supermarket", "mall", "department_store", "wholesale", "doityourself", "hardware",
            "furniture", "electronics", "garden_centre", "convenience", "chemist", "pet", "sports",
            "variety_store", "car_parts", "tyres", "general",
        }
    ),
    "amenity": frozenset(
        {
            "fuel", "school", "college", "university", "kindergarten", "hospital", "clinic",
            "pharmacy", "bank", "fast_food", "restaurant", "cinema", "post_office", "marketplace",
            "place_of_worship", "townhall", "library",
        }
    ),
    "leisure": frozenset({"fitness_centre", "sports_centre", "stadium", "water_park", "ice_rink"}),
    "tourism": frozenset({"hotel", "motel", "museum", "theme_park", "zoo", "attraction"}),
}  # fmt: skip


def count_attractions(
    area: Area, place: Place, x: ArrayLike, y: ArrayLike, *, within_m: float
) -> FloatArray:
    """Count places that draw trips near each site.

    Parameters
    ----------
    area, place
        What is known; the area's ``attractions`` layer adds to those of the map.
    x, y : array_like, shape (S,)
        Metres in the place's plane.
    within_m : float
        Straight distance.

    Returns
    -------
    ndarray of float, shape (S,)
    """
    from scipy.spatial import cKDTree

    spots = list_attractions(area, place)[["x", "y"]].to_numpy(dtype=np.float64)
    sites = np.column_stack([np.atleast_1d(x), np.atleast_1d(y)])
    if not len(spots):
        return np.zeros(len(sites))
    near = cKDTree(spots).query_ball_point(sites, within_m, return_length=True)
    return np.asarray(near, dtype=np.float64)


def list_attractions(area: Area, place: Place) -> Any:
    """List places that draw trips, for the map and for counting.

    Returns
    -------
    DataFrame
        Columns ``name, what, x, y, source``; washes and places that people mostly walk to are
        left out.
    """
    given = area.read("attractions")
    kept = recall(place, ("attractions", id(given)), lambda: (given, _list(place, given)))
    return kept[1].copy()


def _list(place: Place, given: Any) -> Any:
    import pandas as pd

    features = place.features
    mapped = features[np.array([draws_drivers(tags) for tags in features["tags"]], dtype=bool)]
    table = pd.DataFrame(
        {
            "name": mapped["name"].astype(object),
            "what": [_say_what(tags) for tags in mapped["tags"]],
            "x": mapped["x"].astype("float64"),
            "y": mapped["y"].astype("float64"),
            "source": "the map",
        }
    )
    if given is not None and "geometry" in given.columns:
        shapes = given.geometry.to_crs(place.network.projection.crs)
        points = shapes[~(shapes.isna() | shapes.is_empty)].representative_point()
        names = given["name"] if "name" in given.columns else pd.Series("", index=given.index)
        own = pd.DataFrame(
            {
                "name": [plain_text(name) for name in names[points.index]],
                "what": "your table",
                "x": points.x.to_numpy(),
                "y": points.y.to_numpy(),
                "source": "your table",
            }
        )
        table = pd.concat([table, own], ignore_index=True)
    return table.reset_index(drop=True)


def draws_drivers(tags: Mapping[str, str]) -> bool:
    """Say whether map tags describe a place that many people drive to.

    Examples
    --------
    >>> draws_drivers({"shop": "supermarket"}), draws_drivers({"amenity": "post_box"})
    (True, False)
    """
    return any(tags.get(key) in kinds for key, kinds in DRAWS.items())


def _say_what(tags: dict[str, str]) -> str:
    for key in ("shop", "amenity", "leisure", "tourism"):
        if tags.get(key):
            return plain_text(tags[key], most=40)
    return ""

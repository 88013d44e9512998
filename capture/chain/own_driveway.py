"""Where does a driveway lie that somebody puts on the map, and is a spot by the parcel at all?

The road is the public one nearest to the spot, the mouth the point of the parcel's edge
nearest to it. Assumes that the spot is meant for this parcel, so one far from it is refused.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from capture.basis import InputError, Sheet, plain_text

if TYPE_CHECKING:
    from capture.place import Frontage, Place, Sites

#: driveways that one parcel may have
MOST_DRIVEWAYS: Final = 8
_STEP: Final = 1e-4


def check_by_parcel(
    place: Place, sites: Sites, lat: float, lon: float, *, what: str, values: Sheet
) -> tuple[float, float]:
    """Refuse a spot that is not by the parcel; return it in metres.

    Parameters
    ----------
    place : Place
        Gives the projection.
    sites : Sites
        One site.
    lat, lon : float
        The spot, degrees.
    what : str
        What is put there, for the message.
    values : Sheet
        Numbers of place: ``frontage_reach_m``.

    Raises
    ------
    InputError
        When it is farther from the parcel than a road that fronts it may be.
    """
    import shapely

    reach = values.value("frontage_reach_m")
    x, y = (float(side[0]) for side in place.network.projection.to_xy([lat], [lon]))
    far = float(shapely.distance(shapely.Point(x, y), _find_lot(sites)))
    if not far <= reach:
        raise InputError(
            f"{what}: the spot must be within {reach:.0f} m of the parcel, got {far:.0f} m; "
            "choose one nearer"
        )
    return x, y


def _find_lot(sites: Sites) -> Any:
    import shapely

    lot = sites.polygons[0]
    return shapely.Point(float(sites.x[0]), float(sites.y[0])) if lot is None else lot


def put_on_road(
    place: Place, sites: Sites, frontage: Frontage, name: str, lat: float, lon: float, *,
    values: Sheet,
) -> Frontage:  # fmt: skip
    """Return driveways with one moved to a spot on another road, or one more there.

    Parameters
    ----------
    place : Place
        The roads.
    sites : Sites
        One site.
    frontage : Frontage
        Its driveways.
    name : str
        The one that moves; a name that none has adds one.
    lat, lon : float
        The spot, degrees.
    values : Sheet
        Numbers of place: ``frontage_reach_m``.

    Returns
    -------
    Frontage

    Raises
    ------
    InputError
        When the spot is not by the parcel, no public road is near, or there are too many.
    """
    import shapely

    from capture.place import snap
    from capture.place.network import frontable_segments

    network, reach = place.network, values.value("frontage_reach_m")
    if name not in frontage.driveway and len(frontage) >= MOST_DRIVEWAYS:
        raise InputError(f"a parcel may have {MOST_DRIVEWAYS} driveways; move one of them instead")
    x, y = check_by_parcel(place, sites, lat, lon, what="driveway", values=values)
    lot = _find_lot(sites)
    found = snap(network, [x], [y], classes=frontable_segments(network), max_distance_m=2 * reach)
    if found.segment[0] < 0:
        raise InputError(
            f"driveway: a public road must be within {2 * reach:.0f} m of the spot; choose another"
        )
    on_road = shapely.Point(float(found.x[0]), float(found.y[0]))
    edge = lot if lot.geom_type == "Point" else shapely.boundary(lot)
    mouth = shapely.get_coordinates(shapely.shortest_line(edge, on_road))[0]
    gap = float(np.hypot(mouth[0] - on_road.x, mouth[1] - on_road.y))
    if gap > reach:
        raise InputError(
            f"driveway: the road must be within {reach:.0f} m of the parcel, got {gap:.0f} m; "
            "choose a spot along a road that it faces"
        )
    return _put(
        frontage, name,
        {
            "site": 0, "x": mouth[0], "y": mouth[1], "segment": found.segment[0],
            "fraction": found.fraction[0], "line_x": on_road.x, "line_y": on_road.y,
            "distance_m": gap, "side": _find_side(network, found, mouth), "proposed": False,
        },
    )  # fmt: skip


def _find_side(network: Any, found: Any, mouth: Any) -> int:
    """Tell on which side of its road's direction a mouth lies: +1 left, -1 right."""
    import shapely

    line = shapely.LineString(network.segment_line(int(found.segment[0])))
    at = float(found.fraction[0])
    low, high = max(at - _STEP, 0.0), min(at + _STEP, 1.0)
    (x0, y0), (x1, y1) = (
        shapely.get_coordinates(line.interpolate(one, normalized=True))[0] for one in (low, high)
    )
    turn = (x1 - x0) * (mouth[1] - found.y[0]) - (y1 - y0) * (mouth[0] - found.x[0])
    return 1 if turn >= 0 else -1


def _put(frontage: Frontage, name: str, row: dict[str, Any]) -> Frontage:
    names = frontage.driveway
    at = names.index(name) if name in names else len(names)
    made: dict[str, Any] = {}
    for field, value in row.items():
        column = np.array(getattr(frontage, field))
        if at < len(names):
            column[at] = value
        else:
            column = np.append(column, np.asarray(value, dtype=column.dtype))
        made[field] = column
    kept = names if at < len(names) else (*names, plain_text(name, most=40))
    return replace(frontage, driveway=kept, **made)

"""Where does each waiting car stand: in which lane on the parcel, and where along a street?

The places of a placement's lanes run from the pay end backwards, lane beside lane, round the
bend where there is one. Cars are drawn as the passenger car that turning paths are laid for.
Assumes that lanes fill evenly.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry import Polygon

from capture.basis import InputError, Sheet
from capture.ground.needs import Needs
from capture.ground.placing import Placement
from capture.ground.values import VALUES

FloatArray = NDArray[np.float64]
#: share by which places are moved closer until as many as asked stand in the lanes
_CLOSER: Final = 0.99


def stand_along(
    line: ArrayLike, count: int, *, first_m: float = 0.0, values: Sheet = VALUES
) -> tuple[Polygon, ...]:
    """Stand cars along a line, one behind the other from its start.

    Parameters
    ----------
    line : array_like of float, shape (k, 2)
        Middle of the lane, metres, from the head of the queue backwards.
    count : int
        Cars; fewer stand where the line ends before.
    first_m : float
        Along the line to the first car's place.
    values : Sheet
        ``car_space_m``, ``car_length_m``, ``car_width_m``.

    Returns
    -------
    tuple of Polygon

    Raises
    ------
    InputError
        When the line has fewer than two points.

    Examples
    --------
    >>> cars = stand_along([(0, 0), (0, 30)], 10)
    >>> len(cars), round(cars[0].area, 2)
    (4, 12.18)
    """
    path = np.asarray(line, dtype=np.float64)
    if path.ndim != 2 or len(path) < 2:
        raise InputError(f"line must have two points or more, got shape {path.shape}; give more")
    space = values.value("car_space_m")
    starts = first_m + space * np.arange(max(count, 0))
    length = float(shapely.LineString(path).length)
    return tuple(_draw_car(path, float(at), values) for at in starts if at + space <= length)


def _draw_car(path: FloatArray, start_m: float, values: Sheet) -> Polygon:
    """Draw the car whose place begins there, its nose and tail on the path."""
    line = shapely.LineString(path)
    nose_m = start_m + 0.5 * (values.value("car_space_m") - values.value("car_length_m"))
    nose, tail = (
        shapely.get_coordinates(shapely.line_interpolate_point(line, at))[0]
        for at in (nose_m, nose_m + values.value("car_length_m"))
    )
    along = nose - tail
    along = along / max(float(np.hypot(*along)), 1e-9)
    middle = 0.5 * (nose + tail)
    half = 0.5 * values.value("car_length_m") * along
    side = 0.5 * values.value("car_width_m") * np.array([-along[1], along[0]])
    corners = (middle + half + side, middle + half - side, middle - half - side,
               middle - half + side)  # fmt: skip
    return Polygon([(float(x), float(y)) for x, y in corners])


def list_places(
    placement: Placement, needs: Needs, places: int, *, values: Sheet = VALUES
) -> tuple[Polygon, ...]:
    """List the places for waiting cars of a placement, from the pay end backwards.

    Parameters
    ----------
    placement : Placement
        With pay lanes; bays have none, and so no places.
    needs : Needs
        Tells how many lanes lie side by side.
    places : int
        How many cars the lanes hold.
    values : Sheet
        ``car_space_m``, ``car_length_m``, ``car_width_m``.

    Returns
    -------
    tuple of Polygon
        A car in each place, at most ``places`` of them, the nearest to the pay end first.
    """
    if "pay lanes" not in placement.parts or places < 1:
        return ()
    lines = _lay_lanes(placement, needs.lanes)
    spots = _space_out([shapely.LineString(line).length for line in lines], places, values)
    return tuple(_draw_car(lines[lane], at, values) for at, lane in spots)


def _space_out(lengths: list[float], places: int, values: Sheet) -> list[tuple[float, int]]:
    """Share places out over lanes; closer than usual where whole cars leave a rest over."""
    step = values.value("car_space_m")
    least = values.value("car_length_m")
    while step * _CLOSER > least and sum(math.floor(long / step) for long in lengths) < places:
        step *= _CLOSER
    spots = [
        (k * step, lane)
        for lane, long in enumerate(lengths)
        for k in range(math.floor(long / step))
    ]
    return sorted(spots)[:places]


def _lay_lanes(placement: Placement, lanes: int) -> list[FloatArray]:
    """Lay the middle of every lane from its pay end to its far end, shape (k, 2) each."""
    parts = placement.parts
    pay, near = parts["pay lanes"], parts.get("lanes")
    far = parts.get("lanes, far part")
    along = _find_way(
        pay, near if near is not None else parts.get("turn"), towards=near is not None
    )
    across = np.array([-along[1], along[0]])
    if far is not None and _middle(far) @ across < _middle(near or pay) @ across:
        across = -across
    corners = np.concatenate([_corners(shape) for shape in (pay, near) if shape is not None])
    start, end = (corners @ along).min(), (corners @ along).max()
    low, high = (corners @ across).min(), (corners @ across).max()
    wide = (high - low) / lanes
    laid = []
    for lane in range(lanes):
        side = high - (lane + 0.5) * wide
        points = [(start, side), (end, side)]
        if far is not None:
            bend = end - (high - low) + (lane + 0.5) * wide
            top = float((_corners(far) @ across).max())
            points = [(start, side), (bend, side), (bend, top)]
        laid.append(np.array([x * along + y * across for x, y in points]))
    return laid


def _find_way(pay: Polygon, other: Polygon | None, *, towards: bool) -> FloatArray:
    """Return the way of the lanes, seen from the pay end, along a side of the pay lanes."""
    sides = np.diff(_corners(pay)[:3], axis=0)
    sides = sides / np.hypot(sides[:, 0], sides[:, 1])[:, None]
    gap = np.zeros(2) if other is None else _middle(other) - _middle(pay)
    gap = gap if towards else -gap
    held = sides @ gap
    best = int(np.argmax(np.abs(held)))
    return np.asarray(sides[best] * (1.0 if held[best] >= 0 else -1.0))


def _corners(shape: Polygon) -> FloatArray:
    return np.asarray(shapely.get_coordinates(shape.exterior), dtype=np.float64)


def _middle(shape: Polygon) -> FloatArray:
    return np.array([shape.centroid.x, shape.centroid.y])

"""Which line does each of many sites get, how many side by side, and where do stations stand?

Looks up the frontier (see :mod:`capture.line.frontier`), so that a hundred thousand sites
cost as little as their arrays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import FORMAT_WORDS, InputError, Offer, Sheet
from capture.line.frontier import Frontier, StationSet, make_frontier
from capture.line.stations import Catalog, Station
from capture.line.values import VALUES

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineTable:
    """Lines for many sites at once, all arrays of the shape asked for."""

    #: length from the first roller to the exit clearance
    length_m: FloatArray
    #: outside length of the building
    building_length_m: FloatArray
    #: chain speed; 0 for bays
    chain_speed_mps: FloatArray
    #: sustained cars an hour of all lines together
    cars_per_hour: FloatArray
    #: lines side by side, or bays
    lines: FloatArray
    #: rated power of all stations of all lines
    power_w: FloatArray
    #: water of all stations of all lines at once
    flow_m3s: FloatArray
    #: installed equipment of all lines
    capital_usd: FloatArray
    #: floor area of the building
    building_area_m2: FloatArray


def size_lines(
    cars_per_hour: ArrayLike,
    offer: Offer,
    *,
    package: str | None = None,
    catalog: Catalog | None = None,
    values: Sheet = VALUES,
) -> LineTable:
    """Size lines for many design hours by looking them up on the frontier.

    Parameters
    ----------
    cars_per_hour : array_like of float, any shape
        Design hours, headroom included, cars an hour.
    offer : Offer
    package : str, optional
        One package only; the shortest that the format may use when left out.
    catalog : Catalog, optional
        Stations and packages; the usual ones when left out.

    Returns
    -------
    LineTable
        Arrays of that shape.

    Raises
    ------
    InputError
        When an hour is negative or not a number.

    Examples
    --------
    >>> table = size_lines([40.0, 95.0, 400.0], Offer())
    >>> table.lines.tolist()
    [1.0, 1.0, 3.0]
    """
    needed = np.asarray(cars_per_hour, dtype=np.float64)
    if not np.isfinite(needed).all() or (needed < 0).any():
        raise InputError("cars_per_hour must be numbers of 0 or more; mend the design hours")
    if not offer.is_conveyor:
        from capture.line.bays import size_bay_table

        return size_bay_table(needed, offer, values=values)
    frontier = make_frontier(offer, package=package, catalog=catalog, values=values)
    lines, row = choose_rows(frontier, needed, offer)
    length = frontier.length_m[row]
    building = length + values.value("building_margin_m")
    width = values.value("building_width_m") + (lines - 1) * values.value("second_line_width_m")
    return LineTable(
        length_m=length,
        building_length_m=building,
        chain_speed_mps=frontier.chain_speed_mps[row],
        cars_per_hour=frontier.cars_per_hour[row] * lines,
        lines=lines,
        power_w=frontier.power_w[row] * lines,
        flow_m3s=frontier.flow_m3s[row] * lines,
        capital_usd=frontier.capital_usd[row] * lines,
        building_area_m2=building * width,
    )


def choose_rows(
    frontier: Frontier, needed: FloatArray, offer: Offer
) -> tuple[FloatArray, IntArray]:
    """Choose how many lines and which row of the frontier meet each hour.

    A building limit keeps to one line: the shortest that meets the hour if it fits, else
    the one with the most cars that fits.

    Raises
    ------
    InputError
        When not even the shortest line fits the building.
    """
    if offer.building_limit_m is None:
        most = frontier.cars_per_hour[-1]
        lines = np.maximum(1.0, np.ceil(needed / most - 1e-9))
        return lines, frontier.find_row(needed / lines)
    last = frontier.find_longest(offer.building_limit_m)
    if last < 0:
        raise InputError(
            f"offer: building_limit_m must be at least {frontier.length_m[0]:.1f} m for "
            f"{FORMAT_WORDS[offer.format]} lines, got {offer.building_limit_m:g}; "
            "lengthen it or take bays"
        )
    return np.ones_like(needed), np.minimum(frontier.find_row(needed), last)


def place_stations(stations: Sequence[Station], speed_mps: float) -> tuple[FloatArray, IntArray]:
    """Return where each station starts (k,), and its count (k,).

    A station that hangs over another's zone starts its lead seconds ahead of that one,
    but not before the line does.
    """
    listed = StationSet(stations=tuple(stations))
    zone = listed.zones_m(speed_mps)[:, 0]
    start = np.concatenate([[0.0], np.cumsum(zone)[:-1]])
    own = {one.id: start[k] for k, one in enumerate(stations) if not one.with_station}
    for k, one in enumerate(stations):
        if one.with_station:
            start[k] = max(0.0, own[one.with_station] - one.lead_s * speed_mps)
    return start, listed.count(speed_mps)[:, 0]

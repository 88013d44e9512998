"""What is the shortest line that meets an hour, or the most cars that a building allows?

Cars an hour = chain speed / pitch x loading; at a given speed each station's count is the
least whole number that gives its contact seconds, and its zone the longer of the station
itself and its least seconds of travel. Both only grow with speed, so the shortest line
of a package is the one at the least speed that meets the hour, and the answer over all
packages is exact by looking at each. Speeds go in small steps, so one table (the frontier)
answers every question, for one site or for many.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Offer, Sheet
from capture.line.reading import usual_catalog
from capture.line.stations import Catalog, Package, Station
from capture.line.values import VALUES

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: guards the ceiling against rounding of the product
_EPS: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StationSet:
    """An ordered list of stations, and what it takes at each chain speed."""

    #: stations in order
    stations: tuple[Station, ...]

    def count(self, speed_mps: ArrayLike) -> IntArray:
        """Return the least whole counts, shape (k, speeds).

        Notes
        -----
        ceil(contact seconds x speed / length that one works on), at least the station's own
        least count.
        """
        speed = np.atleast_1d(np.asarray(speed_mps, dtype=np.float64))
        contact, wetted, least = self._column("contact_s", "wetted_m", "count")
        per_speed = np.divide(contact, wetted, out=np.zeros_like(contact), where=wetted > 0)
        needed = np.ceil(per_speed[:, None] * speed - _EPS)
        return np.maximum(least[:, None], needed).astype(np.int64)

    def zones_m(self, speed_mps: ArrayLike) -> FloatArray:
        """Return zone lengths, shape (k, speeds); 0 for stations that hang over others."""
        speed = np.atleast_1d(np.asarray(speed_mps, dtype=np.float64))
        body, each, zone_s = self._column("body_m", "each_m", "zone_s")
        own = np.array([not one.with_station for one in self.stations])
        station = body[:, None] + each[:, None] * self.count(speed)
        zone = np.maximum(station, zone_s[:, None] * speed)
        return np.asarray(np.where(own[:, None], zone, 0.0))

    def length_m(self, speed_mps: ArrayLike) -> FloatArray:
        """Return line lengths, shape (speeds,)."""
        return np.asarray(self.zones_m(speed_mps).sum(axis=0))

    def amounts(self, speed_mps: ArrayLike) -> dict[str, FloatArray]:
        """Return power, flow and equipment cost at each speed, shape (speeds,)."""
        count, length = self.count(speed_mps), self.length_m(speed_mps)
        power, power_m, flow, cost, cost_m = self._column(
            "power_w", "power_w_m", "flow_m3s", "cost_usd", "cost_usd_m"
        )
        return {
            "power_w": power @ count + power_m.sum() * length,
            "flow_m3s": flow @ count,
            "cost_usd": cost @ count + cost_m.sum() * length,
        }

    def _column(self, *names: str) -> list[FloatArray]:
        return [
            np.array([getattr(one, name) for one in self.stations], dtype=np.float64)
            for name in names
        ]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frontier:
    """Length against cars an hour against cost: one row per chain speed that can pay off.

    Rows rise in cars an hour and in length; each is the shortest single line that carries
    its cars.
    """

    #: packages looked at
    packages: tuple[str, ...]
    #: which package each row uses, index into ``packages``
    package: IntArray
    #: chain speed
    chain_speed_mps: FloatArray
    #: sustained cars an hour, loading included
    cars_per_hour: FloatArray
    #: rollers to exit clearance
    length_m: FloatArray
    #: rated power of all stations
    power_w: FloatArray
    #: all stations' water at once
    flow_m3s: FloatArray
    #: installed equipment
    capital_usd: FloatArray

    def find_row(self, cars_per_hour: ArrayLike) -> IntArray:
        """Return the shortest line's row for each hour; the last row where none is enough."""
        row = np.searchsorted(self.cars_per_hour, np.asarray(cars_per_hour) - 1e-9)
        return np.asarray(np.minimum(row, self.cars_per_hour.size - 1))

    def find_longest(self, limit_m: float) -> int:
        """Return the row with the most cars that is not longer than a limit, or -1."""
        return int(np.searchsorted(self.length_m, limit_m + 1e-9, side="right")) - 1


def make_frontier(
    offer: Offer,
    *,
    package: str | None = None,
    catalog: Catalog | None = None,
    values: Sheet = VALUES,
) -> Frontier:
    """Work out the shortest line for every number of cars an hour.

    Parameters
    ----------
    offer : Offer
        Gives the format and who loads.
    package : str, optional
        One package only; by default all that the format may use.
    catalog : Catalog, optional
        By default the usual stations.
    values : Sheet
        Defaults of this room.

    Returns
    -------
    Frontier

    Raises
    ------
    InputError
        When no package serves the format.

    Examples
    --------
    >>> frontier = make_frontier(Offer())
    >>> bool((np.diff(frontier.length_m) >= 0).all())
    True
    """
    catalog = catalog or usual_catalog()
    rates = (loading_share(offer, values), values.value("pitch_m"))
    costs = (values.value("plant_usd_m"), values.value("controls_usd"))
    step = values.value("speed_step_mps")
    chosen = _allowed(catalog, offer, package)
    stations = tuple(catalog.pick(one.id) for one in chosen)
    return _make_frontier(chosen, stations, rates, costs, step)


def loading_share(offer: Offer, values: Sheet = VALUES) -> float:
    """Return which share of the chain's places is filled, by who loads."""
    return values.value(
        "loading_guided_share" if offer.guided_loading else "loading_unattended_share"
    )


def compute_chain_rate(
    chain_speed_mps: ArrayLike, *, pitch_m: float, loading: float = 1.0
) -> FloatArray:
    """Compute cars an hour from the chain's speed.

    Notes
    -----
    3600 x speed / pitch x loading; in the trade's units 60 x ft/min / ft.

    Examples
    --------
    >>> from capture.basis import convert_in
    >>> speed, pitch = convert_in(45, "chain_mps", "us"), convert_in(22, "m", "us")
    >>> float(np.round(compute_chain_rate(speed, pitch_m=pitch, loading=0.82), 1))
    100.6
    """
    return np.asarray(3600.0 * np.asarray(chain_speed_mps) / pitch_m * loading)


def _allowed(catalog: Catalog, offer: Offer, package: str | None) -> tuple[Package, ...]:
    if package is not None:
        catalog.pick(package)
        return (catalog.packages[package],)
    chosen = tuple(one for one in catalog.packages.values() if offer.format in one.formats)
    if not chosen:
        raise InputError(
            f"line: no package serves the format {offer.format!r}; add one to the station file"
        )
    return chosen


@lru_cache(maxsize=64)
def _make_frontier(
    packages: tuple[Package, ...],
    stations: tuple[tuple[Station, ...], ...],
    rates: tuple[float, float],
    costs: tuple[float, float],
    step: float,
) -> Frontier:
    loading, pitch = rates
    columns: dict[str, list[FloatArray]] = {}
    for index, (package, listed) in enumerate(zip(packages, stations, strict=True)):
        speed = list_speeds(package, step)
        one = StationSet(stations=listed)
        length, amounts = one.length_m(speed), one.amounts(speed)
        found = {
            "package": np.full(speed.size, float(index)),
            "chain_speed_mps": speed,
            "cars_per_hour": compute_chain_rate(speed, pitch_m=pitch, loading=loading),
            "length_m": length,
            "power_w": amounts["power_w"],
            "flow_m3s": amounts["flow_m3s"],
            "capital_usd": amounts["cost_usd"] + costs[0] * length + costs[1],
        }
        for name, column in found.items():
            columns.setdefault(name, []).append(column)
    table = {name: np.concatenate(parts) for name, parts in columns.items()}
    kept = _undominated(table["cars_per_hour"], table["length_m"])
    table = {name: column[kept] for name, column in table.items()}
    for column in table.values():
        column.flags.writeable = False
    return Frontier(
        packages=tuple(package.id for package in packages),
        package=table.pop("package").astype(np.int64),
        **table,
    )


def list_speeds(package: Package, step_mps: float) -> FloatArray:
    """List the chain speeds of a package, in steps, both ends included."""
    steps = math.floor((package.fastest_mps - package.slowest_mps) / step_mps + 1e-6)
    speed = package.slowest_mps + step_mps * np.arange(steps + 1)
    if speed[-1] < package.fastest_mps - 1e-9:
        speed = np.append(speed, package.fastest_mps)
    return np.asarray(speed)


def _undominated(cars: FloatArray, length: FloatArray) -> IntArray:
    """Return rows for which no other carries as many cars in a shorter line, by cars."""
    cars = np.round(cars, 9)
    order = np.lexsort((length, cars))
    shortest_beyond = np.minimum.accumulate(length[order][::-1])[::-1]
    following = np.append(shortest_beyond[1:], np.inf)
    first = np.append(True, np.diff(cars[order]) > 0)  # of those with as many cars
    kept = order[first & (length[order] < following + 1e-12)]
    return np.asarray(kept)

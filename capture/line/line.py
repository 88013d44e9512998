"""What line does the design hour need: stations in place, speed, length, cost, cautions?

The hour given already holds its headroom. Conveyor, line and building lengths are three
numbers: the line runs from the first roller to the exit clearance, the conveyor reaches
beyond it by its pits, the building by its doors and walls.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from capture.basis import InputError, Offer, Sheet
from capture.line.frontier import compute_chain_rate, loading_share, make_frontier
from capture.line.reading import usual_catalog
from capture.line.rules import Rule, RuleBreak, check_rules
from capture.line.sizing import choose_rows, place_stations
from capture.line.stations import Catalog, Station
from capture.line.values import VALUES


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedStation:
    """A station in its place on one line; power, water and cost are of all its units."""

    #: short name in the station table
    id: str
    #: name in trade words
    name: str
    #: part it plays in the order rules
    role: str
    #: what it is for
    purpose: str
    #: from the first roller
    start_m: float
    #: length of its own zone; 0 when it hangs over another's
    length_m: float
    #: seconds from entry until a car's nose reaches it
    enters_s: float
    #: arches, applicators or dryers
    count: int
    #: length that one works on; 0 when the whole zone does
    wetted_m: float
    #: least seconds that each spot is worked on
    contact_s: float
    #: rated power
    power_w: float
    #: water while on
    flow_m3s: float
    #: at the nozzles
    pressure_pa: float
    #: air while on
    air_m3s: float
    #: which water: fresh, reclaimed, spot_free or none
    water: str
    #: what is put on the car
    chemistry: str
    #: between applicators of one side
    spacing_m: float
    #: installed cost
    cost_usd: float
    #: what else it does
    side_effects: str

    @property
    def is_over_another(self) -> bool:
        """Whether it hangs over another station's zone."""
        return self.length_m == 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A sized line, or a set of bays."""

    #: exterior, flex, full_service, in_bay or self_service
    format: str
    #: which package its stations come from; "" for bays
    package: str
    #: stations of one line in order of their start; empty for bays
    stations: tuple[PlacedStation, ...]
    #: from the first roller to the exit clearance, or of a bay
    length_m: float
    #: of the conveyor with its pits; 0 for bays
    conveyor_length_m: float
    #: outside length and width of the building with all lines or bays
    building_length_m: float
    building_width_m: float
    #: 0 for bays
    chain_speed_mps: float
    #: sustained cars an hour of all lines or bays together, loading included
    cars_per_hour: float
    #: the hour that was asked for, headroom included
    needed_cars_per_hour: float
    #: lines side by side, or bays
    lines: int
    #: bays; 0 for conveyors
    bays: int
    #: nose to nose on a full chain; 0 for bays
    pitch_m: float
    #: share of places that are filled
    loading_share: float
    #: seconds from entry to exit, or a car's time in a bay
    line_s: float
    #: rated power of all stations of all lines
    power_w: float
    #: water of all stations of all lines at once
    flow_m3s: float
    #: installed equipment of all lines or bays
    capital_usd: float
    #: advice on order and spacing that it does not keep to
    rule_breaks: tuple[RuleBreak, ...]
    #: what to know before building it
    cautions: tuple[str, ...]
    #: where its figures come from
    sources: tuple[str, ...]

    @property
    def building_area_m2(self) -> float:
        """Floor area of the building."""
        return self.building_length_m * self.building_width_m

    @property
    def meets_the_hour(self) -> bool:
        """Whether it carries the hour that was asked for."""
        return self.cars_per_hour >= self.needed_cars_per_hour - 1e-6


SOURCES = (
    "stations, pitch, loading and order: common practice, no source",
    "equipment cost: common practice in total, our own split over stations",
)
_CAUTIONS = (
    "machine guarding, structure, chemicals and electrical work are for local codes and "
    "licensed practice; station figures are planning figures",
)


def size_line(
    cars_per_hour: float,
    offer: Offer,
    *,
    package: str | None = None,
    stations: Sequence[str] | None = None,
    catalog: Catalog | None = None,
    circumstances: Collection[str] = (),
    rules: Sequence[Rule] | None = None,
    values: Sheet = VALUES,
) -> Line:
    """Size the shortest line that meets a design hour.

    Parameters
    ----------
    cars_per_hour : float
        Design hour with its headroom, cars an hour.
    offer : Offer
        Gives the format, who loads, bays, and the length that the building allows.
    package : str, optional
        One package only; by default the shortest of those that the format may use.
    stations : sequence of str, optional
        Station ids in order, in place of the package's own.
    catalog : Catalog, optional
        Stations and packages; by default the usual ones.
    circumstances : collection of str
        What holds at the site, such as ``"mud_roads"``; some rules then do not.
    rules : sequence of Rule, optional
        Order and spacing rules; by default the usual ones.
    values : Sheet
        Defaults of this room.

    Returns
    -------
    Line

    Raises
    ------
    InputError
        When the hour is negative or not a number, a package or station is not known, or
        the building is too short for any line.

    Notes
    -----
    Exact: counts are whole numbers, lengths only grow with speed, and every speed step of
    every package is looked at. An hour beyond one line's reach takes equal lines side by side.

    Examples
    --------
    >>> line = size_line(98.0, Offer())
    >>> line.lines, line.package, 100 < line.length_m / 0.3048 < 130
    (1, 'complete', True)
    """
    if not (math.isfinite(cars_per_hour) and 0 <= cars_per_hour <= 1e5):
        raise InputError(
            f"cars_per_hour must be 0 to 100,000 (design hour, cars an hour), got {cars_per_hour}"
        )
    if not offer.is_conveyor:
        from capture.line.bays import size_bays

        return size_bays(cars_per_hour, offer, values=values)
    catalog = catalog or usual_catalog()
    if stations is not None:
        package = package or "complete"
        catalog = catalog.save_package(package, stations)
    frontier = make_frontier(offer, package=package, catalog=catalog, values=values)
    lines, row = choose_rows(frontier, np.asarray(float(cars_per_hour)), offer)
    chosen = frontier.packages[int(frontier.package[row])]
    return lay_out_line(
        catalog.pick(chosen), offer, chain_speed_mps=float(frontier.chain_speed_mps[row]),
        package=chosen, needed_cars_per_hour=float(cars_per_hour), lines=int(lines),
        circumstances=circumstances, rules=rules, values=values,
    )  # fmt: skip


def lay_out_line(
    stations: Sequence[Station],
    offer: Offer,
    *,
    chain_speed_mps: float,
    package: str = "",
    needed_cars_per_hour: float = 0.0,
    lines: int = 1,
    circumstances: Collection[str] = (),
    rules: Sequence[Rule] | None = None,
    values: Sheet = VALUES,
) -> Line:
    """Lay out given stations at a given chain speed, as they come.

    Raises
    ------
    InputError
        When the speed is not above 0 and up to 1 m/s.
    """
    if not 0 < chain_speed_mps <= 1.0:
        raise InputError(
            f"chain_speed_mps must be above 0 and up to 1 m/s, got {chain_speed_mps}; "
            "0.23 m/s (45 ft/min) is usual for a long line"
        )
    placed, length = _place(stations, chain_speed_mps)
    line_s = length / chain_speed_mps
    loading, pitch = loading_share(offer, values), values.value("pitch_m")
    rate = lines * float(compute_chain_rate(chain_speed_mps, pitch_m=pitch, loading=loading))
    plant = values.value("plant_usd_m") * length + values.value("controls_usd")
    cost = sum(one.cost_usd for one in placed) + plant
    cautions = list(_CAUTIONS)
    if rate < needed_cars_per_hour - 1e-6:
        cautions.append(
            f"the building allows {rate:.0f} cars an hour of the {needed_cars_per_hour:.0f} "
            "asked for; what it turns away is lost, a longer building or second line would help"
        )
    if lines > 1:
        cautions.append(f"one line cannot carry the hour: {lines} lines side by side are assumed")
    return Line(
        format=offer.format,
        package=package,
        stations=placed,
        length_m=length,
        conveyor_length_m=length + values.value("conveyor_beyond_m"),
        building_length_m=length + values.value("building_margin_m"),
        building_width_m=values.value("building_width_m")
        + (lines - 1) * values.value("second_line_width_m"),
        chain_speed_mps=chain_speed_mps,
        cars_per_hour=rate,
        needed_cars_per_hour=needed_cars_per_hour,
        lines=lines,
        bays=0,
        pitch_m=pitch,
        loading_share=loading,
        line_s=line_s,
        power_w=lines * sum(one.power_w for one in placed),
        flow_m3s=lines * sum(one.flow_m3s for one in placed),
        capital_usd=lines * cost,
        rule_breaks=check_rules(placed, line_s=line_s, circumstances=circumstances, rules=rules),
        cautions=tuple(cautions),
        sources=SOURCES,
    )


def _place(stations: Sequence[Station], speed: float) -> tuple[tuple[PlacedStation, ...], float]:
    from capture.line.frontier import StationSet

    start, count = place_stations(stations, speed)
    zone = StationSet(stations=tuple(stations)).zones_m(speed)[:, 0]
    length = float(zone.sum())
    placed = [
        PlacedStation(
            id=one.id, name=one.name, role=one.role, purpose=one.purpose,
            start_m=float(start[k]), length_m=float(zone[k]), enters_s=float(start[k]) / speed,
            count=int(count[k]), wetted_m=one.wetted_m, contact_s=one.contact_s,
            power_w=one.power_w * int(count[k]) + one.power_w_m * length,
            flow_m3s=one.flow_m3s * int(count[k]), pressure_pa=one.pressure_pa,
            air_m3s=one.air_m3s * int(count[k]), water=one.water, chemistry=one.chemistry,
            spacing_m=one.spacing_m,
            cost_usd=one.cost_usd * int(count[k]) + one.cost_usd_m * length,
            side_effects=one.side_effects,
        )
        for k, one in enumerate(stations)
    ]  # fmt: skip
    return tuple(sorted(placed, key=lambda one: (one.start_m, one.is_over_another))), length

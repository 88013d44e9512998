"""What must be piped and wired: every utility figure with its range, caution and source?

Planning figures from the line's own stations. Cars a year and busy-hour cars are draws,
so water a day and power demand carry their width.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Offer, Range, Sheet, Worlds
from capture.line import Line
from capture.utilities import hydraulics, surroundings
from capture.utilities.electric import Motor
from capture.utilities.motors import Pump, Service, list_motors, list_pumps, size_power
from capture.utilities.reading import Stations, read_stations
from capture.utilities.surroundings import Meter
from capture.utilities.usage import Usage, compute_usage
from capture.utilities.values import VALUES

FloatArray = NDArray[np.float64]
_DAYS: Final = 365.0

#: topic -> whose approval the figure needs
CAUTIONS: Final[Mapping[str, str]] = {
    "water": "Planning figure: the water utility sets tap, meter and drought limits.",
    "plumbing": "Planning figure: plumbing and backflow protection follow local code and a "
    "licensed plumber or engineer.",
    "discharge": "Planning figure: the sewer authority sets discharge limits, sampling and "
    "permit; sludge needs a licensed hauler.",
    "power": "Planning figure, not an electrical design: service, feeders and disconnects "
    "follow the adopted electrical code and a licensed electrical engineer.",
    "heat": "Planning figure: heaters and fuel piping follow mechanical and gas codes.",
    "air": "Planning figure: pressure vessels and guards follow machine-safety rules.",
    "noise": "A caution, not a noise study: walls, ground and other sources change the level; "
    "local ordinance and a measurement decide.",
    "chemicals": "Storage and handling of wash chemicals follow their safety data sheets and "
    "local fire code.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One utility figure with what a reader must know of it."""

    #: short name with SI unit
    name: str
    #: plain words
    label: str
    #: key of :data:`CAUTIONS`
    topic: str
    #: median, 5th and 95th percentile, mean, SI unit
    range: Range
    #: how it came about
    source: str

    @property
    def caution(self) -> str:
        """Whose approval it needs."""
        return CAUTIONS[self.topic]


@dataclass(frozen=True, slots=True, kw_only=True)
class Utilities:
    """What must be piped and wired for one line."""

    #: by name, in reading order
    figures: Mapping[str, Figure]
    #: what each watered station's pump must do
    pumps: tuple[Pump, ...]
    #: motor list
    motors: tuple[Motor, ...]
    #: electrical service
    service: Service
    #: water meter class flag
    meter: Meter
    #: car-by-car usage
    usage: Usage
    #: the line's stations as read
    stations: Stations
    #: cautions that every paper shows
    cautions: tuple[str, ...]
    #: where the figures come from
    sources: tuple[str, ...]

    def __getitem__(self, name: str) -> Range:
        """Return one figure's range by name.

        Raises
        ------
        InputError
            When there is no such figure.
        """
        if name not in self.figures:
            raise InputError(f"utilities: no figure {name!r}; known are {', '.join(self.figures)}")
        return self.figures[name].range

    def to_rows(self) -> list[dict[str, Any]]:
        """Return the figures as rows for tables and papers."""
        return [
            {
                "name": figure.name,
                "label": figure.label,
                "value": figure.range.value,
                "low": figure.range.low,
                "high": figure.range.high,
                "mean": figure.range.mean,
                "unit": figure.range.unit,
                "caution": figure.caution,
                "source": figure.source,
            }
            for figure in self.figures.values()
        ]


def size_utilities(
    line: Line,
    cars_per_year: ArrayLike,
    busy_hour_cars: ArrayLike,
    offer: Offer,
    worlds: Worlds,
    *,
    volts: int = 480,
    home_distance_m: float = 30.0,
    vacuum_bays: int | None = None,
    values: Sheet = VALUES,
) -> Utilities:
    """Size water, drains, tanks, heat, pumps, motors, service, air and noise for a line.

    Parameters
    ----------
    line : Line
        Sized line or bays.
    cars_per_year, busy_hour_cars : array_like of float, shape (n,)
        Draws of the site's yearly cars and of its design hour.
    offer : Offer
        Format and whether wash water is reclaimed.
    worlds : Worlds
        With ``n`` draws.
    volts : int
        Three-phase supply voltage.
    home_distance_m : float
        From the dryers to the property line of the nearest home.
    vacuum_bays : int, optional
        Vacuum bays; the usual number when left out.

    Returns
    -------
    Utilities

    Raises
    ------
    InputError
        When draws are negative, not finite, or not one per world.
    """
    yearly = _draws("cars a year", cars_per_year, worlds)
    busy = _draws("busy-hour cars", busy_hour_cars, worlds)
    stations = read_stations(line, offer, values=values)
    usage = compute_usage(line, stations, offer, worlds, values=values)
    bays = _count_vacuums(offer, vacuum_bays, values)
    hour = np.minimum(busy, line.cars_per_hour)
    figures = [
        *_say_water(usage, yearly, offer, worlds, values),
        *_say_tank(usage, hour, offer, values, worlds),
        *_say_heat(usage, hour, worlds, values),
    ]
    air = usage.air_m3s * worlds.constant(values["air_spread"])
    compressor_w = float(surroundings.size_compressor(np.median(air), values=values))
    motors = list_motors(
        stations,
        lines=line.lines if offer.is_conveyor else 1,
        vacuum_w=bays * values.value("vacuum_w_bay"),
        compressor_w=compressor_w,
        volts=volts,
        values=values,
    )
    service = size_power(motors, volts=volts, values=values)
    figures += _say_power(usage, yearly, service, bays, offer, worlds, values)
    figures += [
        _figure(
            "air_m3s",
            "free air in the busiest minute",
            "air",
            air,
            "m3/s",
            "stations on in the timeline x spread",
        )
    ]
    figures += _say_noise(stations, line, home_distance_m, worlds, values)
    named = {figure.name: figure for figure in figures}
    return Utilities(
        figures=named,
        pumps=list_pumps(stations, values=values),
        motors=motors,
        service=service,
        meter=surroundings.pick_meter(named["supply_peak_m3s"].range.high),
        usage=usage,
        stations=stations,
        cautions=tuple(CAUTIONS.values()) + stations.assumed,
        sources=tuple(dict.fromkeys(figure.source for figure in figures)),
    )


def _draws(name: str, draws: ArrayLike, worlds: Worlds) -> FloatArray:
    array = np.asarray(draws, dtype=np.float64)
    if array.ndim == 0:
        array = np.full(worlds.draws, float(array))
    if array.shape != (worlds.draws,):
        raise InputError(
            f"{name}: one draw per world is needed, got {array.shape} for {worlds.draws}; "
            "pass the site's own row"
        )
    if not np.isfinite(array).all() or (array < 0).any():
        raise InputError(f"{name} must be 0 or more in every draw; check the step before")
    return array


def _figure(name: str, label: str, topic: str, draws: ArrayLike, unit: str, source: str) -> Figure:
    array = np.asarray(draws, dtype=np.float64)
    said = Range.exactly(float(array), unit) if array.ndim == 0 else Range.of(array, unit)
    return Figure(name=name, label=label, topic=topic, range=said, source=source)


def _count_vacuums(offer: Offer, bays: int | None, values: Sheet) -> float:
    if bays is not None:
        if not 0 <= bays <= 200:
            raise InputError(f"vacuum_bays must be 0 to 200, got {bays}; change it")
        return float(bays)
    return values.value("vacuum_bays") if offer.is_conveyor else 2.0 * offer.bays


def _say_water(
    usage: Usage, yearly: FloatArray, offer: Offer, worlds: Worlds, values: Sheet
) -> list[Figure]:
    listed = "stations' flow x seconds on, car by car, x spread of built lines"
    spread = worlds.constant(values["water_use_factor"])
    share = worlds.constant(values["reject_share"])
    spot = usage.per_car_m3["spot_free"] * spread
    reject = hydraulics.compute_reject_flow(spot, share)
    reclaimed = usage.per_car_m3["reclaimed"] * spread
    carried = worlds.constant(values["carry_off_share"])
    total = (usage.per_car_m3["fresh"] * spread) + spot + reclaimed
    # carried-off water leaves for good, so what is reclaimed must be topped up by that part
    top_up = carried * reclaimed
    fresh = usage.per_car_m3["fresh"] * spread + spot + reject + top_up
    sewer = fresh - carried * total
    per_day = yearly / _DAYS
    feed = usage.minute_m3s["spot_free"] / (1.0 - share)
    supply = usage.minute_m3s["fresh"] + feed + carried * usage.minute_m3s["reclaimed"]
    return [
        _figure("water_per_car_m3", "water at the nozzles per car", "water", total, "m3", listed),
        _figure("fresh_per_car_m3", "fresh water per car", "water", fresh, "m3",
                listed + "; spot-free reject and carry-off topped up"),
        _figure("reclaimed_per_car_m3", "reclaimed water per car", "water", reclaimed, "m3",
                listed),
        _figure("reject_per_car_m3", "spot-free reject per car", "water", reject, "m3",
                "permeate x s / (1 - s)"),
        _figure("fresh_per_day_m3", "fresh water on an average day", "water", fresh * per_day,
                "m3", "per car x cars a day"),
        _figure("discharge_per_day_m3", "to the sewer on an average day", "discharge",
                np.maximum(sewer, 0.0) * per_day, "m3", "fresh less carried-off water"),
        _figure("peak_flow_m3s", "highest flow at the nozzles", "plumbing",
                usage.peak_m3s["all"], "m3/s", "car-by-car timeline"),
        _figure("all_on_flow_m3s", "every station on at once", "plumbing", usage.sum_m3s, "m3/s",
                "sum of the stations, for comparison"),
        _figure("peak_fresh_m3s", "highest flow of fresh water", "plumbing",
                usage.peak_m3s["fresh"], "m3/s", "car-by-car timeline"),
        _figure("peak_reclaimed_m3s", "highest flow of reclaimed water", "plumbing",
                usage.peak_m3s["reclaimed"], "m3/s", "car-by-car timeline"),
        _figure("supply_peak_m3s", "busiest minute's draw on the water tap", "water", supply,
                "m3/s", "one-minute mean of the timeline, spot-free feed and top-up added"),
    ]  # fmt: skip


def _say_tank(
    usage: Usage, hour: FloatArray, offer: Offer, values: Sheet, worlds: Worlds
) -> list[Figure]:
    per_car = sum(usage.per_car_m3.values()) * worlds.constant(values["water_use_factor"])
    drained = per_car * (1.0 - worlds.constant(values["carry_off_share"])) * hour / 3600.0
    grain = values.value("grit_diameter_m")
    speed = float(hydraulics.compute_settling_speed(grain, values=values))
    ideal = hydraulics.compute_tank_area(drained, speed)
    area = ideal * worlds.constant(values["tank_area_factor"])
    volume = np.maximum(
        area * values.value("tank_depth_m"), drained * worlds.constant(values["tank_stay_s"])
    )
    law = "Stokes settling, tank area = flow / settling speed x factor"
    return [
        _figure("settling_mps", "settling speed of the grain to keep", "discharge", speed, "m/s",
                law),
        _figure("tank_area_m2", "surface of the settling tanks", "discharge", area, "m2", law),
        _figure("tank_volume_m3", "volume of the settling tanks", "discharge", volume, "m3",
                "the larger of area x depth and flow x stay"),
    ]  # fmt: skip


def _say_heat(usage: Usage, hour: FloatArray, worlds: Worlds, values: Sheet) -> list[Figure]:
    heated = usage.per_car_m3["fresh"] * np.clip(worlds.constant(values["heated_share"]), 0, 1)
    rise = worlds.constant(values["heat_rise_k"])
    efficiency = worlds.constant(values["heater_efficiency_share"])
    power = hydraulics.compute_heater_power(heated * hour / 3600.0, rise, efficiency, values=values)
    per_car = heated * values.value("water_heat_jm3k") * rise / efficiency
    law = "flow x heat of water x rise / efficiency"
    return [
        _figure("heater_w", "heater input in the busy hour", "heat", power, "W", law),
        _figure("heat_per_car_j", "heater fuel per car", "heat", per_car, "J", law),
    ]


def _say_power(
    usage: Usage,
    yearly: FloatArray,
    service: Service,
    bays: float,
    offer: Offer,
    worlds: Worlds,
    values: Sheet,
) -> list[Figure]:
    load = worlds.constant(values["motor_load_share"])
    wire = load / worlds.constant(values["motor_efficiency_share"])
    other = values.value("other_continuous_w")
    vacuums = bays * worlds.constant(values["vacuum_w_bay"])
    running = (usage.peak_w + vacuums) * wire + other + values.value("other_short_w")
    demand = running * worlds.constant(values["demand_share"])
    hours = _DAYS * (offer.closes_hour - offer.opens_hour)
    idle = values.value("standby_w") * (_DAYS * 24.0 - hours) + other * hours
    vacuum_j = (
        worlds.constant(values["vacuum_user_share"])
        * worlds.constant(values["vacuum_run_s"])
        * worlds.constant(values["vacuum_w_bay"])
    )
    moved = (usage.per_car_j + vacuum_j) * wire
    year_j = moved * yearly + idle * 3600.0
    per_car = year_j / np.maximum(yearly, 1.0)
    rule = "NFPA 70 Table 430.250 and 430.24 on the motor list"
    return [
        _figure("connected_w", "rated power of all motors", "power", service.connected_w, "W",
                "motor list"),
        _figure("full_load_a", "full-load current of all motors", "power", service.full_load_a,
                "A", rule),
        _figure("feeder_a", "least feeder current", "power", service.feeder_a, "A", rule),
        _figure("service_a", "next usual service rating", "power",
                float(service.service_a * service.services), "A", rule + "; spare added"),
        _figure("apparent_va", "apparent power of the feeder", "power", service.apparent_va, "VA",
                "sqrt(3) x supply voltage x feeder current"),
        _figure("demand_w", "highest 15-minute demand", "power", demand, "W",
                "timeline's highest running power x load / efficiency x demand share"),
        _figure("energy_per_car_j", "electricity per car", "power", per_car, "J",
                "power x seconds on, vacuums, lights and standby over the year's cars"),
        _figure("energy_year_j", "electricity a year", "power", year_j, "J", "as per car"),
        _figure("demand_va", "apparent power at that demand", "power",
                demand / worlds.constant(values["power_factor"]), "VA", "demand / power factor"),
    ]  # fmt: skip


def _say_noise(
    stations: Stations, line: Line, distance_m: float, worlds: Worlds, values: Sheet
) -> list[Figure]:
    number = line.lines * sum(
        count for count, dryer in zip(stations.count, stations.dryer, strict=True) if dryer
    )
    if number == 0:
        return []
    reference = values.value("dryer_reference_m")
    one = worlds.constant(values["dryer_level_db"])
    source = one + surroundings.add_levels(np.zeros(number))
    level = surroundings.compute_noise_level(source, distance_m, reference_m=reference)
    quiet = surroundings.compute_quiet_distance(
        source, values.value("noise_limit_db"), reference_m=reference
    )
    law = "sum of the dryers, 20 log10 of distance, open ground, no wall"
    return [
        _figure("noise_db", f"dryer noise {distance_m:g} m away", "noise", level, "dB", law),
        _figure("quiet_distance_m", "distance at which dryers meet the usual limit", "noise",
                quiet, "m", law),
    ]  # fmt: skip

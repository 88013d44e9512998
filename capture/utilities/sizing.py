"""What must be piped and wired: every utility figure with its range, caution and source?

Planning figures from the line's own stations. Cars a year and busy-hour cars are draws,
so water a day and power demand carry their width.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Offer, Range, Sheet, Worlds
from capture.line import Line
from capture.utilities import surroundings
from capture.utilities.dry import say_noise, say_power
from capture.utilities.electric import Motor
from capture.utilities.figures import CAUTIONS, Figure, make_figure
from capture.utilities.motors import Pump, Service, list_motors, list_pumps, size_power
from capture.utilities.reading import Stations, read_stations
from capture.utilities.surroundings import Meter
from capture.utilities.usage import Usage, compute_usage
from capture.utilities.values import VALUES
from capture.utilities.wet import say_heat, say_tank, say_water

FloatArray = NDArray[np.float64]


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
    drives: Collection[str] = (),
    busiest_day_cars: ArrayLike | None = None,
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
    drives : collection of str
        Roles of stations whose motors run on variable-frequency drives, such as
        ``"dryer"``; they count by the drive's input current.
    busiest_day_cars : array_like of float, shape (n,), optional
        Draws of the cars on the year's busiest day; adds that day's water.

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
    day = (
        None
        if busiest_day_cars is None
        else _draws("cars on the busiest day", busiest_day_cars, worlds)
    )
    stations = read_stations(line, offer, values=values)
    usage = compute_usage(line, stations, offer, worlds, values=values)
    bays = _count_vacuums(offer, vacuum_bays, values)
    hour = np.minimum(busy, line.cars_per_hour)
    figures = [
        *say_water(usage, yearly, worlds, values, busiest_day=day),
        *say_tank(usage, hour, worlds, values),
        *say_heat(usage, hour, worlds, values),
    ]
    air = usage.air_m3s * worlds.constant(values["air_spread"])
    compressor_w = float(surroundings.size_compressor(np.median(air), values=values))
    motors = list_motors(
        stations,
        lines=line.lines if offer.is_conveyor else 1,
        vacuum_w=bays * values.value("vacuum_w_bay"),
        compressor_w=compressor_w,
        volts=volts,
        drives=drives,
        values=values,
    )
    service = size_power(motors, volts=volts, values=values)
    figures += say_power(usage, yearly, service, bays, offer, worlds, values)
    figures += [
        make_figure(
            "air_m3s",
            "free air in the busiest minute",
            "air",
            air,
            "m3/s",
            "stations on in the timeline x spread",
        )
    ]
    figures += say_noise(stations, line, home_distance_m, worlds, values)
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


def _count_vacuums(offer: Offer, bays: int | None, values: Sheet) -> float:
    if bays is not None:
        if not 0 <= bays <= 200:
            raise InputError(f"vacuum_bays must be 0 to 200, got {bays}; change it")
        return float(bays)
    return values.value("vacuum_bays") if offer.is_conveyor else 2.0 * offer.bays

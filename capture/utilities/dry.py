"""How much current and energy, and how loud, while the cars of a line are washed and dried?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from capture.basis import Offer, Sheet, Worlds
from capture.line import Line
from capture.utilities import surroundings
from capture.utilities.figures import Figure, make_figure
from capture.utilities.motors import Service
from capture.utilities.reading import Stations
from capture.utilities.usage import Usage
from capture.utilities.wet import DAYS

FloatArray = NDArray[np.float64]


def say_power(
    usage: Usage,
    yearly: FloatArray,
    service: Service,
    bays: float,
    offer: Offer,
    worlds: Worlds,
    values: Sheet,
) -> list[Figure]:
    """Say motors, service, demand and energy; ``yearly`` cars of shape (n,)."""
    load = worlds.constant(values["motor_load_share"])
    wire = load / worlds.constant(values["motor_efficiency_share"])
    other = values.value("other_continuous_w")
    vacuums = bays * worlds.constant(values["vacuum_w_bay"])
    running = (usage.peak_w + vacuums) * wire + other + values.value("other_short_w")
    demand = running * worlds.constant(values["demand_share"])
    hours = DAYS * (offer.closes_hour - offer.opens_hour)
    idle = values.value("standby_w") * (DAYS * 24.0 - hours) + other * hours
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
        make_figure(
            "connected_w",
            "rated power of all motors",
            "power",
            service.connected_w,
            "W",
            "motor list",
        ),
        make_figure(
            "full_load_a",
            "full-load current of all motors",
            "power",
            service.full_load_a,
            "A",
            rule,
        ),
        make_figure("feeder_a", "least feeder current", "power", service.feeder_a, "A", rule),
        make_figure(
            "service_a",
            "next usual service rating",
            "power",
            float(service.service_a * service.services),
            "A",
            rule + "; spare added",
        ),
        make_figure(
            "apparent_va",
            "apparent power of the feeder",
            "power",
            service.apparent_va,
            "VA",
            "sqrt(3) x supply voltage x feeder current",
        ),
        make_figure(
            "demand_w",
            "highest 15-minute demand",
            "power",
            demand,
            "W",
            "timeline's highest running power x load / efficiency x demand share",
        ),
        make_figure(
            "energy_per_car_j",
            "electricity per car",
            "power",
            per_car,
            "J",
            "power x seconds on, vacuums, lights and standby over the year's cars",
        ),
        make_figure("energy_year_j", "electricity a year", "power", year_j, "J", "as per car"),
        make_figure(
            "demand_va",
            "apparent power at that demand",
            "power",
            demand / worlds.constant(values["power_factor"]),
            "VA",
            "demand / power factor",
        ),
    ]


def say_noise(
    stations: Stations, line: Line, distance_m: float, worlds: Worlds, values: Sheet
) -> list[Figure]:
    """Say the dryers' noise at a distance; nothing where there are none."""
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
        make_figure("noise_db", f"dryer noise {distance_m:g} m away", "noise", level, "dB", law),
        make_figure(
            "quiet_distance_m",
            "distance at which dryers meet the usual limit",
            "noise",
            quiet,
            "m",
            law,
        ),
    ]

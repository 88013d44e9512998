"""How much water, which drains and tanks, how much heat for the cars of a line?

Fresh and reclaimed water are told apart by station. Water carried off on cars or as mist
is lost; what is reclaimed is topped up by that part.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import Sheet, Worlds
from capture.utilities import hydraulics
from capture.utilities.figures import Figure, make_figure
from capture.utilities.usage import Usage

FloatArray = NDArray[np.float64]
DAYS: Final = 365.0


def say_water(
    usage: Usage,
    yearly: FloatArray,
    worlds: Worlds,
    values: Sheet,
    *,
    busiest_day: FloatArray | None = None,
) -> list[Figure]:
    """Say water by kind, per car, per day and at its busiest; ``yearly`` cars of shape (n,)."""
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
    used = usage.per_car_m3["fresh"] * spread + spot + reject
    softened = np.clip(worlds.constant(values["softened_share"]), 0.0, 1.0)
    softening = used * softened * worlds.constant(values["softener_waste_share"])
    fresh = used + softening + top_up
    sewer = fresh - carried * total
    per_day = yearly / DAYS
    feed = usage.minute_m3s["spot_free"] / (1.0 - share)
    supply = usage.minute_m3s["fresh"] + feed + carried * usage.minute_m3s["reclaimed"]
    sewer = np.maximum(sewer, 0.0)
    busiest = []
    if busiest_day is not None:
        busiest = [
            make_figure(
                "fresh_busiest_day_m3",
                "fresh water on the busiest day",
                "water",
                fresh * busiest_day,
                "m3",
                "per car x cars on the busiest day",
            ),
            make_figure(
                "discharge_busiest_day_m3",
                "to the sewer on the busiest day",
                "discharge",
                sewer * busiest_day,
                "m3",
                "fresh less carried-off water",
            ),
        ]
    return [
        make_figure(
            "water_per_car_m3", "water at the nozzles per car", "water", total, "m3", listed
        ),
        make_figure(
            "fresh_per_car_m3",
            "fresh water per car",
            "water",
            fresh,
            "m3",
            listed + "; reject, softening and carry-off topped up",
        ),
        make_figure(
            "reclaimed_per_car_m3", "reclaimed water per car", "water", reclaimed, "m3", listed
        ),
        make_figure(
            "reject_per_car_m3",
            "spot-free reject per car",
            "water",
            reject,
            "m3",
            "permeate x s / (1 - s)",
        ),
        make_figure(
            "softening_per_car_m3",
            "softener regeneration per car",
            "water",
            softening,
            "m3",
            "fresh water x softened share x regeneration share",
        ),
        make_figure(
            "fresh_per_day_m3",
            "fresh water on an average day",
            "water",
            fresh * per_day,
            "m3",
            "per car x cars a day",
        ),
        make_figure(
            "discharge_per_day_m3",
            "to the sewer on an average day",
            "discharge",
            sewer * per_day,
            "m3",
            "fresh less carried-off water",
        ),
        make_figure(
            "peak_flow_m3s",
            "highest flow at the nozzles",
            "plumbing",
            usage.peak_m3s["all"],
            "m3/s",
            "car-by-car timeline",
        ),
        make_figure(
            "all_on_flow_m3s",
            "every station on at once",
            "plumbing",
            usage.sum_m3s,
            "m3/s",
            "sum of the stations, for comparison",
        ),
        make_figure(
            "peak_fresh_m3s",
            "highest flow of fresh water",
            "plumbing",
            usage.peak_m3s["fresh"],
            "m3/s",
            "car-by-car timeline",
        ),
        make_figure(
            "peak_reclaimed_m3s",
            "highest flow of reclaimed water",
            "plumbing",
            usage.peak_m3s["reclaimed"],
            "m3/s",
            "car-by-car timeline",
        ),
        make_figure(
            "supply_peak_m3s",
            "busiest minute's draw on the water tap",
            "water",
            supply,
            "m3/s",
            "one-minute mean of the timeline, spot-free feed and top-up added",
        ),
        *busiest,
    ]


def say_tank(usage: Usage, hour: FloatArray, worlds: Worlds, values: Sheet) -> list[Figure]:
    """Say the settling tanks of the busy hour; ``hour`` cars of shape (n,)."""
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
        make_figure(
            "settling_mps", "settling speed of the grain to keep", "discharge", speed, "m/s", law
        ),
        make_figure("tank_area_m2", "surface of the settling tanks", "discharge", area, "m2", law),
        make_figure(
            "tank_volume_m3",
            "volume of the settling tanks",
            "discharge",
            volume,
            "m3",
            "the larger of area x depth and flow x stay",
        ),
    ]


def say_heat(usage: Usage, hour: FloatArray, worlds: Worlds, values: Sheet) -> list[Figure]:
    """Say the heater of the busy hour; ``hour`` cars of shape (n,)."""
    heated = usage.per_car_m3["fresh"] * np.clip(worlds.constant(values["heated_share"]), 0, 1)
    rise = worlds.constant(values["heat_rise_k"])
    efficiency = worlds.constant(values["heater_efficiency_share"])
    power = hydraulics.compute_heater_power(heated * hour / 3600.0, rise, efficiency, values=values)
    per_car = heated * values.value("water_heat_jm3k") * rise / efficiency
    law = "flow x heat of water x rise / efficiency"
    return [
        make_figure("heater_w", "heater input in the busy hour", "heat", power, "W", law),
        make_figure("heat_per_car_j", "heater fuel per car", "heat", per_car, "J", law),
    ]

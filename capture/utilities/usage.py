"""What does one car use, and what runs at once in the busiest stretch?

Cars follow each other at the line's rate with random gaps above the least headway, and
every station switches with them (see :mod:`capture.utilities.timeline`). Bays run apart
from each other: at worst all at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import Offer, Sheet, Worlds
from capture.line import Line
from capture.utilities.reading import Stations
from capture.utilities.timeline import Timeline, compute_timeline, spread_entries
from capture.utilities.values import VALUES

FloatArray = NDArray[np.float64]
#: busy hours that are laid out car by car
BUSY_HOURS: Final = 3.0
#: averaging window of the flow that a supply or drain must carry, s
WINDOW_S: Final = 60.0
KINDS: Final = ("fresh", "reclaimed", "spot_free")


@dataclass(frozen=True, slots=True, kw_only=True)
class Usage:
    """Water, air and power of a line while it is busy, all lines together."""

    #: seconds each station is on for one car, shape (stations,)
    on_s: FloatArray
    #: water of one car by kind, m3
    per_car_m3: Mapping[str, float]
    #: highest flow at any moment by kind, and "all", m3/s
    peak_m3s: Mapping[str, float]
    #: highest one-minute mean flow by kind, and "all", m3/s
    minute_m3s: Mapping[str, float]
    #: every station on at once, m3/s
    sum_m3s: float
    #: highest rated power running at any moment, W
    peak_w: float
    #: rated power x seconds of one car, J
    per_car_j: float
    #: highest one-minute mean of free air, m3/s
    air_m3s: float
    #: timeline of all water of one line, for drawing
    timeline: Timeline


def compute_usage(
    line: Line,
    stations: Stations,
    offer: Offer,
    worlds: Worlds,
    *,
    values: Sheet = VALUES,
) -> Usage:
    """Follow cars along the line for a few busy hours.

    Parameters
    ----------
    line : Line
        Gives chain speed, pitch, cars an hour and how many lines run side by side.
    stations : Stations
        Of :func:`~capture.utilities.reading.read_stations`.
    worlds : Worlds
        Keys the gaps between cars.

    Returns
    -------
    Usage

    Notes
    -----
    With cars closer than a station's reach the station stays on between them, so one
    car's share of it is at most one headway.
    """
    if not offer.is_conveyor:
        return _use_bays(line, stations, offer, values)
    entries = _lay_out(line, worlds)

    def follow(amount: FloatArray) -> Timeline:
        return compute_timeline(
            entries,
            start_m=stations.start_m,
            wetted_m=stations.wetted_m,
            amount=amount,
            car_length_m=values.value("car_length_m"),
            chain_speed_mps=line.chain_speed_mps,
        )

    whole, power = follow(stations.flow_m3s), follow(stations.power_w)
    masks = {kind: np.array([water == kind for water in stations.water]) for kind in KINDS}
    flows = {kind: follow(stations.flow_m3s * mask) for kind, mask in masks.items()}
    every = flows | {"all": whole}
    cars, lines = entries.size, line.lines
    return Usage(
        on_s=whole.on_s / cars,
        per_car_m3={kind: flow.total / cars for kind, flow in flows.items()},
        peak_m3s={kind: lines * flow.peak for kind, flow in every.items()},
        minute_m3s={kind: lines * flow.highest_mean(WINDOW_S) for kind, flow in every.items()},
        sum_m3s=lines * float(stations.flow_m3s.sum()),
        peak_w=lines * power.peak,
        per_car_j=power.total / cars,
        air_m3s=lines * follow(stations.air_m3s).highest_mean(WINDOW_S),
        timeline=whole,
    )


def _lay_out(line: Line, worlds: Worlds) -> FloatArray:
    each_per_hour = line.cars_per_hour / line.lines
    draws = worlds.generator("gaps between cars in the line").random(1000)
    return spread_entries(
        each_per_hour,
        least_headway_s=line.pitch_m / line.chain_speed_mps,
        hours=BUSY_HOURS,
        draws=draws,
    )


def _use_bays(line: Line, stations: Stations, offer: Offer, values: Sheet) -> Usage:
    kind = "bay" if offer.format == "in_bay" else "self"
    bays = len(stations.names)
    run_s = line.line_s * values.value(f"{kind}_run_share")
    flow, power = float(stations.flow_m3s.sum()), float(stations.power_w.sum())
    nothing = dict.fromkeys(("reclaimed", "spot_free"), 0.0)
    return Usage(
        on_s=np.full(bays, run_s / bays),
        per_car_m3={"fresh": flow / bays * run_s} | nothing,
        peak_m3s={"fresh": flow, "all": flow} | nothing,
        minute_m3s={"fresh": flow, "all": flow} | nothing,
        sum_m3s=flow,
        peak_w=power,
        per_car_j=power / bays * run_s,
        air_m3s=float(stations.air_m3s.sum()),
        timeline=compute_timeline(
            [0.0],
            start_m=[0.0],
            wetted_m=[0.0],
            amount=[flow],
            car_length_m=run_s,
            chain_speed_mps=1.0,
        ),
    )

"""How many bays does an hour need, and how often does a driver find them all taken?

In-bay automatics and self-service bays are loss systems: cars arrive at random, hold a
bay for a while whose spread does not matter, and a driver who finds all bays taken may
leave (Erlang's B formula).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Offer, Sheet
from capture.line.line import Line
from capture.line.sizing import LineTable
from capture.line.values import VALUES

FloatArray = NDArray[np.float64]
_MOST_BAYS = 200


def compute_erlang_b(load: ArrayLike, servers: ArrayLike) -> FloatArray:
    """Compute the share of arrivals that find every server taken.

    Parameters
    ----------
    load : array_like of float
        Offered load, arrivals per unit time x mean holding time, 0 or more.
    servers : array_like of int
        Number of servers, 0 or more; broadcast against the load.

    Returns
    -------
    ndarray of float
        0 to 1.

    Raises
    ------
    InputError
        When the load is negative.

    Notes
    -----
    B(0) = 1, B(c) = a B(c-1) / (c + a B(c-1)); exact and stable.

    References
    ----------
    A. K. Erlang, "Solution of some problems in the theory of probabilities of significance
    in automatic telephone exchanges", 1917.

    Examples
    --------
    >>> float(np.round(compute_erlang_b(2.0, 3), 6))
    0.210526
    """
    a, c = np.broadcast_arrays(
        np.asarray(load, dtype=np.float64), np.asarray(servers, dtype=np.int64)
    )
    if (a < 0).any() or (c < 0).any() or not np.isfinite(a).all():
        raise InputError("Erlang B: load and servers must be 0 or more; mend them")
    blocked = np.ones(a.shape)
    for server in range(1, int(c.max(initial=0)) + 1):
        busy = a * blocked
        blocked = np.where(c >= server, busy / (server + busy), blocked)
    return np.asarray(blocked)


def compute_erlang_c(load: ArrayLike, servers: ArrayLike) -> FloatArray:
    """Compute the share of arrivals that must wait when nobody leaves.

    Notes
    -----
    C = B / (1 - a/c (1 - B)) for a < c, else 1.

    References
    ----------
    Erlang 1917; any text on M/M/c queues.

    Examples
    --------
    >>> float(np.round(compute_erlang_c(2.0, 3), 6))
    0.444444
    """
    a, c = np.broadcast_arrays(np.asarray(load, dtype=np.float64), np.asarray(servers))
    blocked = compute_erlang_b(a, c)
    with np.errstate(divide="ignore", invalid="ignore"):
        waits = blocked / (1 - a / c * (1 - blocked))
    return np.asarray(np.where(a < c, waits, 1.0))


def holding_s(offer: Offer, values: Sheet = VALUES) -> float:
    """Return how long a car holds a bay."""
    return values.value("in_bay_s" if offer.format == "in_bay" else "self_service_s")


def count_bays_needed(
    cars_per_hour: ArrayLike, offer: Offer, *, values: Sheet = VALUES
) -> FloatArray:
    """Count the bays at which few enough of an hour's cars find all taken.

    Returns
    -------
    ndarray of float
        Least whole number of bays at which Erlang B is at most the allowed share.
    """
    load = np.asarray(cars_per_hour, dtype=np.float64) * holding_s(offer, values) / 3600
    allowed = values.value("bay_blocked_share")
    blocked, bays = np.ones(load.shape), np.zeros(load.shape)
    for server in range(1, _MOST_BAYS + 1):
        busy = load * blocked
        over = blocked > allowed
        blocked = np.where(over, busy / (server + busy), blocked)
        bays = np.where(over, server, bays)
    return np.asarray(np.maximum(bays, 1))


def size_bays(cars_per_hour: float, offer: Offer, *, values: Sheet = VALUES) -> Line:
    """Describe the offer's bays, and say when the hour needs more of them."""
    table = size_bay_table(np.asarray(float(cars_per_hour)), offer, values=values)
    needed = int(count_bays_needed(float(cars_per_hour), offer, values=values))
    hold = holding_s(offer, values)
    blocked = float(compute_erlang_b(cars_per_hour * hold / 3600, offer.bays))
    cautions = []
    if needed > offer.bays:
        cautions.append(
            f"in the design hour {blocked:.0%} of drivers find all {offer.bays} bays taken; "
            f"{needed} bays would keep that to {values.value('bay_blocked_share'):.0%}"
        )
    return Line(
        format=offer.format, package="", stations=(), length_m=float(table.length_m),
        conveyor_length_m=0.0, building_length_m=float(table.building_length_m),
        building_width_m=values.value("bay_width_m") * offer.bays, chain_speed_mps=0.0,
        cars_per_hour=float(table.cars_per_hour), needed_cars_per_hour=float(cars_per_hour),
        lines=offer.bays, bays=offer.bays, pitch_m=0.0, loading_share=1.0, line_s=hold,
        power_w=0.0, flow_m3s=0.0, capital_usd=float(table.capital_usd), rule_breaks=(),
        cautions=tuple(cautions),
        sources=(
            "time in a bay, bay size and cost: from memory, unchecked",
            "share that finds all bays taken: Erlang B",
        ),
    )  # fmt: skip


def size_bay_table(cars_per_hour: FloatArray, offer: Offer, *, values: Sheet = VALUES) -> LineTable:
    """Describe the offer's bays for many sites; the number of bays is the offer's."""
    kind = "in_bay" if offer.format == "in_bay" else "self_service"
    one = np.ones(np.shape(cars_per_hour))
    length = values.value(f"{kind}_length_m")
    building = length + values.value("building_margin_m")
    width = values.value("bay_width_m") * offer.bays
    return LineTable(
        length_m=length * one,
        building_length_m=building * one,
        chain_speed_mps=0.0 * one,
        cars_per_hour=offer.bays * 3600.0 / holding_s(offer, values) * one,
        lines=offer.bays * one,
        power_w=0.0 * one,
        flow_m3s=0.0 * one,
        capital_usd=values.value(f"{kind}_usd") * offer.bays * one,
        building_area_m2=building * width * one,
    )

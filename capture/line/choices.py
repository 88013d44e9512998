"""What would another line, another hour or another pay lane change?

Tables for a planner to choose from: how often the line may be full, pay lanes and chain
speed against waits and losses, and the frontier of length, cars and cost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from capture.basis import Offer, Sheet, Worlds
from capture.hours import FULL_CHOICES, YearShape, list_full_choices
from capture.line.frontier import Frontier
from capture.line.line import Line
from capture.line.lost import compute_lost_share
from capture.line.queue import simulate_queue
from capture.line.sizing import size_lines
from capture.line.values import VALUES


def compute_queue_sensitivity(
    cars_per_year_draws: ArrayLike,
    shape: YearShape,
    line: Line,
    offer: Offer,
    worlds: Worlds,
    *,
    pay_lanes: tuple[int, ...] = (1, 2, 3, 4),
    speed_factors: tuple[float, ...] = (0.8, 0.9, 1.0, 1.1, 1.2),
    **options: Any,
) -> list[dict[str, float]]:
    """Show how waits and losses move with pay lanes and chain speed, in the same days.

    Returns
    -------
    list of dict
        ``pay_lanes``, ``chain_speed_mps``, ``cars_per_hour``, ``wait_95_s``,
        ``stacking_cars``, ``lost_share``.
    """
    cases = [(lanes, 1.0) for lanes in pay_lanes]
    cases += [(offer.pay_lanes, factor) for factor in speed_factors if factor != 1.0]
    rows = []
    for lanes, factor in cases:
        moved = replace(
            line,
            chain_speed_mps=line.chain_speed_mps * factor,
            cars_per_hour=line.cars_per_hour * factor,
        )
        queue = simulate_queue(
            cars_per_year_draws, shape, moved, offer.change(pay_lanes=lanes), worlds, **options
        )
        rows.append(
            {
                "pay_lanes": float(lanes),
                "chain_speed_mps": moved.chain_speed_mps,
                "cars_per_hour": moved.cars_per_hour,
                "wait_95_s": queue.wait_95_s,
                "stacking_cars": float(queue.stacking_cars),
                "lost_share": queue.lost_share,
            }
        )
    return rows


def compare_design_hours(
    cars_per_year: float,
    shape: YearShape,
    offer: Offer,
    *,
    choices: Sequence[tuple[str, int]] = FULL_CHOICES,
    values: Sheet = VALUES,
) -> list[dict[str, float | str]]:
    """Show which line each answer to *how often may it be full?* leads to.

    Parameters
    ----------
    cars_per_year : float
        Expected cars a year, such as the median of the draws.
    shape : YearShape
    offer : Offer
        Gives headroom and format.
    choices : sequence of (str, int)
        What each is called, and the rank of its busiest hour.

    Returns
    -------
    list of dict
        ``words``, ``hours_a_year``, ``cars_per_hour`` (the busy hour), ``design_cars_per_hour``
        (with headroom), ``length_m``, ``lines``, ``line_cars_per_hour``,
        ``capital_usd``, ``lost_share``.

    Examples
    --------
    >>> from capture.hours import make_year_shape
    >>> rows = compare_design_hours(90_000, make_year_shape(Offer()), Offer())
    >>> rows[0]["length_m"] > rows[-1]["length_m"]
    True
    """
    rows = list_full_choices(cars_per_year, shape, choices=choices)
    design = np.array([float(row["cars_per_hour"]) for row in rows]) * (1 + offer.headroom_share)
    lines = size_lines(design, offer, values=values)
    lost = compute_lost_share(
        np.full(design.size, float(cars_per_year)), lines.cars_per_hour, shape, offer,
        values=values,
    )  # fmt: skip
    return [
        {
            "words": row["words"],
            "hours_a_year": row["hours_a_year"],
            "cars_per_hour": row["cars_per_hour"],
            "design_cars_per_hour": float(design[k]),
            "length_m": float(lines.length_m[k]),
            "lines": float(lines.lines[k]),
            "line_cars_per_hour": float(lines.cars_per_hour[k]),
            "capital_usd": float(lines.capital_usd[k]),
            "lost_share": float(lost[k]),
        }
        for k, row in enumerate(rows)
    ]


def list_frontier(frontier: Frontier) -> list[dict[str, float | str]]:
    """Return the frontier as rows for a chart: length against cars an hour against cost."""
    return [
        {
            "package": frontier.packages[int(frontier.package[k])],
            "cars_per_hour": float(frontier.cars_per_hour[k]),
            "length_m": float(frontier.length_m[k]),
            "chain_speed_mps": float(frontier.chain_speed_mps[k]),
            "capital_usd": float(frontier.capital_usd[k]),
            "power_w": float(frontier.power_w[k]),
            "flow_m3s": float(frontier.flow_m3s[k]),
        }
        for k in range(frontier.cars_per_hour.size)
    ]

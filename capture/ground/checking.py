"""Does the line fit on the parcel, what sinks it, what does it add in cost and months?

A parcel without a shape has an unknown fit, never a pass. Grading, drainage and fire lanes
are out of scope.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from capture.basis import InputError, Offer, Sheet
from capture.ground.breakers import Answer, Finding, Status, judge_parcel, weigh
from capture.ground.fitting import Shortfall, fit_site
from capture.ground.layout import compute_area_needed
from capture.ground.needs import Needs, read_needs
from capture.ground.placing import Placement
from capture.ground.searching import check_parcel, crop_parcel, fits_core
from capture.ground.values import VALUES

Search = Literal["best", "quick", "none"]
CAUTIONS: Final = (
    "A planning layout: setbacks, landscape, access, fire lanes and parking follow local code "
    "and licensed designers.",
    "Grading, drainage, detention and fire lanes are out of scope.",
    "Deal-breakers are only as good as who said so and when; unknown never counts as pass.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What one parcel allows."""

    #: pass, ask, fail or unknown: what decides over fit and deal-breakers
    status: Status
    #: of the fit alone
    fit: Status
    #: why, one sentence each, what weighs most first
    reasons: tuple[str, ...]
    #: what the site must hold
    needs: Needs
    #: parcel area, None without a shape, m2
    area_m2: float | None
    #: area that a layout usually takes, m2
    area_needed_m2: float
    #: what is short
    shortfall: Shortfall
    #: best placements, best first
    placements: tuple[Placement, ...]
    #: deal-breaker table
    table: tuple[Finding, ...]
    #: cost that the asks add, USD
    cost_low_usd: float
    cost_high_usd: float
    #: delay that they bring, months
    months_low: float
    months_high: float
    #: what a paper must say beside it
    cautions: tuple[str, ...]

    def to_rows(self) -> list[dict[str, Any]]:
        """Return the deal-breaker table as rows for papers."""
        return [
            {
                "item": row.breaker.item,
                "key": row.breaker.key,
                "status": row.status,
                "who": row.who,
                "date": row.date,
                "cost_low_usd": row.cost_low_usd,
                "cost_high_usd": row.cost_high_usd,
                "months_low": row.months_low,
                "months_high": row.months_high,
                "usual_cost_low_usd": row.breaker.cost_low_usd,
                "usual_cost_high_usd": row.breaker.cost_high_usd,
                "usual_months_low": row.breaker.months_low,
                "usual_months_high": row.breaker.months_high,
                "effect": row.breaker.effect,
                "ask": row.breaker.ask_whom,
                "note": row.note,
                "source": row.source,
            }
            for row in self.table
        ]


def check_ground(
    polygon: BaseGeometry | None,
    line: Any,
    offer: Offer,
    *,
    stacking_m: float | None = None,
    answers: Mapping[str, Answer] | None = None,
    driveways: Sequence[tuple[float, float]] = (),
    vacuum_bays: int | None = None,
    search: Search = "best",
    values: Sheet = VALUES,
) -> Ground:
    """Check one parcel: does the site fit, and what is known of its deal-breakers?

    Parameters
    ----------
    polygon : shapely geometry or None
        Parcel in metres; None when only a point is known.
    line : Line
        Sized line or bays, or anything with its building's length and width.
    offer : Offer
        Pay lanes, bays, format.
    stacking_m : float, optional
        Stacking of all lanes, from the queue.
    vacuum_bays : int, optional
        How many are wanted; the usual number when left out.
    answers : mapping of item key to Answer, optional
        What is known; the rest is unknown.
    driveways : sequence of (x, y)
        Driveway mouths in the same metres.
    search : {"best", "quick", "none"}
        ``best`` finds the best placements; ``quick`` only tells whether building, lanes and
        turn fit anywhere, for very many parcels; ``none`` looks at area alone, and fit is
        then unknown.

    Returns
    -------
    Ground

    Raises
    ------
    InputError
        When an answer's key is not known or the line's measures make no sense.
    """
    needs = read_needs(line, offer, stacking_m=stacking_m, vacuum_bays=vacuum_bays, values=values)
    needed = compute_area_needed(needs, values=values)
    table = judge_parcel(answers)
    placements: tuple[Placement, ...] = ()
    shortfall, area = Shortfall(), None
    shape, why = _read_shape(polygon)
    if shape is None:
        fit: Status = "unknown"
        reasons = [why]
    else:
        area = float(shape.area)
        shape = crop_parcel(shape, driveways[0] if driveways else None)
        short = max(0.0, needed - area)
        if search == "best":
            shortfall, placements = fit_site(shape, needs, driveways=driveways, values=values)
            fit, reasons = _judge_fit(needs, shortfall, placements, values)
        else:
            fit, reasons = _judge_quickly(shape, needs, short, search, values)
        shortfall = replace(shortfall, area_m2=short)
    statuses = [row.status for row in table]
    return Ground(
        status=weigh([fit, *statuses]),
        fit=fit,
        reasons=tuple(reasons + _say_table(table)),
        needs=needs,
        area_m2=area,
        area_needed_m2=needed,
        shortfall=shortfall,
        placements=placements,
        table=table,
        cost_low_usd=sum(row.cost_low_usd for row in table),
        cost_high_usd=sum(row.cost_high_usd for row in table),
        months_low=max(row.months_low for row in table),
        months_high=max(row.months_high for row in table),
        cautions=CAUTIONS,
    )


def _read_shape(polygon: BaseGeometry | None) -> tuple[Polygon | None, str]:
    """Return a usable shape, or why there is none."""
    if polygon is None:
        return None, "fit is unknown: the parcel's shape is not known"
    try:
        return check_parcel(polygon), ""
    except InputError as error:
        return None, f"fit is unknown: {error}"


def _judge_quickly(
    shape: Polygon, needs: Needs, short_m2: float, search: Search, values: Sheet
) -> tuple[Status, list[str]]:
    small = [f"the parcel is about {short_m2:.0f} m2 under what is usual"] if short_m2 > 0 else []
    if search == "none":
        return "unknown", small or ["fit is unknown: no placement was looked for"]
    if not fits_core(shape, needs, values=values):
        return "fail", ["building, lanes and turn do not fit together", *small]
    return ("ask" if small else "pass"), ["ways and vacuum bays were not looked at", *small]


def _judge_fit(
    needs: Needs,
    short: Shortfall,
    placements: Sequence[Placement],
    values: Sheet,
) -> tuple[Status, list[str]]:
    if short.building_m > 0:
        return "fail", [f"the building is too long by {short.building_m:.1f} m{_say_edge(short)}"]
    if short.stacking_m > 0:
        said = (
            f"the building fits but stacking is short by {short.stacking_m:.0f} m "
            f"of {needs.stacking_m:.0f} m{_say_edge(short)}"
        )
        held = needs.stacking_m - short.stacking_m
        least = values["stacking_cars"].low * values.value("car_space_m")
        if needs.bays or held < min(least, needs.stacking_m):
            return "fail", [said]
        return "ask", [said + "; see how often the queue is longer"]
    reasons: list[str] = []
    status: Status = "pass"
    if placements[0].reaches_driveway is False:
        status = "ask"
        reasons.append("no way of one lane's width was found from the driveway and back")
    if placements[0].reaches_driveway is None:
        reasons.append("no driveway is known, so ways in and out were not looked at")
    if short.vacuum_bays > 0:
        status = "ask"
        reasons.append(f"vacuum bays are short by {short.vacuum_bays} of {needs.vacuum_bays}")
    if placements[0].vacuum_bays < needs.vacuum_bays_least:
        reasons.append(f"fewer than {needs.vacuum_bays_least} vacuum bays fit")
    return status, reasons


def _say_edge(short: Shortfall) -> str:
    if not math.isfinite(short.edge_m):
        return ""
    return f"; all would fit with every edge {short.edge_m:.1f} m farther out"


def _say_table(table: Sequence[Finding]) -> list[str]:
    """Say what was answered, one reason each; none holds the sign that parts reasons."""
    said = []
    for row in table:
        if row.status == "fail":
            who = f" ({', '.join(part for part in (row.who, row.date) if part)})"
            said.append(f"fails: {row.breaker.item}" + (who if len(who) > 3 else ""))
    for row in table:
        if row.status == "ask":
            said.append(
                f"to be dealt with: {row.breaker.item}, {row.cost_low_usd / 1000:.0f}-"
                f"{row.cost_high_usd / 1000:.0f} thousand USD, "
                f"{row.months_low:.0f}-{row.months_high:.0f} months"
            )
    unknown = sum(row.status == "unknown" for row in table)
    if unknown:
        said.append(f"{unknown} of {len(table)} deal-breakers are unknown")
    return [text.replace(";", ",") for text in said]

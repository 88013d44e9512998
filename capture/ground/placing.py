"""How can the whole site stand on one parcel, and which ways are best?

Takes the places at which building, lanes, turn and apron fit and adds vacuum rows and ways;
the same parcel always gives the same answer.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from capture.basis import Sheet
from capture.ground.needs import Needs
from capture.ground.raster import Frame
from capture.ground.searching import (
    Candidate,
    check_parcel,
    draw_part,
    find_candidates,
    map_point,
)
from capture.ground.values import VALUES
from capture.ground.ways import Ways, mark_drivable, place_vacuums

BoolArray = NDArray[np.bool_]
#: candidates whose vacuum rows and ways are looked at
_LOOKED_AT: Final = 24
#: headings nearer than this count as the same
_APART_DEG: Final = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """One way in which the site stands on the parcel; shapes in the map's metres."""

    #: plain words
    arrangement: str
    #: way of travel through the building against east, degrees
    heading_deg: float
    #: building, lanes, turn, apron
    parts: Mapping[str, Polygon]
    #: vacuum rows: stalls
    stalls: tuple[Polygon, ...]
    #: vacuum rows: their aisles
    aisles: tuple[Polygon, ...]
    #: vacuum bays placed
    vacuum_bays: int
    #: a car can drive from a driveway to the lanes and from the apron back; None without one
    reaches_driveway: bool | None
    #: driving distance as the crow flies from driveway to lanes and from apron back, m
    way_m: float


def place_site(
    parcel: BaseGeometry,
    needs: Needs,
    *,
    driveways: Sequence[tuple[float, float]] = (),
    most: int = 3,
    values: Sheet = VALUES,
) -> list[Placement]:
    """Find the best ways to stand a site on a parcel.

    Parameters
    ----------
    parcel : shapely geometry
        In metres.
    needs : Needs
        What the site must hold.
    driveways : sequence of (x, y)
        Driveway mouths in the same metres.
    most : int
        How many placements to return.

    Returns
    -------
    list of Placement
        Best first; empty when building, lanes, turn and apron don't fit together.
    """
    shape = check_parcel(parcel)
    candidates = find_candidates(shape, needs, driveways, values, every=True)
    ground: dict[Frame, tuple[BoolArray, BoolArray]] = {}
    looked = []
    for candidate in _spread(candidates):
        frame = candidate.frame
        if frame not in ground:
            ground[frame] = _mark(frame, shape, driveways, values)
        looked.append(_finish(candidate, ground[frame], needs, driveways, values))
    order = sorted(
        looked,
        key=lambda one: (
            one.reaches_driveway is False,
            -min(one.vacuum_bays, needs.vacuum_bays),
            round(one.way_m, 1),
            one.arrangement,
            round(one.heading_deg, 3),
        ),
    )
    best: list[Placement] = []
    for one in order:
        if all(_differ(one, other) for other in best):
            best.append(one)
        if len(best) == most:
            break
    return best


def _differ(one: Placement, other: Placement) -> bool:
    same_way = one.arrangement == other.arrangement and (
        abs((one.heading_deg - other.heading_deg + 180) % 360 - 180) < _APART_DEG
    )
    return not same_way


def _spread(candidates: list[Candidate]) -> list[Candidate]:
    """Keep the shortest ways, a few of every arrangement and quarter turn."""
    groups: dict[tuple[str, int], list[Candidate]] = {}
    for one in sorted(candidates, key=lambda one: (round(one.way_m, 1), one.at)):
        groups.setdefault((one.arrangement.name, one.quarter), []).append(one)
    kept: list[Candidate] = []
    depth = 0
    while len(kept) < _LOOKED_AT and any(len(group) > depth for group in groups.values()):
        kept += [group[depth] for group in groups.values() if len(group) > depth]
        depth += 1
    return kept[:_LOOKED_AT]


def _mark(
    frame: Frame, parcel: Polygon, driveways: Sequence[tuple[float, float]], values: Sheet
) -> tuple[BoolArray, BoolArray]:
    """What may be paved, and the same with throats at the driveways."""
    zone = parcel.buffer(-values.value("paving_setback_m"), join_style="mitre")
    paving = frame.cells_inside(zone)
    return paving, mark_drivable(frame, parcel, paving, driveways, values)


def _finish(
    one: Candidate,
    ground: tuple[BoolArray, BoolArray],
    needs: Needs,
    driveways: Sequence[tuple[float, float]],
    values: Sheet,
) -> Placement:
    frame = one.frame
    paving, drivable = ground
    boxes = {
        name: (b[0] + one.at[0], b[1] + one.at[1], b[2] + one.at[0], b[3] + one.at[1])
        for name, b in one.boxes
    }
    ends = [
        map_point(frame, xy, one.quarter, one.at)
        for xy in (one.arrangement.join_xy, one.arrangement.leave_xy)
    ]
    ways = Ways(frame, drivable, boxes, ends, driveways, values)
    rows = place_vacuums(frame, paving, boxes, needs, ways, values)
    reaches = ways.reach(rows)
    return Placement(
        arrangement=one.arrangement.name,
        heading_deg=round(math.degrees(frame.angle) + 90.0 * one.quarter, 6) % 360.0,
        parts={box.name: draw_part(one, box) for box in one.arrangement.boxes},
        stalls=tuple(frame.rectangle(*row.stalls) for row in rows),
        aisles=tuple(frame.rectangle(*row.aisle) for row in rows),
        vacuum_bays=sum(row.bays for row in rows),
        reaches_driveway=reaches,
        way_m=one.way_m,
    )

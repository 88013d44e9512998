"""Which rectangles must a wash site hold, and in which arrangements can they stand?

Everything is drawn in a frame whose x axis is the way a car travels through the building:
it enters at x = 0. The turning loop is held by a box that a passenger car's least turning
path fits in. Assumes a flat parcel; grading, drains and fire lanes are out of scope.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from capture.basis import Sheet
from capture.ground.needs import Needs
from capture.ground.values import VALUES

#: share of the lanes' length that lies before their bend
_BENDS: Final = (0.75, 0.55, 0.35)


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """One rectangle of an arrangement, m in the building's frame."""

    #: what it is: building, pay lanes, lanes, turn, apron
    name: str
    #: least x
    x0: float
    #: least y
    y0: float
    #: greatest x
    x1: float
    #: greatest y
    y1: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """One way to stand the rectangles together."""

    #: plain words
    name: str
    #: building first
    boxes: tuple[Box, ...]
    #: where cars join the stacking, a point at the lanes' far end
    join_xy: tuple[float, float]
    #: where cars leave the apron
    leave_xy: tuple[float, float]


def list_arrangements(needs: Needs, *, values: Sheet = VALUES) -> tuple[Arrangement, ...]:
    """Return the ways in which building, lanes, turn and apron can stand together.

    Returns
    -------
    tuple of Arrangement
        Lanes beside the building with a U-turn, across its entry with a quarter turn, the
        same bent once after a part of their length (all mirrored too), and straight behind;
        for bays, straight behind only.

    Examples
    --------
    >>> needs = Needs(building_length_m=40, building_width_m=10, stacking_m=150, lanes=3,
    ...               vacuum_bays=18, vacuum_bays_least=6, bays=False)
    >>> [one.name for one in list_arrangements(needs)][0]
    'lanes beside the building'
    """
    if needs.bays:
        return (_straight(needs, values),)
    sided = [_beside(needs, values), _across(needs, values)]
    for share in _BENDS:
        sided.append(_bend_away(needs, share, values))
        sided += _bend_along(needs, share, values)
    both = [one for first in sided for one in (first, _mirror(first, needs))]
    return tuple(_add_pay(one, values) for one in (*both, _straight(needs, values)))


def _add_pay(arrangement: Arrangement, values: Sheet) -> Arrangement:
    """Part the pay lanes from the end of the stacking that touches the turn."""
    lanes = next(box for box in arrangement.boxes if box.name == "lanes")
    turn = next(box for box in arrangement.boxes if box.name == "turn")
    long_x = turn.x1 == lanes.x0 or turn.x0 == lanes.x1
    low, high = (lanes.x0, lanes.x1) if long_x else (lanes.y0, lanes.y1)
    at_low = low == (turn.x1 if long_x else turn.y1)
    depth = min(values.value("pay_length_m"), high - low)
    cut = low + depth if at_low else high - depth
    if long_x:
        halves = replace(lanes, x1=cut), replace(lanes, x0=cut)
    else:
        halves = replace(lanes, y1=cut), replace(lanes, y0=cut)
    pay, rest = halves if at_low else halves[::-1]
    pay = replace(pay, name="pay lanes")
    parts = [pay, rest] if high - low > depth else [pay]
    others = [box for box in arrangement.boxes if box.name != "lanes"]
    return replace(arrangement, boxes=(others[0], *parts, *others[1:]))


def _ends(needs: Needs, values: Sheet) -> tuple[Box, Box, tuple[float, float]]:
    length, width = needs.building_length_m, needs.building_width_m
    apron = values.value("exit_apron_m")
    return (
        Box(name="building", x0=0, y0=0, x1=length, y1=width),
        Box(name="apron", x0=length, y0=0, x1=length + apron, y1=width),
        (length + apron, width / 2),
    )


def _beside(needs: Needs, values: Sheet) -> Arrangement:
    building, apron, leave = _ends(needs, values)
    lane_width = values.value("lane_width_m")
    low = needs.building_width_m + values.value("lane_gap_m")
    high = low + needs.lanes * lane_width
    turn = values.value("turn_outer_m")
    deep = turn + values.value("entry_straight_m")
    floor = min(needs.building_width_m / 2 - lane_width / 2, high - 2 * turn)
    return Arrangement(
        name="lanes beside the building",
        boxes=(
            building,
            Box(name="lanes", x0=0, y0=low, x1=needs.lane_length_m, y1=high),
            Box(name="turn", x0=-deep, y0=floor, x1=0, y1=high),
            apron,
        ),
        join_xy=(needs.lane_length_m, (low + high) / 2),
        leave_xy=leave,
    )


def _across(needs: Needs, values: Sheet) -> Arrangement:
    building, apron, leave = _ends(needs, values)
    lane_width, turn = values.value("lane_width_m"), values.value("turn_outer_m")
    middle = needs.building_width_m / 2
    near, far = -turn, -turn - needs.lanes * lane_width
    low = middle + turn
    return Arrangement(
        name="lanes across the entry",
        boxes=(
            building,
            Box(name="lanes", x0=far, y0=low, x1=near, y1=low + needs.lane_length_m),
            Box(name="turn", x0=far, y0=middle - lane_width / 2, x1=0, y1=low),
            apron,
        ),
        join_xy=((near + far) / 2, low + needs.lane_length_m),
        leave_xy=leave,
    )


def _bend_away(needs: Needs, share: float, values: Sheet) -> Arrangement:
    """Lanes beside the building that bend away from it after a part of their length."""
    whole = _beside(needs, values)
    lanes = next(box for box in whole.boxes if box.name == "lanes")
    wide = lanes.y1 - lanes.y0
    near = max(share * needs.lane_length_m, wide)
    far = max(needs.lane_length_m - near, 0.0)
    boxes = tuple(replace(box, x1=near) if box.name == "lanes" else box for box in whole.boxes)
    bend = Box(name="lanes, far part", x0=near - wide, y0=lanes.y1, x1=near, y1=lanes.y1 + far)
    return Arrangement(
        name="lanes beside the building, bent away",
        boxes=(*boxes, bend),
        join_xy=(near - wide / 2, lanes.y1 + far),
        leave_xy=whole.leave_xy,
    )


def _bend_along(needs: Needs, share: float, values: Sheet) -> list[Arrangement]:
    """Lanes across the entry that bend along the building, where they clear its side."""
    whole = _across(needs, values)
    lanes = next(box for box in whole.boxes if box.name == "lanes")
    wide = lanes.x1 - lanes.x0
    near = max(share * needs.lane_length_m, wide)
    far = max(needs.lane_length_m - near, 0.0)
    top = lanes.y0 + near
    if top - wide < needs.building_width_m + values.value("lane_gap_m"):
        return []
    boxes = tuple(replace(box, y1=top) if box.name == "lanes" else box for box in whole.boxes)
    bend = Box(name="lanes, far part", x0=lanes.x1, y0=top - wide, x1=lanes.x1 + far, y1=top)
    return [
        Arrangement(
            name="lanes across the entry, bent along",
            boxes=(*boxes, bend),
            join_xy=(lanes.x1 + far, top - wide / 2),
            leave_xy=whole.leave_xy,
        )
    ]


def _straight(needs: Needs, values: Sheet) -> Arrangement:
    building, apron, leave = _ends(needs, values)
    if needs.bays:
        wide, merge, low = needs.building_width_m, 0.0, 0.0
    else:
        wide, merge = needs.lanes * values.value("lane_width_m"), values.value("turn_outer_m")
        low = needs.building_width_m / 2 - wide / 2
    boxes = [
        building,
        Box(name="lanes", x0=-merge - needs.lane_length_m, y0=low, x1=-merge, y1=low + wide),
        apron,
    ]
    if merge > 0:
        boxes.insert(2, Box(name="turn", x0=-merge, y0=low, x1=0, y1=low + wide))
    return Arrangement(
        name="lanes straight behind",
        boxes=tuple(boxes),
        join_xy=(-merge - needs.lane_length_m, low + wide / 2),
        leave_xy=leave,
    )


def _mirror(arrangement: Arrangement, needs: Needs) -> Arrangement:
    width = needs.building_width_m
    return Arrangement(
        name=arrangement.name + ", other side",
        boxes=tuple(
            Box(name=box.name, x0=box.x0, y0=width - box.y1, x1=box.x1, y1=width - box.y0)
            for box in arrangement.boxes
        ),
        join_xy=(arrangement.join_xy[0], width - arrangement.join_xy[1]),
        leave_xy=(arrangement.leave_xy[0], width - arrangement.leave_xy[1]),
    )


def compute_area_needed(needs: Needs, *, values: Sheet = VALUES) -> float:
    """Return the parcel area that a layout usually takes, m2.

    Notes
    -----
    Building, lanes, turn, apron and vacuum rows together, over the share of a parcel that
    a layout can use.
    """
    first = list_arrangements(needs, values=values)[0]
    boxes = sum((box.x1 - box.x0) * (box.y1 - box.y0) for box in first.boxes)
    row = values.value("vacuum_width_m") * (
        values.value("vacuum_depth_m") + values.value("aisle_m")
    )
    return float((boxes + needs.vacuum_bays * row) / values.value("layout_share"))

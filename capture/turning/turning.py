"""Can each passing driver turn in and get back out, and what does it cost them in seconds?

Cost of a stream = least way in + least way out, each the wait for a gap plus what the way
adds to driving past; by hour, capped, and averaged over the hours in which people wash.
A near-side turn in gives way to nobody and costs only the slowing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError, Sheet
from capture.turning.flows import Capacities, compute_capacities, sum_flows
from capture.turning.gaps import compute_delay, compute_queue95, find_letter
from capture.turning.notes import find_cautions, name_way_in, name_way_out
from capture.turning.routes import find_marks, make_turn_map
from capture.turning.values import VALUES, wash_hour_name
from capture.turning.ways import Ways, compute_join_seconds, find_openings, find_ways

if TYPE_CHECKING:
    from capture.passing import Streams, Volumes
    from capture.place import Frontage, Place

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Turning:
    """What turning in and out costs each of R streams."""

    #: capped cost in and out, averaged over wash arrivals (R,)
    delay_s: FloatArray
    #: capped cost in and out by hour of the day (R, 24)
    delay_by_hour_s: FloatArray
    #: the usual way in and out, in words
    way_in: list[str]
    way_out: list[str]
    #: what the usual ways add to driving past, s (R,); inf where there is no way
    detour_s: FloatArray
    #: wait for a gap turning in and turning out on the usual ways, averaged (R,)
    wait_in_s: FloatArray
    wait_out_s: FloatArray
    #: least capacity in hours of washing of the movement that waits longest (R,)
    capacity_veh_h: FloatArray
    #: longest 95th-percentile queue of that movement in those hours (R,)
    queue95_veh: FloatArray
    #: level of service of that movement in its worst hour of washing
    service_letter: list[str]
    #: along the road to the nearest junction and signal, m (R,); inf beyond 400 m
    corner_m: FloatArray
    signal_m: FloatArray
    #: what a reader should know, a list for each stream
    cautions: list[list[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Moves:
    #: wait (R, 24) and capacity (R, 24) of turning in and out in each stream's own lane
    in_s: FloatArray
    out_s: FloatArray
    in_capacity: FloatArray
    out_capacity: FloatArray
    #: whether crossing is possible (R,)
    crosses: BoolArray


def add_turning(
    place: Place,
    volumes: Volumes,
    streams: Streams,
    frontage: Frontage,
    *,
    driving_side: str,
    wash_hour_share: ArrayLike | None = None,
    openings: ArrayLike | None = None,
    near_side_only: ArrayLike | None = None,
    grade_percent: ArrayLike | None = None,
    access_s: ArrayLike | None = None,
    blocked_share: ArrayLike | None = None,
    values: Sheet = VALUES,
) -> Turning:
    """Work out ways in and out, waits and cautions for every stream.

    Parameters
    ----------
    place, volumes, streams, frontage
        What the rooms before say; R streams, F driveways.
    driving_side : {"right", "left"}
        Side on which traffic keeps.
    wash_hour_share : array_like, shape (24,), optional
        Wash arrivals by hour; scaled to sum to 1.
    openings : array_like of bool, shape (F,), optional
        Driveways in front of which a raised median is, or would be, open.
    near_side_only : array_like of bool, shape (F,), optional
        Driveways built so that nobody can turn across (right-in/right-out).
    grade_percent : array_like, shape (F,), optional
        Upgrade of the driveway towards the road, percent.
    access_s : array_like, shape (F,), optional
        Seconds from the driveway to the wash and the same back, as over a neighbour's land.
    blocked_share : array_like, shape (R,), optional
        Share of the time in which platoons of a nearby signal block each stream, where known.

    Returns
    -------
    Turning
        One row per stream.

    Raises
    ------
    InputError
        For an unknown driving side or an array that does not fit.

    Notes
    -----
    Demand is fixed at ``entering_veh_h``, so that the share washed never feeds its own
    input. Where platoons are not given, arrivals are taken as random and it is said.
    """
    if driving_side not in ("right", "left"):
        raise InputError(f"driving side must be 'right' or 'left', got {driving_side!r}")
    drives, rows = len(frontage.segment), len(streams.edge)
    weight = make_wash_hours(wash_hour_share, values=values)
    opened = _fit(openings, drives, "openings", bool(0)).astype(bool)
    near_only = _fit(near_side_only, drives, "near_side_only", bool(0)).astype(bool)
    grade = _fit(grade_percent, drives, "grade_percent", 0.0)
    access = _fit(access_s, drives, "access_s", 0.0)
    blocked = _fit(blocked_share, rows, "blocked_share", 0.0)
    flows = sum_flows(streams, drives, blocked)
    capacities = compute_capacities(flows, grade, values=values)
    gap = opened[np.asarray(streams.driveway)] | find_openings(
        place.network, streams, values=values
    )
    moves = _find_moves(streams, capacities, gap, near_only, values)
    turns = make_turn_map(
        place.network,
        driving_side=driving_side,
        join_s=compute_join_seconds(place.network, volumes, values=values),
        values=values,
    )
    edge, fraction = np.asarray(streams.edge, np.int64), np.asarray(streams.fraction, np.float64)
    drive = access[np.asarray(streams.driveway, np.int64)]
    ways = find_ways(
        turns, site=np.asarray(streams.site, np.int64), edge=edge, fraction=fraction,
        own_in_s=moves.in_s.max(axis=1, initial=0.0) + drive,
        own_out_s=moves.out_s.max(axis=1, initial=0.0) + drive, values=values,
    )  # fmt: skip
    marks = find_marks(turns, edge, fraction, distance_m=values.value("signal_reach_m"))
    through = np.asarray(flows.far_veh_h)[np.asarray(streams.driveway)]
    return _choose(streams, ways, moves, weight, access, marks, through, values)


def make_wash_hours(share: ArrayLike | None = None, *, values: Sheet = VALUES) -> FloatArray:
    """Make the share of a day's wash arrivals by hour, shape (24,), sum 1.

    Raises
    ------
    InputError
        When the shares given are not 24 numbers of 0 or more with a sum above 0.

    Examples
    --------
    >>> hours = make_wash_hours()
    >>> round(float(hours.sum()), 12), int(hours.argmax())
    (1.0, 13)
    """
    if share is None:
        share = [values.value(wash_hour_name(hour)) for hour in range(24)]
    made = np.asarray(share, dtype=np.float64)
    if made.shape != (24,) or not (made >= 0).all() or not made.sum() > 0:
        raise InputError(
            "wash_hour_share must be 24 shares of 0 or more, not all 0, "
            f"got shape {made.shape}; give one per hour"
        )
    return np.asarray(made / made.sum())


def _fit(given: ArrayLike | None, size: int, name: str, default: float) -> FloatArray:
    if given is None:
        return np.full(size, default, dtype=np.float64)
    made = np.asarray(given, dtype=np.float64)
    if made.shape != (size,) or not np.isfinite(made).all():
        raise InputError(f"{name} must be {size} finite numbers, got shape {made.shape}; one each")
    return made


def _find_moves(
    streams: Streams, made: Capacities, opened: BoolArray, near_only: BoolArray, values: Sheet
) -> _Moves:
    from capture.place.values import RAISED_MEDIAN, TWO_WAY_LEFT_TURN_LANE

    driveway = np.asarray(streams.driveway)
    near = np.asarray(streams.near_side, dtype=bool)
    separation = np.asarray(streams.separation)
    gap = opened & (separation == RAISED_MEDIAN)
    crosses = near | (((separation != RAISED_MEDIAN) | gap) & ~near_only[driveway])
    staged = gap | (separation == TWO_WAY_LEFT_TURN_LANE)
    entering, cap = values.value("entering_veh_h"), values.value("delay_cap_s")
    out_capacity = np.where(
        near[:, None],
        made.near_out[driveway],
        np.where(staged[:, None], made.cross_out_staged[driveway], made.cross_out[driveway]),
    )
    in_capacity = np.where(near[:, None], np.inf, made.cross_in[driveway])
    wait_out = np.minimum(compute_delay(entering, out_capacity, values=values), cap)
    wait_in = np.minimum(compute_delay(entering, made.cross_in[driveway], values=values), cap)
    wait_in = np.where(
        near[:, None], compute_slowing(streams.speed_mps, values=values)[:, None], wait_in
    )
    shut = ~crosses[:, None]
    return _Moves(
        in_s=np.where(shut, np.inf, wait_in),
        out_s=np.where(shut, np.inf, wait_out),
        in_capacity=in_capacity,
        out_capacity=out_capacity,
        crosses=crosses,
    )


def compute_slowing(speed_mps: ArrayLike, *, values: Sheet = VALUES) -> FloatArray:
    """Compute the time lost in slowing from the road's speed to turn in on the near side.

    Notes
    -----
    (v - u)^2 / (2 a v), v the road's and u the turning speed, a the deceleration.

    Examples
    --------
    >>> round(float(compute_slowing(15.0)), 3)
    1.225
    """
    speed = np.maximum(np.asarray(speed_mps, dtype=np.float64), 1e-6)
    over = np.maximum(speed - values.value("turning_speed_mps"), 0.0)
    return np.asarray(over**2 / (2.0 * values.value("slowing_mps2") * speed))


def _choose(
    streams: Streams,
    ways: Ways,
    moves: _Moves,
    weight: FloatArray,
    access: FloatArray,
    marks: FloatArray,
    through: FloatArray,
    values: Sheet,
) -> Turning:
    rows = len(streams.edge)
    drive = access[np.asarray(streams.driveway)[ways.by]] if rows else np.zeros(0)
    cost_in = ways.in_detour_s[:, None] + moves.in_s[ways.by] + drive[:, None]
    cost_out = ways.out_detour_s[:, None] + moves.out_s[ways.by] + drive[:, None]
    cap = values.value("delay_cap_s")
    by_hour = np.minimum(_least(cost_in, ways) + _least(cost_out, ways), cap)
    used_in, used_out = _usual(cost_in, ways, weight), _usual(cost_out, ways, weight)
    by_in, by_out = ways.by[used_in], ways.by[used_out]
    wait_in, wait_out = _average(moves.in_s[by_in], weight), _average(moves.out_s[by_out], weight)
    hours = weight > 0
    governs_in = ~np.isinf(moves.in_capacity[by_in]).any(axis=1) & (wait_in > wait_out)
    capacity = np.where(governs_in[:, None], moves.in_capacity[by_in], moves.out_capacity[by_out])
    least = capacity[:, hours].min(axis=1, initial=np.inf)
    entering = values.value("entering_veh_h")
    worst = compute_delay(entering, least, values=values)
    detour = (
        ways.in_detour_s[used_in] + ways.out_detour_s[used_out] + drive[used_in] + drive[used_out]
    )
    return Turning(
        delay_s=_average(by_hour, weight),
        delay_by_hour_s=by_hour,
        way_in=[name_way_in(streams, ways, p, moves.crosses) for p in used_in.tolist()],
        way_out=[name_way_out(streams, ways, p, moves.crosses) for p in used_out.tolist()],
        detour_s=np.where(np.isinf(wait_in) | np.isinf(wait_out), np.inf, detour),
        wait_in_s=wait_in,
        wait_out_s=wait_out,
        capacity_veh_h=least,
        queue95_veh=compute_queue95(entering, least, values=values),
        service_letter=[
            find_letter(delay, entering / max(most, 1e-9))
            for delay, most in zip(worst.tolist(), least.tolist(), strict=True)
        ],
        corner_m=marks[:, 2:].min(axis=1),
        signal_m=marks[:, :2].min(axis=1),
        cautions=find_cautions(
            streams, ways, used_in=used_in, used_out=used_out, by_hour_s=by_hour, hours=hours,
            in_capacity=moves.in_capacity, crosses=moves.crosses, marks=marks, through=through,
            values=values,
        ),
    )  # fmt: skip


def _least(cost: FloatArray, ways: Ways) -> FloatArray:
    if not ways.stream.size:
        return np.zeros((0, 24))
    return np.asarray(np.minimum.reduceat(cost, ways.indptr[:-1], axis=0))


def _average(cost: FloatArray, weight: FloatArray) -> FloatArray:
    """Average by hour, inf where an hour of washing is."""
    shut = np.isinf(cost)
    mean = np.where(shut, 0.0, cost) @ weight
    return np.asarray(np.where((shut & (weight > 0)).any(axis=1), np.inf, mean))


def _usual(cost: FloatArray, ways: Ways, weight: FloatArray) -> IntArray:
    """Find the pair with the least average cost of each stream; its own where none is open."""
    rows = ways.indptr.size - 1
    mean = _average(cost, weight)
    order = np.lexsort((ways.stream != ways.by, mean, ways.stream))
    return np.asarray(order[ways.indptr[:-1]] if rows else order[:0], dtype=np.int64)

"""How far along its road does a count still hold?

A count holds to the next junction with an equal or higher road, gaining a little spread at
each lesser one and with distance; past an equal junction it gains much more, until it says
nothing that the estimate from class and place does not.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from capture.basis import Sheet
from capture.passing.values import CLASSES, VALUES

if TYPE_CHECKING:
    from capture.place import Network

SERVICE = CLASSES.index("service")
#: a road goes on at a junction when it bends less than this, degrees
STRAIGHT_DEG = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """One count at one road piece."""

    #: row of the count
    count: int
    #: road piece
    segment: int
    #: ln of vehicles a day on this carriageway
    log_vehicles: float
    #: variance of that logarithm
    variance: float
    #: junctions with an equal or higher road on the way
    equal_junctions: int
    #: metres from the count
    distance_m: float
    #: share of the day that drives along the piece's geometry, NaN when not counted apart
    forward_share: float
    #: node over which it came to this piece, -1 at the count itself
    came_over: int


@dataclass(frozen=True, slots=True)
class Touching:
    """Which road pieces meet at each node, as CSR; made by :func:`make_touching`."""

    #: first entry of each node
    indptr: NDArray[np.int64]
    #: road pieces
    segment: NDArray[np.int64]
    #: bearing away from the node, degrees
    away_deg: NDArray[np.float64]


def make_touching(network: Network) -> Touching:
    """List the road pieces that meet at each node and the way they leave it."""
    first = np.asarray(network.geom_indptr[:-1])
    last = np.asarray(network.geom_indptr[1:]) - 1
    x, y = network.geom_x, network.geom_y
    out_deg = np.degrees(np.arctan2(x[first + 1] - x[first], y[first + 1] - y[first])) % 360
    in_deg = np.degrees(np.arctan2(x[last - 1] - x[last], y[last - 1] - y[last])) % 360
    node = np.concatenate([network.segment_tail, network.segment_head]).astype(np.int64)
    segment = np.concatenate([np.arange(network.segments)] * 2)
    away = np.concatenate([out_deg, in_deg])
    order = np.argsort(node, kind="stable")
    indptr = np.searchsorted(node[order], np.arange(network.nodes + 1))
    return Touching(indptr.astype(np.int64), segment[order].astype(np.int64), away[order])


def carry_count(
    network: Network,
    touching: Touching,
    *,
    count: int,
    segment: int,
    log_vehicles: float,
    log_sd: float,
    forward_share: float = math.nan,
    values: Sheet = VALUES,
) -> list[Carried]:
    """Carry one count along its road, both ways.

    Parameters
    ----------
    network : Network
        Roads.
    touching : Touching
        From :func:`make_touching`.
    count : int
        Row of the count.
    segment : int
        Road piece that it is tied to.
    log_vehicles, log_sd : float
        ln of vehicles a day on that carriageway, and its standard deviation.
    forward_share : float
        Share that drives along the piece's geometry.

    Returns
    -------
    list of Carried
        The piece itself first.
    """
    start = Carried(
        count=count,
        segment=segment,
        log_vehicles=log_vehicles,
        variance=log_sd**2,
        equal_junctions=0,
        distance_m=0.0,
        forward_share=forward_share,
        came_over=-1,
    )
    found = {segment: start}
    ends = (int(network.segment_tail[segment]), int(network.segment_head[segment]))
    waiting = [(start, node) for node in ends]
    while waiting:
        one, node = waiting.pop()
        for step in _steps(network, touching, one, node, values):
            old = found.get(step.segment)
            if old is None or step.variance < old.variance:
                found[step.segment] = step
                waiting.append((step, _other_end(network, step.segment, node)))
    return list(found.values())


def _other_end(network: Network, segment: int, node: int) -> int:
    tail, head = int(network.segment_tail[segment]), int(network.segment_head[segment])
    return head if tail == node else tail


def _steps(
    network: Network, touching: Touching, one: Carried, node: int, values: Sheet
) -> Iterator[Carried]:
    """Go over a node: on along the road, or onto or off its two carriageways."""
    following, kind = find_next(network, touching, one.segment, node)
    over = {"none": 0.0, "lesser": values.value("carry_log_per_junction") ** 2,
            "equal": values.value("carry_log_per_equal") ** 2}[kind]  # fmt: skip
    parts = [(following, 1.0)] if following >= 0 else _change(network, touching, one, node)
    per_km = values.value("carry_log_per_km") ** 2
    half = float(network.segment_length_m[one.segment]) / 2
    for segment, factor in parts:
        way = half + float(network.segment_length_m[segment]) / 2
        variance = one.variance + over + per_km * way / 1000
        if variance > values.value("carry_most_log") ** 2:
            continue
        same_way = (int(network.segment_tail[segment]) == node) == (
            int(network.segment_head[one.segment]) == node
        )
        share = one.forward_share if same_way else 1 - one.forward_share
        yield Carried(
            count=one.count,
            segment=segment,
            log_vehicles=one.log_vehicles + math.log(factor),
            variance=variance,
            equal_junctions=one.equal_junctions + (kind == "equal"),
            distance_m=one.distance_m + way,
            forward_share=share if factor == 1.0 else math.nan,
            came_over=node,
        )


def _change(
    network: Network, touching: Touching, one: Carried, node: int
) -> list[tuple[int, float]]:
    """Find where a road of one name parts into two carriageways at a node, or joins again.

    Returns the pieces with the factor by which vehicles a day change.
    """
    here = one.segment
    name = network.segment_name[here]
    part = slice(int(touching.indptr[node]), int(touching.indptr[node + 1]))
    alike = [
        int(s)
        for s in touching.segment[part]
        if name and int(s) != here and network.segment_name[int(s)] == name
    ]
    if bool(network.segment_oneway[here]):
        joined = [s for s in alike if not network.segment_oneway[s]]
        return [(joined[0], 2.0)] if joined else []
    along = 0.5 if math.isnan(one.forward_share) else one.forward_share
    onward = along if int(network.segment_head[here]) == node else 1 - along
    leaving = [s for s in alike if network.segment_oneway[s] and network.segment_tail[s] == node]
    coming = [s for s in alike if network.segment_oneway[s] and network.segment_head[s] == node]
    parts = [(leaving[0], onward)] if leaving else []
    return parts + ([(coming[0], 1 - onward)] if coming else [])


def find_next(network: Network, touching: Touching, segment: int, node: int) -> tuple[int, str]:
    """Find where a road goes on at a node, and what it meets there.

    Returns
    -------
    tuple of (int, str)
        Road piece, -1 where the road ends; ``"none"``, ``"lesser"`` or ``"equal"`` (which
        also means higher) for the roads met.
    """
    part = slice(int(touching.indptr[node]), int(touching.indptr[node + 1]))
    ids, away = touching.segment[part], touching.away_deg[part]
    mine = away[ids == segment]
    if len(mine) == 0:
        return -1, "none"
    straight = (float(mine[0]) + 180) % 360
    others = [(int(s), float(a)) for s, a in zip(ids, away, strict=True) if s != segment]
    scored = [
        (_fit(network, segment, other, node, bearing, straight), other) for other, bearing in others
    ]
    good = [(score, other) for score, other in scored if score > 0]
    following = max(good, key=lambda pair: (pair[0], -pair[1]))[1] if good else -1
    met = [other for other, _ in others if other != following]
    return following, _kind(network, segment, met)


def _fit(
    network: Network, here: int, other: int, node: int, bearing: float, straight: float
) -> float:
    """Score how well a piece goes on a road: 0 not at all, 3 same name straight on."""
    if bool(network.segment_oneway[here]):
        leaving = int(network.segment_head[here]) == node
        if bool(network.segment_oneway[other]):
            starts = int(network.segment_tail[other]) == node
            if leaving != starts:
                return 0.0
    bend = abs((bearing - straight + 180) % 360 - 180)
    if bool(network.segment_oneway[here]) != bool(network.segment_oneway[other]):
        return 0.0
    name, other_name = network.segment_name[here], network.segment_name[other]
    ref, other_ref = network.segment_ref[here], network.segment_ref[other]
    same = (name and name == other_name) or (ref and ref == other_ref)
    if same and bend < 120:
        return 3.0 - bend / 180
    unnamed = not name and not other_name and not ref and not other_ref
    alike = network.segment_class[here] == network.segment_class[other]
    plain = bool(network.segment_link[here]) == bool(network.segment_link[other])
    if (unnamed or not name) and alike and plain and bend < STRAIGHT_DEG:
        return 1.0 - bend / 180
    return 0.0


def _kind(network: Network, segment: int, met: Sequence[int]) -> str:
    own = int(network.segment_class[segment])
    name = network.segment_name[segment]
    ranks = [
        int(network.segment_class[m])
        for m in met
        if int(network.segment_class[m]) < SERVICE
        and not (name and network.segment_name[m] == name and network.segment_link[m])
    ]
    if not ranks:
        return "none"
    return "equal" if min(ranks) <= own else "lesser"

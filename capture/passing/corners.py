"""What changes a stream after it was found: dated notes, and turners at a corner?

At a corner, vehicles that turn from one frontage road into the other pass the site twice and
are counted once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from capture.basis import Sheet
from capture.passing.directions import turn_between
from capture.passing.works import RoadNote, touches

if TYPE_CHECKING:
    from capture.passing.streams import Streams
    from capture.place import Network

FloatArray = NDArray[np.float64]


def apply_notes(
    network: Network, streams: Streams, notes: Sequence[RoadNote], study_year: int
) -> Streams:
    """Change streams by the dated notes that hold for them; returns new streams."""
    if not notes:
        return streams
    vehicles, variance = streams.vehicles_per_day.copy(), streams.log_sd**2
    told = list(streams.notes)
    for k, edge in enumerate(streams.edge):
        line = network.edge_line(int(edge))
        at = interpolate(line, float(streams.fraction[k]))
        lat, lon = network.projection.to_latlon(at[0], at[1])
        for note in notes:
            if touches(note, road=streams.road[k], lat=float(lat), lon=float(lon)):
                factor, sd = note.effect(study_year)
                vehicles[k] *= factor
                variance[k] += sd**2
                told[k] = "; ".join(filter(None, [told[k], note.describe(study_year)]))
    return replace(streams, vehicles_per_day=vehicles, log_sd=np.sqrt(variance), notes=told)


def interpolate(line: FloatArray, fraction: float) -> FloatArray:
    """Return the point at a fraction of a line's length, shape (2,)."""
    along = np.append(0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T)))
    at = fraction * along[-1]
    return np.array([np.interp(at, along, line[:, 0]), np.interp(at, along, line[:, 1])])


def share_one_road(network: Network, streams: Streams) -> Streams:
    """Share a stream among the driveways of one site that it passes one after the other.

    Each gets its even part, so that the site's sum holds every vehicle once.
    """
    share = streams.corner_share.copy()
    source = list(streams.source)
    for of_site in _rows_by_site(streams):
        for rows in _runs(network, streams, of_site):
            many = len(np.unique(streams.driveway[rows]))
            for k in rows if many > 1 else []:
                share[k] = 1 - 1 / many
                source[k] += f"; shared among the {many} driveways it passes, counted once"
    vehicles = streams.vehicles_per_day * (1 - share) / (1 - streams.corner_share)
    return replace(streams, corner_share=share, source=source, vehicles_per_day=vehicles)


def _rows_by_site(streams: Streams) -> list[NDArray[np.int64]]:
    """Return the rows of each site, sites in order."""
    order = np.argsort(streams.site, kind="stable").astype(np.int64)
    if len(order) == 0:
        return []
    starts = np.flatnonzero(np.diff(streams.site[order])) + 1
    return np.split(order, starts)


def _runs(network: Network, streams: Streams, rows: NDArray[np.int64]) -> list[list[int]]:
    """Group a site's streams by road and direction of travel."""
    groups: list[list[int]] = []
    for k in (int(r) for r in rows):
        owner = int(network.edge_segment[int(streams.edge[k])])
        for group in groups:
            first = group[0]
            other = int(network.edge_segment[int(streams.edge[first])])
            same = streams.road[k] == streams.road[first]
            if not streams.road[k]:
                same = bool(network.segment_way[owner] == network.segment_way[other])
            if same and turn_between(streams.direction_deg[k], streams.direction_deg[first]) < 60:
                group.append(k)
                break
        else:
            groups.append([k])
    return groups


def count_corners_once(network: Network, streams: Streams, values: Sheet) -> Streams:
    """Take the vehicles that turn from one frontage road into another out of the second."""
    turn = values.value("corner_turn_share")
    reach = values.value("corner_reach_m")
    group = streams.corner_group.copy()
    taken = np.zeros(len(streams))
    source = list(streams.source)
    made = 0
    for rows in _rows_by_site(streams):
        for a in rows:
            for b in rows:
                if not _turns_into(network, streams, int(a), int(b), reach):
                    continue
                moved = turn * min(streams.vehicles_per_day[a], streams.vehicles_per_day[b])
                taken[b] += moved
                known = max(group[a], group[b])
                if known < 0:
                    known, made = made, made + 1
                group[a] = group[b] = known
                source[b] += (
                    f"; {moved:,.0f} a day that turn in from {streams.road[a]} counted once"
                )
    base = np.maximum(streams.vehicles_per_day, 1e-9)
    moved_share = np.minimum(taken / base, 0.9)
    share = 1 - (1 - streams.corner_share) * (1 - moved_share)
    return replace(
        streams,
        corner_group=group,
        corner_share=share,
        source=source,
        vehicles_per_day=streams.vehicles_per_day * (1 - moved_share),
    )


def _turns_into(network: Network, streams: Streams, a: int, b: int, reach: float) -> bool:
    """Whether vehicles of stream a may, past its driveway, turn into stream b's road."""
    ea, eb = int(streams.edge[a]), int(streams.edge[b])
    if streams.driveway[a] == streams.driveway[b] or streams.road[a] == streams.road[b] != "":
        return False
    if turn_between(streams.direction_deg[a], streams.direction_deg[b]) > 150:
        return False
    to_end = float(network.edge_length_m[ea]) * (1 - float(streams.fraction[a]))
    from_start = float(network.edge_length_m[eb]) * float(streams.fraction[b])
    if to_end > reach or from_start > reach:
        return False
    head, tail = int(network.edge_head[ea]), int(network.edge_tail[eb])
    gap = math.hypot(
        float(network.node_x[head] - network.node_x[tail]),
        float(network.node_y[head] - network.node_y[tail]),
    )
    return gap <= 60.0

"""Do passing drivers see the wash in time to turn in?

For each stream: walk its approach, look from each eye point at the sign and the building
front, and take the longest unbroken clear stretch that ends at the driveway. The factor
is that stretch over the distance a driver needs at the stream's speed, at most 1.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Offer, Sheet
from capture.seeing.approach import Approach, RoadArrays, prepare_roads, walk_approach
from capture.seeing.distances import compute_needed
from capture.seeing.notes import compute_asked, find_cautions, first_run
from capture.seeing.own import Own
from capture.seeing.stretch import compute_off_axis, compute_stretch
from capture.seeing.sun import describe_glare, find_glare
from capture.seeing.targets import (
    DRIVEWAY,
    ENTERING,
    FRONT,
    LEAVING,
    SIGN,
    TARGETS,
    place_targets,
)
from capture.seeing.values import VALUES
from capture.seeing.walls import Walls, gather_walls

if TYPE_CHECKING:
    from capture.passing import Streams
    from capture.place import Frontage, Place, Sites
    from capture.seeing.terrain import Terrain

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
#: streams looked at in one go, which bounds memory
CHUNK = 2048
#: columns of one stream's ray table
RAY_COLUMNS = (
    "distance_m", "eye_x", "eye_y", "target", "target_x", "target_y", "clear", "off_axis_degrees",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Seeing:
    """What drivers of each of R streams see of the wash."""

    #: longest unbroken clear stretch that ends at the driveway, weighed by angle (R,)
    seen_m: FloatArray
    #: the same in seconds at the stream's speed (R,)
    seen_s: FloatArray
    #: distance from which a driver needs to see (R,)
    needed_m: FloatArray
    #: min(1, seen / needed) (R,)
    sight: FloatArray
    #: the stretch for each of sign, front and driveway alone (R, 3)
    seen_by_target_m: FloatArray
    #: how far the approach could be walked (R,)
    walked_m: FloatArray
    #: stretch over which traffic sees a leaving and an entering driver, and what the rules
    #: of the road ask for; NaN where nobody makes that turn (R, 2)
    triangle_seen_m: FloatArray
    triangle_needed_m: FloatArray
    #: letter height that can be read from where the sign is first seen (R,)
    letter_m: FloatArray
    #: what a reader should know, a list for each stream
    cautions: list[list[str]]
    #: when a low sun stands ahead, "" where it never does or no time zone was given (R,)
    sun: list[str]
    #: for drawing, one table of rays for each stream, columns RAY_COLUMNS; None unless kept
    rays: list[FloatArray] | None = field(default=None)


def add_seeing(
    place: Place,
    streams: Streams,
    frontage: Frontage,
    *,
    offer: Offer,
    driving_side: str,
    keep: bool = False,
    sites: Sites | None = None,
    terrain: Terrain | None = None,
    walls: Walls | None = None,
    front_xy: FloatArray | None = None,
    sign_xy: FloatArray | None = None,
    near_side_only: BoolArray | None = None,
    time_zone: str | None = None,
    values: Sheet = VALUES,
) -> Seeing:
    """Work out how far ahead the wash is seen from every stream.

    Parameters
    ----------
    place, streams, frontage
        What the rooms before say; R streams, F driveways.
    offer : Offer
        Says how high the sign is.
    driving_side : {"right", "left"}
        Side on which traffic keeps.
    keep : bool
        Whether to keep the rays for drawing.
    sites : Sites, optional
        Parcels: buildings on them make way for the wash.
    terrain : Terrain, optional
        Heights of the ground; level where left out.
    walls : Walls, optional
        Obstacles gathered before, to save time or to try other ones.
    front_xy, sign_xy : ndarray of float, shape (F, 2), optional
        Where a plan puts the building front and the sign.
    near_side_only : ndarray of bool, shape (F,), optional
        Driveways at which nobody can turn across.
    time_zone : str, optional
        Such as ``"America/Chicago"``; asks for the hours of low sun.

    Returns
    -------
    Seeing
        One row per stream.

    Raises
    ------
    InputError
        For an unknown driving side or time zone, or a stream without a usable speed.
    """
    if driving_side not in ("right", "left"):
        raise InputError(f"driving side must be 'right' or 'left', got {driving_side!r}")
    rows = len(streams.edge)
    needed = compute_needed(streams.speed_mps, values=values)
    spots = place_targets(
        place.network, streams, frontage, offer=offer, front_xy=front_xy, sign_xy=sign_xy,
        values=values,
    )  # fmt: skip
    if walls is None:
        ground = None if terrain is None else terrain.sample
        walls = gather_walls(place, ground=ground, values=values)
    scene = _Scene(
        place=place, roads=prepare_roads(place.network, values=values), walls=walls,
        own=Own.of(place, sites, base=int(walls.bridge_owner(0))), terrain=terrain,
        driving_side=driving_side, values=values,
    )  # fmt: skip
    looks = [
        _look(scene, streams, np.arange(at, min(at + CHUNK, rows)), spots, needed, keep)
        for at in range(0, rows, CHUNK)
    ] or [_look(scene, streams, np.arange(0), spots, needed, keep)]
    seen = np.concatenate([look.seen_m for look in looks])
    seen_by = np.concatenate([look.seen_by_target_m for look in looks])
    walked = np.concatenate([look.walked_m for look in looks])
    asked = compute_asked(streams, near_side_only=near_side_only, values=values)
    triangle = np.concatenate([look.triangle_m for look in looks])
    triangle = np.where(np.isnan(asked), np.nan, triangle)
    return Seeing(
        seen_m=seen,
        seen_s=seen / np.asarray(streams.speed_mps, dtype=np.float64),
        needed_m=needed,
        sight=np.minimum(1.0, seen / needed),
        seen_by_target_m=seen_by,
        walked_m=walked,
        triangle_seen_m=triangle,
        triangle_needed_m=asked,
        letter_m=np.minimum(np.concatenate([look.sign_m for look in looks]), needed)
        / values.value("legibility_m_per_m"),
        cautions=find_cautions(
            streams, seen_by, needed, walked, triangle, asked,
            np.concatenate([look.on_bridge for look in looks]), values=values,
        ),
        sun=_find_sun(place, streams, frontage, time_zone, values),
        rays=[table for look in looks for table in look.rays] if keep else None,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scene:
    place: Place
    roads: RoadArrays
    walls: Walls
    own: Own
    terrain: Terrain | None
    driving_side: str
    values: Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    seen_m: FloatArray
    seen_by_target_m: FloatArray
    walked_m: FloatArray
    triangle_m: FloatArray
    sign_m: FloatArray
    on_bridge: BoolArray
    rays: list[FloatArray]


def _look(
    scene: _Scene,
    streams: Streams,
    at: NDArray[np.int64],
    all_spots: FloatArray,
    needed: FloatArray,
    keep: bool,
) -> _Look:
    """Look from some of the streams."""
    values, spots = scene.values, all_spots[at]
    walk = np.maximum(values.value("least_walk_m"), values.value("walk_over_needed") * needed[at])
    approach = walk_approach(
        scene.roads, np.asarray(streams.edge, np.int64)[at], np.asarray(streams.fraction)[at],
        distance_m=walk, driving_side=scene.driving_side, values=values,
    )  # fmt: skip
    clear = _trace(scene, np.asarray(streams.site)[at], approach, spots)
    degrees = compute_off_axis(approach, spots)
    step = approach.step_m

    def stretch(which: list[int]) -> FloatArray:
        return compute_stretch(clear[:, which], degrees[:, which], step_m=step, values=values)

    return _Look(
        seen_m=stretch([SIGN, FRONT]),
        seen_by_target_m=np.column_stack([stretch([t]) for t in (SIGN, FRONT, DRIVEWAY)]),
        walked_m=np.asarray(approach.count * step, dtype=np.float64),
        triangle_m=step * np.column_stack([first_run(clear[:, t]) for t in (LEAVING, ENTERING)]),
        sign_m=_farthest(clear[:, SIGN]) * step,
        on_bridge=_lies_on(approach, np.asarray(scene.place.network.segment_bridge)),
        rays=make_rays(approach, spots, clear, degrees) if keep else [],
    )


def _farthest(clear: BoolArray) -> FloatArray:
    """Steps to the farthest eye point with a clear ray, 0 for none."""
    if not clear.shape[1]:
        return np.zeros(len(clear))
    last = clear.shape[1] - clear[:, ::-1].argmax(axis=1)
    return np.asarray(np.where(clear.any(axis=1), last, 0), dtype=np.float64)


def _lies_on(approach: Approach, marked: BoolArray) -> BoolArray:
    """Whether any eye point of each stream lies on a marked segment."""
    on = marked[np.maximum(approach.segment, 0)] & (approach.segment >= 0)
    return np.asarray(on.any(axis=1), dtype=bool)


def _trace(
    scene: _Scene, site: NDArray[np.int32], approach: Approach, spots: FloatArray
) -> BoolArray:
    from capture.seeing.kernels import trace_approaches

    pointer, own = scene.own.find(site, spots, approach.segment)
    height = np.full(approach.eyes.shape[:2], scene.values.value("eye_m"))
    targets = np.ascontiguousarray(spots)
    terrain = scene.terrain
    if terrain is not None:
        height = height + terrain.sample(approach.eyes[..., 0], approach.eyes[..., 1])
        targets = targets.copy()
        targets[..., 2] += terrain.sample(targets[..., 0], targets[..., 1])
    eyes = np.ascontiguousarray(np.concatenate([approach.eyes, height[..., None]], axis=2))
    clear: BoolArray = trace_approaches(
        eyes, approach.count, targets, pointer, own, *scene.walls.grid
    )
    if terrain is not None:
        clear &= terrain.trace(eyes, approach.count, targets)
    tunnel = np.asarray(scene.place.network.segment_tunnel, dtype=bool)
    inside = tunnel[np.maximum(approach.segment, 0)] & (approach.segment >= 0)
    return np.asarray(clear & ~inside[:, None, :])


def _find_sun(
    place: Place, streams: Streams, frontage: Frontage, time_zone: str | None, values: Sheet
) -> list[str]:
    if time_zone is None or not len(streams.edge):
        return [""] * len(streams.edge)
    lat, lon = place.network.projection.to_latlon([frontage.x[0]], [frontage.y[0]])
    found = {
        heading: describe_glare(
            find_glare(
                heading, lat=float(lat[0]), lon=float(lon[0]), time_zone=time_zone, values=values
            )
        )
        for heading in set(np.rint(streams.direction_deg).tolist())
    }
    return [found[heading] for heading in np.rint(streams.direction_deg).tolist()]


def make_rays(
    approach: Approach, spots: FloatArray, clear: BoolArray, degrees: FloatArray
) -> list[FloatArray]:
    """Make one table of rays for each stream, columns :data:`RAY_COLUMNS`."""
    tables = []
    each = len(TARGETS)
    for r, count in enumerate(approach.count.tolist()):
        k = np.repeat(np.arange(count), each)
        t = np.tile(np.arange(each), count)
        tables.append(
            np.column_stack(
                [
                    (k + 1) * approach.step_m, approach.eyes[r, k, 0], approach.eyes[r, k, 1],
                    t, spots[r, t, 0], spots[r, t, 1], clear[r, t, k], degrees[r, t, k],
                ]
            ).astype(np.float64)
        )  # fmt: skip
    return tables

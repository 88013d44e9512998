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
from capture.seeing.approach import Approach, walk_approach
from capture.seeing.distances import compute_needed
from capture.seeing.notes import compute_triangles, find_cautions
from capture.seeing.targets import DRIVEWAY, FRONT, SIGN, TARGETS, find_own, place_targets
from capture.seeing.values import VALUES
from capture.seeing.walls import Walls, gather_walls

if TYPE_CHECKING:
    from capture.passing import Streams
    from capture.place import Frontage, Place, Sites
    from capture.seeing.terrain import Terrain

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
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

    Returns
    -------
    Seeing
        One row per stream.

    Raises
    ------
    InputError
        For an unknown driving side or a stream without a usable speed.
    """
    if driving_side not in ("right", "left"):
        raise InputError(f"driving side must be 'right' or 'left', got {driving_side!r}")
    needed = compute_needed(streams.speed_mps, values=values)
    walk = np.maximum(values.value("least_walk_m"), values.value("walk_over_needed") * needed)
    approach = walk_approach(
        place.network, np.asarray(streams.edge), np.asarray(streams.fraction), distance_m=walk,
        driving_side=driving_side, values=values,
    )  # fmt: skip
    spots = place_targets(
        place.network, streams, frontage, offer=offer, front_xy=front_xy, sign_xy=sign_xy,
        values=values,
    )  # fmt: skip
    ground = None if terrain is None else terrain.sample
    if walls is None:
        walls = gather_walls(place, ground=ground, values=values)
    clear = _trace(place, streams, approach, spots, walls, terrain, sites, values)
    degrees = compute_off_axis(approach, spots)
    seen_by = np.column_stack(
        [
            compute_stretch(clear[:, [t]], degrees[:, [t]], step_m=approach.step_m, values=values)
            for t in (SIGN, FRONT, DRIVEWAY)
        ]
    )
    both = [SIGN, FRONT]
    seen = compute_stretch(clear[:, both], degrees[:, both], step_m=approach.step_m, values=values)
    triangle_seen, triangle_needed = compute_triangles(
        streams, clear, step_m=approach.step_m, near_side_only=near_side_only, values=values
    )
    speed = np.asarray(streams.speed_mps, dtype=np.float64)
    walked = np.asarray(approach.count * approach.step_m, dtype=np.float64)
    sign_m = clear[:, SIGN].sum(axis=1) * approach.step_m
    return Seeing(
        seen_m=seen,
        seen_s=seen / speed,
        needed_m=needed,
        sight=np.minimum(1.0, seen / needed),
        seen_by_target_m=seen_by,
        walked_m=walked,
        triangle_seen_m=triangle_seen,
        triangle_needed_m=triangle_needed,
        letter_m=np.minimum(sign_m, needed) / values.value("legibility_m_per_m"),
        cautions=find_cautions(
            place, streams, seen_by, needed, walked, triangle_seen, triangle_needed,
            approach.segment, values=values,
        ),
        rays=make_rays(approach, spots, clear, degrees) if keep else None,
    )  # fmt: skip


def _trace(
    place: Place,
    streams: Streams,
    approach: Approach,
    spots: FloatArray,
    walls: Walls,
    terrain: Terrain | None,
    sites: Sites | None,
    values: Sheet,
) -> BoolArray:
    from capture.seeing.kernels import trace_approaches

    pointer, own = find_own(
        place, streams, spots, approach.segment, sites=sites,
        bridge_base=int(walls.bridge_owner(0)),
    )  # fmt: skip
    eye = values.value("eye_m")
    height = np.full(approach.eyes.shape[:2], eye)
    targets = np.ascontiguousarray(spots)
    if terrain is not None:
        height = height + terrain.sample(approach.eyes[..., 0], approach.eyes[..., 1])
        targets = targets.copy()
        targets[..., 2] += terrain.sample(targets[..., 0], targets[..., 1])
    eyes = np.ascontiguousarray(np.concatenate([approach.eyes, height[..., None]], axis=2))
    clear: BoolArray = trace_approaches(
        eyes, approach.count, targets, pointer, own, walls.ends, walls.heights, walls.owner,
        walls.west, walls.south, walls.cell_m, walls.columns, walls.rows, walls.cell_indptr,
        walls.cell_wall,
    )  # fmt: skip
    if terrain is not None:
        clear &= terrain.trace(eyes, approach.count, targets)
    return clear & ~_in_tunnel(place, approach)[:, None, :]


def _in_tunnel(place: Place, approach: Approach) -> BoolArray:
    tunnel = np.asarray(place.network.segment_tunnel, dtype=bool)
    return np.asarray(tunnel[np.maximum(approach.segment, 0)] & (approach.segment >= 0))


def compute_off_axis(approach: Approach, spots: FloatArray) -> FloatArray:
    """Compute how far off the heading each target lies from each eye point.

    Returns
    -------
    ndarray of float, shape (R, T, K)
        Degrees, 0 straight ahead to 180 behind.
    """
    away = spots[:, :, None, :2] - approach.eyes[:, None, :, :]
    size = np.maximum(np.hypot(away[..., 0], away[..., 1]), 1e-9)
    cosine = (away * approach.heading[:, None, :, :]).sum(axis=-1) / size
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def compute_stretch(
    clear: BoolArray, degrees: FloatArray, *, step_m: float, values: Sheet = VALUES
) -> FloatArray:
    """Compute the longest unbroken clear stretch that ends at the driveway.

    Parameters
    ----------
    clear : ndarray of bool, shape (R, T, K)
        Whether each target is clear from each eye point, nearest first.
    degrees : ndarray of float, shape (R, T, K)
        How far off the heading it lies.

    Returns
    -------
    ndarray of float, shape (R,)
        m; a step counts whole when a clear target lies within ``aside_degrees`` of the
        heading, else ``aside_weight``.

    Notes
    -----
    A stretch may begin up to ``near_slack_m`` before the driveway, since a view lost there
    no longer matters; the best such stretch is taken, so that more obstruction never gives
    a longer one.

    Examples
    --------
    >>> clear = np.array([[[True, True, False, True]]])
    >>> float(compute_stretch(clear, np.zeros((1, 1, 4)), step_m=5.0)[0])
    10.0
    """
    rows, _, most = clear.shape
    if not rows or not most:
        return np.zeros(rows)
    weight = np.where(degrees <= values.value("aside_degrees"), 1.0, values.value("aside_weight"))
    worth = np.where(clear, weight, 0.0).max(axis=1)
    open_ = clear.any(axis=1)
    total = np.concatenate([np.zeros((rows, 1)), np.cumsum(worth, axis=1)], axis=1)
    blocked_at = np.where(open_, most, np.arange(most))
    until = np.minimum.accumulate(blocked_at[:, ::-1], axis=1)[:, ::-1]
    starts = min(most, int(values.value("near_slack_m") // step_m) + 1)
    runs = np.take_along_axis(total, until[:, :starts], axis=1) - total[:, :starts]
    return np.asarray(step_m * np.maximum(runs.max(axis=1), 0.0))


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

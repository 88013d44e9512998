"""What is looked at: where the sign, the building front and the driveway's mouth stand.

Also the two drivers whom traffic must see: the one waiting to leave and the one waiting
to turn in across. Assumes, where no plan says otherwise, a sign just behind the mouth of
the driveway and a building front farther in; both can be overridden.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import Offer, Sheet
from capture.seeing.values import VALUES

if TYPE_CHECKING:
    from capture.passing import Streams
    from capture.place import Frontage, Network

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
#: what is looked at, in the order of the arrays' second axis
TARGETS: Final = ("sign", "front", "driveway", "leaving", "entering")
SIGN, FRONT, DRIVEWAY, LEAVING, ENTERING = range(len(TARGETS))


@dataclass(frozen=True, slots=True, kw_only=True)
class Axes:
    """The axis of each of F driveways, from the road into the parcel."""

    #: unit direction inwards (F, 2)
    inward: FloatArray
    #: half the width of the road there, metres (F,)
    half_road_m: FloatArray


def find_axes(network: Network, frontage: Frontage, *, values: Sheet = VALUES) -> Axes:
    """Find which way each driveway leads, shape (F,)."""
    mouth = np.column_stack([frontage.x, frontage.y])
    line = np.column_stack([frontage.line_x, frontage.line_y])
    inward = mouth - line
    size = np.hypot(*inward.T)
    segment = np.asarray(frontage.segment, dtype=np.int64)
    aside = _sideways(network, segment, np.asarray(frontage.side))
    inward = np.where(size[:, None] > 0.5, inward / np.maximum(size, 0.5)[:, None], aside)
    lanes = np.maximum(np.asarray(network.segment_lanes)[segment], 1.0)
    return Axes(inward=inward, half_road_m=0.5 * lanes * values.value("lane_m"))


def _sideways(network: Network, segment: IntArray, side: NDArray[np.int8]) -> FloatArray:
    """Left (side +1) or right (-1) of each segment's chord."""
    x, y = np.asarray(network.geom_x), np.asarray(network.geom_y)
    first = np.asarray(network.geom_indptr)[segment]
    last = np.asarray(network.geom_indptr)[segment + 1] - 1
    chord = np.column_stack([x[last] - x[first], y[last] - y[first]])
    chord = chord / np.maximum(np.hypot(*chord.T), 1e-9)[:, None]
    return np.asarray(np.column_stack([-chord[:, 1], chord[:, 0]]) * np.sign(side)[:, None])


def place_targets(
    network: Network,
    streams: Streams,
    frontage: Frontage,
    *,
    offer: Offer,
    front_xy: FloatArray | None = None,
    sign_xy: FloatArray | None = None,
    values: Sheet = VALUES,
) -> FloatArray:
    """Place what each stream looks at.

    Parameters
    ----------
    network, streams, frontage
        R streams past F driveways.
    offer : Offer
        Says how high the sign is.
    front_xy, sign_xy : ndarray of float, shape (F, 2), optional
        Where the building front and the sign stand, where a plan says so; NaN leaves the
        default.

    Returns
    -------
    ndarray of float, shape (R, 5, 3)
        x, y and height above ground, metres, in the order of :data:`TARGETS`.

    Notes
    -----
    The sign stands beside the driveway's axis on the side from which the stream comes, so
    that both directions meet it before the mouth (one sign on each side, or a sign of two
    faces on a wide frontage).
    """
    axes = find_axes(network, frontage, values=values)
    mouth = np.column_stack([frontage.x, frontage.y])
    line = np.column_stack([frontage.line_x, frontage.line_y])
    driveway = np.asarray(streams.driveway, dtype=np.int64)
    inward = axes.inward[driveway]
    travel = _travel(network, streams)
    sign = (
        mouth[driveway]
        + values.value("sign_setback_m") * inward
        - values.value("sign_aside_m") * travel
    )
    front = mouth[driveway] + values.value("front_setback_m") * inward
    if sign_xy is not None:
        sign = np.where(np.isnan(sign_xy[driveway]), sign, sign_xy[driveway])
    if front_xy is not None:
        front = np.where(np.isnan(front_xy[driveway]), front, front_xy[driveway])
    edge_of_road = line[driveway] + axes.half_road_m[driveway, None] * inward
    leaving = edge_of_road + values.value("waiting_eye_m") * inward
    entering = line[driveway] - 0.5 * values.value("lane_m") * inward
    spots = np.stack([sign, front, mouth[driveway], leaving, entering], axis=1)
    eye = values.value("eye_m")
    heights = np.array(
        [offer.sign_height_m, values.value("front_m"), values.value("object_m"), eye, eye]
    )
    return np.concatenate(
        [spots, np.broadcast_to(heights[None, :, None], (len(driveway), len(TARGETS), 1))], axis=2
    )


def _travel(network: Network, streams: Streams) -> FloatArray:
    """Direction of travel of each stream along its piece's chord, (R, 2)."""
    edge = np.asarray(streams.edge, dtype=np.int64)
    segment = np.asarray(network.edge_segment)[edge].astype(np.int64)
    chord = _sideways(network, segment, -np.ones(edge.size, dtype=np.int8))
    along = np.column_stack([-chord[:, 1], chord[:, 0]])
    return np.where(np.asarray(network.edge_forward)[edge][:, None], along, -along)

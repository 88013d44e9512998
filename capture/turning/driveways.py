"""Where along its frontage should a driveway go, and why there?

Lays candidates along the road in front of the parcel, lets each be judged as if it were the
only one (waits here, sight by a function that the caller passes, since this room does not
look), and proposes the one that keeps most of the passing drivers, away from corners and
with its sight triangles clear wherever one such exists.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Sheet
from capture.turning.turning import Turning, add_turning
from capture.turning.values import VALUES

if TYPE_CHECKING:
    import pandas as pd

    from capture.passing import Streams, Volumes
    from capture.place import Frontage, Place

FloatArray = NDArray[np.float64]
#: from streams and frontage to sight 0-1 and to clear sight triangles, both by stream (R,)
Look = Callable[["Streams", "Frontage"], tuple[FloatArray, NDArray[np.bool_]]]


#: places tried along one piece of road, at most
MOST_CANDIDATES: Final = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class DrivewayScan:
    """Candidates along one frontage, in order along the road, and the one proposed."""

    #: one row each: ``along_m`` (from the present driveway), ``x``, ``y``, ``kept`` (0-1),
    #: ``delay_s``, ``sight``, ``corner_m``, ``triangles_clear``
    table: pd.DataFrame
    #: the candidates as driveways, each its own site
    frontage: Frontage
    #: row of the candidate that is proposed
    best: int
    #: why, one sentence each
    reasons: list[str]


def lay_candidates(
    place: Place,
    frontage: Frontage,
    row: int,
    *,
    polygon: Any | None = None,
    values: Sheet = VALUES,
) -> tuple[Frontage, FloatArray]:
    """Lay candidate driveways along the piece of road that a driveway is on.

    Parameters
    ----------
    place : Place
        Roads.
    frontage : Frontage
        Driveways.
    row : int
        The present one.
    polygon : shapely Polygon, optional
        The parcel, metres; a frontage of the usual width where left out.

    Returns
    -------
    tuple
        Candidates as a frontage, each its own site, and how far along the road each lies
        from the present one, m.

    Raises
    ------
    InputError
        When no place along the road lies in front of the parcel.
    """
    line = place.network.segment_line(int(frontage.segment[row]))
    length = float(np.hypot(*np.diff(line, axis=0).T).sum())
    now = float(frontage.fraction[row]) * length
    step = max(values.value("candidate_step_m"), length / MOST_CANDIDATES)
    steps = np.arange(-np.floor(now / step), np.floor((length - now) / step) + 1) * step
    spots, mouths, kept = [], [], []
    for along in steps.tolist():
        spot, inward = _stand(line, now + along, int(frontage.side[row]))
        mouth = _meet(spot, inward, polygon, along, float(frontage.distance_m[row]), values)
        if mouth is not None:
            spots.append(spot)
            mouths.append(mouth)
            kept.append(along)
    if not kept:
        raise InputError(
            "no place along the road lies in front of the parcel; check the parcel's outline"
        )
    spot, mouth, along = np.array(spots), np.array(mouths), np.array(kept)
    count = len(along)
    one = frontage.take(np.full(count, row))
    made = replace(
        one,
        site=np.arange(count, dtype=np.int32),
        driveway=tuple(f"{metres:+.0f} m" for metres in along),
        x=mouth[:, 0],
        y=mouth[:, 1],
        fraction=(now + along) / length,
        line_x=spot[:, 0],
        line_y=spot[:, 1],
        distance_m=np.hypot(*(mouth - spot).T),
        proposed=np.ones(count, dtype=bool),
    )
    return made, along


def _stand(line: FloatArray, along: float, side: int) -> tuple[FloatArray, FloatArray]:
    """Point on a line and the unit direction to one side of it (+1 left, -1 right)."""
    step = np.diff(line, axis=0)
    size = np.hypot(*step.T)
    ends = np.cumsum(size)
    k = min(int(np.searchsorted(ends, along)), len(size) - 1)
    unit = step[k] / size[k]
    spot = line[k] + (along - (ends[k] - size[k])) * unit
    return spot, np.array([-unit[1], unit[0]]) * (1 if side >= 0 else -1)


def _meet(
    spot: FloatArray,
    inward: FloatArray,
    polygon: Any | None,
    along: float,
    distance_m: float,
    values: Sheet,
) -> FloatArray | None:
    """Where the driveway's axis meets the lot, None where it would not lie wholly before it."""
    if polygon is None:
        near = abs(along) <= 0.5 * (values.value("frontage_m") - values.value("driveway_m"))
        return spot + max(distance_m, 0.1) * inward if near else None
    import shapely

    half = 0.5 * values.value("driveway_m") * np.array([-inward[1], inward[0]])
    met = []
    for shift in (-half, 0 * half, half):
        reach = shapely.LineString(
            [spot + shift, spot + shift + values.value("lot_reach_m") * inward]
        )
        crossed = shapely.intersection(reach, polygon.exterior)
        if crossed.is_empty:
            return None
        points = shapely.get_coordinates(crossed)
        met.append(points[np.argmin((points - spot) @ inward)])
    return np.asarray(met[1])


def scan_driveways(
    place: Place,
    volumes: Volumes,
    frontage: Frontage,
    row: int,
    *,
    make_streams: Callable[[Frontage], Streams],
    look: Look,
    driving_side: str,
    polygon: Any | None = None,
    values: Sheet = VALUES,
    **given: Any,
) -> DrivewayScan:
    """Judge every candidate along one frontage and propose one.

    Parameters
    ----------
    place, volumes, frontage, row
        The place, its traffic, its driveways and which one is meant.
    make_streams : callable
        From candidates to their streams (``add_streams`` with its first arguments filled).
    look : callable
        From streams and candidates to sight and whether the sight triangles are clear.
    driving_side : {"right", "left"}
        Side on which traffic keeps.
    polygon : shapely Polygon, optional
        The parcel, metres.
    **given
        Further arguments of :func:`add_turning`, the same for every candidate.

    Returns
    -------
    DrivewayScan

    Notes
    -----
    kept = sum A exp(-delay / patience + weight (sight - 1)) / sum A over a candidate's
    streams, A their vehicles a day: what is kept of the drivers who would turn in without
    any wait and in full view.
    """
    import pandas as pd

    candidates, along = lay_candidates(place, frontage, row, polygon=polygon, values=values)
    streams = make_streams(candidates)
    turning = add_turning(
        place, volumes, streams, candidates, driving_side=driving_side, values=values, **given
    )
    sight, clear = look(streams, candidates)
    table = pd.DataFrame(
        {
            "along_m": along,
            "x": candidates.x,
            "y": candidates.y,
            **_judge(streams, turning, sight, clear, len(along), values),
        }
    )
    best = pick_best(table, values=values)
    present = int(np.argmin(np.abs(along)))
    return DrivewayScan(
        table=table,
        frontage=candidates,
        best=best,
        reasons=_reason(table, best, present, values),
    )


def _judge(
    streams: Streams,
    turning: Turning,
    sight: FloatArray,
    clear: NDArray[np.bool_],
    count: int,
    values: Sheet,
) -> dict[str, FloatArray | NDArray[np.bool_]]:
    site = np.asarray(streams.site, dtype=np.int64)
    vehicles = np.asarray(streams.vehicles_per_day, dtype=np.float64)
    total = np.maximum(np.bincount(site, vehicles, count), 1e-9)

    def mean(amount: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(site, vehicles * amount, count) / total)

    kept = np.exp(
        -turning.delay_s / values.value("patience_s") + values.value("sight_weight") * (sight - 1)
    )
    corner, free = np.full(count, np.inf), np.ones(count, dtype=bool)
    np.minimum.at(corner, site, turning.corner_m)
    np.logical_and.at(free, site, clear)
    return {
        "kept": mean(kept),
        "delay_s": mean(turning.delay_s),
        "sight": mean(sight),
        "corner_m": corner,
        "triangles_clear": free,
    }


def pick_best(table: pd.DataFrame, *, values: Sheet = VALUES) -> int:
    """Pick the candidate that keeps most drivers, sound ones before others.

    Sound means clear sight triangles and farther from a junction than ``corner_reach_m``.
    Of those that keep as many within a thousandth, the one nearest to the present driveway
    is picked; where none is sound, the one farthest from a junction.
    """
    sound = table["triangles_clear"] & (table["corner_m"] > values.value("corner_reach_m"))
    wanted = next(mask for mask in (sound, table["triangles_clear"], sound | True) if mask.any())
    among = table[wanted]
    near_best = among[among["kept"] >= among["kept"].max() - 1e-3]
    order = near_best.assign(moved=near_best["along_m"].abs())
    by = ["moved"] if sound.any() else ["corner_m", "moved"]
    ordered = order.sort_values(by, ascending=[name != "corner_m" for name in by], kind="stable")
    return int(ordered.index[0])


def _reason(table: pd.DataFrame, best: int, present: int, values: Sheet) -> list[str]:
    here, now = (
        {str(name): float(column[i]) for name, column in table.items()} for i in (best, present)
    )
    if best == present:
        return ["the present place keeps as many drivers as any other along the frontage"]
    moved = here["along_m"] - now["along_m"]
    share, was = (f"{100 * place['kept']:.0f} %" for place in (here, now))
    said = [
        f"{abs(moved):.0f} m along the road it keeps "
        + (
            f"as many of the willing drivers ({share})"
            if share == was
            else f"{share} of the willing drivers instead of {was}"
        )
    ]
    if abs(here["delay_s"] - now["delay_s"]) >= 0.5:
        said.append(f"turning in and out costs {here['delay_s']:.0f} s, now {now['delay_s']:.0f} s")
    if abs(here["sight"] - now["sight"]) >= 0.01:
        said.append(f"sight is {here['sight']:.2f} of what is needed, now {now['sight']:.2f}")
    if here["triangles_clear"] and not now["triangles_clear"]:
        said.append("its sight triangles are clear, those of the present place are not")
    if now["corner_m"] <= values.value("corner_reach_m") and here["corner_m"] > now["corner_m"]:
        said.append(
            f"it lies {_far(here['corner_m'])} from a junction, now {_far(now['corner_m'])}"
        )
    return said


def _far(metres: float) -> str:
    return f"{metres:.0f} m" if np.isfinite(metres) else "far"

"""What does a driver meet on the way to the site, second by second, up to the turn?

The true path upstream is walked at the stream's speed: when sign, building front and
driveway come into view or are lost again, where signals and rivals stand, where the last
moment to decide lies. Assumes that sight rays were kept and that nobody is held up.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from capture.basis import InputError

FloatArray = NDArray[np.float64]
#: what is looked at -> plain words, in the order of the rays' targets
SHOWN: Final = ("the sign", "the building front", "the driveway")
BESIDE_M: Final = 70.0
AT_SIGNAL_M: Final = 15.0
STEP_M: Final = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Approach:
    """One stream's way to the driveway."""

    #: name of the road
    road: str
    #: speed at which it is driven
    speed_mps: float
    #: distance to go of each step, the farthest first, shape (k,)
    distance_m: FloatArray
    #: where the driver is then, metres, shape (k, 2)
    xy: FloatArray
    #: whether sign, front and driveway are in view, shape (k, 3)
    clear: NDArray[np.bool_]
    #: events: seconds to go, distance to go, what happens
    events: pd.DataFrame

    @property
    def seconds(self) -> FloatArray:
        """Seconds to go of each step, shape (k,)."""
        return np.asarray(self.distance_m / self.speed_mps)


def make_approach(study: Any, stream: int) -> Approach:
    """Drive the way of one stream to its driveway.

    Parameters
    ----------
    study : Study
        With sight rays kept.
    stream : int
        Row of its streams.

    Returns
    -------
    Approach

    Raises
    ------
    InputError
        When there is no such stream, or no rays were kept.
    """
    rays = study.seeing.rays
    if not rays or not 0 <= stream < len(rays):
        raise InputError(
            f"approach: stream must be 0 to {len(rays or ()) - 1} of a study with kept rays, "
            f"got {stream}; choose another or keep rays"
        )
    distance, xy = read_path(rays[stream])
    clear = _read_clear(rays[stream])
    speed = float(study.streams.speed_mps[stream])
    events = [
        *_sight_events(distance, clear),
        *_place_events(study, distance, xy),
        (float(study.seeing.needed_m[stream]), "last moment to decide without haste"),
        (0.0, f"the driveway: {study.turning.way_in[stream]}"),
    ]
    table = pd.DataFrame(events, columns=["distance_m", "what"])
    table.insert(0, "seconds", table["distance_m"] / speed)
    return Approach(
        road=str(study.streams.road[stream] or "road without a name"),
        speed_mps=speed,
        distance_m=distance,
        xy=xy,
        clear=clear,
        events=table.sort_values("distance_m", ascending=False, kind="stable", ignore_index=True),
    )


def read_path(rays: Any) -> tuple[FloatArray, FloatArray]:
    """Read a stream's way from its rays: distance to go, the farthest first, and where.

    Returns
    -------
    tuple of ndarray
        Metres of shape (k,), and metres of shape (k, 2) in the middle of the stream's lanes.
    """
    from capture.seeing import RAY_COLUMNS

    table = np.asarray(rays, dtype=np.float64)
    at = {name: column for column, name in enumerate(RAY_COLUMNS)}
    steps, first = np.unique(table[:, at["distance_m"]], return_index=True)
    eyes = table[first][:, [at["eye_x"], at["eye_y"]]]
    return steps[::-1].copy(), eyes[::-1].copy()


def _read_clear(rays: Any) -> NDArray[np.bool_]:
    from capture.seeing import RAY_COLUMNS

    table = np.asarray(rays, dtype=np.float64)
    at = {name: column for column, name in enumerate(RAY_COLUMNS)}
    steps, row = np.unique(table[:, at["distance_m"]], return_inverse=True)
    clear = np.zeros((len(steps), len(SHOWN)), dtype=bool)
    target = table[:, at["target"]].astype(np.int64)
    kept = target < len(SHOWN)
    clear[row[kept], target[kept]] = table[kept, at["clear"]] > 0
    return clear[::-1].copy()


def _sight_events(distance: FloatArray, clear: NDArray[np.bool_]) -> list[tuple[float, str]]:
    events = []
    for column, name in enumerate(SHOWN):
        seen = clear[:, column]
        change = np.flatnonzero(np.diff(seen.astype(np.int8)) != 0) + 1
        if seen[0]:
            events.append((float(distance[0]), f"{name} is in view from where the walk starts"))
        for at in change:
            words = "comes into view" if seen[at] else "is lost from view"
            events.append((float(distance[at]), f"{name} {words}"))
        if not seen.any():
            events.append((0.0, f"{name} is not seen on the way"))
    return events


def _place_events(study: Any, distance: FloatArray, xy: FloatArray) -> list[tuple[float, str]]:
    if len(xy) < 2:
        return []
    path = shapely.LineString(xy)
    network, rivals, events = study.place.network, study.rivals, []
    signals = np.flatnonzero(np.asarray(network.node_signal))
    points = shapely.points(network.node_x[signals], network.node_y[signals])
    near = shapely.distance(points, path) <= AT_SIGNAL_M
    events += [(_to_go(path, point, distance), "a signal") for point in points[near]]
    for k, name in enumerate(rivals.names):
        point = shapely.Point(float(rivals.x[k]), float(rivals.y[k]))
        if rivals.status[k] == "open" and shapely.distance(point, path) <= BESIDE_M:
            words = f"passes a rival, {name or 'a wash without a name'}"
            events.append((_to_go(path, point, distance), words))
    return events


def _to_go(path: Any, point: Any, distance: FloatArray) -> float:
    """Distance to go where the path comes nearest to a point."""
    along = float(shapely.line_locate_point(path, point, normalized=True))
    return float(np.interp(along, np.linspace(0, 1, len(distance)), distance))


def make_view_table(approach: Approach) -> pd.DataFrame:
    """Make the stretches in which each thing is in view or hidden, one row a stretch."""
    rows = []
    seconds = approach.seconds
    step = STEP_M / approach.speed_mps
    for column, name in enumerate(SHOWN):
        seen = approach.clear[:, column]
        bounds = [0, *(np.flatnonzero(np.diff(seen.astype(np.int8)) != 0) + 1), len(seen)]
        for start, end in pairwise(bounds):
            until = seconds[end] if end < len(seconds) else max(seconds[-1] - step, 0.0)
            rows.append(
                {
                    "what": name,
                    "from_s": float(seconds[start]),
                    "to_s": float(until),
                    "view": "in view" if seen[start] else "hidden",
                }
            )
    return pd.DataFrame(rows)

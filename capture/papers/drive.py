"""How is the way to a site driven on a map, second by second, up to the turn?

Each stream's approach is cut into whole seconds at the road's speed: where the car is, what
it sees, what it has just passed. Assumes that sight rays were kept and nobody is held up.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import UnitSystem, escape_text
from capture.papers.approach import SHOWN, read_path
from capture.papers.passing_tables import name_streams
from capture.papers.turning_tables import make_drive_events
from capture.papers.words import say_amount
from capture.seeing import RAY_COLUMNS

FloatArray = NDArray[np.float64]
#: parts of a degree of a point on the way
SCALE: Final = 10_000_000
#: seconds of a drive at most; what lies before is left out
MOST_S: Final = 90
#: column of a driver's strip -> short name, those of the rays' targets first
_ROWS: Final = {
    "sign": "sign", "front": "building", "driveway": "driveway", "readable": "letters",
}  # fmt: skip


def make_drive(
    study: Any, streams: Sequence[int] | None = None, *, system: UnitSystem = "us",
    opened: bool = False,
) -> dict[str, Any] | None:  # fmt: skip
    """Make the drives that a map's script shows, every string escaped.

    Parameters
    ----------
    study : Study
        With sight rays kept; without them there is no drive.
    streams : sequence of int, optional
        Rows of its streams; all when left out.
    system : {"us", "metric"}
        Unit of distances.
    opened : bool
        Whether the drive stands open at first.

    Returns
    -------
    dict or None
        Plain values for :func:`capture.papers.maps.make_map`.
    """
    if not study.seeing.rays:
        return None
    names = name_streams(study.streams)
    rows = range(len(names)) if streams is None else streams
    ways = [_lay_way(study, r, names[r], system) for r in rows if len(study.seeing.rays[r])]
    if not ways:
        return None
    return {"names": list(_ROWS.values()), "ways": ways, "open": opened}


def _lay_way(study: Any, stream: int, name: str, system: UnitSystem) -> dict[str, Any]:
    from capture.seeing import make_strip

    speed = float(study.streams.speed_mps[stream])
    far, xy = (side[::-1] for side in read_path(study.seeing.rays[stream]))
    strip = make_strip(study.seeing, stream, speed_mps=speed, values=study.numbers["seeing"])
    left_m = np.arange(min(int(far[-1] / speed), MOST_S), -1, -1.0) * speed
    path = np.column_stack([np.interp(left_m, far, xy[:, k]) for k in (0, 1)])
    view = _look(strip, left_m)
    return {
        "name": escape_text(name),
        "line": _pack(study, path),
        "turn": _turn(path),
        "view": ["".join("1" if seen else "0" for seen in row) for row in view.tolist()],
        "far": [escape_text(say_amount(float(one), "m", system, digits=2)) for one in left_m],
        "said": [escape_text(_say_view(row)) for row in view.tolist()],
        "events": _place_events(make_drive_events(study, stream, system), len(left_m) - 1),
        "aims": _find_aims(study, stream),
    }


def _look(strip: pd.DataFrame, left_m: FloatArray) -> NDArray[np.bool_]:
    """Return what is in view at each distance to go, by the nearest eye point, (k, 4)."""
    known = strip.sort_values("distance_m", kind="stable")
    far = known["distance_m"].to_numpy(dtype=np.float64)
    seen = known[list(_ROWS)].to_numpy(dtype=bool)
    return np.asarray(seen[np.searchsorted((far[1:] + far[:-1]) / 2, left_m)])


def _turn(xy: FloatArray) -> list[int]:
    """Return the car's heading at each second, degrees clockwise from north."""
    if len(xy) < 2:
        return [0] * len(xy)
    step = np.diff(xy, axis=0)
    moved = np.hypot(step[:, 0], step[:, 1]) > 0.1
    degrees = np.degrees(np.arctan2(step[:, 0], step[:, 1])) % 360
    known = pd.Series(np.where(moved, degrees, np.nan)).ffill().bfill().fillna(0.0)
    return [round(float(one)) for one in (*known, known.iloc[-1])]


def _pack(study: Any, xy: FloatArray) -> list[int]:
    """Pack the way as whole-number steps of latitude and longitude."""
    lat, lon = study.place.network.projection.to_latlon(xy[:, 0], xy[:, 1])
    grid = np.rint(np.column_stack([lat, lon]) * SCALE).astype(np.int64)
    packed: list[int] = np.diff(grid, axis=0, prepend=0).ravel().tolist()
    return packed


def _place_events(events: pd.DataFrame, last: int) -> list[list[Any]]:
    """Return [step, words] of what happens, in the order driven; earlier ones on the first."""
    steps = np.clip(last - np.ceil(events["seconds"].to_numpy(dtype=np.float64)), 0, last)
    return [
        [int(step), escape_text(f"{words[:1].upper()}{words[1:]}")]
        for step, words in zip(steps, events["what"].astype(str), strict=True)
    ]


def _say_view(seen: Sequence[bool]) -> str:
    """Say what is in view: sign, front, driveway, and whether the letters can be read.

    Examples
    --------
    >>> _say_view([True, False, False, False])
    'In view: the sign, too small to read. Hidden: the building front, the driveway.'
    """
    clear = [name for name, one in zip(SHOWN, seen[:3], strict=True) if one]
    hidden = [name for name, one in zip(SHOWN, seen[:3], strict=True) if not one]
    if seen[0]:
        clear[0] += ", its letters readable" if seen[3] else ", too small to read"
    parts = [f"In view: {', '.join(clear)}." if clear else "Nothing of it is in view."]
    if clear and hidden:
        parts.append(f"Hidden: {', '.join(hidden)}.")
    return " ".join(parts)


def _find_aims(study: Any, stream: int) -> list[list[float]]:
    """Return where sign, front and driveway stand for a stream, (lat, lon) each."""
    table = np.asarray(study.seeing.rays[stream], dtype=np.float64)
    at = {name: column for column, name in enumerate(RAY_COLUMNS)}
    aims = []
    for target in range(len(SHOWN)):
        rows = table[table[:, at["target"]] == target]
        near = rows[int(np.argmin(rows[:, at["distance_m"]]))]
        lat, lon = study.place.network.projection.to_latlon(
            [near[at["target_x"]]], [near[at["target_y"]]]
        )
        aims.append([round(float(lat[0]), 7), round(float(lon[0]), 7)])
    return aims

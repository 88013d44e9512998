"""What does a driver see, on the map? Lines of sight, where letters can be read, triangles.

Assumes that rays were kept. Lines are drawn from the driver's eye to the sign.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import UnitSystem
from capture.papers.layers import make_sight_layer
from capture.papers.marks import MapLayer, Mark, mark_line, mark_point
from capture.papers.passing_tables import name_streams
from capture.papers.words import say_amount

FloatArray = NDArray[np.float64]
_LEAVING: Final = 3
_ENTERING: Final = 4
#: spots nearer to each other than this are marked as one
_TOO_NEAR_M: Final = 60.0


def make_ray_layer(study: Any, stream: int | None) -> MapLayer | None:
    """Make the lines of sight of one stream, or of all when it is None."""
    from dataclasses import replace

    seeing = study.seeing
    if not seeing.rays:
        return None
    if stream is not None:
        seeing = replace(seeing, rays=[seeing.rays[stream]])
    return make_sight_layer(seeing, study.place.network.projection)


def make_reach_layer(
    study: Any, stream: int | None, *, system: UnitSystem = "us"
) -> MapLayer | None:
    """Make the points from which the wash is seen and its letters are read."""
    from capture.seeing import make_strip

    if not study.seeing.rays:
        return None
    marks: list[Mark] = []
    for r, name in enumerate(name_streams(study.streams)):
        if stream not in (None, r):
            continue
        speed = float(study.streams.speed_mps[r])
        strip = make_strip(study.seeing, r, speed_mps=speed, values=study.numbers["seeing"])
        read = strip.loc[strip["readable"], "distance_m"]
        spots = _name_spots(float(study.seeing.seen_m[r]), float(read.max() if len(read) else 0))
        for words, distance in spots:
            if distance <= 0:
                continue
            x, y = _find_eye(study.seeing.rays[r], distance)
            lat, lon = study.place.network.projection.to_latlon([x], [y])
            marks.append(
                mark_point(
                    float(lat[0]), float(lon[0]), "sight-reach", title=name, label=words,
                    lines=((words, f"{say_amount(distance, 'm', system)} before the driveway"),),
                )
            )  # fmt: skip
    return MapLayer(name="Seen and read from", marks=tuple(marks))


def _name_spots(seen_m: float, read_m: float) -> list[tuple[str, float]]:
    """Name the spots to mark; two that would lie on each other become one."""
    if seen_m > 0 and abs(seen_m - read_m) < _TOO_NEAR_M:
        return [("seen and read from here", min(seen_m, read_m))]
    return [("seen from here", seen_m), ("letters read from here", read_m)]


def _find_eye(rays: FloatArray, distance_m: float) -> tuple[float, float]:
    """Where the driver is that far before the driveway; the nearest eye point walked."""
    row = rays[int(np.argmin(np.abs(rays[:, 0] - distance_m)))]
    return float(row[1]), float(row[2])


def make_triangle_layer(
    study: Any, stream: int | None, *, system: UnitSystem = "us"
) -> MapLayer | None:
    """Make the long sides of sight triangles: as far as asked for, or where they fail."""
    seeing = study.seeing
    if not seeing.rays:
        return None
    step = study.numbers["seeing"].value("step_m")
    projection = study.place.network.projection
    marks: list[Mark] = []
    for r, name in enumerate(name_streams(study.streams)):
        if stream not in (None, r):
            continue
        rays = np.asarray(seeing.rays[r])
        for i, target in enumerate((_LEAVING, _ENTERING)):
            asked, seen = float(seeing.triangle_needed_m[r, i]), seeing.triangle_seen_m[r, i]
            mine = rays[rays[:, 3] == target]
            if not (np.isfinite(asked) and len(mine)):
                continue
            until = min(asked, float(seeing.walked_m[r]))
            clear = bool(seen + step >= until)
            shown = until if clear else float(seen) + step
            who = ("leaving", "turning in across")[i]
            words = f"clear over {say_amount(min(float(seen), asked), 'm', system)} of {{}} asked"
            marks.append(
                mark_line(
                    [mine[0, 4:6], _find_eye(mine, shown)],
                    "sight-clear" if clear else "sight-blocked",
                    projection,
                    title=f"A driver {who} and traffic on {name}",
                    lines=(("", words.format(say_amount(asked, "m", system))),),
                )
            )
    return MapLayer(
        name="Sight triangles",
        marks=tuple(marks),
        words={"sight-clear": "triangle clear", "sight-blocked": "triangle fails"},
    )

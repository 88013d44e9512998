"""What does a driver see, on the map? Lines of sight, where letters can be read, triangles.

Assumes that rays were kept. Lines are drawn from the driver's eye to the sign.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from capture.basis import UnitSystem
from capture.papers.layers import make_sight_layer
from capture.papers.marks import MapLayer, Mark, mark_area, mark_line, mark_point
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


def make_screen_layer(study: Any, *, system: UnitSystem = "us") -> MapLayer | None:
    """Make the layer of hedges, walls, trees and woods near the driveways, cut ones apart."""
    from capture.chain import list_screens

    table = list_screens(study)
    shapes = dict(zip(np.asarray(study.place.screens.osm_id).tolist(),
                      study.place.screens.geometry, strict=True))  # fmt: skip
    plane = study.place.network.projection
    marks = []
    for row in table.to_dict("records"):
        shape, cut = shapes[int(row["osm_id"])], row["height_m"] <= 0
        title = str(row["kind"]).replace("_", " ")
        known = "" if row["height_known"] else ", taken as usual"
        high = say_amount(float(row["height_m"]), "m", system, digits=2)
        more: dict[str, Any] = {
            "title": f"{title[:1].upper()}{title[1:]}, no. {row['osm_id']}",
            "lines": (("", "cut to the ground" if cut else f"{high} high{known}"),),
        }
        look = "screen-cut" if cut else "screen"
        make = mark_area if shape.geom_type == "Polygon" else mark_line
        points = shape if shape.geom_type == "Polygon" else shapely.get_coordinates(shape)
        marks.append(make(points, look, plane, fine=True, **more))
    return MapLayer(name="What grows or stands beside the road", marks=tuple(marks))


def find_screen(study: Any, lat: float, lon: float, *, within_m: float) -> int | None:
    """Return the id of the hedge, wall or trees nearest to a spot; None when none is near."""
    from capture.chain import list_screens

    table = list_screens(study)
    near = set(table.loc[table["height_m"] > 0, "osm_id"].tolist())
    x, y = study.place.network.projection.to_xy([lat], [lon])
    spot = shapely.Point(float(x[0]), float(y[0]))
    ids = np.asarray(study.place.screens.osm_id)
    kept = np.flatnonzero(np.isin(ids, list(near)))
    if not len(kept):
        return None
    shapes = np.asarray(study.place.screens.geometry, dtype=object)[kept]
    far = np.asarray(shapely.distance(shapes, spot))
    best = int(np.argmin(far))
    return int(ids[kept[best]]) if far[best] <= within_m else None


def make_thing_layer(study: Any) -> MapLayer | None:
    """Make the points where sign and building front stand for the drivers' eyes."""
    from capture.seeing import RAY_COLUMNS

    at = {name: column for column, name in enumerate(RAY_COLUMNS)}
    spots: dict[tuple[str, float, float], str] = {}
    for rays in study.seeing.rays or ():
        table = np.asarray(rays, dtype=np.float64)
        for target, (look, title) in enumerate((("sign", "Sign"), ("front", "Building front"))):
            rows = table[table[:, at["target"]] == target]
            if len(rows):
                x, y = rows[0, at["target_x"]], rows[0, at["target_y"]]
                spots[look, round(float(x), 1), round(float(y), 1)] = title
    if not spots:
        return None
    plane = study.place.network.projection
    marks = []
    for (look, x, y), title in spots.items():
        lat, lon = plane.to_latlon([x], [y])
        marks.append(mark_point(float(lat[0]), float(lon[0]), look, title=title, lift=850))
    return MapLayer(name="Sign and front", marks=tuple(marks))

"""Which layers does the map of a study show, and what does each mark say when pointed at?

The streams past the site, what their drivers see, the site and the wash on its parcel,
over the layers of the area.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from capture.basis import UnitSystem
from capture.papers.area_layers import (
    MOST_ROADS,
    make_band_layer,
    make_count_layer,
    make_people_layer,
    make_rival_layer,
    make_road_layer,
)
from capture.papers.marks import MapLayer, Mark, drop_empty, mark_area, mark_line, mark_point
from capture.papers.queue_layer import make_queue_layer
from capture.papers.words import say_amount, say_number

__all__ = [
    "MOST_ROADS",
    "STREAM_SHOWN_M",
    "make_band_layer",
    "make_count_layer",
    "make_ground_layer",
    "make_people_layer",
    "make_rival_layer",
    "make_road_layer",
    "make_sight_layer",
    "make_site_layer",
    "make_stream_layer",
    "make_study_layers",
]

FloatArray = NDArray[np.float64]
#: lines of sight drawn for each stream, about
RAYS_OF_STREAM: Final = 24
STREAM_SHOWN_M: Final = 260.0
#: how far a stream is drawn beside its road's middle
STREAM_ASIDE_M: Final = 7.0
Say = Callable[[float, str], str]


def _say(system: UnitSystem) -> Say:
    return lambda value, unit: say_amount(value, unit, system)


def make_site_layer(sites: Any, frontage: Any, projection: Any) -> MapLayer:
    """Make the layer of the site, its parcel and its driveways."""
    marks: list[Mark] = []
    for index, name in enumerate(sites.names):
        polygon = sites.polygons[index]
        if polygon is not None:
            marks.append(mark_area(polygon, "parcel", projection, fine=True))
        marks.append(
            mark_point(sites.lat[index], sites.lon[index], "site", title=f"Site {name}", lift=1000)
        )
    if frontage is not None:
        lat, lon = projection.to_latlon(frontage.x, frontage.y)
        for index, driveway in enumerate(frontage.driveway):
            how = "proposed here" if bool(frontage.proposed[index]) else "given"
            marks.append(
                mark_point(
                    float(lat[index]),
                    float(lon[index]),
                    "driveway",
                    title=f"Driveway {driveway}",
                    lines=(("", how),),
                    lift=900,
                )
            )
    return MapLayer(name="The site", marks=tuple(marks))


def make_stream_layer(
    place: Any, streams: Any, turning: Any, seeing: Any, *, system: UnitSystem
) -> MapLayer:
    """Make the layer of the streams past the site, each with its way in."""
    from capture.place import walk_upstream

    say, network, marks = _say(system), place.network, []
    for r in range(len(streams.edge)):
        line = walk_upstream(
            network, int(streams.edge[r]), float(streams.fraction[r]), distance_m=STREAM_SHOWN_M
        )
        line = _shift_aside(line, STREAM_ASIDE_M * (1 if network.driving_side == "right" else -1))
        near = bool(streams.near_side[r])
        look = "stream-near" if near else "stream-far"
        lines = _stream_lines(streams, turning, seeing, r, say)
        title = f"{streams.road[r] or 'road without a name'}, {_compass(streams.direction_deg[r])}"
        if len(line) > 1:
            marks.append(mark_line(line, look, network.projection, title=title, lines=lines))
        lat, lon = network.projection.to_latlon(line[-1:, 0], line[-1:, 1])
        marks.append(
            mark_point(
                float(lat[0]),
                float(lon[0]),
                look,
                heading_deg=float(streams.direction_deg[r]),
                title=title,
                lines=lines,
                lift=500,
            )
        )
    return MapLayer(name="Traffic past the site", marks=tuple(marks))


def _shift_aside(line: FloatArray, right_m: float) -> FloatArray:
    """Shift a line to its right, so that the two directions of a road lie side by side."""
    if len(line) < 2:
        return line
    moved = shapely.offset_curve(shapely.LineString(line), -right_m)
    points: FloatArray = shapely.get_coordinates(moved)
    return points if len(points) > 1 else line


def _stream_lines(
    streams: Any, turning: Any, seeing: Any, r: int, say: Say
) -> tuple[tuple[str, str], ...]:
    measured = "measured" if bool(streams.measured[r]) else "estimated"
    side = "near side" if bool(streams.near_side[r]) else "far side"
    lines = [
        ("", f"{say_number(float(streams.vehicles_per_day[r]))} vehicles a day, {measured}"),
        ("", f"{side}, {say(float(streams.speed_mps[r]), 'mps')}"),
    ]
    if turning is not None:
        lines.append(("way in", str(turning.way_in[r])))
        lines.append(("delay", say(float(turning.delay_s[r]), "s")))
    if seeing is not None:
        seen, needed = float(seeing.seen_m[r]), float(seeing.needed_m[r])
        lines.append(("seen from", f"{say(seen, 'm')} of {say(needed, 'm')} needed"))
    lines.append(("from", str(streams.source[r])))
    return tuple(lines)


_POINTS: Final = ("north", "north-east", "east", "south-east", "south", "south-west", "west",
                  "north-west")  # fmt: skip


def _compass(direction_deg: float) -> str:
    """Say where a stream is going.

    Examples
    --------
    >>> _compass(350), _compass(130)
    ('going north', 'going south-east')
    """
    return f"going {_POINTS[round(float(direction_deg) / 45) % 8]}"


def make_sight_layer(seeing: Any, projection: Any, *, shown: bool = True) -> MapLayer | None:
    """Make the layer of clear and blocked lines of sight, when they were kept."""
    rays = getattr(seeing, "rays", None)
    if not rays:
        return None
    marks = []
    for found in rays:
        for clear, start, end in _pick_rays(found):
            marks.append(
                mark_line([start, end], "sight-clear" if clear else "sight-blocked", projection)
            )
    return MapLayer(
        name="Lines of sight",
        marks=tuple(marks),
        legend=("sight-clear", "sight-blocked"),
        shown=shown,
    )


def _pick_rays(found: Any) -> list[tuple[bool, Any, Any]]:
    """Take every so many rays of a stream to the sign: (clear, eye, target)."""
    from capture.seeing import RAY_COLUMNS

    table = np.asarray(found, dtype=np.float64)
    if table.ndim != 2 or len(table) == 0:
        return []
    at = {name: column for column, name in enumerate(RAY_COLUMNS)}
    table = table[table[:, at["target"]] == table[:, at["target"]].min()]
    eye, target = [at["eye_x"], at["eye_y"]], [at["target_x"], at["target_y"]]
    step = max(1, len(table) // RAYS_OF_STREAM)
    return [(bool(row[at["clear"]]), row[eye], row[target]) for row in table[::step]]


_PART_LOOKS: Final = {
    "building": "building",
    "lanes": "ground-lanes",
    "lanes, far part": "ground-lanes",
    "pay lanes": "ground-pay",
}


def make_ground_layer(ground: Any, projection: Any, *, which: int = 0) -> MapLayer | None:
    """Make the layer of how the wash stands on its parcel, when the parcel's shape is known.

    ``which`` counts placements, the best first.
    """
    if not ground.placements:
        return None
    best = ground.placements[which]
    marks = [
        mark_area(shape, _PART_LOOKS.get(name, "ground-turn"), projection, title=name, fine=True)
        for name, shape in sorted(best.parts.items())
    ]
    marks += [mark_area(stall, "ground-stalls", projection, fine=True) for stall in best.stalls]
    return MapLayer(name="The wash on its parcel", marks=tuple(marks))


def make_study_layers(study: Any, *, system: UnitSystem = "us") -> tuple[MapLayer, ...]:
    """Make every layer of a study that there is something to show for."""
    place, sites, around = study.place, study.sites, study.around
    projection = place.network.projection
    seconds = np.asarray(around.rival_seconds)[0] if len(study.rivals.names) else None
    return drop_empty(
        (
            make_people_layer(study.area.read("people"), projection),
            make_band_layer(place, _snap_site(study)),
            make_road_layer(place, study.volumes, x=float(sites.x[0]), y=float(sites.y[0])),
            make_sight_layer(study.seeing, projection),
            make_stream_layer(place, study.streams, study.turning, study.seeing, system=system),
            make_count_layer(study.volumes, projection),
            make_rival_layer(study.rivals, seconds, getattr(around, "likeness", None)),
            make_site_layer(sites, study.frontage, projection),
            make_ground_layer(study.ground, projection),
            make_queue_layer(study, system=system, shown=False),
        )
    )


def _snap_site(study: Any) -> Any:
    from capture.place import snap

    return snap(study.place.network, study.sites.x, study.sites.y)

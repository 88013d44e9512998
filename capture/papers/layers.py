"""Which layers does a map of a study show, and what does each mark say when pointed at?

Roads by vehicles a day (measured solid, estimated dashed), counts, the streams past the
site, what its drivers see, rivals with driving time, bands of driving time, people. Layers
that an area lacks are left out; nothing is made up for them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from capture.basis import FORMAT_WORDS, UnitSystem
from capture.papers.look import LOOKS, choose_volume_look
from capture.papers.marks import MapLayer, Mark, drop_empty, mark_area, mark_line, mark_point
from capture.papers.words import say_amount, say_number

FloatArray = NDArray[np.float64]
Z95: Final = 1.6448536269514722
#: roads that the volumes layer shows at most, the busiest of those around the site
MOST_ROADS: Final = 4000
#: lines of sight drawn for each stream, about
RAYS_OF_STREAM: Final = 24
STREAM_SHOWN_M: Final = 260.0
#: how far a stream is drawn beside its road's middle
STREAM_ASIDE_M: Final = 7.0
#: least vehicles a day of a road that the volumes layer shows when nothing was counted on it
LEAST_ESTIMATED: Final = 1000.0
#: likeness from which a rival counts as of the same kind
ALIKE: Final = 0.75
BAND_S: Final = (300.0, 600.0)
Say = Callable[[float, str], str]


def _say(system: UnitSystem) -> Say:
    return lambda value, unit: say_amount(value, unit, system)


def _around(network: Any, x: float, y: float, most: int, keep: NDArray[np.bool_]) -> Any:
    starts = network.geom_indptr[:-1]
    far = np.hypot(network.geom_x[starts] - x, network.geom_y[starts] - y)
    kept = np.flatnonzero(keep)
    return np.sort(kept[np.argsort(far[kept], kind="stable")[:most]])


def make_road_layer(
    place: Any, volumes: Any, *, x: float, y: float, shown: bool = True
) -> MapLayer:
    """Make the layer of roads by vehicles a day, around a point given in metres."""
    network = place.network
    daily = np.asarray(volumes.vehicles_per_day, dtype=np.float64)
    measured = np.asarray(volumes.measured, dtype=bool)
    keep = np.isfinite(daily) & (measured | (daily >= LEAST_ESTIMATED))
    marks = [_mark_road(network, volumes, int(g)) for g in _around(network, x, y, MOST_ROADS, keep)]
    steps = sorted({mark.look.split("-")[1] for mark in marks})
    legend = [f"road-{step}-measured" for step in steps]
    words = {key: LOOKS[key].words.replace(", measured", "") for key in legend}
    if any(mark.look.endswith("estimated") for mark in marks):
        dashed = f"road-{steps[-1]}-estimated"
        legend.append(dashed)
        words[dashed] = "dashed: estimated, not counted"
    return MapLayer(
        name="Roads by vehicles a day",
        marks=tuple(sorted(marks, key=lambda mark: mark.look)),
        legend=tuple(legend),
        shown=shown,
        words=words,
    )


def _mark_road(network: Any, volumes: Any, g: int) -> Mark:
    daily, spread = float(volumes.vehicles_per_day[g]), float(volumes.log_sd[g])
    measured = bool(volumes.measured[g])
    low, high = daily * np.exp(-Z95 * spread), daily * np.exp(Z95 * spread)
    year = _year(getattr(volumes, "year", None), g)
    return mark_line(
        network.segment_line(g),
        choose_volume_look(daily, measured=measured),
        network.projection,
        title=network.segment_name[g] or network.segment_ref[g] or "road without a name",
        lines=(
            ("", f"{say_number(daily)} vehicles a day ({say_number(low, digits=2)} to "
                 f"{say_number(high, digits=2)})"),
            ("", ("measured" if measured else "estimated") + year),
            ("from", str(volumes.source[g])),
        ),
    )  # fmt: skip


def _year(years: Any, index: int) -> str:
    if years is None:
        return ""
    year = float(years[index])
    return f", {year:.0f}" if np.isfinite(year) and year > 0 else ""


def make_count_layer(volumes: Any, projection: Any, *, shown: bool = False) -> MapLayer | None:
    """Make the layer of traffic counts."""
    table = getattr(volumes, "counts", None)
    if table is None or len(table) == 0:
        return None
    if not {"lat", "lon"} <= set(table.columns):
        if not {"x", "y"} <= set(table.columns):
            return None
        lat, lon = projection.to_latlon(table["x"], table["y"])
        table = table.assign(lat=lat, lon=lon)
    marks = []
    for row in table.to_dict("records"):
        if not (np.isfinite(row["lat"]) and np.isfinite(row["lon"])):
            continue
        told = [(name, _cell(row.get(name))) for name in _COUNT_FIELDS if name in row]
        marks.append(
            mark_point(
                row["lat"],
                row["lon"],
                "count",
                title="Traffic count",
                lines=tuple((_COUNT_FIELDS[name], value) for name, value in told if value),
            )
        )
    return MapLayer(name="Traffic counts", marks=tuple(marks), shown=shown)


_COUNT_FIELDS: Final = {
    "name": "name",
    "road": "road",
    "aadt": "vehicles a day",
    "vehicles_per_day": "vehicles a day",
    "year": "year",
    "direction": "direction",
    "kind": "kind",
    "story": "how it was tied",
    "note": "note",
}


def _cell(value: object) -> str:
    if value is None or (isinstance(value, float) and not np.isfinite(value)):
        return ""
    if isinstance(value, float | np.floating):
        return say_number(float(value), digits=4) if abs(float(value)) >= 3000 else f"{value:g}"
    return str(value)


def make_site_layer(sites: Any, frontage: Any, projection: Any) -> MapLayer:
    """Make the layer of the site, its parcel and its driveways."""
    marks: list[Mark] = []
    for index, name in enumerate(sites.names):
        polygon = sites.polygons[index]
        if polygon is not None:
            marks.append(mark_area(polygon, "parcel", projection))
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


def make_rival_layer(rivals: Any, seconds: Any = None, likeness: Any = None) -> MapLayer | None:
    """Make the layer of rivals, with the driving time from the site when it is known."""
    if rivals is None or len(rivals.names) == 0:
        return None
    marks = []
    for k, name in enumerate(rivals.names):
        kind = FORMAT_WORDS.get(str(rivals.formats[k]), str(rivals.formats[k]))
        lines = [("", kind)]
        label = ""
        if seconds is not None and np.isfinite(seconds[k]):
            minutes = float(seconds[k]) / 60
            lines.append(("", f"{say_number(minutes, digits=2)} minutes' drive from the site"))
            label = f"{minutes:.0f} min" if minutes >= 1 else "under 1 min"
        like = float(likeness[k]) if likeness is not None else 0.0
        if likeness is not None:
            lines.append(("likeness", say_number(like, digits=2)))
        status = str(rivals.status[k])
        if status != "open":
            lines.append(("", status))
        look = "rival-shut" if status != "open" else "rival-like" if like >= ALIKE else "rival"
        marks.append(
            mark_point(
                rivals.lat[k],
                rivals.lon[k],
                look,
                title=str(name) or "wash without a name",
                lines=tuple(lines),
                label=label,
                lift=200,
            )
        )
    return MapLayer(name="Rival washes", marks=tuple(marks))


def make_band_layer(place: Any, site: Any, *, shown: bool = False) -> MapLayer | None:
    """Make the layer of what is within 5 and 10 minutes' drive of a snapped site."""
    from capture.place import compute_band

    marks = []
    for limit_s in reversed(BAND_S):
        band = compute_band(place.network, site, limit_s=limit_s)
        if not band.is_empty:
            look = f"band-{limit_s / 60:.0f}"
            marks.append(mark_area(band, look, place.network.projection))
    return MapLayer(name="Minutes' drive", marks=tuple(marks), shown=shown) if marks else None


def make_people_layer(people: Any, projection: Any, *, shown: bool = False) -> MapLayer | None:
    """Make the layer of zones by how many people live in each, thirds by density."""
    if people is None or len(people) == 0 or not hasattr(people, "geometry"):
        return None
    column = next((name for name in ("people", "population", "persons") if name in people), None)
    if column is None:
        return None
    flat = people.to_crs(projection.crs)
    count = np.asarray(people[column], dtype=np.float64)
    density = count / np.maximum(np.asarray(flat.geometry.area), 1.0)
    third = np.searchsorted(np.nanquantile(density, [1 / 3, 2 / 3]), density)
    marks = [
        mark_area(shape, f"people-{step}", projection,
                  title=f"{say_number(float(number))} people")
        for shape, step, number in zip(flat.geometry, third, count, strict=True)
        if shape.geom_type in {"Polygon", "MultiPolygon"}
    ]  # fmt: skip
    return MapLayer(name="People", marks=tuple(marks), shown=shown)


_PART_LOOKS: Final = {"building": "building", "lanes": "ground-lanes"}


def make_ground_layer(ground: Any, projection: Any) -> MapLayer | None:
    """Make the layer of how the wash stands on its parcel, when the parcel's shape is known."""
    if not ground.placements:
        return None
    best = ground.placements[0]
    marks = [
        mark_area(shape, _PART_LOOKS.get(name, "ground-turn"), projection, title=name)
        for name, shape in sorted(best.parts.items())
    ]
    marks += [mark_area(stall, "ground-stalls", projection) for stall in best.stalls]
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
        )
    )


def _snap_site(study: Any) -> Any:
    from capture.place import snap

    return snap(study.place.network, study.sites.x, study.sites.y)

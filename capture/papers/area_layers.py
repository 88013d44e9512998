"""Which layers of a map tell of the area: roads by vehicles a day, counts, rivals, people?

Measured roads are drawn solid, estimated ones dashed. What an area lacks is left out;
nothing is made up for it.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import FORMAT_WORDS
from capture.papers.look import LOOKS, choose_volume_look
from capture.papers.marks import MapLayer, Mark, mark_area, mark_line, mark_point
from capture.papers.words import say_number

Z95: Final = 1.6448536269514722
#: roads that the volumes layer shows at most, those around the site
MOST_ROADS: Final = 4000
#: least vehicles a day of a road that the volumes layer shows when nothing was counted on it
LEAST_ESTIMATED: Final = 1000.0
#: likeness from which a rival counts as of the same kind
ALIKE: Final = 0.75
BAND_S: Final = (300.0, 600.0)


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

"""Which marks show counts on a map, and to which road each was tied?

A count's mark tells by its shape whether its tie is sure, doubtful, the user's own or none;
a line leads to the road that it was tied to.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd
import shapely

from capture.papers.marks import MapLayer, mark_line, mark_point
from capture.papers.words import say_number

_POINTS: Final = ("north", "north-east", "east", "south-east", "south", "south-west", "west",
                  "north-west")  # fmt: skip
#: ties shorter than this are under the count's own mark, m
LEAST_TIE_M: Final = 8.0
#: metres of one degree of latitude
METRES_OF_DEGREE: Final = 111_320.0
_WORDS: Final = {
    "count": "traffic count",
    "count-unsure": "count with a doubtful or second road",
    "count-hand": "count tied by you",
    "count-loose": "count tied to no road",
    "tie": "the road it was tied to",
}


def say_heading(direction_deg: float) -> str:
    """Say where a stream is going.

    Examples
    --------
    >>> say_heading(350), say_heading(130)
    ('going north', 'going south-east')
    """
    return f"going {_POINTS[round(float(direction_deg) / 45) % 8]}"


def choose_count_look(remark: str, tied_to: str) -> str:
    """Choose how a count is drawn.

    Examples
    --------
    >>> choose_count_look("", "High Street"), choose_count_look("tied to no road", "no road")
    ('count', 'count-loose')
    """
    if tied_to == "no road":
        return "count-loose"
    if remark == "decided by you":
        return "count-hand"
    plain = remark == "" or remark.startswith("contradicted by ")
    return "count" if plain else "count-unsure"


def make_tied_layer(
    place: Any, volumes: Any, table: pd.DataFrame, *, chosen: str = "", shown: bool = True
) -> MapLayer | None:
    """Make the layer of counts, each with a line to the road that it was tied to.

    Parameters
    ----------
    place, volumes : Place, Volumes
    table : DataFrame
        From :func:`~capture.papers.passing_tables.make_count_table`.
    chosen : str
        Key of the count to ring.
    shown : bool
    """
    if not len(table):
        return None
    network, marks = place.network, []
    segments = dict(zip(volumes.counts["key"], volumes.counts["segment"], strict=True))
    for row in table.to_dict("records"):
        x, y = network.projection.to_xy(row["lat"], row["lon"])
        g = int(segments[row["key"]])
        if g >= 0:
            spot = shapely.Point(float(x), float(y))
            line = shapely.LineString(network.segment_line(g))
            near = line.interpolate(line.project(spot))
            if near.distance(spot) >= LEAST_TIE_M:
                ends = [(spot.x, spot.y), (near.x, near.y)]
                marks.append(mark_line(ends, "tie", network.projection))
        marks.append(
            mark_point(
                row["lat"], row["lon"], choose_count_look(row["remark"], row["tied_to"]),
                title=f"Count {row['station']}", lines=_tell(row), lift=300,
            )
        )  # fmt: skip
        if row["key"] == chosen:
            marks.append(
                mark_point(row["lat"], row["lon"], "count-chosen", title="chosen count", lift=310)
            )
    used = {mark.look for mark in marks}
    return MapLayer(
        name="Traffic counts",
        marks=tuple(marks),
        legend=tuple(look for look in _WORDS if look in used),
        shown=shown,
        words={look: words for look, words in _WORDS.items() if look in used},
    )


def make_placed_layer(
    places: Mapping[str, Mapping[str, float]], *, words: str = "where the file's stations stand"
) -> MapLayer | None:
    """Make the layer of stations that the user placed, by name.

    Parameters
    ----------
    places : mapping
        Station -> lat and lon, degrees.
    words : str
        What the legend says.
    """
    if not places:
        return None
    marks = [
        mark_point(
            spot["lat"], spot["lon"], "count-hand", title=f"Station {name}".strip(), lift=320
        )
        for name, spot in places.items()
    ]
    return MapLayer(name="Stations placed", marks=tuple(marks), words={"count-hand": words})


def make_known_layer(counts: pd.DataFrame) -> MapLayer | None:
    """Make the layer of an area's counts before there is a site: where they stand, no more."""
    known = counts[counts["lat"].notna()] if len(counts) else counts
    marks = [
        mark_point(row["lat"], row["lon"], "count", title=f"Count {row['station']}", lift=300,
                   lines=(("road in the file", str(row["road"])),))
        for row in known.to_dict("records")
    ]  # fmt: skip
    return MapLayer(name="Traffic counts", marks=tuple(marks)) if marks else None


def _tell(row: Any) -> tuple[tuple[str, str], ...]:
    lines = [
        ("road in the file", str(row["road"])),
        ("counted", f"{row['counted']} (vehicles a day)"),
        ("today", say_number(float(row["today_veh_day"]))),
        ("tied to", f"{row['tied_to']}, {row['tie']}"),
    ]
    if row["conflicts"] or row["remark"]:
        lines.append(("remark", str(row["conflicts"] or row["remark"])))
    return tuple(lines)


def list_roads_near(place: Any, x: float, y: float, *, within_m: float = 300.0) -> pd.DataFrame:
    """List the roads near a point, each carriageway once, the nearest first.

    Parameters
    ----------
    place : Place
    x, y : float
        Metres.
    within_m : float

    Returns
    -------
    DataFrame
        Columns ``name, distance_m, lat, lon``: the spot is the road's nearest point.
    """
    network = place.network
    spot, rows = shapely.Point(x, y), []
    starts = network.geom_indptr[:-1]
    far = (network.geom_x[starts] - x) ** 2 + (network.geom_y[starts] - y) ** 2
    for g in far.argsort(kind="stable")[:400]:
        line = shapely.LineString(network.segment_line(int(g)))
        off = float(line.distance(spot))
        if off <= within_m:
            near = line.interpolate(line.project(spot))
            lat, lon = network.projection.to_latlon(near.x, near.y)
            rows.append((_name_carriageway(network, int(g)), off, float(lat), float(lon)))
    table = pd.DataFrame(rows, columns=["name", "distance_m", "lat", "lon"])
    return (
        table.sort_values("distance_m", kind="stable")
        .drop_duplicates("name")
        .reset_index(drop=True)
    )


def _name_carriageway(network: Any, g: int) -> str:
    name = network.segment_name[g] or network.segment_ref[g]
    if not name:
        return f"road without a name (way {int(network.segment_way[g])})"
    if not bool(network.segment_oneway[g]):
        return str(name)
    line = network.segment_line(g)
    east, north = line[-1] - line[0]
    return f"{name}, {say_heading(math.degrees(math.atan2(east, north)) % 360)}"


def find_count_near(table: pd.DataFrame, lat: float, lon: float, *, within_m: float) -> str:
    """Return the key of the count nearest to a spot; "" when none lies within reach."""
    if not len(table):
        return ""
    north = (table["lat"] - lat) * METRES_OF_DEGREE
    east = (table["lon"] - lon) * METRES_OF_DEGREE * math.cos(math.radians(lat))
    away = (north**2 + east**2).to_numpy() ** 0.5
    nearest = int(away.argmin())
    return str(table["key"].iloc[nearest]) if away[nearest] <= within_m else ""

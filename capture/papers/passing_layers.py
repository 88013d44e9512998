"""Which marks show counts on a map, and to which road each was tied?

A count's mark tells by its shape whether its tie is sure, doubtful, the user's own or none;
a line leads to the road that it was tied to.
"""

from __future__ import annotations

from typing import Any, Final

import pandas as pd
import shapely

from capture.papers.marks import MapLayer, mark_line, mark_point
from capture.papers.words import say_number

_POINTS: Final = ("north", "north-east", "east", "south-east", "south", "south-west", "west",
                  "north-west")  # fmt: skip
#: ties shorter than this are under the count's own mark, m
LEAST_TIE_M: Final = 8.0
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
    return "count" if remark in {"", "contradicted by another count"} else "count-unsure"


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


def _tell(row: Any) -> tuple[tuple[str, str], ...]:
    lines = [
        ("road in the file", str(row["road"])),
        ("counted", f"{row['counted']} (vehicles a day)"),
        ("today", say_number(float(row["today_veh_day"]))),
        ("tied to", f"{row['tied_to']}, {row['tie']}"),
    ]
    lines += [("remark", str(row[name])) for name in ("remark", "conflicts") if row[name]]
    return tuple(lines)

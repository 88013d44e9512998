"""Where does the queue of the worst Saturday stand: on the parcel, and how far up the street?

The cars are those of the queue's simulation, the places those of the lanes as laid on the
parcel; cars that find no place are stood in the lane of the traffic that passes on the
parcel's side. Assumes that a car which finds no place waits there rather than drive on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from capture.basis import UnitSystem
from capture.papers.approach import read_path
from capture.papers.marks import MapLayer, Mark, mark_area, mark_line, mark_point
from capture.papers.words import say_amount

FloatArray = NDArray[np.float64]
_DAYS: Final = 365
_WEEKS: Final = 52
_NO_SHAPE: Final = (
    "The parcel's shape is not known, so neither its lanes nor the queue can be drawn."
)
_NO_ROOM: Final = "Building and lanes do not fit on the parcel, so the queue cannot be drawn on it."


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """The worst Saturday's queue at its fullest, in the map's metres."""

    #: cars on the parcel, the head of the queue first
    waiting: tuple[Any, ...]
    #: places on the parcel that stay free
    free: tuple[Any, ...]
    #: cars on the street, the nearest to the driveway first
    street: tuple[Any, ...]
    #: middle of the lane that they stand in, from the driveway back, (k, 2); None without any
    line: FloatArray | None
    #: name of that road
    road: str
    #: driveway that they wait for
    driveway: str

    @property
    def middle(self) -> tuple[float, float]:
        """Middle of all that is drawn, metres."""
        found = shapely.union_all([*self.waiting, *self.free, *self.street]).envelope.centroid
        return float(found.x), float(found.y)


def stand_queue(study: Any, which: int = 0) -> Standing | None:
    """Stand the worst Saturday's cars on the parcel and the street.

    Parameters
    ----------
    study : Study
        Complete, with its queue.
    which : int
        Which of its placements, the best first.

    Returns
    -------
    Standing or None
        None where nobody waits, or where no lanes are laid; :func:`say_queue` says which.
    """
    from capture.ground import list_places

    worst = getattr(study.queue, "worst_saturday", None)
    placements = study.ground.placements
    if worst is None or not placements:
        return None
    places = int(study.queue.stacking_places)
    values = study.numbers["ground"]
    laid = list_places(placements[which], study.ground.needs, places, values=values)
    cars = min(worst.cars, places)
    row = _find_stream(study, laid)
    beyond = max(worst.cars - places, 0)
    line = None if row is None or not beyond else _find_lane(study, row, beyond, values)
    return Standing(
        waiting=laid[:cars],
        free=laid[cars:],
        street=() if line is None else _line_up(line, beyond, values),
        line=line,
        road="" if row is None else str(study.streams.road[row] or "a road without a name"),
        driveway="" if row is None else study.frontage.driveway[int(study.streams.driveway[row])],
    )


def _find_stream(study: Any, laid: tuple[Any, ...]) -> int | None:
    """Return the near-side stream at the driveway nearest to the lanes' far end."""
    frontage, streams = study.frontage, study.streams
    if not len(frontage.driveway) or not len(streams.edge):
        return None
    last = laid[-1].centroid if laid else shapely.Point(study.sites.x[0], study.sites.y[0])
    far = np.hypot(np.asarray(frontage.x) - last.x, np.asarray(frontage.y) - last.y)
    rows = np.arange(len(streams.edge))
    order = np.lexsort(
        (
            rows,
            -np.asarray(streams.vehicles_per_day, dtype=np.float64),
            ~np.asarray(streams.near_side, dtype=bool),
            far[np.asarray(streams.driveway)],
        )
    )
    return int(order[0])


def _find_lane(study: Any, row: int, beyond: int, values: Any) -> FloatArray | None:
    """Return the middle of the stream's lanes from the driveway back, as long as is needed."""
    from capture.place import walk_upstream

    streams, long_m = study.streams, (beyond + 1) * values.value("car_space_m")
    rays = study.seeing.rays
    if rays is not None and len(rays[row]):
        distance, xy = read_path(rays[row])
        path = xy[::-1]
        if float(distance[0]) >= long_m:
            return np.asarray(path[distance[::-1] <= long_m + 10.0])
    line = walk_upstream(
        study.place.network, int(streams.edge[row]), float(streams.fraction[row]),
        distance_m=long_m,
    )  # fmt: skip
    return np.asarray(line[::-1]) if len(line) > 1 else None


def _line_up(line: FloatArray, cars: int, values: Any) -> tuple[Any, ...]:
    from capture.ground import stand_along

    return stand_along(line, cars, values=values)


def say_queue(study: Any, system: UnitSystem = "us") -> str:
    """Say in one sentence or two how full the worst Saturday gets, and what it stands on.

    Parameters
    ----------
    study : Study
        Complete, with its queue.
    system : {"us", "metric"}
        Unit of lengths.
    """
    worst = getattr(study.queue, "worst_saturday", None)
    if worst is None:
        return "Nobody waits in line for a bay: who finds all of them taken drives on."
    queue, places = study.queue, int(study.queue.stacking_places)
    when = f"On the worst of {worst.days} simulated Saturdays, at {_say_clock(worst.at_s)}, "
    beyond = worst.cars - places
    if beyond <= 0:
        told = f"{when}{worst.cars} cars wait and all find one of the {places} places."
    else:
        space = study.numbers["line"].value("stacking_car_m")
        stand = "stands" if beyond == 1 else "stand"
        told = (
            f"{when}{worst.cars} cars wait: {places} in the lanes, and {beyond} {stand} in the "
            f"street, {say_amount(beyond * space, 'm', system, digits=2)} of it. "
            f"More wait than there are places for {_say_span(worst.over_s)} of that day, and on "
            f"{_say_days(float(queue.share_of_days_over_stacking), _DAYS)} days a year "
            f"({_say_days(worst.days_over / worst.days, _WEEKS)} of 52 Saturdays)."
        )
    if study.sites.polygons[0] is None:
        return f"{told} {_NO_SHAPE}"
    return told if study.ground.placements else f"{told} {_NO_ROOM}"


def _say_clock(seconds: float) -> str:
    """Say a time of day.

    Examples
    --------
    >>> _say_clock(47_621.6)
    '13:14'
    """
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _say_span(seconds: float) -> str:
    """Say how long something lasts.

    Examples
    --------
    >>> _say_span(17_345.0), _say_span(95.0)
    ('4 hours 49 minutes', '2 minutes')
    """
    minutes = max(round(seconds / 60), 1)
    hours, rest = divmod(minutes, 60)
    words = [f"{hours} hour{'s' * (hours != 1)}"] if hours else []
    words += [f"{rest} minute{'s' * (rest != 1)}"] if rest or not hours else []
    return " ".join(words)


def _say_days(share: float, of: int) -> str:
    days = share * of
    if days == 0:
        return "no"
    return "under 1" if days < 1 else f"{days:.0f}"


def make_queue_layer(
    study: Any, *, which: int = 0, system: UnitSystem = "us", shown: bool = True
) -> MapLayer | None:
    """Make the layer of the worst Saturday's queue, when it can be drawn.

    Cars on the parcel are plain; those in the street are barred, on a broken line.
    """
    standing = stand_queue(study, which)
    if standing is None:
        return None
    plane = study.place.network.projection
    told = {"title": "The worst Saturday's queue", "lines": (("", say_queue(study, system)),)}
    marks: list[Mark] = [mark_area(car, "queue-free", plane, fine=True) for car in standing.free]
    marks += [mark_area(car, "queue-car", plane, fine=True, **told) for car in standing.waiting]
    marks += _mark_street(standing, plane, told)
    return MapLayer(name="Queue on the worst Saturday", marks=tuple(marks), shown=shown)


def _mark_street(standing: Standing, plane: Any, told: dict[str, Any]) -> list[Mark]:
    if standing.line is None or not standing.street:
        return []
    marks = [mark_line(standing.line, "queue", plane, fine=True, **told)]
    for car in standing.street:
        marks.append(mark_area(car, "queue-street", plane, fine=True, **told))
        corners = shapely.get_coordinates(car.exterior)
        bars = [corners[[0, 2]], corners[[1, 3]]]
        marks.append(mark_line(bars, "queue-bar", plane, fine=True))
    last = standing.street[-1].centroid
    lat, lon = plane.to_latlon([last.x], [last.y])
    count = len(standing.street)
    label = f"{count} car{'s' * (count != 1)} in the street"
    marks.append(
        mark_point(float(lat[0]), float(lon[0]), "queue-end", label=label, lift=950, **told)
    )
    return marks

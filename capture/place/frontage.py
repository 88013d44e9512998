"""Which roads does a site face, and where would its driveways meet them?

Driveways that a file or user names are taken as they are. With none given, one is proposed
per road of class tertiary or higher within reach of the parcel's edge, at the frontage point
nearest to it; failing such a road, one at the nearest public road. The two carriageways of a
dual road, and the pieces of one road, are one frontage: the nearest.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from capture.basis import DataError, InputError, Sheet, plain_text, raise_gathered
from capture.place.network import Bools, Bytes, Floats, Ints, Network
from capture.place.place import Place
from capture.place.sites import Sites
from capture.place.snap import RoadGrid, Snap, as_index, road_grid, snap
from capture.place.values import SERVICE, TERTIARY, VALUES

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frontage:
    """F driveway mouths, each on one road."""

    #: index into the sites, (F,), rising
    site: Ints
    #: id of the driveway, unique in its site, (F,)
    driveway: tuple[str, ...]
    #: metres east of the mouth (the lot's edge), (F,)
    x: Floats
    #: metres north of the mouth, (F,)
    y: Floats
    #: segment that it meets, (F,)
    segment: Ints
    #: where along the segment, 0-1, (F,)
    fraction: Floats
    #: metres east of the point on the road's line, (F,)
    line_x: Floats
    #: metres north of the point on the road's line, (F,)
    line_y: Floats
    #: metres between mouth and line, (F,)
    distance_m: Floats
    #: +1 when the mouth lies left of the segment's direction, -1 right, (F,)
    side: Bytes
    #: whether it was proposed here rather than given, (F,)
    proposed: Bools

    def __len__(self) -> int:
        return len(self.site)

    @property
    def position(self) -> Snap:
        """The driveways as positions along roads."""
        return Snap(
            segment=self.segment,
            fraction=self.fraction,
            distance_m=self.distance_m,
            x=self.line_x,
            y=self.line_y,
            side=self.side,
        )

    def take(self, index: Any) -> Frontage:
        """Return some of the driveways, by index or mask; site numbers stay."""
        at = np.arange(len(self))[as_index(index)]
        return Frontage(
            driveway=tuple(self.driveway[k] for k in at),
            **{
                name: getattr(self, name)[at]
                for name in (
                    "site", "x", "y", "segment", "fraction", "line_x", "line_y", "distance_m",
                    "side", "proposed",
                )
            },
        )  # fmt: skip


_Row = tuple[int, str, float, float, int, float, float, float, float, int, bool]


def add_frontage(
    place: Place,
    sites: Sites,
    *,
    driveways: pd.DataFrame | None = None,
    values: Sheet = VALUES,
) -> Frontage:
    """Give each site its driveways.

    Parameters
    ----------
    place : Place
        The roads.
    sites : Sites
        S points or parcels.
    driveways : DataFrame, optional
        Columns ``site`` (id), ``lat``, ``lon`` and optionally ``driveway`` (id); sites that it
        does not name get proposals.
    values : Sheet
        ``frontage_reach_m``, ``frontage_last_reach_m``.

    Returns
    -------
    Frontage

    Raises
    ------
    InputError, DataError
        When a site has no road in reach, or a driveway names an unknown site or no place.
    """
    given = _given_driveways(place, sites, driveways, values) if driveways is not None else {}
    rows: list[_Row] = []
    faults: list[str] = []
    last = values.value("frontage_last_reach_m")
    for k in range(len(sites)):
        if k in given:
            rows += given[k]
            continue
        proposed = _propose(place.network, sites, k, values)
        if not proposed:
            faults.append(
                f"{sites.names[k]}: a public road must be within {last:g} m of it; "
                "move the site to a road"
            )
        rows += proposed
    single = len(sites) == 1
    raise_gathered(
        faults, where="site" if single else sites.source, kind=InputError if single else DataError
    )
    return _collect(rows)


def _collect(rows: list[_Row]) -> Frontage:
    columns = list(zip(*rows, strict=True)) if rows else [()] * 11
    return Frontage(
        site=np.array(columns[0], dtype=np.int32),
        driveway=tuple(columns[1]),
        x=np.array(columns[2], dtype=np.float64),
        y=np.array(columns[3], dtype=np.float64),
        segment=np.array(columns[4], dtype=np.int32),
        fraction=np.array(columns[5], dtype=np.float64),
        line_x=np.array(columns[6], dtype=np.float64),
        line_y=np.array(columns[7], dtype=np.float64),
        distance_m=np.array(columns[8], dtype=np.float64),
        side=np.array(columns[9], dtype=np.int8),
        proposed=np.array(columns[10], dtype=bool),
    )


def _is_frontable(network: Network) -> Bools:
    """Roads a driveway may open on: no ramps, bridges, tunnels, motorways or service roads."""
    road_class = np.asarray(network.segment_class)
    good: Bools = (
        (road_class > 0)
        & (road_class != SERVICE)
        & ~np.asarray(network.segment_link)
        & ~np.asarray(network.segment_bridge)
        & ~np.asarray(network.segment_tunnel)
        & ~np.asarray(network.segment_roundabout)
    )
    return good


def _propose(network: Network, sites: Sites, k: int, values: Sheet) -> list[_Row]:
    shape = sites.polygons[k]
    reach = values.value("frontage_reach_m")
    near = _near_segments(network, sites, k, reach)
    frontable = _is_frontable(network)
    near = near[frontable[near] & (np.asarray(network.segment_class)[near] <= TERTIARY)]
    found = [_meet(network, int(g), shape, sites.x[k], sites.y[k]) for g in near]
    best: dict[Any, tuple[Any, ...]] = {}
    for meeting in sorted(found, key=lambda m: (m[5], m[0])):
        if meeting[5] <= reach:
            best.setdefault(_road_of(network, meeting[0]), meeting)
    chosen = list(best.values()) or _nearest_public(network, sites, k, frontable, values)
    return [_row(network, k, f"D{n + 1}", meeting, True) for n, meeting in enumerate(chosen)]


def _road_of(network: Network, segment: int) -> Any:
    """What makes two segments one road for a frontage: its name, else number, else way."""
    name, ref = network.segment_name[segment], network.segment_ref[segment]
    return name or ref or int(network.segment_way[segment])


def _near_segments(network: Network, sites: Sites, k: int, reach: float) -> Ints:
    """Segments whose geometry may be within reach of site k, from the road grid."""
    grid: RoadGrid = road_grid(network)
    shape = sites.polygons[k]
    x, y = float(sites.x[k]), float(sites.y[k])
    west, south, east, north = shape.bounds if shape is not None else (x, y, x, y)
    i0 = max(0, int((west - reach - grid.x0) / grid.cell))
    i1 = min(grid.nx - 1, int((east + reach - grid.x0) / grid.cell))
    j0 = max(0, int((south - reach - grid.y0) / grid.cell))
    j1 = min(grid.ny - 1, int((north + reach - grid.y0) / grid.cell))
    pieces = [
        grid.pieces[grid.start[j * grid.nx + i0] : grid.start[j * grid.nx + i1 + 1]]
        for j in range(j0, j1 + 1)
        if i1 >= i0
    ]
    if not pieces:
        return np.empty(0, dtype=np.int32)
    found: Ints = np.unique(grid.segment[np.concatenate(pieces)])
    return found


def _meet(
    network: Network, segment: int, shape: Any, x: float, y: float
) -> tuple[int, float, float, float, float, float]:
    """Where a segment comes nearest to a lot: segment, mouth x, y, line x, y, distance."""
    import shapely

    line = shapely.LineString(network.segment_line(segment))
    lot = shape.exterior if shape is not None else shapely.Point(x, y)
    if shape is not None and shape.intersects(line):
        inside = shape.intersection(line)
        on_line = inside.interpolate(0.5, normalized=True) if inside.length else inside.centroid
        mouth = shapely.Point(on_line.x, on_line.y)
        gap = 0.0
    else:
        mouth, on_line = (shapely.Point(p) for p in shapely.shortest_line(lot, line).coords)
        gap = float(mouth.distance(on_line))
        if shape is not None:
            mouth, on_line, gap = _middle_of_front(line, shape, gap, mouth, on_line)
    return segment, mouth.x, mouth.y, on_line.x, on_line.y, gap


def _middle_of_front(line: Any, shape: Any, gap: float, mouth: Any, on_line: Any) -> Any:
    """Move a mouth from the nearest corner to the middle of the stretch equally near."""
    import shapely

    front = line.intersection(shape.buffer(gap + 1.0))
    if front.is_empty or front.length < 2.0:
        return mouth, on_line, gap
    part = max(shapely.get_parts(front), key=lambda piece: float(piece.length))
    middle = part.interpolate(0.5, normalized=True)
    ends = shapely.shortest_line(shape.exterior, middle).coords
    return shapely.Point(ends[0]), middle, float(middle.distance(shape))


def _nearest_public(
    network: Network, sites: Sites, k: int, frontable: Bools, values: Sheet
) -> list[tuple[Any, ...]]:
    last = values.value("frontage_last_reach_m")
    near = _near_segments(network, sites, k, last)
    near = near[frontable[near]]
    if len(near) == 0:
        return []
    met = [_meet(network, int(g), sites.polygons[k], sites.x[k], sites.y[k]) for g in near]
    best = min(met, key=lambda m: (m[5], m[0]))
    return [best] if best[5] <= last else []


def _row(network: Network, site: int, name: str, meeting: tuple[Any, ...], proposed: bool) -> _Row:
    import shapely

    segment, x, y, line_x, line_y, gap = meeting
    points = network.segment_line(segment)
    line = shapely.LineString(points)
    fraction = float(line.project(shapely.Point(line_x, line_y), normalized=True))
    at = fraction * line.length
    before, after = line.interpolate(max(at - 0.5, 0.0)), line.interpolate(at + 0.5)
    cross = (after.x - before.x) * (y - line_y) - (after.y - before.y) * (x - line_x)
    side = 1 if cross > 0 else -1
    return (
        site, name, float(x), float(y), int(segment), min(max(fraction, 0.0), 1.0), float(line_x),
        float(line_y), float(gap), side, proposed,
    )  # fmt: skip


def _given_driveways(
    place: Place, sites: Sites, driveways: pd.DataFrame, values: Sheet
) -> dict[int, list[_Row]]:
    missing = {"site", "lat", "lon"} - set(driveways.columns)
    if missing:
        raise DataError(f"driveways: must have columns site, lat, lon; add {', '.join(missing)}")
    index = {name: k for k, name in enumerate(sites.ids)}
    network = place.network
    lat = driveways["lat"].to_numpy(dtype=np.float64)
    lon = driveways["lon"].to_numpy(dtype=np.float64)
    x, y = network.projection.to_xy(lat, lon)
    last = values.value("frontage_last_reach_m")
    found = snap(network, x, y, classes=_is_frontable(network), max_distance_m=last)
    given: dict[int, list[_Row]] = {}
    faults = []
    for n, name in enumerate(driveways["site"].astype(str)):
        if name not in index:
            faults.append(f"row {n + 1}: there is no site {plain_text(name, most=40)!r}")
        elif found.segment[n] < 0:
            faults.append(f"row {n + 1}: a public road must be within {last:g} m; move it")
        else:
            k = index[name]
            told = driveways["driveway"].iloc[n] if "driveway" in driveways else f"D{n + 1}"
            meeting = (int(found.segment[n]), x[n], y[n], found.x[n], found.y[n],
                       float(found.distance_m[n]))  # fmt: skip
            given.setdefault(k, []).append(
                _row(network, k, plain_text(told, most=40), meeting, False)
            )
    raise_gathered(faults, where="driveways")
    return given


def names_of(frontage: Frontage, network: Network) -> Iterable[str]:
    """Name the road of each driveway, for labels."""
    return (network.segment_name[int(g)] or network.segment_ref[int(g)] for g in frontage.segment)

"""Which roads does a site face, and where would its driveways meet them?

Driveways that a file or user names are taken as they are. With none given, one is proposed
per road of class tertiary or higher within reach of the parcel's edge, at the frontage point
nearest to it; failing such a road, one at the nearest public road. The two carriageways of a
dual road, and the pieces of one road, are one frontage: the nearest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from capture.basis import DataError, InputError, Sheet, plain_text, raise_gathered
from capture.place.meet import Meetings, meet_lots, near_pairs
from capture.place.network import Bools, Bytes, Floats, Ints, Longs, Network, frontable_segments
from capture.place.place import Place
from capture.place.sites import Sites
from capture.place.snap import Snap, as_index, snap
from capture.place.values import TERTIARY, VALUES

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
    network = place.network
    last = values.value("frontage_last_reach_m")
    parts: list[tuple[Longs, Ints, Meetings, list[str], bool]] = []
    proposed_for = np.arange(len(sites))
    if driveways is not None:
        parts.append(_given_driveways(place, sites, driveways, last))
        proposed_for = np.setdiff1d(proposed_for, parts[0][0])
    at, segment, found = _propose(network, sites, proposed_for, values)
    missing = np.setdiff1d(proposed_for, at)
    single = len(sites) == 1
    raise_gathered(
        [
            f"{sites.names[k]}: a public road must be within {last:g} m of it; "
            "move the site to a road"
            for k in missing.tolist()
        ],
        where="site" if single else sites.source,
        kind=InputError if single else DataError,
    )
    parts.append((at, segment, found, _number(at), True))
    return _collect(network, parts)


def _collect(
    network: Network, parts: list[tuple[Longs, Ints, Meetings, list[str], bool]]
) -> Frontage:
    site = np.concatenate([part[0] for part in parts]).astype(np.int32)
    order = np.argsort(site, kind="stable")

    def joined(name: str) -> Any:
        return np.concatenate([getattr(part[2], name) for part in parts])[order]

    names = [name for part in parts for name in part[3]]
    return Frontage(
        site=site[order],
        driveway=tuple(names[k] for k in order.tolist()),
        x=joined("x"),
        y=joined("y"),
        segment=np.concatenate([part[1] for part in parts]).astype(np.int32)[order],
        fraction=joined("fraction"),
        line_x=joined("line_x"),
        line_y=joined("line_y"),
        distance_m=joined("distance_m"),
        side=joined("side"),
        proposed=np.concatenate([np.full(len(part[0]), part[4]) for part in parts])[order],
    )


def _number(site: Longs) -> list[str]:
    """Name the driveways of each site D1, D2, ... in order."""
    first = np.searchsorted(site, site, side="left")
    return [f"D{k + 1}" for k in (np.arange(len(site)) - first).tolist()]


def _propose(
    network: Network, sites: Sites, wanted: Longs, values: Sheet
) -> tuple[Longs, Ints, Meetings]:
    """One driveway per arterial in reach, else one at the nearest public road, by site."""
    public = frontable_segments(network)
    arterial = public & (np.asarray(network.segment_class) <= TERTIARY)
    reach, last = values.value("frontage_reach_m"), values.value("frontage_last_reach_m")
    road = road_keys(network)
    site, segment, gap = near_pairs(network, sites, wanted, arterial, reach)
    first = _first_of_each(site, road[segment], gap, segment)
    site, segment, gap = site[first], segment[first], gap[first]
    others = np.setdiff1d(wanted, site)
    if len(others):
        more_site, more_segment, more_gap = near_pairs(network, sites, others, public, last)
        first = _first_of_each(more_site, np.zeros_like(more_site), more_gap, more_segment)
        site = np.concatenate([site, more_site[first]])
        segment = np.concatenate([segment, more_segment[first]])
        gap = np.concatenate([gap, more_gap[first]])
    order = np.lexsort((segment, gap, site))
    site, segment = site[order], segment[order]
    return site, segment, meet_lots(network, sites, site, segment)


def _first_of_each(site: Longs, road: Longs, gap: Floats, segment: Ints) -> Longs:
    """Indices of the nearest segment of each road of each site."""
    order = np.lexsort((segment, gap, road, site))
    same = (site[order][1:] == site[order][:-1]) & (road[order][1:] == road[order][:-1])
    chosen: Longs = order[np.concatenate([[True], ~same])] if len(order) else order
    return chosen


def road_keys(network: Network) -> Longs:
    """Number the roads: segments share a number when they share a name, else a number, else a way.

    Returns
    -------
    ndarray of int64, shape (G,)
    """
    names, refs = network.segment_name, network.segment_ref
    named = np.array([bool(word) for word in names.words] or [False])[names.codes]
    numbered = np.array([bool(word) for word in refs.words] or [False])[refs.codes]
    ways = np.unique(network.segment_way, return_inverse=True)[1]
    offset = len(names.words)
    keys: Longs = np.where(
        named, names.codes, np.where(numbered, offset + refs.codes, offset + len(refs.words) + ways)
    ).astype(np.int64)
    return keys


def _given_driveways(
    place: Place, sites: Sites, driveways: pd.DataFrame, last: float
) -> tuple[Longs, Ints, Meetings, list[str], bool]:
    missing = {"site", "lat", "lon"} - set(driveways.columns)
    if missing:
        raise DataError(
            f"driveways: must have columns site, lat, lon; add {', '.join(sorted(missing))}"
        )
    index = {name: k for k, name in enumerate(sites.ids)}
    network = place.network
    lat = driveways["lat"].to_numpy(dtype=np.float64)
    lon = driveways["lon"].to_numpy(dtype=np.float64)
    x, y = network.projection.to_xy(lat, lon)
    found = snap(network, x, y, classes=frontable_segments(network), max_distance_m=last)
    owners = driveways["site"].astype(str).tolist()
    faults = []
    for n, name in enumerate(owners):
        if name not in index:
            faults.append(f"row {n + 1}: there is no site {plain_text(name, most=40)!r}; rename it")
        elif found.segment[n] < 0:
            faults.append(f"row {n + 1}: a public road must be within {last:g} m; move it")
    raise_gathered(faults, where="driveways")
    site = np.array([index[name] for name in owners], dtype=np.int64)
    meetings = Meetings(
        x=x, y=y, line_x=found.x, line_y=found.y, distance_m=found.distance_m,
        fraction=found.fraction, side=found.side,
    )  # fmt: skip
    if "driveway" in driveways:
        names = [plain_text(name, most=40) for name in driveways["driveway"]]
    else:
        names = [f"D{n + 1}" for n in range(len(site))]
    return site, found.segment, meetings, names, False

"""Which places are to be studied: points and parcels, checked against the area?

A site is a point or a polygon in the area. Points outside what the roads file covers are
refused, with a hint when swapping latitude and longitude or turning a sign would put them
inside; so are points with no road in reach.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from capture.area import Area
from capture.basis import DataError, InputError, Sheet, plain_text, raise_gathered
from capture.place.network import Floats, frontable_segments
from capture.place.place import Place
from capture.place.snap import as_index, snap
from capture.place.values import VALUES

if TYPE_CHECKING:
    import pandas as pd

_PAIR = re.compile(r"^\s*([-+]?\d{1,3}(?:\.\d*)?)\s*[,;\s]\s*([-+]?\d{1,3}(?:\.\d*)?)\s*$")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sites:
    """S places to study."""

    #: unique id each, (S,)
    ids: tuple[str, ...]
    #: what people call them, (S,)
    names: tuple[str, ...]
    #: metres east, (S,)
    x: Floats
    #: metres north, (S,)
    y: Floats
    #: degrees north, (S,)
    lat: Floats
    #: degrees east, (S,)
    lon: Floats
    #: outline in metres, None for a point, (S,)
    polygons: tuple[Any, ...]
    #: whatever else the file says, S rows
    attributes: pd.DataFrame
    #: where they come from, in words
    source: str
    #: rows of the file that were left out, one sentence each
    left_out: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if len(set(self.ids)) != len(self.ids):
            twice = next(name for name in self.ids if self.ids.count(name) > 1)
            raise DataError(f"{self.source}: site id {twice!r} stands twice; make ids unique")

    def __len__(self) -> int:
        return len(self.ids)

    def take(self, index: ArrayLike) -> Sites:
        """Return some of the sites, by index or mask."""
        at = np.arange(len(self))[as_index(index)]
        return Sites(
            ids=tuple(self.ids[k] for k in at),
            names=tuple(self.names[k] for k in at),
            x=self.x[at],
            y=self.y[at],
            lat=self.lat[at],
            lon=self.lon[at],
            polygons=tuple(self.polygons[k] for k in at),
            attributes=self.attributes.iloc[at].reset_index(drop=True),
            source=self.source,
        )


def find_sites(area: Area, place: Place, text: str, *, values: Sheet = VALUES) -> Sites:
    """Turn what a user typed into sites.

    Parameters
    ----------
    area : Area
        For its parcels.
    place : Place
        Roads read from the area.
    text : str
        ``"LAT,LON"`` in degrees, ``"parcel:ID"``, or the path of a file of points or parcels.
    values : Sheet
        How far a road may be.

    Returns
    -------
    Sites

    Raises
    ------
    InputError
        When the text is none of these, the place is outside the area, or no road is near.
    DataError
        When the file is broken.
    """
    import pandas as pd

    written = text.strip()
    pair = _PAIR.match(written)
    if pair:
        lat, lon = float(pair[1]), float(pair[2])
        sites = make_points(
            place, np.array([lat]), np.array([lon]), ("site",), (f"{lat:g}, {lon:g}",),
            pd.DataFrame(index=range(1)), "place typed by the user",
        )  # fmt: skip
        check_reach(place, sites, values)
        return sites
    if written.lower().startswith("parcel:"):
        return _find_parcel(area, place, written.partition(":")[2].strip(), values)
    if _names_file(written):
        from capture.place.parcels import load_parcels

        return load_parcels(area, place, Path(written), values=values)
    raise InputError(
        f"site: must be LAT,LON in degrees, parcel:ID or a file, got "
        f"{plain_text(text, most=60)!r}; such as 39.28,-76.56"
    )


def _names_file(text: str) -> bool:
    try:
        return Path(text).is_file()
    except (OSError, ValueError):
        return False


def _find_parcel(area: Area, place: Place, wanted: str, values: Sheet) -> Sites:
    from capture.place.parcels import read_parcels

    everything = read_parcels(area, place, None)
    if wanted not in everything.ids:
        near = [name for name in everything.ids if wanted.lower() in name.lower()][:5]
        some = ", ".join(near or everything.ids[:5])
        raise InputError(
            f"site: there is no parcel {plain_text(wanted, most=40)!r} in {everything.source}; "
            f"known are {plain_text(some, most=120)}"
        )
    found = everything.take([everything.ids.index(wanted)])
    check_reach(place, found, values)
    return found


def make_points(
    place: Place, lat: Floats, lon: Floats, ids: tuple[str, ...], names: tuple[str, ...],
    attributes: pd.DataFrame, source: str, *, rows: Any = None,
) -> Sites:  # fmt: skip
    """Make sites of points in degrees; refuses what is outside, by row where rows are given.

    Raises
    ------
    InputError, DataError
        The former for a single place, the latter names every row.
    """
    single = rows is None
    south, west, north, east = place.extent
    faults = []
    for k in np.flatnonzero(~((lat >= south) & (lat <= north) & (lon >= west) & (lon <= east))):
        fault = explain_outside(place, float(lat[k]), float(lon[k]))
        faults.append(fault if single else f"row {rows[k]}: {fault}")
    raise_gathered(
        faults, where="site" if single else source, kind=InputError if single else DataError
    )
    x, y = place.network.projection.to_xy(lat, lon)
    return Sites(
        ids=ids, names=names, x=x, y=y, lat=np.asarray(lat), lon=np.asarray(lon),
        polygons=(None,) * len(ids), attributes=attributes, source=source,
    )  # fmt: skip


def explain_outside(place: Place, lat: float, lon: float) -> str:
    """Say why a place cannot be in the area, "" when it can.

    Parameters
    ----------
    place : Place
        Whose extent counts.
    lat, lon : float
        Degrees.
    """
    south, west, north, east = place.extent

    def inside(a: float, b: float) -> bool:
        return south <= a <= north and west <= b <= east

    if inside(lat, lon):
        return ""
    said = f"latitude {lat:g}, longitude {lon:g}"
    covered = f"{south:.3f} to {north:.3f} north, {west:.3f} to {east:.3f} east"
    if inside(lon, lat):
        return f"{said} is outside the area, but swapped it is inside; write latitude first"
    if inside(lat, -lon):
        return f"{said} is outside the area, but longitude {-lon:g} is inside; turn its sign"
    if inside(-lat, lon) or inside(-lat, -lon):
        return f"{said} is outside the area, but latitude {-lat:g} is inside; turn its sign"
    if inside(-lon, lat) or inside(lon, -lat) or inside(-lon, -lat):
        return f"{said} is outside the area; latitude and longitude are swapped and a sign is wrong"
    if abs(lat) > 90 or abs(lon) > 180:
        return f"{said} is not on Earth; latitude is within 90, longitude within 180 degrees"
    return f"{said} is outside the area, which covers {covered}; place it there or widen the area"


def find_unreached(place: Place, sites: Sites, values: Sheet) -> dict[int, str]:
    """Say for each site without a public road in reach what is amiss, by its place in the table.

    Parameters
    ----------
    place : Place
        Roads.
    sites : Sites
    values : Sheet
        How far a road may be.
    """
    import shapely

    reach = values.value("frontage_last_reach_m")
    network = place.network
    found = snap(network, sites.x, sites.y, classes=frontable_segments(network))
    faults = {}
    for k in np.flatnonzero(~(found.distance_m <= reach)).tolist():
        gap = float(found.distance_m[k])
        if sites.polygons[k] is not None and np.isfinite(gap):
            gap = sites.polygons[k].distance(shapely.Point(found.x[k], found.y[k]))
            if gap <= reach:
                continue
        told = f"the nearest is {gap:.0f} m away" if np.isfinite(gap) else "there is none"
        faults[k] = f"a public road must be within {reach:g} m, {told}; move the site to a road"
    return faults


def check_reach(place: Place, sites: Sites, values: Sheet) -> None:
    """Refuse sites without a public road in reach, naming them.

    Raises
    ------
    InputError, DataError
        The former for a single site.
    """
    faults = find_unreached(place, sites, values)
    single = len(sites) == 1
    raise_gathered(
        [f"{sites.names[k]}: {fault}" for k, fault in faults.items()],
        where="site" if single else sites.source,
        kind=InputError if single else DataError,
    )

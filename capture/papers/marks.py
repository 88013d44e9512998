"""What is a layer of a map made of, and how does outside text get into it unharmed?

A layer is a list of marks; a mark is a place, a look and the lines of its tooltip. Only
these fields reach the page, and every string among them passes one escaping function on
its way, so a road or a rival may be called anything.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Final, Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike

from capture.basis import LocalProjection, UnitSystem, escape_text
from capture.papers.background import pack_lines
from capture.papers.look import LOOKS
from capture.papers.words import say_lengths

Kind = Literal["point", "line", "area"]
#: marks from which a layer is drawn on one canvas instead of one element each
MANY: Final = 400
#: how a fine shape is packed
_FINE: Final[dict[str, Any]] = {"simplify_m": 0.0, "scale": 10_000_000}
#: a line of a tooltip: what it is, what it says
TipLine = tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One thing on a map."""

    #: what it is drawn as
    kind: Kind
    #: key of the table of looks
    look: str
    #: (lat, lon) of a point, else packed parts
    shape: Any
    #: first line of the tooltip; "" for a mark that says nothing
    title: str = ""
    #: the tooltip's other lines
    lines: tuple[TipLine, ...] = ()
    #: words always shown beside a point
    label: str = ""
    #: clockwise from north; given for an arrow head
    heading_deg: float | None = None
    #: points of higher value lie on top
    lift: int = 0
    #: whether the shape is packed to a centimetre, for what is smaller than a house
    fine: bool = False

    def to_page(self, system: UnitSystem = "metric") -> dict[str, Any]:
        """Return what the page gets, every string escaped, metres as the reader says them."""
        page: dict[str, Any] = {"k": self.kind, "s": self.look, "c": self.shape}
        if self.title:
            page["t"] = self._tip(system)
        if self.label:
            page["l"] = escape_text(self.label, most=40)
        if self.heading_deg is not None:
            page["a"] = round(float(self.heading_deg))
        if self.lift:
            page["z"] = self.lift
        if self.fine:
            page["f"] = 1
        return page

    def _tip(self, system: UnitSystem) -> str:
        rows = [f"<b>{escape_text(self.title)}</b>"]
        for name, value in self.lines:
            said = escape_text(say_lengths(str(value), system))
            rows.append(f"{escape_text(name)}: {said}" if name else said)
        return rows[0] + "<br>".join(rows[1:])


@dataclass(frozen=True, slots=True, kw_only=True)
class MapLayer:
    """Marks that are switched on and off together."""

    #: what the panel calls it
    name: str
    #: what is in it
    marks: tuple[Mark, ...]
    #: keys of looks that the legend explains; those in use when left out
    legend: tuple[str, ...] | None = None
    #: whether it is on at first
    shown: bool = True
    #: words of the legend that differ from the table of looks
    words: dict[str, str] = field(default_factory=dict)

    def to_page(self, order: int, system: UnitSystem = "metric") -> dict[str, Any]:
        """Return what the page gets, every string escaped, metres as the reader says them."""
        used = sorted({mark.look for mark in self.marks})
        kinds = {mark.look: mark.kind for mark in self.marks if mark.heading_deg is None}
        legend = self.legend if self.legend is not None else tuple(k for k in used if k in kinds)
        looks = {key: asdict(LOOKS[key]) for key in {*used, *legend}}
        for look in looks.values():
            look.pop("words")
        return {
            "key": escape_text(self.name),
            "name": escape_text(self.name),
            "shown": self.shown,
            "order": order,
            "many": len(self.marks) > MANY,
            "marks": [mark.to_page(system) for mark in self.marks],
            "looks": dict(sorted(looks.items())),
            "legend": [
                [key, kinds.get(key, "line"), escape_text(self.words.get(key, LOOKS[key].words))]
                for key in legend
            ],
        }


def mark_point(lat: float, lon: float, look: str, **more: Any) -> Mark:
    """Make a mark of a point given in degrees; see :class:`Mark` for the rest.

    Examples
    --------
    >>> mark_point(39.28, -76.56, "rival", title="Wash <i>").to_page()["t"]
    '<b>Wash &lt;i&gt;</b>'
    """
    shape = [round(float(lat), 6), round(float(lon), 6)]
    return Mark(kind="point", look=look, shape=shape, **more)


def mark_line(
    xy: ArrayLike | Sequence[ArrayLike],
    look: str,
    projection: LocalProjection,
    *,
    fine: bool = False,
    **more: Any,
) -> Mark:
    """Make a mark of a line given in metres, shape (k, 2), or of several lines.

    Examples
    --------
    >>> plane = LocalProjection(centre_lat=40.0, centre_lon=-75.0)
    >>> mark_line([(0, 0), (0, 1110.35)], "sight-clear", plane).shape
    [[4000000, -7500000, 1000, 0]]
    """
    lines: Any = np.atleast_1d(np.asarray(shapely.linestrings(np.asarray(xy, dtype=np.float64))))
    shape = _flatten(lines, projection, fine=fine)
    return Mark(kind="line", look=look, shape=shape, fine=fine, **more)


def mark_area(
    polygon: Any, look: str, projection: LocalProjection, *, fine: bool = False, **more: Any
) -> Mark:
    """Make a mark of a polygon or several, in metres; holes are left out.

    Examples
    --------
    >>> plane = LocalProjection(centre_lat=40.0, centre_lon=-75.0)
    >>> mark_area(shapely.box(0, 0, 100, 100), "parcel", plane).kind
    'area'
    """
    parts = shapely.get_parts(np.atleast_1d(np.asarray(polygon, dtype=object)))
    parts = parts[~shapely.is_empty(parts)]
    rings = shapely.get_exterior_ring(parts)
    shape = _flatten(rings, projection, fine=fine)
    return Mark(kind="area", look=look, shape=shape, fine=fine, **more)


def _flatten(lines: Any, projection: LocalProjection, *, fine: bool) -> list[list[int]]:
    packed = pack_lines(lines, projection, **(_FINE if fine else {}))
    return [part for bundle in packed for part in bundle]


def drop_empty(layers: Iterable[MapLayer | None]) -> tuple[MapLayer, ...]:
    """Keep the layers that have something to show."""
    return tuple(layer for layer in layers if layer is not None and layer.marks)

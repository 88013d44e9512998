"""Where do the streets of the invented town run, and which of them meet?

Everything is drawn in metres about the town's middle: arterials and a bypass by formula,
collectors and streets as a warped lattice with blocks left out. Nothing is taken from a
real map.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from demo_join import Streets, join_streets
from demo_names import CROSS_STREETS, STREETS
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

HALF_M = 3000.0
#: half the distance between the two carriageways of the divided road
MEDIAN_HALF_M = 9.0


@dataclass(kw_only=True)
class Road:
    """One road before it is cut where others meet it."""

    name: str
    highway: str
    line: LineString
    tags: dict[str, str] = field(default_factory=dict)
    oneway: bool = False
    #: passes over whatever it crosses, other than roads in ``meets``
    bridges: bool = False


def harrow_y(x: np.ndarray) -> np.ndarray:
    """Middle of the divided road."""
    return 45.0 * np.sin(x / 900.0)


def winder_y(x: np.ndarray) -> np.ndarray:
    """The curving arterial."""
    return 1450.0 + 330.0 * np.sin(x / 620.0) + 120.0 * np.sin(x / 260.0 + 1.0)


def _curve(x: np.ndarray, y: np.ndarray) -> LineString:
    return LineString(np.column_stack([x, y]).round(2))


def draw_arterials() -> list[Road]:
    """Draw the divided road's two carriageways, the curving one and the bypass."""
    x = np.arange(-HALF_M, HALF_M + 1, 60.0)
    middle = _curve(x, harrow_y(x))
    east = middle.offset_curve(-MEDIAN_HALF_M)
    west = middle.offset_curve(MEDIAN_HALF_M).reverse()
    divided = {"ref": "SR 14", "lanes": "2", "maxspeed": "45 mph", "dual_carriageway": "yes"}
    bend = np.linspace(0.0, np.pi / 2, 40)
    bypass = np.vstack(
        [
            [(-HALF_M, -2450.0)],
            np.column_stack([900 + 1550 * np.sin(bend), -900 - 1550 * np.cos(bend)]),
            [(2450.0, HALF_M)],
        ]
    )
    winder = np.arange(-HALF_M, HALF_M + 1, 40.0)
    return [
        Road(
            name="Harrow Boulevard", highway="primary", line=east, tags=dict(divided), oneway=True
        ),
        Road(
            name="Harrow Boulevard", highway="primary", line=west, tags=dict(divided), oneway=True
        ),
        Road(
            name="Winder Creek Parkway",
            highway="secondary",
            line=_curve(winder, winder_y(winder)),
            tags={"ref": "CR 9", "lanes": "4", "maxspeed": "40 mph", "divider": "line"},
        ),
        Road(
            name="Orchard Bypass",
            highway="trunk",
            line=LineString(bypass.round(2)),
            tags={"ref": "SR 3", "lanes": "4", "maxspeed": "55 mph"},
            bridges=True,
        ),
    ]


@dataclass(kw_only=True)
class Lattice:
    """Warped grid: positions of its lines and what each of them is."""

    px: np.ndarray
    py: np.ndarray
    column_kind: list[str]
    row_kind: list[str]


def draw_lattice(rng: np.random.Generator) -> Lattice:
    """Place the grid's lines about 170 m apart and bend them away from the middle."""
    xs = _positions(rng, keep=(-600.0, 0.0, -1500.0, 480.0, 1450.0, -2350.0))
    ys = _positions(rng, keep=(-700.0, 700.0, -1450.0, 2300.0))
    ys = ys[np.abs(ys) > 110.0]
    gx, gy = np.meshgrid(xs, ys, indexing="ij")
    far = np.clip((np.abs(gx + 600) - 400) / 1500, 0, 1) * np.clip((np.abs(gy) - 200) / 900, 0, 1)
    phase = rng.uniform(0, 2 * np.pi, 4)
    px = gx + 45 * far * np.sin(gy / 430 + phase[0]) + 18 * far * np.sin(gx / 210 + phase[1])
    py = gy + 45 * far * np.sin(gx / 470 + phase[2]) + 18 * far * np.sin(gy / 190 + phase[3])
    columns = ["tertiary" if x in (-1500.0, 480.0, 1450.0, -2350.0) else "residential" for x in xs]
    columns[int(np.flatnonzero(xs == -600.0)[0])] = "primary"
    rows = ["tertiary" if y in (-700.0, 700.0, -1450.0, 2300.0) else "residential" for y in ys]
    return Lattice(px=px.round(2), py=py.round(2), column_kind=columns, row_kind=rows)


def _positions(rng: np.random.Generator, *, keep: tuple[float, ...]) -> np.ndarray:
    """Place lines between the kept ones, evenly but for a jitter."""
    ends = sorted({-HALF_M + 60, *keep, HALF_M - 60})
    placed: list[float] = []
    for low, high in pairwise(ends):
        count = max(1, round((high - low) / 170.0))
        inner = low + (high - low) * np.arange(1, count) / count
        placed += [low, *(inner + rng.uniform(-20, 20, len(inner)))]
    return np.array([*placed, ends[-1]]).round(1)


def draw_lattice_roads(
    rng: np.random.Generator, lattice: Lattice, arterials: list[Road]
) -> list[Road]:
    """Turn the lattice into collectors and streets, leaving out blocks towards the edge."""
    harrow, other = arterials[0].line, arterials[1].line
    median = Polygon([*harrow.coords, *other.coords])
    winder, bypass = arterials[2].line, arterials[3].line
    roads: list[Road] = []
    openings = {i for i, kind in enumerate(lattice.column_kind) if kind != "residential"}
    openings |= {i + 2 for i in openings if lattice.column_kind[i] == "primary"}
    for i, kind in enumerate(lattice.column_kind):
        points = np.column_stack([lattice.px[i], lattice.py[i]])
        name = _column_name(i, kind)
        for piece in _stretches(rng, points, kind):
            cut: BaseGeometry = piece if i in openings else piece.difference(median)
            if kind == "residential":
                cut = cut.difference(bypass.buffer(55))
            roads += _make(cut, name, kind, rng)
    for j, kind in enumerate(lattice.row_kind):
        points = np.column_stack([lattice.px[:, j], lattice.py[:, j]])
        for piece in _stretches(rng, points, kind):
            cut = piece
            if kind == "residential":
                cut = piece.difference(bypass.buffer(55)).difference(winder.buffer(75))
            roads += _make(cut, _row_name(j, kind), kind, rng)
    return roads


def _column_name(i: int, kind: str) -> str:
    if kind == "primary":
        return "Tillman Road"
    suffix = "Avenue" if kind == "tertiary" else "Street"
    return f"{STREETS[i % len(STREETS)]} {suffix}"


def _row_name(j: int, kind: str) -> str:
    suffix = "Road" if kind == "tertiary" else "Lane"
    return f"{CROSS_STREETS[j % len(CROSS_STREETS)]} {suffix}"


def _stretches(rng: np.random.Generator, points: np.ndarray, kind: str) -> list[LineString]:
    """Cut a line of the lattice where a block is left out; bigger roads run to the edge."""
    if kind != "residential":
        first, last = points[0].copy(), points[-1].copy()
        along = int(np.argmax(np.abs(last - first)))
        first[along], last[along] = -HALF_M, HALF_M
        return [LineString([first, *points, last])]
    middle = (points[1:] + points[:-1]) / 2
    away = np.hypot(middle[:, 0] + 300, middle[:, 1])
    beyond = np.maximum(middle[:, 0], -middle[:, 1]) > 2350
    gone = rng.random(len(middle)) < 0.05 + 0.55 * np.clip((away - 1500) / 1900, 0, 1)
    gone |= beyond & (rng.random(len(middle)) < 0.6)
    runs, start = [], 0
    for k in range(len(middle) + 1):
        if k == len(middle) or gone[k]:
            if k > start:
                runs.append(LineString(points[start : k + 1]))
            start = k + 1
    return runs


def _make(cut: BaseGeometry, name: str, kind: str, rng: np.random.Generator) -> list[Road]:
    parts = [part for part in getattr(cut, "geoms", [cut]) if part.length > 60]
    tags: dict[str, str] = {}
    if kind == "primary":
        tags = {
            "ref": "SR 27",
            "lanes": "5",
            "lanes:forward": "2",
            "lanes:backward": "2",
            "lanes:both_ways": "1",
            "turn:lanes:both_ways": "left",
            "maxspeed": "40 mph",
        }
    elif kind == "tertiary":
        tags = {"lanes": "2", "maxspeed": "35 mph"}
    elif rng.random() < 0.6:
        tags = {"maxspeed": "25 mph"}
    return [Road(name=name, highway=kind, line=part, tags=dict(tags)) for part in parts]


def draw_streets(seed: int) -> Streets:
    """Draw the whole network of one invented town."""
    rng = np.random.default_rng([seed, 1])
    arterials = draw_arterials()
    lattice = draw_lattice(rng)
    local = draw_lattice_roads(rng, lattice, arterials)
    _make_one_ways(local)
    return join_streets([*arterials[:3], *_raise_bypass(arterials[3], local), *local])


def _raise_bypass(bypass: Road, local: list[Road]) -> list[Road]:
    """Cut the bypass so that the parts over collectors are bridges."""
    over = [bypass.line.intersection(r.line) for r in local if r.highway == "tertiary"]
    spots = [p for one in over for p in getattr(one, "geoms", [one]) if not p.is_empty]
    marks = sorted(bypass.line.project(p) for p in spots)
    ends = [0.0, *(m + d for m in marks for d in (-25.0, 25.0)), bypass.line.length]
    parts = []
    for k, (low, high) in enumerate(pairwise(ends)):
        line = substring(bypass.line, low, high)
        tags = bypass.tags | ({"bridge": "yes", "layer": "1"} if k % 2 else {})
        parts.append(Road(name=bypass.name, highway="trunk", line=line, tags=tags, bridges=True))
    return parts


def _make_one_ways(roads: list[Road]) -> None:
    """Make a pair of streets beside the two-way-left-turn road one-way, up and down."""
    names = [f"{STREETS[k]} Street" for k in range(len(STREETS))]
    columns = {road.name: road.line.coords[0][0] for road in roads if road.name in names}
    near = sorted(columns, key=lambda name: abs(columns[name] + 130))[:2]
    for k, name in enumerate(near):
        for road in roads:
            if road.name == name:
                road.oneway = True
                if k:
                    road.line = road.line.reverse()

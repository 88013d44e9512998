"""What stands beside the streets: parcels for sale, buildings, trees, walls, shops, washes?

Parcels are placed first and stay empty; buildings keep off roads, parcels and each other.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from demo_join import Streets
from demo_roads import MEDIAN_HALF_M, harrow_y, winder_y
from demo_traffic import spread_people
from shapely import LineString, Point, Polygon, STRtree, box
from shapely.affinity import rotate, translate

ACRE_M2 = 4046.8564224
#: from a road's centre line to the property line
RIGHT_OF_WAY_M = {"trunk": 20.0, "primary": 14.0, "secondary": 13.0, "tertiary": 11.0}
SHOPS = (
    ("Bramble Foods", {"shop": "supermarket"}),
    ("Bramble Foods North", {"shop": "supermarket"}),
    ("Millrace Arcade", {"shop": "mall"}),
    ("Oak and Awl Hardware", {"shop": "doityourself"}),
    ("Tillman Fuel Stop", {"amenity": "fuel"}),
    ("Harrow Pump", {"amenity": "fuel"}),
    ("Kettle Road Gas", {"amenity": "fuel"}),
    ("Fenwick School", {"amenity": "school"}),
    ("Weaver Hill School", {"amenity": "school"}),
    ("Harrowmere Clinic", {"amenity": "hospital"}),
    ("The Griddle Box", {"amenity": "fast_food"}),
    ("Noodle Wagon", {"amenity": "fast_food"}),
    ("Red Barn Diner", {"amenity": "restaurant"}),
    ("Corner Cup", {"amenity": "cafe"}),
    ("Ledger Bank", {"amenity": "bank"}),
    ("Fettle Gym", {"leisure": "fitness_centre"}),
)


@dataclass(kw_only=True)
class Thing:
    """Something drawn on the map: a ring, a line or a point, with its tags."""

    shape: Polygon | LineString | Point
    tags: dict[str, str] = field(default_factory=dict)
    #: drawn as a relation of outer and inner rings rather than a closed way
    relation: bool = False


@dataclass(kw_only=True)
class Parcel:
    """One piece of land for sale."""

    id: str
    shape: Polygon
    road: str
    highway: str
    zoning: str
    asking_price_usd: int
    corner: bool


def _beside(streets: Streets, segment: int, at: float, side: int, away: float) -> tuple:
    """Find a spot beside a road: x, y, bearing of the road (degrees, anticlockwise from east)."""
    line = streets.line(segment)
    here = np.array(line.interpolate(at).coords[0])
    ahead = np.array(line.interpolate(min(at + 8, line.length)).coords[0])
    back = np.array(line.interpolate(max(at - 8, 0)).coords[0])
    along = (ahead - back) / np.hypot(*(ahead - back))
    spot = here + side * away * np.array([-along[1], along[0]])
    return spot[0], spot[1], np.degrees(np.arctan2(along[1], along[0]))


def _plot(x: float, y: float, bearing: float, wide: float, deep: float) -> Polygon:
    return translate(rotate(box(-wide / 2, -deep / 2, wide / 2, deep / 2), bearing), x, y)


def place_parcels(
    streets: Streets, seed: int, washes: list[dict], *, count: int = 40
) -> list[Parcel]:
    """Place parcels beside roads of every kind; the first is a good corner on an arterial."""
    rng = np.random.default_rng([seed, 3])
    lines = [streets.line(k) for k in range(len(streets.segments))]
    tree = STRtree(lines)
    order = _parcel_roads(streets, rng, count)
    placed: list[Parcel] = []
    spots = [Point(wash["x"], wash["y"]) for wash in washes]
    for number, kinds in enumerate(order, start=1):
        for _ in range(400):
            segment = int(rng.choice(kinds))
            parcel = _try_parcel(streets, rng, segment, f"P{number:02d}", corner=number == 1)
            keep_off = 8.0 if parcel.highway != "residential" else 6.0
            clear = not len(tree.query(parcel.shape, predicate="dwithin", distance=keep_off))
            apart = all(parcel.shape.distance(other.shape) > 15 for other in placed)
            apart = apart and all(parcel.shape.distance(spot) > 40 for spot in spots)
            if clear and apart and np.abs(parcel.shape.bounds).max() < 2900:
                placed.append(parcel)
                break
        else:
            raise RuntimeError(f"no room for parcel {number}")
    return placed


def _parcel_roads(streets: Streets, rng: np.random.Generator, count: int) -> list[np.ndarray]:
    """Choose for each parcel the segments it may lie on."""
    by_road: dict[str, list[int]] = {}
    for k in range(len(streets.segments)):
        road = streets.road(k)
        if streets.line(k).length > 110:
            by_road.setdefault(_road_kind(road.name, road.highway), []).append(k)
    tillman = [k for k in by_road["Tillman Road"] if 300 < streets.line(k).centroid.y < 1100]
    rows = [np.array(tillman)]
    shares = {
        "Harrow Boulevard": 10,
        "Tillman Road": 8,
        "Winder Creek Parkway": 7,
        "Orchard Bypass": 2,
        "tertiary": 9,
        "residential": 3,
    }
    for kind, times in shares.items():
        rows += [np.array(by_road[kind])] * times
    tail = [rows[k] for k in 1 + rng.permutation(len(rows) - 1)]
    return [rows[0], *tail][:count]


def _road_kind(name: str, highway: str) -> str:
    return highway if highway in ("tertiary", "residential") else name


def _try_parcel(
    streets: Streets, rng: np.random.Generator, segment: int, name: str, *, corner: bool
) -> Parcel:
    road = streets.road(segment)
    acres = 1.25 if corner else float(rng.choice([0.45, 0.6, 0.8, 1.0, 1.2, 1.5, 1.9]))
    deep = float(rng.uniform(58, 75)) if acres > 0.5 else 45.0
    wide = acres * ACRE_M2 / deep
    length = streets.line(segment).length
    at = length - wide / 2 - 16 if corner else rng.uniform(wide / 2, max(length - wide / 2, 1))
    side = -1 if road.name == "Harrow Boulevard" else int(rng.choice([-1, 1]))
    away = RIGHT_OF_WAY_M.get(road.highway, 9.0) + deep / 2
    shape = _plot(*_beside(streets, segment, at, side, away), wide, deep)
    per_acre = {"primary": 1.05e6, "secondary": 0.85e6, "trunk": 0.8e6, "tertiary": 0.5e6}
    price = acres * per_acre.get(road.highway, 0.3e6) * rng.lognormal(0, 0.25)
    price = 1.12e6 if corner else price
    zoning = {
        "primary": "C-2 general commercial, wash allowed",
        "secondary": "C-2 general commercial, wash allowed",
        "trunk": "C-3 highway commercial, wash conditional",
        "tertiary": "C-1 local commercial, wash conditional",
    }.get(road.highway, "R-1 homes, wash not allowed")
    return Parcel(
        id=name,
        shape=shape,
        road=road.name,
        highway=road.highway,
        zoning=zoning,
        asking_price_usd=int(round(price, -3)),
        corner=corner,
    )


def draw_things(
    streets: Streets, parcels: list[Parcel], washes: list[dict], seed: int
) -> list[Thing]:
    """Draw washes on the map, shops, buildings, trees, hedges, a wall and a wood."""
    rng = np.random.default_rng([seed, 4])
    lines = [streets.line(k) for k in range(len(streets.segments))]
    roads = STRtree(lines)
    taken: list[Polygon] = [parcel.shape.buffer(12) for parcel in parcels]
    things = _draw_washes(washes, taken)
    busy = [k for k, line in enumerate(lines) if streets.road(k).highway != "residential"]
    quiet = [k for k, line in enumerate(lines) if streets.road(k).highway == "residential"]
    weight = spread_people(np.array([line.centroid.coords[0] for line in lines]))
    for number in range(600):
        shop = SHOPS[number] if number < len(SHOPS) else None
        commercial = number < 230
        pool = np.array(busy if commercial else quiet)
        for _ in range(60):
            segment = int(rng.choice(pool, p=weight[pool] / weight[pool].sum()))
            shape = _try_building(streets, rng, segment, commercial=commercial)
            if len(roads.query(shape, predicate="dwithin", distance=9.0)):
                continue
            if any(shape.intersects(other) for other in taken):
                continue
            taken.append(shape.buffer(4))
            things.append(Thing(shape=shape, tags=_building_tags(rng, commercial, shop)))
            break
    return things + _draw_green(roads, taken)


def _try_building(
    streets: Streets, rng: np.random.Generator, segment: int, *, commercial: bool
) -> Polygon:
    wide, deep = rng.uniform(18, 46, 2) if commercial else rng.uniform(9, 16, 2)
    back = rng.uniform(16, 45) if commercial else rng.uniform(11, 17)
    at = rng.uniform(0, streets.line(segment).length)
    spot = _beside(streets, segment, at, int(rng.choice([-1, 1])), back + deep / 2)
    return _plot(*spot, wide, deep)


def _building_tags(
    rng: np.random.Generator, commercial: bool, shop: tuple[str, dict[str, str]] | None
) -> dict[str, str]:
    tags = {"building": "retail" if commercial else "house"}
    kind = rng.random()
    if kind < 0.75:
        tags["building:levels"] = str(int(rng.choice([1, 1, 1, 2, 3] if commercial else [1, 2, 2])))
    elif kind < 0.87:
        tags["height"] = f"{rng.uniform(4, 11):.1f}"
    if shop:
        tags |= {"name": shop[0], **shop[1]}
    return tags


def _draw_washes(washes: list[dict], taken: list[Polygon]) -> list[Thing]:
    """Draw the washes that the map knows: a node, a building, both, or a relation."""
    things: list[Thing] = []
    for wash in washes:
        if wash["on_map"] == "":
            continue
        spot = Point(wash["x"], wash["y"])
        tags = {"name": wash["name"], **wash["tags"]}
        shape = _plot(spot.x, spot.y, 8.0, 34, 16)
        if "building" in wash["on_map"]:
            taken.append(shape.buffer(10))
            outer = {"building": "yes", "building:levels": "1", **tags}
            things.append(Thing(shape=shape, tags=outer, relation="relation" in wash["on_map"]))
        if "node" in wash["on_map"]:
            things.append(Thing(shape=translate(spot, 7.0, 3.0), tags=tags))
    return things


def _draw_green(roads: STRtree, taken: list[Polygon]) -> list[Thing]:
    x = np.arange(-1150, -620, 25.0)
    row = LineString(np.column_stack([x, winder_y(x) + 15.5]).round(2))
    x2 = np.arange(700, 1150, 30.0)
    hedge = LineString(np.column_stack([x2, harrow_y(x2) - MEDIAN_HALF_M - 12.5]).round(2))
    wall = LineString([(-583.0, -1330.0), (-583.0, -1180.0)])
    things = [
        Thing(shape=row, tags={"natural": "tree_row", "height": "9"}),
        Thing(shape=hedge, tags={"barrier": "hedge", "height": "1.5"}),
        Thing(shape=wall, tags={"barrier": "wall", "height": "2.2"}),
    ]
    wood = Polygon([(-140, -135), (130, -150), (110, 120), (-100, 140)])
    for x0, y0 in ((2200, -2250), (2350, -1900), (1600, -2700), (-2700, -1900), (-2700, -2700)):
        here = translate(wood, x0, y0)
        if not len(roads.query(here, predicate="intersects")):
            things.append(Thing(shape=here, tags={"natural": "wood"}))
            break
    park = box(-480, 250, -380, 330)
    if not any(park.intersects(other) for other in taken):
        things.append(Thing(shape=park, tags={"leisure": "park", "name": "Tinker's Green"}))
    return things

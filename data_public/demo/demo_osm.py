"""How is the invented town written as a map file of the open street map's XML form?

Ids are positive and counted up, so they are no ids of real objects that are kept apart by
size; every file starts with a comment saying that all of it is invented.
"""

from __future__ import annotations

import math
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np
from demo_features import Thing
from demo_join import RANK, Streets
from shapely import LineString, Point

#: the town stands on open water, far from every shore
CENTRE_LAT, CENTRE_LON = 43.6, -87.3
INVENTED = "Invented town for demonstration. No real place, road, business or person."
_FLATTENING, _RADIUS = 1 / 298.257223563, 6378137.0


def to_latlon(x: float, y: float) -> tuple[float, float]:
    """Turn metres about the town's middle into degrees, by the ellipsoid's radii there."""
    squared = _FLATTENING * (2 - _FLATTENING)
    bend = 1 - squared * math.sin(math.radians(CENTRE_LAT)) ** 2
    north = _RADIUS * (1 - squared) / bend**1.5
    east = _RADIUS / math.sqrt(bend) * math.cos(math.radians(CENTRE_LAT))
    return CENTRE_LAT + math.degrees(y / north), CENTRE_LON + math.degrees(x / east)


class _Writer:
    def __init__(self) -> None:
        self.nodes: list[str] = []
        self.ways: list[str] = []
        self.relations: list[str] = []
        self._next = {"node": 100_001, "way": 500_001, "relation": 900_001}

    def take_id(self, kind: str) -> int:
        self._next[kind] += 1
        return self._next[kind] - 1

    def node(self, x: float, y: float, tags: dict[str, str] | None = None) -> int:
        number = self.take_id("node")
        lat, lon = to_latlon(x, y)
        self.nodes.append(
            _element("node", number, f' lat="{lat:.7f}" lon="{lon:.7f}"', [], tags or {})
        )
        return number

    def way(self, nodes: list[int], tags: dict[str, str]) -> int:
        number = self.take_id("way")
        inner = [f'<nd ref="{n}"/>' for n in nodes]
        self.ways.append(_element("way", number, "", inner, tags))
        return number

    def relation(self, members: list[tuple[str, int, str]], tags: dict[str, str]) -> None:
        inner = [f'<member type="{t}" ref="{i}" role="{r}"/>' for t, i, r in members]
        self.relations.append(_element("relation", self.take_id("relation"), "", inner, tags))

    def text(self) -> str:
        head = (
            f'<?xml version="1.0" encoding="UTF-8"?>\n<!-- {INVENTED} -->\n'
            '<osm version="0.6" generator="make_demo.py (invented town)">\n'
        )
        return head + "".join(self.nodes + self.ways + self.relations) + "</osm>\n"


def _element(kind: str, number: int, more: str, inner: list[str], tags: dict[str, str]) -> str:
    inside = "".join(inner) + "".join(
        f"<tag k={quoteattr(k)} v={quoteattr(v)}/>" for k, v in tags.items()
    )
    start = f'<{kind} id="{number}" version="1"{more}'
    return f"{start}/>\n" if not inside else f"{start}>{inside}</{kind}>\n"


def write_osm(path: Path, streets: Streets, things: list[Thing]) -> None:
    """Write streets, turn restrictions and what stands beside the streets."""
    writer = _Writer()
    used = {n for _, run in streets.ways for n in run}
    tags = _node_tags(streets)
    ids = {n: writer.node(*streets.xy[n], tags.get(n)) for n in sorted(used)}
    way_ids = []
    for road, run in streets.ways:
        way_tags = {"highway": road.highway, "name": road.name, **road.tags}
        if road.oneway:
            way_tags["oneway"] = "yes"
        way_ids.append(writer.way([ids[n] for n in run], way_tags))
    for members, kind in find_restrictions(streets):
        rows = [(t, ids[ref] if t == "node" else way_ids[ref], role) for t, ref, role in members]
        writer.relation(rows, {"type": "restriction", "restriction": kind})
    for thing in things:
        _write_thing(writer, thing)
    path.write_text(writer.text(), encoding="utf-8", newline="\n")


def _write_thing(writer: _Writer, thing: Thing) -> None:
    shape = thing.shape
    if isinstance(shape, Point):
        writer.node(shape.x, shape.y, thing.tags)
        return
    if isinstance(shape, LineString):
        writer.way([writer.node(x, y) for x, y in shape.coords], thing.tags)
        return
    ring = [writer.node(x, y) for x, y in list(shape.exterior.coords)[:-1]]
    if not thing.relation:
        writer.way([*ring, ring[0]], thing.tags)
        return
    outer = writer.way([*ring, ring[0]], {})
    writer.relation([("way", outer, "outer")], {"type": "multipolygon", **thing.tags})


def ways_at(streets: Streets) -> dict[int, list[tuple[int, int]]]:
    """List at each node the ways that end there, as (way, +1 when it starts here, -1 ends)."""
    found: dict[int, list[tuple[int, int]]] = {}
    for k, (_, run) in enumerate(streets.ways):
        found.setdefault(run[0], []).append((k, 1))
        found.setdefault(run[-1], []).append((k, -1))
    return found


def _node_tags(streets: Streets) -> dict[int, dict[str, str]]:
    """Put signals where bigger roads meet, stops and crossings where collectors meet them."""
    tags: dict[int, dict[str, str]] = {}
    for node, ends in ways_at(streets).items():
        ranks = sorted(
            {(RANK[streets.ways[k][0].highway], streets.ways[k][0].name) for k, _ in ends}
        )
        if len(ranks) < 2:
            continue
        low, high = ranks[-2][0], ranks[-1][0]
        if low >= RANK["secondary"] or (low == RANK["tertiary"] and high == RANK["primary"]):
            tags[node] = {"highway": "traffic_signals"}
        elif low == RANK["tertiary"] and high >= RANK["tertiary"]:
            tags[node] = {"highway": "stop"}
    return tags


def _heading(streets: Streets, way: int, end: int) -> np.ndarray:
    """Unit vector away from the node at the way's start (+1) or end (-1)."""
    run = streets.ways[way][1]
    a, b = (run[0], run[1]) if end > 0 else (run[-1], run[-2])
    step = streets.xy[b] - streets.xy[a]
    return np.asarray(step / np.hypot(*step))


def find_restrictions(streets: Streets) -> list[tuple[list[tuple[str, int, str]], str]]:
    """Choose turns that are not allowed: left, back, and only straight or right."""
    found: list[tuple[list[tuple[str, int, str]], str]] = []
    wanted = {"no_left_turn": 4, "only_straight_on": 2, "no_u_turn": 6, "only_right_turn": 3}
    for node, ends in sorted(ways_at(streets).items()):
        roads = {streets.ways[k][0].name for k, _ in ends}
        if "Tillman Road" not in roads or len(ends) < 4:
            continue
        for way, end in ends:
            road = streets.ways[way][0]
            for other, other_end in ends:
                kind = _turn_kind(streets, (way, end), (other, other_end))
                if kind is None or wanted.get(kind, 0) <= 0 or road.oneway:
                    continue
                if kind != "no_u_turn" and road.highway == "primary":
                    continue
                if kind == "no_u_turn" and road.highway != "primary":
                    continue
                if any(node == members[1][1] for members, _ in found):
                    continue
                wanted[kind] -= 1
                found.append(
                    ([("way", way, "from"), ("node", node, "via"), ("way", other, "to")], kind)
                )
    return found + _median_restriction(streets)


def _turn_kind(streets: Streets, here: tuple[int, int], there: tuple[int, int]) -> str | None:
    if streets.ways[there[0]][0].oneway and there[1] < 0:
        return None
    if here == there:
        return "no_u_turn"
    arriving, leaving = -_heading(streets, *here), _heading(streets, *there)
    turn = arriving[0] * leaving[1] - arriving[1] * leaving[0]
    straight = float(arriving @ leaving)
    if straight > 0.8:
        return "only_straight_on"
    return "no_left_turn" if turn > 0 else "only_right_turn"


def _median_restriction(streets: Streets) -> list[tuple[list[tuple[str, int, str]], str]]:
    """Forbid turning back through one opening of the divided road (by way of a way)."""
    starts: dict[int, list[int]] = {}
    stops: dict[int, list[int]] = {}
    for k, (road, run) in enumerate(streets.ways):
        if road.name == "Harrow Boulevard":
            starts.setdefault(run[0], []).append(k)
            stops.setdefault(run[-1], []).append(k)
    for k, (road, run) in enumerate(streets.ways):
        length = LineString(streets.xy[run]).length
        if road.highway == "tertiary" and length < 30 and run[0] in stops and run[-1] in starts:
            members = [("way", stops[run[0]][0], "from"), ("way", k, "via")]
            return [([*members, ("way", starts[run[-1]][0], "to")], "no_u_turn")]
    return []

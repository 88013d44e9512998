"""How is an OpenStreetMap file read in one pass: roads, buildings, screens, features?

Formats ``.osm.pbf``, ``.osm``, ``.osm.gz``, ``.osm.bz2``, through libosmium. A short pass
over the relations finds turn restrictions and the outer ways of multipolygons; the one long
pass hands only tagged nodes and ways to Python. Assumes nodes before ways, as all published
extracts have it.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np

from capture.place.raw import WAY_TAGS, Raw, Restriction, Shape
from capture.place.tags import HIGHWAYS, is_open_to_cars

KEYS: Final = (
    "highway",
    "building",
    "amenity",
    "shop",
    "leisure",
    "tourism",
    "natural",
    "landuse",
    "barrier",
)
_FEATURE_KEYS: Final = ("amenity", "shop", "leisure", "tourism")
#: street furniture and the like: draws no trips
_FURNITURE: Final = frozenset(
    {
        "artwork",
        "atm",
        "bbq",
        "bench",
        "bicycle_parking",
        "bicycle_rental",
        "bleachers",
        "charging_station",
        "clock",
        "compressed_air",
        "dog_toilet",
        "drinking_water",
        "firepit",
        "fountain",
        "garden",
        "grit_bin",
        "hunting_stand",
        "information",
        "letter_box",
        "loading_dock",
        "lounger",
        "motorcycle_parking",
        "outdoor_seating",
        "parking",
        "parking_entrance",
        "parking_space",
        "picnic_site",
        "picnic_table",
        "pitch",
        "post_box",
        "public_bookcase",
        "recycling",
        "shelter",
        "slipway",
        "smoking_area",
        "swimming_pool",
        "telephone",
        "toilets",
        "track",
        "vacant",
        "vending_machine",
        "viewpoint",
        "waste_basket",
        "waste_disposal",
        "water_point",
        "watering_place",
    }
)
_MOST_TAGS: Final = 60
_MOST_TEXT: Final = 255
_UNDEFINED: Final = 2147483647
_DEGREES: Final = 1e-7
Ring = tuple[list[int], list[int], list[int]]


def read_osm(path: Path, form: str = "") -> Raw:
    """Read an OpenStreetMap file; :func:`capture.place.checks.check_roads_file` comes first.

    Parameters
    ----------
    path : Path
        The file.
    form : str
        What libosmium calls its format, "" to go by the file's ending.

    Returns
    -------
    Raw
        Ways open to cars, cut where the extract leaves their nodes out.

    Raises
    ------
    RuntimeError
        What libosmium raises on a broken file; :func:`capture.place.open_place` turns it into
        a sentence.
    """
    import osmium

    collector = _Collector()
    source = osmium.io.File(str(path), form)
    collector.read_relations(source)
    processor = osmium.FileProcessor(source, osmium.osm.NODE | osmium.osm.WAY)
    only = osmium.filter.KeyFilter(*KEYS)
    if collector.outer_of:
        only.enable_for(osmium.osm.NODE)
    processor = processor.with_locations().with_filter(only)
    thing: Any
    for thing in processor:
        if thing.is_way():
            collector.take_way(thing)
        else:
            collector.take_node(thing)
    return collector.finish()


def _keep_tags(tags: Any) -> dict[str, str]:
    kept = {}
    for tag in tags:
        kept[tag.k[:_MOST_TEXT]] = tag.v[:_MOST_TEXT]
        if len(kept) >= _MOST_TAGS:
            break
    return kept


def _is_feature(get: Any) -> bool:
    for key in _FEATURE_KEYS:
        value = get(key)
        if value and value not in _FURNITURE:
            return True
    return bool(get("building") == "car_wash")


def _is_screen(get: Any) -> bool:
    return (
        get("natural") in ("tree_row", "wood")
        or get("landuse") == "forest"
        or get("barrier") in ("hedge", "wall", "retaining_wall", "city_wall")
    )


def _runs(nodes: Any) -> Iterator[Ring]:
    """Cut a way's nodes into runs whose places are known: ids, x, y in 1e-7 degrees."""
    run: Ring = ([], [], [])
    for node in nodes:
        x = node.x
        if x == _UNDEFINED:
            if len(run[0]) > 1:
                yield run
            run = ([], [], [])
            continue
        run[0].append(node.ref)
        run[1].append(x)
        run[2].append(node.y)
    if len(run[0]) > 1:
        yield run


class _Collector:
    """Gathers what the passes hand over."""

    def __init__(self) -> None:
        self.way_id: list[int] = []
        self.way_tags: list[tuple[str | None, ...]] = []
        self.counts: list[int] = [0]
        self.refs: list[int] = []
        self.xs: list[int] = []
        self.ys: list[int] = []
        self.controls: dict[str, list[int]] = {"traffic_signals": [], "stop": [], "crossing": []}
        self.restrictions: list[Restriction] = []
        self.buildings: list[Shape] = []
        self.screens: list[Shape] = []
        self.features: list[Shape] = []
        self.outer_of: dict[int, list[int]] = {}
        self.areas: dict[int, dict[str, str]] = {}
        self.outers: dict[int, list[Ring]] = {}
        self.cut_ways = 0

    def read_relations(self, source: Any) -> None:
        import osmium

        relation: Any
        for relation in osmium.FileProcessor(source, osmium.osm.RELATION):
            get = relation.tags.get
            if get("type") == "restriction":
                self._take_restriction(relation)
            elif get("type") == "multipolygon" and (
                get("building") or _is_feature(get) or _is_screen(get)
            ):
                self.areas[relation.id] = _keep_tags(relation.tags)
                for member in relation.members:
                    if member.type == "w" and member.role != "inner":
                        self.outer_of.setdefault(member.ref, []).append(relation.id)

    def _take_restriction(self, relation: Any) -> None:
        get = relation.tags.get
        kind = get("restriction:motorcar") or get("restriction:motor_vehicle") or get("restriction")
        excepted = (get("except") or "").split(";")
        if not kind or not kind.startswith(("no_", "only_")) or "motorcar" in excepted:
            return
        members = [(m.type, m.role, m.ref) for m in relation.members]
        nodes = [ref for kind_, role, ref in members if kind_ == "n" and role == "via"]
        ways = {
            role: tuple(ref for kind_, role_, ref in members if kind_ == "w" and role_ == role)
            for role in ("from", "via", "to")
        }
        self.restrictions.append(
            Restriction(
                kind=kind,
                from_ways=ways["from"],
                via_node=nodes[0] if nodes else 0,
                via_ways=ways["via"],
                to_ways=ways["to"],
            )
        )

    def take_node(self, node: Any) -> None:
        get = node.tags.get
        control = self.controls.get(get("highway") or "")
        if control is not None:
            control.append(node.id)
        elif _is_feature(get) and node.location.valid():
            self.features.append(
                Shape(
                    osm_id=f"n{node.id}",
                    tags=_keep_tags(node.tags),
                    lat=np.array([node.location.lat]),
                    lon=np.array([node.location.lon]),
                )
            )

    def take_way(self, way: Any) -> None:
        get = way.tags.get
        highway = get("highway")
        if highway is not None:
            if highway in HIGHWAYS and get("area") != "yes" and self._is_open(get):
                self._take_road(way, get)
            return
        building = (get("building") or "no") != "no"
        feature, screen = _is_feature(get), _is_screen(get)
        relations = self.outer_of.get(way.id, ()) if self.outer_of else ()
        if not (building or feature or screen or relations):
            return
        runs = list(_runs(way.nodes))
        for relation in relations:
            self.outers.setdefault(relation, []).extend(runs)
        if (building or feature or screen) and len(runs) == 1:
            tags = _keep_tags(way.tags)
            self._take_shape(f"w{way.id}", tags, runs[0], building, feature, screen)

    def _is_open(self, get: Any) -> bool:
        if get("service") == "emergency_access":
            return False
        access = get("access")
        vehicle, motor, car = get("vehicle"), get("motor_vehicle"), get("motorcar")
        if access is None and vehicle is None and motor is None and car is None:
            return True
        return is_open_to_cars(
            {"access": access, "vehicle": vehicle, "motor_vehicle": motor, "motorcar": car}
        )

    def _take_road(self, way: Any, get: Any) -> None:
        tags = tuple([get(key) for key in WAY_TAGS])
        known = 0
        for refs, xs, ys in _runs(way.nodes):
            self.way_id.append(way.id)
            self.way_tags.append(tags)
            self.refs += refs
            self.xs += xs
            self.ys += ys
            self.counts.append(len(refs))
            known += len(refs)
        self.cut_ways += known < len(way.nodes)

    def _take_shape(
        self, osm_id: str, tags: dict[str, str], ring: Ring, building: bool, feature: bool,
        screen: bool,
    ) -> None:  # fmt: skip
        shape = Shape(
            osm_id=osm_id,
            tags=tags,
            lat=np.array(ring[2], dtype=np.float64) * _DEGREES,
            lon=np.array(ring[1], dtype=np.float64) * _DEGREES,
        )
        closed = ring[0][0] == ring[0][-1] and len(ring[0]) >= 4
        if building and closed:
            self.buildings.append(shape)
        if screen:
            self.screens.append(shape)
        if feature:
            self.features.append(shape)

    def _finish_areas(self) -> None:
        for relation, pieces in self.outers.items():
            tags = self.areas[relation]
            get = tags.get
            rings = join_rings(pieces)
            for k, ring in enumerate(rings):
                building = (get("building") or "no") != "no"
                osm_id = f"r{relation}"
                self._take_shape(
                    osm_id, tags, ring, building, k == 0 and _is_feature(get), _is_screen(get)
                )

    def finish(self) -> Raw:
        self._finish_areas()
        notes = []
        if self.cut_ways:
            notes.append(f"{self.cut_ways} roads are cut where the extract ends")
        controls = {k: np.array(v, dtype=np.int64) for k, v in self.controls.items()}
        return Raw(
            way_id=np.array(self.way_id, dtype=np.int64),
            way_tags=self.way_tags,
            ref_indptr=np.cumsum(np.array(self.counts, dtype=np.int64)),
            ref_id=np.array(self.refs, dtype=np.int64),
            ref_lat=np.array(self.ys, dtype=np.float64) * _DEGREES,
            ref_lon=np.array(self.xs, dtype=np.float64) * _DEGREES,
            signal_id=controls["traffic_signals"],
            stop_id=controls["stop"],
            crossing_id=controls["crossing"],
            restrictions=self.restrictions,
            buildings=self.buildings,
            screens=self.screens,
            features=self.features,
            notes=notes,
        )


def join_rings(pieces: list[Ring]) -> list[Ring]:
    """Join pieces of outlines end to end into closed rings; what does not close is left out."""
    rings: list[Ring] = []
    open_pieces = list(pieces)
    while open_pieces:
        ids, xs, ys = (list(part) for part in open_pieces.pop())
        joined = True
        while ids[0] != ids[-1] and joined:
            joined = False
            for k, (more, mx, my) in enumerate(open_pieces):
                if more[0] == ids[-1] or more[-1] == ids[-1]:
                    step = 1 if more[0] == ids[-1] else -1
                    ids += more[::step][1:]
                    xs += mx[::step][1:]
                    ys += my[::step][1:]
                    del open_pieces[k]
                    joined = True
                    break
        if ids[0] == ids[-1] and len(ids) >= 4:
            rings.append((ids, xs, ys))
    return rings

"""How is an OpenStreetMap file read in one pass: roads, buildings, screens, features?

Formats ``.osm.pbf``, ``.osm``, ``.osm.gz``, ``.osm.bz2``, through libosmium. A short pass
over the relations finds turn restrictions and the outer ways of multipolygons; the one long
pass hands only tagged nodes and ways to Python. Assumes nodes before ways, as all published
extracts have it.
"""

from __future__ import annotations

import gc
import struct
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

import numpy as np

from capture.place.outlines import WKB_POINT, Run, join_rings, read_places, runs_of
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
_PER_DEGREE: Final = 1e7
#: hexadecimal digits before the first coordinate of a line in well-known binary form
_WKB_HEAD: Final = 18
#: service roads are asked for these tags only
_SHORT_TAGS: Final = WAY_TAGS[: WAY_TAGS.index("lanes:forward")]
_NO_MORE: Final = (None,) * (len(WAY_TAGS) - len(_SHORT_TAGS))


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
    collecting = gc.isenabled()
    gc.disable()
    try:
        for thing in processor:
            if thing.is_way():
                collector.take_way(thing)
            else:
                collector.take_node(thing)
        return collector.finish()
    finally:
        if collecting:
            gc.enable()


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


class _Collector:
    """Gathers what the passes hand over."""

    def __init__(self) -> None:
        import osmium

        factory = osmium.geom.WKBFactory()
        self.draw = factory.create_linestring
        self.all_nodes = osmium.geom.ALL
        self.no_place = (osmium.InvalidLocationError, RuntimeError)
        self.way_id: list[int] = []
        self.way_tags: list[tuple[str | None, ...]] = []
        self.counts: list[int] = [0]
        self.refs: list[int] = []
        self.places: list[str] = []
        self.controls: dict[str, list[int]] = {"traffic_signals": [], "stop": [], "crossing": []}
        self.restrictions: list[Restriction] = []
        #: id, tags, places, whether it is a building, a screen, a feature
        self.shapes: list[tuple[str, dict[str, str], str, bool, bool, bool]] = []
        self.outer_of: dict[int, list[int]] = {}
        self.areas: dict[int, dict[str, str]] = {}
        self.outers: dict[int, list[Run]] = {}
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
            where = struct.pack("<2d", node.location.lon, node.location.lat).hex()
            self.shapes.append((f"n{node.id}", _keep_tags(node.tags), where, False, False, True))

    def take_way(self, way: Any) -> None:
        get = way.tags.get
        highway = get("highway")
        if highway is not None:
            if highway in HIGHWAYS and self._is_open(get):
                self._take_road(way, get)
            return
        building = (get("building") or "no") != "no"
        feature, screen = _is_feature(get), _is_screen(get)
        relations = self.outer_of.get(way.id, ()) if self.outer_of else ()
        for relation in relations:
            self.outers.setdefault(relation, []).extend(runs_of(way.nodes))
        if building or feature or screen:
            self._take_outline(way, building, screen, feature)

    def _take_outline(self, way: Any, building: bool, screen: bool, feature: bool) -> None:
        try:
            places = self.draw(way, self.all_nodes)[_WKB_HEAD:]
        except self.no_place:
            return
        building = building and way.is_closed() and len(places) >= 4 * WKB_POINT
        if feature or screen:
            tags = _keep_tags(way.tags)
        else:
            get = way.tags.get
            found = ((key, get(key)) for key in ("height", "building:levels"))
            tags = {key: value[:_MOST_TEXT] for key, value in found if value}
        self.shapes.append((f"w{way.id}", tags, places, building, screen, feature))

    def _is_open(self, get: Any) -> bool:
        if get("service") == "emergency_access" or get("area") == "yes":
            return False
        access = get("access")
        vehicle, motor, car = get("vehicle"), get("motor_vehicle"), get("motorcar")
        if access is None and vehicle is None and motor is None and car is None:
            return True
        return is_open_to_cars(
            {"access": access, "vehicle": vehicle, "motor_vehicle": motor, "motorcar": car}
        )

    def _take_road(self, way: Any, get: Any) -> None:
        if get("highway") == "service":
            tags = (*[get(key) for key in _SHORT_TAGS], *_NO_MORE)
        else:
            tags = tuple([get(key) for key in WAY_TAGS])
        nodes = way.nodes
        runs: Iterable[Run]
        try:
            places = self.draw(way, self.all_nodes)[_WKB_HEAD:]
            runs = (([node.ref for node in nodes], places),)
        except self.no_place:
            runs = runs_of(nodes)
        known = 0
        for refs, run in runs:
            self.way_id.append(way.id)
            self.way_tags.append(tags)
            self.refs += refs
            self.places.append(run)
            self.counts.append(len(refs))
            known += len(refs)
        self.cut_ways += known < len(nodes)

    def _finish_areas(self) -> None:
        for relation, pieces in self.outers.items():
            tags = self.areas[relation]
            get = tags.get
            building = (get("building") or "no") != "no"
            for k, places in enumerate(join_rings(pieces)):
                feature = k == 0 and _is_feature(get)
                self.shapes.append(
                    (f"r{relation}", tags, places, building, _is_screen(get), feature)
                )

    def finish(self) -> Raw:
        self._finish_areas()
        notes = []
        if self.cut_ways:
            notes.append(f"{self.cut_ways} roads are cut where the extract ends")
        controls = {k: np.array(v, dtype=np.int64) for k, v in self.controls.items()}
        lat, lon, _ = read_places(self.places)
        raw = Raw(
            way_id=np.array(self.way_id, dtype=np.int64),
            way_tags=self.way_tags,
            ref_indptr=np.cumsum(np.array(self.counts, dtype=np.int64)),
            ref_id=np.array(self.refs, dtype=np.int64),
            ref_lat=lat,
            ref_lon=lon,
            signal_id=controls["traffic_signals"],
            stop_id=controls["stop"],
            crossing_id=controls["crossing"],
            restrictions=self.restrictions,
            notes=notes,
        )
        self._finish_shapes(raw)
        return raw

    def _finish_shapes(self, raw: Raw) -> None:
        lat, lon, starts = read_places([shape[2] for shape in self.shapes])
        ends = starts.tolist()
        for k, (osm_id, tags, _, building, screen, feature) in enumerate(self.shapes):
            part = slice(ends[k], ends[k + 1])
            shape = Shape(osm_id=osm_id, tags=tags, lat=lat[part], lon=lon[part])
            if building:
                raw.buildings.append(shape)
            if screen and len(shape.lat) > 1:
                raw.screens.append(shape)
            if feature:
                raw.features.append(shape)

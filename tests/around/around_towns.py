"""Small towns drawn by hand for the tests of rivals and people."""

import math
from pathlib import Path
from types import SimpleNamespace
from xml.sax.saxutils import quoteattr

import numpy as np

LAT, LON = 43.6, -87.3
NORTH_M = 111_117.0
EAST_M = 111_320.0 * math.cos(math.radians(LAT)) * 1.0014


def to_degrees(x, y):
    return LAT + y / NORTH_M, LON + x / EAST_M


def draw_town(folder: Path, *, nodes, ways, points=(), areas=(), relations=()) -> Path:
    """Write a roads file: nodes {id: (x, y)}, ways [(nodes, tags)], points [((x, y), tags)]."""

    def tags_text(tags):
        return "".join(f"<tag k={quoteattr(k)} v={quoteattr(v)}/>" for k, v in tags.items())

    def node_text(number, x, y, tags):
        lat, lon = to_degrees(x, y)
        return f'<node id="{number}" lat="{lat:.7f}" lon="{lon:.7f}">{tags_text(tags)}</node>'

    lines = [node_text(number, x, y, {}) for number, (x, y) in nodes.items()]
    ways_text, number = [], 1000
    for (x, y), tags in points:
        number += 1
        lines.append(node_text(number, x, y, tags))
    for ring, tags in areas:
        refs = []
        for x, y in ring:
            number += 1
            refs.append(number)
            lines.append(node_text(number, x, y, {}))
        nds = "".join(f'<nd ref="{ref}"/>' for ref in [*refs, refs[0]])
        ways_text.append(f'<way id="{number + 5000}">{nds}{tags_text(tags)}</way>')
    for k, (run, tags) in enumerate(ways):
        nds = "".join(f'<nd ref="{ref}"/>' for ref in run)
        ways_text.append(f'<way id="{100 + k}">{nds}{tags_text(tags)}</way>')
    file = folder / "roads.osm"
    body = "\n".join(lines + ways_text)
    file.write_text(f'<osm version="0.6">\n{body}\n</osm>\n', encoding="utf-8")
    return file


def draw_crossing(folder: Path, **more) -> Path:
    """A main road west to east, 1 west, 2 crossing, 4 east; 5 north and 6 south of the crossing."""
    road = {"highway": "primary", "maxspeed": "36", "name": "Main"}
    side = {"highway": "secondary", "maxspeed": "36", "name": "Side"}
    return draw_town(
        folder,
        nodes={1: (-1000, 0), 2: (0, 0), 4: (1000, 0), 5: (0, 1000), 6: (0, -1000)},
        ways=[([1, 2], road), ([2, 4], road), ([5, 2], side), ([2, 6], side)],
        **more,
    )


def find_edge(network, tail, head):
    """The edge between two nodes of the map."""
    ids = network.node_id
    found = np.flatnonzero((ids[network.edge_tail] == tail) & (ids[network.edge_head] == head))
    assert len(found) == 1
    return int(found[0])


def make_sites(network, spots):
    xy = np.atleast_2d(np.asarray(spots, dtype=float))
    lat, lon = network.projection.to_latlon(xy[:, 0], xy[:, 1])
    return SimpleNamespace(
        x=xy[:, 0], y=xy[:, 1], lat=lat, lon=lon, ids=tuple(map(str, range(len(xy))))
    )


def make_streams(network, sites):
    """Every direction of the road nearest to each site."""
    from capture.place import snap

    at = snap(network, sites.x, sites.y)
    rows = []
    for k, (segment, fraction) in enumerate(zip(at.segment, at.fraction, strict=True)):
        for edge, driven in (
            (network.segment_edge_forward[segment], fraction),
            (network.segment_edge_backward[segment], 1 - fraction),
        ):
            if edge >= 0:
                rows.append((k, edge, driven))
    site, edge, fraction = (np.array(column) for column in zip(*rows, strict=True))
    return SimpleNamespace(site=site, edge=edge, fraction=fraction.astype(float))


def even_volumes(network):
    flow = np.where(network.segment_class[network.edge_segment] < 5, 8000.0, 300.0)
    return SimpleNamespace(edge_vehicles_per_day=flow)

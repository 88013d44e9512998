"""Small maps written as text, for tests that need a roads file with a known answer."""

from __future__ import annotations

from pathlib import Path
from xml.sax.saxutils import quoteattr

Tags = dict[str, str]

#: degrees of about a metre at 40 north
LAT_M = 1 / 111_035.0
LON_M = 1 / 85_394.0


def _tags(tags: Tags) -> str:
    return "".join(f"<tag k={quoteattr(k)} v={quoteattr(v)}/>" for k, v in tags.items())


class OsmText:
    """Collects nodes in metres around 40 north, 90 west, ways and relations."""

    def __init__(self) -> None:
        self.parts: dict[str, list[str]] = {"node": [], "way": [], "relation": []}
        self.known: set[int] = set()

    def node(self, number: int, x: float, y: float, **tags: str) -> int:
        lat, lon = 40 + y * LAT_M, -90 + x * LON_M
        self.parts["node"].append(
            f'<node id="{number}" version="1" lat="{lat:.7f}" lon="{lon:.7f}">'
            f"{_tags(_spelt(tags))}</node>"
        )
        return number

    def way(self, number: int, nodes: list[int], tags: Tags) -> int:
        refs = "".join(f'<nd ref="{n}"/>' for n in nodes)
        self.parts["way"].append(f'<way id="{number}" version="1">{refs}{_tags(tags)}</way>')
        return number

    def relation(self, number: int, members: list[tuple[str, int, str]], tags: Tags) -> int:
        told = "".join(f'<member type="{t}" ref="{r}" role="{role}"/>' for t, r, role in members)
        self.parts["relation"].append(
            f'<relation id="{number}" version="1">{told}{_tags(tags)}</relation>'
        )
        return number

    def ban(self, number: int, kind: str, start: int, via: int, end: int, **more: str) -> int:
        members = [("way", start, "from"), ("node", via, "via"), ("way", end, "to")]
        return self.relation(number, members, {"type": "restriction", "restriction": kind, **more})

    def text(self) -> str:
        body = "".join("".join(part) for part in self.parts.values())
        return f'<?xml version="1.0" encoding="UTF-8"?><osm version="0.6">{body}</osm>'

    def save(self, folder: Path, name: str = "roads.osm") -> Path:
        file = folder / name
        file.write_text(self.text(), encoding="utf-8")
        return file


def _spelt(tags: Tags) -> Tags:
    return {k.replace("__", ":"): v for k, v in tags.items()}


def cross(arm_m: float = 500.0) -> OsmText:
    """Four streets that meet at node 1: ways 12 (east), 13 (north), 14 (west), 15 (south)."""
    town = OsmText()
    town.node(1, 0, 0)
    for number, (x, y) in {2: (1, 0), 3: (0, 1), 4: (-1, 0), 5: (0, -1)}.items():
        town.node(number, x * arm_m, y * arm_m)
    names = {2: "East Street", 3: "North Street", 4: "East Street", 5: "North Street"}
    for number, name in names.items():
        ends = [1, number] if number in (2, 3) else [number, 1]
        town.way(10 + number, ends, {"highway": "secondary", "name": name, "maxspeed": "36"})
    return town

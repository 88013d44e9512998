"""Do the screens on rivals and on the share do what they say, and keep it?"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from siteapp import engine, rival_parts
from siteapp.workspace import Inputs, Workspace

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data_public" / "demo"
SCREENS = ROOT / "siteapp" / "screens"
MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
#: an own wash far out, that stands on the demo's map
OWN = {
    "id": "Own <b>Wash", "operator": "Mine", "lat": "43.6247155", "lon": "-87.3068984",
    "line_cars_per_hour": "120", **{f"cars_{month}": "8000" for month in MONTHS},
}  # fmt: skip


@pytest.fixture
def space(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Workspace:
    path = tmp_path / "work.sqlite"
    monkeypatch.setenv("SITEAPP_WORKSPACE", str(path))
    engine.open_workspace.clear()
    return Workspace(path)


@pytest.fixture
def run(space: Workspace) -> Callable[..., AppTest]:
    def start(screen: str, **inputs: Any) -> AppTest:
        made = Inputs(area=str(DEMO), site="parcel:P04", draws=300, **inputs)
        space.add("study", made)
        app = AppTest.from_file(str(SCREENS / f"{screen}.py"), default_timeout=60).run()
        assert not app.exception
        return app

    return start


def kept(space: Workspace) -> Inputs:
    return space.studies()[0].inputs


def said(app: AppTest) -> str:
    return "\n".join(str(part.value) for part in (*app.markdown, *app.caption, *app.warning))


def test_spot_shows_what_one_more_wash_would_do_and_keeps_it(run, space) -> None:
    app = run("rivals")
    app.text_input[0].set_value("43.604, -87.300")
    app.button(key="FormSubmitter:rival-typed-Try one more wash there").click().run()
    assert not app.exception
    assert "the share washed goes from" in said(app)
    assert "years to pay back" in said(app)
    next(box for box in app.text_input if box.label == "Its name").set_value("New *Wash*").run()
    next(button for button in app.button if button.label == "Keep it in the list").click().run()
    assert not app.exception
    (edit,) = kept(space).rivals
    assert edit["do"] == "add"
    assert edit["name"] == "New *Wash*"
    study = engine.get_brief(kept(space))
    assert study.rivals.names[-1] == "New *Wash*"
    assert "New &#42;Wash&#42;" in said(app) or "New *Wash*" in said(app)


def test_wash_is_changed_taken_out_and_brought_back(run, space) -> None:
    app = run("rivals")
    app.selectbox(key="rival-chosen-1").set_value("W01").run()
    next(box for box in app.selectbox if box.label == "Is it").set_value("closed")
    next(button for button in app.button if button.label == "Change it").click().run()
    assert kept(space).rivals == [{"do": "change", "id": "W01", "status": "closed"}]
    before = engine.get_brief(kept(space)).around.pull[0]
    next(b for b in app.button if b.label == "Take it out of the list").click().run()
    assert kept(space).rivals[-1] == {"do": "remove", "id": "W01"}
    assert engine.get_brief(kept(space)).around.pull[0] == before
    next(b for b in app.button if b.label == "Take all of them back").click().run()
    assert kept(space).rivals == []
    assert not app.exception


@pytest.mark.parametrize("typed", ["abc", "1", "0, 0", "43.6, 87.3", "999, 999"])
def test_bad_spot_gets_one_sentence(run, typed) -> None:
    app = run("rivals")
    app.text_input[0].set_value(typed)
    app.button(key="FormSubmitter:rival-typed-Try one more wash there").click().run()
    assert not app.exception
    assert app.warning
    assert "Traceback" not in said(app)


def test_edits_in_the_table_become_changes() -> None:
    before = pd.DataFrame(
        {"name": ["a", "b"], "format": ["hand wash", "hand wash"], "bays": [1.0, float("nan")]},
        index=["x", "y"],
    )
    after = before.copy()
    after.loc["x", "format"] = "in-bay automatic"
    after.loc["y", "bays"] = 3.0
    assert rival_parts.find_edits(before, after) == [
        {"do": "change", "id": "x", "format": "in_bay"},
        {"do": "change", "id": "y", "bays": 3.0},
    ]
    assert rival_parts.find_edits(before, before.copy()) == []


def test_taking_back_an_added_wash_takes_back_what_was_done_to_it() -> None:
    edits = [
        {"do": "add", "id": "hand1", "lat": 1.0, "lon": 1.0},
        {"do": "change", "id": "W01", "format": "hand"},
        {"do": "change", "id": "hand1", "format": "fuel"},
    ]
    assert rival_parts.drop_edit(edits, 0) == [edits[1]]
    assert rival_parts.add_edit(edits[:1], {"do": "change", "id": "hand1", "name": "n"}) == [
        {"do": "add", "id": "hand1", "lat": 1.0, "lon": 1.0, "name": "n"}
    ]
    assert rival_parts.free_id(["hand1"], [{"id": "hand2"}]) == "hand3"


def test_row_left_out_changes_the_fit_and_comes_back(run, space) -> None:
    app = run("share")
    assert "K36" in said(app)
    next(b for b in app.button if b.label == "Leave K36 out").click().run()
    assert not app.exception
    assert kept(space).left_out == ["K36"]
    assert engine.get_brief(kept(space)).fit.known_count == 39
    assert "times the lowest instead of" in said(app)
    box = next(each for each in app.multiselect if each.label == "Left out of the fit")
    assert box.value == ["K36"]
    box.set_value([]).run()
    assert kept(space).left_out == []


def test_pasted_rows_are_taken_in_measured_and_tested_by_month(run, space) -> None:
    app = run("share")
    text = ",".join(OWN) + "\n" + ",".join(OWN.values())
    app.text_area[0].set_value(text)
    next(b for b in app.button if b.label == "Take these rows in").click().run()
    assert not app.exception
    assert kept(space).known == [OWN]
    assert "measured on the map where empty" in said(app).replace("&#45;", "-").lower()
    study = engine.get_brief(kept(space))
    assert study.fit.known.cars_per_year[-1] == 96_000
    assert "Told from the other sites, Own &lt;b&gt;Wash would wash" in said(app)
    assert "<b>Wash" not in said(app)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("site,cars\nOak,90000", "aadt_veh_day is empty"),
        ("site,cars,aadt\nOak,nine,25000", "cars_per_year must be"),
        ("site,cars,washes\nOak,1,2", "two columns stand for"),
        ("only one line", "no rows"),
        ("id,month,cars\nOak,13,5", "is not one"),
        ("site,cars,aadt,format\nOak,90000,25000,rocket", "format must be one of"),
    ],
)
def test_bad_rows_get_one_sentence_and_are_not_kept(run, space, text, wanted) -> None:
    app = run("share")
    app.text_area[0].set_value(text)
    next(b for b in app.button if b.label == "Take these rows in").click().run()
    assert not app.exception
    assert app.warning
    shown = app.warning[0].value.replace("&#95;", "_").replace("&#45;", "-")
    assert wanted in shown
    assert kept(space).known == []


def test_rows_that_no_longer_fit_can_be_mended(run, space) -> None:
    app = run("share", known=[{"id": "Oak", "cars_per_year": "90000"}])
    assert "Nothing can be shown until this is mended" in said(app)
    assert "aadt_veh_day is empty" in app.error[0].value.replace("&#95;", "_")
    app = AppTest.from_file(str(SCREENS / "rivals.py"), default_timeout=60)
    space.save(space.studies()[0], kept(space).change(
        known=[], rivals=[{"do": "remove", "id": "gone"}]))  # fmt: skip
    app.run()
    assert "none with id" in app.error[0].value
    next(b for b in app.button if b.label.startswith("Take back")).click().run()
    assert kept(space).rivals == []
    assert not app.exception
    assert not app.error


def test_a_wash_that_opens_or_closes_says_what_it_does(run) -> None:
    app = run("rivals")
    app.selectbox(key="rival-chosen-1").set_value("W09").run()
    assert "If Sparrow Express Wash were open: the share washed goes from" in said(app)
    app.selectbox(key="rival-chosen-1").set_value("W01").run()
    assert "If Blue Heron Wash were closed: the share washed goes from" in said(app)
    assert not app.exception


def test_hoped_share_and_second_site_answer(run) -> None:
    app = run("share", known=[OWN])
    next(n for n in app.number_input if n.label.startswith("The share that you")).set_value(2.0)
    app.run()
    assert "chance of 2.00% or more" in said(app)
    assert "The second site would wash about" in said(app)
    line = next(n for n in app.number_input if n.label.startswith("Most cars an hour"))
    line.set_value(40.0).run()
    assert "A longer line at site one" in said(app)
    assert not app.exception


def test_no_known_sites_and_no_people_are_said(space, tmp_path) -> None:
    bare = tmp_path / "bare"
    bare.mkdir()
    (bare / "roads.osm").write_bytes((DEMO / "roads.osm").read_bytes())
    (bare / "area.toml").write_text('name = "bare"\n[layers.roads]\npath = "roads.osm"\n')
    space.add("bare", Inputs(area=str(bare), site="43.6089,-87.3069", draws=200))
    for screen in ("share", "rivals"):
        app = AppTest.from_file(str(SCREENS / f"{screen}.py"), default_timeout=60).run()
        assert not app.exception
        assert not app.error, app.error[0].value
    assert "no layer of people" in said(app)

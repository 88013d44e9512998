"""Are holidays, closed days and monthly weather taken on screen, checked and taken away?"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from capture.basis import CaptureError
from siteapp import engine, own_year
from siteapp.workspace import Inputs, Workspace

ROOT = Path(__file__).resolve().parents[2]
SCREEN = ROOT / "siteapp" / "screens" / "busy.py"
MONTHS = [[9.0, 2.0, 20.0]] * 12


@pytest.fixture
def space(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Workspace:
    path = tmp_path / "work.sqlite"
    monkeypatch.setenv("SITEAPP_WORKSPACE", str(path))
    engine.open_workspace.clear()
    return Workspace(path)


@pytest.fixture
def run(space: Workspace) -> Callable[..., AppTest]:
    def start(**inputs: Any) -> AppTest:
        demo = str(ROOT / "data_public" / "demo")
        space.add("study", Inputs(area=demo, site="parcel:P01", draws=200, **inputs))
        app = AppTest.from_file(str(SCREEN), default_timeout=120).run()
        assert not app.exception
        return app

    return start


def kept(space: Workspace) -> dict[str, Any]:
    return space.studies()[0].inputs.year_choice


def find(parts: Any, label: str) -> Any:
    return next(part for part in parts if part.label == label)


def test_country_state_and_closed_days_are_kept_and_reach_the_year(run, space) -> None:
    app = run()
    find(app.selectbox, "Public holidays of").set_value("US").run()
    find(app.selectbox, "State or province").set_value("TX").run()
    find(app.text_input, "Days shut each year, month-day").set_value("12-25; 11-28").run()
    assert not app.exception
    assert kept(space) == {
        "country": "US", "subdivision": "TX", "closed_days": ["2024-12-25", "2024-11-28"],
    }  # fmt: skip
    shape = engine.get_brief(space.studies()[0].inputs).shape
    assert shape.day_share[[358, 331]].sum() == 0
    find(app.text_input, "Days shut each year, month-day").set_value("13-45").run()
    assert "must be a month and day" in app.warning[0].value
    assert kept(space)["closed_days"] == ["2024-12-25", "2024-11-28"]
    find(app.selectbox, "Public holidays of").set_value("").run()
    assert set(kept(space)) == {"closed_days"}


def test_months_are_taken_away(run, space) -> None:
    app = run(year_choice={"normals": MONTHS})
    find(app.button, "Take these months away").click().run()
    assert not app.exception
    assert kept(space) == {}


def test_empty_months_are_refused_in_words(run, space) -> None:
    app = run()
    find(app.button, "Use these months").click().run()
    assert "got none in Jan, Feb, Mar" in app.warning[0].value
    assert kept(space) == {}


@pytest.mark.parametrize("system", ["us", "metric"])
def test_months_come_back_as_they_were_typed(system) -> None:
    table = own_year.make_normals_table(MONTHS, system)
    assert table[own_year.name_columns(system)[2]][0] == (68.0 if system == "us" else 20.0)
    assert own_year.read_normals_table(table, system) == MONTHS


@pytest.mark.parametrize(
    "told",
    [
        {"country": "ZZ"}, {"country": 3}, {"closed_days": ["x"]}, {"closed_days": 4},
        {"normals": [[1.0, 2.0]]}, {"normals": [["a", None, None]] * 12},
    ],
)  # fmt: skip
def test_a_damaged_year_is_said_and_not_taken(told) -> None:
    with pytest.raises(CaptureError):
        own_year.get_year(told)


def test_the_year_survives_the_workspace() -> None:
    told = {"country": "US", "normals": MONTHS}
    assert Inputs.from_dict(Inputs(year_choice=told).to_dict()).year_choice == told
    with pytest.raises(CaptureError, match="year_choice must be dict"):
        Inputs.from_dict({"year_choice": []})

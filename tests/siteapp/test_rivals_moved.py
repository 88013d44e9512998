"""Can a rival be moved, and is the operator's own wash offered to be taken out of the list?"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from capture.basis import LocalProjection
from capture.papers.own_rivals import find_own_rivals
from siteapp import engine, rival_parts
from siteapp.workspace import Inputs, Workspace

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data_public" / "demo"
SCREEN = ROOT / "siteapp" / "screens" / "rivals.py"
#: stands on the lot of the first rival of the demo
OWN = {"id": "Own <b>Wash", "lat": "43.6247155", "lon": "-87.3068984", "cars_per_year": "96000"}
PLANE = LocalProjection(centre_lat=40.0, centre_lon=-75.0)


@pytest.fixture
def space(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Workspace:
    path = tmp_path / "work.sqlite"
    monkeypatch.setenv("SITEAPP_WORKSPACE", str(path))
    engine.open_workspace.clear()
    return Workspace(path)


@pytest.fixture
def run(space: Workspace) -> Callable[..., AppTest]:
    def start(**inputs: Any) -> AppTest:
        space.add("study", Inputs(area=str(DEMO), site="parcel:P04", draws=200, **inputs))
        app = AppTest.from_file(str(SCREEN), default_timeout=90).run()
        assert not app.exception
        return app

    return start


def kept(space: Workspace) -> Inputs:
    return space.studies()[0].inputs


def test_rival_is_moved_by_a_typed_spot_and_taken_back(run, space) -> None:
    app = run()
    app.selectbox(key="rival-chosen-1").set_value("W01").run()
    box = next(one for one in app.text_input if one.label == "Or type its latitude, longitude")
    box.set_value("nonsense")
    app.button(key="FormSubmitter:move-W01-1-Move it").click().run()
    assert "two numbers with a comma" in "".join(str(one.value) for one in app.warning)
    box = next(one for one in app.text_input if one.label == "Or type its latitude, longitude")
    box.set_value("43.6200, -87.3000")
    app.button(key="FormSubmitter:move-W01-1-Move it").click().run()
    assert kept(space).rivals == [{"do": "change", "id": "W01", "lat": 43.62, "lon": -87.3}]
    rivals = engine.get_brief(kept(space)).rivals
    assert rivals.lat[rivals.find("W01")] == 43.62
    assert rival_parts.say_edit(kept(space).rivals[0], {"W01": "Oak"}) == "Oak: moved"
    app.button(key="back-0-2").click().run()
    assert kept(space).rivals == []


def test_own_wash_among_the_rivals_goes_with_one_press(run, space) -> None:
    app = run(known=[OWN])
    pull = float(np.atleast_1d(engine.get_brief(kept(space)).around.pull)[0])
    told = "\n".join(str(part.value) for part in app.markdown)
    assert "Own &lt;b&gt;Wash" in told
    assert "counts as a rival of this site" in told
    app.button(key="own-W01-1").click().run()
    assert kept(space).rivals == [{"do": "remove", "id": "W01"}]
    assert "counts as a rival" not in "\n".join(str(part.value) for part in app.markdown)
    assert float(np.atleast_1d(engine.get_brief(kept(space)).around.pull)[0]) < pull


def test_own_wash_is_found_by_name_or_nearness_among_open_ones_only() -> None:
    lat, lon = PLANE.to_latlon([0.0, 90.0, 5000.0, 10.0], [0.0, 0.0, 0.0, 0.0])
    rivals = SimpleNamespace(
        ids=("a", "b", "c", "d"), names=("", "", "Oak Wash", "shut"),
        status=("open", "open", "open", "closed"),
        x=np.array([0.0, 90.0, 5000.0, 10.0]), y=np.zeros(4),
    )  # fmt: skip
    place = SimpleNamespace(network=SimpleNamespace(projection=PLANE))
    at = [(float(one), float(two)) for one, two in zip(lat, lon, strict=True)]
    found = find_own_rivals(
        rivals, place, {"mine": at[3], "next": at[0], "oak wash ": at[0], "far": (41.0, -75.0)}
    )
    assert [(one.own, one.rival_id) for one in found] == [
        ("mine", "a"), ("next", "b"), ("oak wash ", "c"),
    ]  # fmt: skip
    assert found[0].apart_m == pytest.approx(10.0, abs=0.1)

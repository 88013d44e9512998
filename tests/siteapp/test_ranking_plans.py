"""Does a ranking take each parcel as its own study has planned it?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from siteapp import engine
from siteapp.workspace import Inputs

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"


@pytest.fixture
def space(tmp_path, monkeypatch):
    monkeypatch.setenv("SITEAPP_WORKSPACE", str(tmp_path / "work.sqlite"))
    engine.open_workspace.clear()
    yield engine.open_workspace()
    engine.open_workspace.clear()


def test_a_parcel_is_ranked_as_its_study_plans_it(space):
    first = Inputs(area=str(DEMO), site="parcel:P01", draws=100)
    site = "parcel:P04"
    driveway = engine.get_brief(first.change(site=site)).frontage.driveway[0]
    plan = {site: {"grade": {driveway: 6.0}, "access": {driveway: 45.0}}}
    space.add("Sheet", first)
    before = engine.get_many(first)
    planned = space.add("Planned", first.change(site=site, plan=plan))

    after = engine.get_many(first)

    own = engine.get_brief(planned.inputs)
    row = list(before.sites.ids).index("P04")
    assert after.cars_per_year[row] == pytest.approx(own.cars_per_year, rel=1e-6)
    assert np.median(after.cars_per_year[row]) < np.median(before.cars_per_year[row])
    others = np.arange(len(before.sites.ids)) != row
    assert (after.cars_per_year[others] == before.cars_per_year[others]).all()

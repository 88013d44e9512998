"""Do saved studies leave without the client's own figures where these are hidden?"""

from __future__ import annotations

import json
from pathlib import Path

from siteapp.handing import export_studies
from siteapp.inputs import Inputs
from siteapp.workspace import Workspace

PRIVATE = Inputs(
    area="somewhere",
    site="parcel:P04",
    offer={"ticket_price_usd": 17.37, "land_cost_usd": 1_287_653.0, "bays": 3},
    replaced={"money.tax_insurance_usd_year": 81_239.0},
    answers={"sewer": {"status": "ask", "who": "Ann Withers"}},
    known=[{"id": "Old Mill Wash", "cars_per_year": "91237"}],
    sales=[["2024-01-01", 4711]],
    member_months=[{"month": "2024-01", "tickets": "7919"}],
)
FIGURES = ("17.37", "1287653", "81239", "Ann Withers", "Old Mill Wash", "91237", "4711", "7919")


def test_hidden_studies_leave_without_own_figures_and_say_so(tmp_path: Path) -> None:
    space = Workspace(tmp_path / "work.sqlite")
    kept = space.add("for a client", PRIVATE)
    open_one = space.add("open", PRIVATE.change(answers={}))
    space.keep_setting(f"withheld {kept.id}", "yes")
    told = json.loads(export_studies(space))["studies"]
    by_name = {item["name"]: item for item in told}
    hidden = json.dumps(by_name["for a client"])
    assert [word for word in FIGURES if word in hidden] == []
    assert "price of a single wash" in by_name["for a client"]["withheld"]
    assert by_name["for a client"]["inputs"]["offer"] == {"bays": 3}
    assert "17.37" in json.dumps(by_name[open_one.name])
    assert "withheld" not in by_name[open_one.name]


def test_what_was_left_out_can_be_brought_in_again_as_far_as_it_goes(tmp_path: Path) -> None:
    space = Workspace(tmp_path / "work.sqlite")
    kept = space.add("for a client", PRIVATE)
    space.keep_setting(f"withheld {kept.id}", "yes")
    other = Workspace(tmp_path / "other.sqlite")
    (made,) = other.bring_in(export_studies(space))
    assert made.inputs.site == "parcel:P04"
    assert made.inputs.offer == {"bays": 3}
    assert made.inputs.known == []

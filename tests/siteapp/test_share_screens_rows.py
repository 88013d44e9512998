"""Do rivals changed by hand and own washes reach the chain, and join the area's rows?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from capture.area import open_area
from capture.basis import DataError
from capture.papers.known_rows import MOST_OWN_ROWS, TEMPLATE, clean_rows, join_known, merge_rows
from capture.papers.member_months import clean_months, learn_members
from capture.share import read_pasted
from siteapp import engine
from siteapp.workspace import Inputs

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"


@pytest.fixture(scope="module")
def area():
    return open_area(DEMO)


@pytest.fixture(scope="module")
def inputs():
    return Inputs(area=str(DEMO), site="parcel:P04", draws=400)


def test_no_rows_give_the_areas_own(area) -> None:
    joined = join_known(area, [])
    assert len(joined.everyone) == len(joined.used) == 40
    assert joined.own == ()
    assert joined.notes == ()


def test_own_row_joins_and_replaces_one_of_the_same_name(area) -> None:
    pasted = read_pasted("site,cars,aadt\nOak St,90000,25000\nK01,100000,30000")
    joined = join_known(area, clean_rows(pasted))
    assert joined.own == ("Oak St", "K01")
    assert len(joined.everyone) == 41
    at = joined.everyone.ids.index("K01")
    assert joined.everyone.cars_per_year[at] == 100_000
    assert any("replaced by yours" in note for note in joined.notes)


def test_left_out_rows_stay_in_the_list_of_all(area) -> None:
    joined = join_known(area, [], left_out=["K36", "K36", "gone"])
    assert joined.left_out == ("K36",)
    assert len(joined.used) == 39
    assert len(joined.everyone) == 40


def test_months_are_made_a_year_and_kept(area) -> None:
    heads = ",".join(f"cars_{n}" for n in range(1, 13))
    cells = ",".join(["7000"] * 12)
    joined = join_known(area, clean_rows(read_pasted(f"id,aadt,{heads}\nOak,25000,{cells}")))
    assert joined.everyone.cars_per_year[-1] == 84_000
    np.testing.assert_array_equal(joined.months["Oak"], np.full(12, 7000.0))


def test_rows_by_month_become_one_row_a_site(area) -> None:
    lines = "\n".join(f"Oak;25000;2024-{n:02d};7000" for n in range(1, 7))
    rows = clean_rows(read_pasted(f"id;aadt;month;cars\n{lines}"))
    assert len(rows) == 1
    joined = join_known(area, rows)
    assert np.isfinite(joined.months["Oak"]).sum() == 6
    assert joined.everyone.cars_cv[-1] > 0


def test_new_rows_replace_old_ones_of_the_same_name() -> None:
    merged = merge_rows([{"id": "a", "bays": "1"}, {"id": "b"}], [{"id": "a", "bays": "3"}])
    assert merged == [{"id": "b"}, {"id": "a", "bays": "3"}]
    with pytest.raises(DataError, match="two columns stand for cars_per_year"):
        clean_rows(pd.DataFrame({"cars": ["1"], "washes": ["2"]}))


def test_faults_name_row_and_remedy(area) -> None:
    with pytest.raises(DataError, match=r"your sites.*row 2.*aadt_veh_day is empty"):
        join_known(area, [{"id": "Oak", "cars": "90000"}])
    with pytest.raises(DataError, match="at most"):
        clean_rows(pd.DataFrame({"id": range(MOST_OWN_ROWS + 1)}))
    with pytest.raises(DataError, match="characters"):
        clean_rows(pd.DataFrame({"id": ["x" * 500]}))


def test_template_is_understood(area) -> None:
    row = dict.fromkeys(TEMPLATE, "")
    row |= {"id": "Oak", "cars_per_year": "90000", "aadt_veh_day": "25000"}
    joined = join_known(area, clean_rows(pd.DataFrame([row])))
    assert not [note for note in joined.notes if "not understood" in note]


def test_own_row_on_the_map_is_measured(inputs) -> None:
    rows = [{"id": "Mine", "cars_per_year": "90000", "lat": "43.6247155", "lon": "-87.3068984",
             "sight": "0.5"}]  # fmt: skip
    changed = inputs.change(known=rows)
    study = engine.get_brief(changed)
    known = study.fit.known
    assert known.ids[-1] == "Mine"
    at = known.factors.names.index("delay")
    assert np.isfinite(known.factors.x[-1, at])
    assert known.vehicles_veh_day[-1] > 1000
    assert known.factors.x[-1, known.factors.names.index("sight")] == 0.5
    assert study.fit.known_count == 41


def test_rival_added_lowers_the_share_and_its_undoing_brings_the_answer_back(inputs) -> None:
    before = engine.get_brief(inputs)
    site = before.sites
    edit = {"do": "add", "lat": float(site.lat[0]) + 0.002, "lon": float(site.lon[0]),
            "format": "exterior", "name": "new"}  # fmt: skip
    after = engine.get_brief(inputs.change(rivals=[edit]))
    assert len(after.rivals) == len(before.rivals) + 1
    assert np.median(after.share.rate) < 0.9 * np.median(before.share.rate)
    again = engine.get_brief(inputs.change(rivals=[]))
    np.testing.assert_array_equal(again.share.rate, before.share.rate)
    with pytest.raises(engine.CaptureError, match="none with id"):
        engine.get_brief(inputs.change(rivals=[{"do": "remove", "id": "nobody"}]))


def test_left_out_row_is_not_in_the_fit(inputs) -> None:
    study = engine.get_brief(inputs.change(left_out=["K36"]))
    assert study.fit.known_count == 39
    assert "K36" not in study.fit.known.ids


MONTHS = [
    {"month": month, "tickets": tickets, "joins": "150", "leavers": "80", "members": "1600",
     "member_washes": "5600", "ticket_price_usd": price}
    for month, tickets, price in (
        ("jan", "4100", "12"), ("feb", "4000", "12"), ("mar", "4600", "14")
    )
]  # fmt: skip


def test_own_months_teach_members_and_reach_the_chain(inputs) -> None:
    found = learn_members(MONTHS)
    learned = {each.name: each for each in found.learned}
    assert learned["leaving_month"].value == pytest.approx(0.05, rel=0.05)
    assert learned["visits_member_month"].value == pytest.approx(3.5, rel=0.05)
    assert "ticket_elasticity" in learned
    assert "join_elasticity" not in learned
    assert any("plan_price_usd" in note for note in found.notes)
    study = engine.get_brief(inputs.change(member_months=MONTHS))
    kept = study.numbers["share"]["leaving_month"]
    assert (kept.value, kept.grade) == (pytest.approx(0.05, rel=0.05), "yours")
    assert kept.low < kept.value < kept.high
    own = inputs.change(member_months=MONTHS, replaced={"share.leaving_month": 0.2})
    assert engine.get_brief(own).numbers["share"].value("leaving_month") == 0.2


def test_bad_months_are_named_and_none_is_kept() -> None:
    with pytest.raises(DataError, match="row 1: tickets must be 0 to"):
        clean_months(pd.DataFrame({"month": ["jan"], "tickets": ["many"]}))
    with pytest.raises(DataError, match="mapping"):
        learn_members(["x"])
    assert learn_members([]).learned == ()

"""Do choices of the hour, the line and the ground reach the strip in a real browser?"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from siteapp.workspace import Inputs, Workspace

pytestmark = pytest.mark.browser

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"
SLOW_MS = 30_000


def settle(page: Any) -> None:
    for _ in range(2):
        page.wait_for_timeout(300)
        page.locator("[data-test-script-state='notRunning']").first.wait_for()


def open_study(watched: Any, app: Any, screen: str, **inputs: Any) -> tuple[Any, Any]:
    """Open a screen of a fresh study; returns the page and what reads the study again."""
    space = Workspace(app.workspace)
    kept = space.add("Try", Inputs(area=str(DEMO), site="parcel:P01", draws=200, **inputs))
    page = watched.page
    page.set_default_timeout(SLOW_MS)
    page.goto(f"{app.address}{screen}?study={kept.id}")
    page.locator(".st-key-strip").wait_for()
    page.get_by_text("numbers this rests on").wait_for()
    settle(page)
    return page, lambda: space.load(kept.id).inputs


def read_claim(page: Any, key: str) -> str:
    return str(page.locator(f".st-key-why-{key}").inner_text())


def wait_for_other_claim(page: Any, key: str, before: str) -> str:
    page.wait_for_function(
        "([key, before]) => { const c = document.querySelector('.st-key-why-' + key);"
        " return c && c.innerText !== before; }",
        arg=[key, before],
    )
    settle(page)
    return read_claim(page, key)


def assert_no_fault(page: Any) -> None:
    assert page.locator("[data-testid='stException']").count() == 0


def open_part(page: Any, title: str) -> None:
    """Open a part that may be folded away, and see that it stays open."""
    part = page.locator("details").filter(has=page.locator("summary", has_text=title))
    part.wait_for()
    settle(page)
    for _ in range(5):
        if part.evaluate("part => part.open"):
            return
        part.locator("summary").click()
        settle(page)
    raise AssertionError(f"{title} does not open")


def choose(page: Any, label: str, option: str) -> None:
    box = page.get_by_role("combobox", name=re.compile(label))
    box.click()
    page.get_by_role("option", name=option, exact=True).click()


def test_how_often_it_may_be_full_sets_the_hour(watched, app) -> None:
    page, read = open_study(watched, app, "busy")
    before = read_claim(page, "hour")
    choose(page, "How often are you content", "in a hundred hours a year")
    wait_for_other_claim(page, "hour", before)
    assert read().offer["busy_rank"] == 100
    assert_no_fault(page)


def test_own_sales_shape_the_year_and_can_be_taken_back(watched, app, tmp_path) -> None:
    page, read = open_study(watched, app, "busy")
    before = read_claim(page, "hour")
    times = pd.date_range("2025-03-03 07:00", periods=24 * 42, freq="h")
    times = times[(times.hour >= 7) & (times.hour < 21)]
    cars = np.where(times.hour == 17, 90, 4)
    path = tmp_path / "sales.csv"
    pd.DataFrame({"time": times.strftime("%Y-%m-%d %H:%M"), "cars": cars}).to_csv(path, index=False)
    open_part(page, "Your own sales by hour")
    page.locator("input[type=file]").set_input_files(path)
    page.get_by_text("The file has 42 days").wait_for(state="attached")
    open_part(page, "Your own sales by hour")
    page.get_by_role("button", name="Use this file").click()
    page.get_by_text("follows your own file of 42 days").wait_for()
    peaked = wait_for_other_claim(page, "hour", before)
    assert len(read().sales) == 42
    assert_no_fault(page)
    page.get_by_role("button", name=re.compile("Go back to the usual shape")).click()
    assert wait_for_other_claim(page, "hour", peaked) == before


def test_a_station_of_ones_own_lengthens_the_line_and_the_usual_ones_come_back(
    watched, app
) -> None:
    page, read = open_study(watched, app, "line")
    before = read_claim(page, "line")
    open_part(page, "Change, add, remove or reorder stations")
    page.get_by_label("Its name, when it is your own").fill("my own arch")
    page.get_by_role("button", name="Add it").click()
    page.get_by_role("cell", name="my own arch").first.wait_for()
    longer = wait_for_other_claim(page, "line", before)
    assert "own_1" in read().line["stations"]
    assert_no_fault(page)
    open_part(page, "Change, add, remove or reorder stations")
    page.get_by_role("button", name=re.compile("Go back to the usual stations")).click()
    assert wait_for_other_claim(page, "line", longer) == before
    assert read().line == {}


def test_a_failed_answer_strikes_the_ground_on_every_screen(watched, app) -> None:
    told = {"deed": {"status": "fail", "who": "title company", "date": "2025-02-03"}}
    page, _ = open_study(watched, app, "money", answers=told)
    page.get_by_text("fails: no deed restriction").wait_for()
    page.get_by_role("link", name="See it on the parcel and answer").click()
    page.get_by_role("heading", name="Line", level=1).wait_for()
    settle(page)
    page.get_by_role("tab", name="The ground").click()
    page.get_by_text("(title company, 2025-02-03)").wait_for()
    assert_no_fault(page)


@pytest.mark.parametrize("kind", ["full_service", "in_bay", "self_service"])
def test_every_kind_of_wash_has_its_screen(kind, watched, app) -> None:
    page, _ = open_study(watched, app, "line", offer={"format": kind})
    for tab in page.get_by_role("tab").all():
        tab.click()
        settle(page)
    page.get_by_role("button", name="Schedule as a workbook (XLSX)").wait_for()
    assert_no_fault(page)

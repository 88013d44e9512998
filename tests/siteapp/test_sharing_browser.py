"""In a real browser: do two tabs keep each other's work, and does the reference open from disk?"""

from __future__ import annotations

import time
import zipfile
from typing import Any

import pytest

from siteapp.workspace import Inputs, Workspace

pytestmark = pytest.mark.browser
SLOW_MS = 60_000


def settle(page: Any) -> None:
    for _ in range(2):
        page.wait_for_timeout(250)
        page.locator("[data-test-script-state='notRunning']").first.wait_for()


def show(page: Any, address: str, screen: str) -> None:
    page.set_default_timeout(SLOW_MS)
    page.goto(f"{address}{screen}")
    page.get_by_role("heading", level=1).wait_for()
    settle(page)


def set_price(page: Any, dollars: str) -> None:
    price = page.get_by_label("Price of a single wash, $")
    price.fill(dollars)
    price.press("Enter")
    settle(page)


def test_two_tabs_keep_each_other_s_work(watched, app) -> None:
    space = Workspace(app.workspace)
    study = space.add("shared", Inputs(area=str(app.area), site="parcel:P03")).id

    def read_price() -> float:
        return float(space.load(study).inputs.offer["ticket_price_usd"])

    def wait_for_price(tab: Any, wanted: float) -> None:
        until = time.monotonic() + SLOW_MS / 1000
        while read_price() != wanted and time.monotonic() < until:
            tab.wait_for_timeout(200)
        assert read_price() == wanted

    first, second = watched.page, watched.page.context.new_page()
    for tab in (first, second):
        show(tab, app.address, f"money?study={study}")
    set_price(first, "19")
    wait_for_price(first, 19.0)
    # the second tab still shows the old price: what it types there is not put over the first's
    set_price(second, "11")
    second.get_by_text("was changed in another tab or by another person since").first.wait_for()
    assert read_price() == 19.0
    # it now shows the newer state, and the change can be done again
    settle(second)
    assert second.get_by_label("Price of a single wash, $").input_value() == "19.00"
    set_price(second, "11")
    wait_for_price(second, 11.0)
    second.close()


def test_reference_is_handed_over_and_opens_from_disk(watched, app, tmp_path) -> None:
    page = watched.page
    show(page, app.address, "papers")
    page.get_by_role("button", name="Make: Reference").click()
    with page.expect_download(timeout=60_000) as saved:
        page.get_by_role("button", name="Save reference.zip").click(timeout=60_000)
    with zipfile.ZipFile(saved.value.path()) as packed:
        packed.extractall(tmp_path)
    page.goto((tmp_path / "reference" / "index.html").as_uri())
    page.get_by_role("link", name="share", exact=True).first.click()
    page.get_by_text("fit_share").first.wait_for()
    page.get_by_placeholder("Search...").fill("compute_erlang_c")
    page.locator("a[href*='line.html#compute_erlang_c']").first.wait_for()
    assert [url for url in watched.requests if not url.startswith("file:")] == []

"""Does the Papers screen hand over the report with one's own logo, and refuse another file?"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser
LOGO = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 2"><path d="M0 0h4v2"/>{}</svg>'


def settle(page: Any) -> None:
    for _ in range(2):
        page.wait_for_timeout(250)
        page.locator("[data-test-script-state='notRunning']").first.wait_for()


def go(page: Any, screen: str) -> None:
    page.get_by_role("link", name=screen, exact=True).click()
    page.get_by_role("heading", name=screen, level=1).wait_for()
    settle(page)


def give_logo(page: Any, content: str) -> None:
    page.locator("input[type=file]").first.set_input_files(
        {"name": "logo.svg", "mimeType": "image/svg+xml", "buffer": content.encode()}
    )
    settle(page)


def test_report_with_own_logo_is_saved_and_an_unsafe_one_is_refused(
    watched, app, tmp_path: Path
) -> None:
    page = watched.page
    page.set_default_timeout(30_000)
    page.goto(app.address)
    go(page, "Sites")
    box = page.get_by_role("combobox", name=re.compile("Choose a parcel"))
    box.click()
    box.fill("P01")
    page.get_by_role("option", name="P01", exact=True).click()
    settle(page)
    go(page, "Papers")
    give_logo(page, LOGO.format("<script>1</script>"))
    page.get_by_role("button", name="Make: Report to print").click()
    page.get_by_text("the SVG may only draw").wait_for()
    give_logo(page, LOGO.format(""))
    page.get_by_role("button", name="Make: Report to print").click()
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save report.pdf").click()
    path = tmp_path / "report.pdf"
    saved.value.save_as(path)
    assert path.read_bytes().startswith(b"%PDF-")

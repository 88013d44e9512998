"""A real browser for tests, cut off from every network but this machine."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

# a busy machine is no fault of what is tested
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")

BROWSER_ARGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
_HERE = ("http://localhost", "http://127.0.0.1", "ws://localhost", "ws://127.0.0.1")
_NO_NETWORK = ("file:", "data:", "blob:", "about:")


def find_chromium() -> str | None:
    """Return where chromium is, or None."""
    named = os.environ.get("CHROMIUM")
    if named:
        return named if Path(named).exists() else None
    for name in ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable"):
        if found := shutil.which(name):
            return found
    return None


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """One browser for the whole run."""
    sync_api = pytest.importorskip("playwright.sync_api")
    path = find_chromium()
    if path is None:
        said = "no chromium found: set CHROMIUM to its path or put it on PATH"
        if os.environ.get("REQUIRE_BROWSER"):
            pytest.fail(f"{said} (REQUIRE_BROWSER is set, so browser tests may not skip)")
        pytest.skip(said)
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(BROWSER_ARGS))
        yield browser
        browser.close()


class Watched:
    """A page, what it asked of the network and what it complained of."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.requests: list[str] = []
        self.errors: list[str] = []
        page.route("**/*", self._answer)
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on(
            "console",
            lambda said: self.errors.append(said.text) if said.type == "error" else None,
        )

    def _answer(self, route: Any) -> None:
        url = route.request.url
        if url.startswith(_HERE) or url.startswith(_NO_NETWORK):
            route.continue_()
        else:
            self.requests.append(url)
            route.abort()


@pytest.fixture
def watched(chromium: Any) -> Iterator[Watched]:
    """A fresh page with the network cut off."""
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    yield Watched(context.new_page())
    context.close()

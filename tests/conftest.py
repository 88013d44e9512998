"""What all tests share: where the demo and optional real data are, and the browser's rule."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def find_chromium() -> str | None:
    """Return the chromium to drive, or None where there is none."""
    return os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def demo_folder() -> Path:
    """The invented demo area."""
    return ROOT / "data_public" / "demo"


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Real data beside the checkout; tests that use it skip when it is absent."""
    folder = ROOT.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("no real data beside this checkout")
    return folder


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of the browser; skips, or fails where REQUIRE_BROWSER is set, when there is none."""
    found = find_chromium()
    if found is None:
        if os.environ.get("REQUIRE_BROWSER"):
            pytest.fail("REQUIRE_BROWSER is set but no chromium was found")
        pytest.skip("no chromium found: install it or set CHROMIUM to its path")
    return found

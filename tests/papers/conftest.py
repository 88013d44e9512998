"""One study and one screening of the invented demo area, made once for all tests here."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"


@pytest.fixture(scope="session")
def demo_study() -> Any:
    from capture.chain import study

    return study(DEMO, "parcel:P04", draws=400, year=2024)


@pytest.fixture(scope="session")
def demo_many() -> Any:
    from capture.chain import many

    return many(DEMO, draws=100, year=2024)

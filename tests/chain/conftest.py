"""One demo study and one ranking, made once for all tests of the chain."""

from __future__ import annotations

from pathlib import Path

import pytest

from capture.area import open_area
from capture.chain import Memo, many, study

DEMO = Path(__file__).parents[2] / "data_public" / "demo"
DRAWS = 400


@pytest.fixture(scope="session")
def demo():
    """The invented area, opened once."""
    return open_area(DEMO)


@pytest.fixture(scope="session")
def memo():
    """What studies of the demo remember between tests."""
    return Memo()


@pytest.fixture(scope="session")
def p01(demo, memo):
    """The demo's first parcel, studied."""
    return study(demo, "parcel:P01", draws=DRAWS, memo=memo)


@pytest.fixture(scope="session")
def ranked(demo, memo):
    """All forty parcels, ranked."""
    return many(demo, draws=DRAWS, memo=memo)

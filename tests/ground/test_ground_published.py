"""Figures printed elsewhere for turning paths."""

from __future__ import annotations

from typing import Any

import pytest
from published import assert_printed, load_rows, name_row

from capture.basis.units import M_PER_FT
from capture.ground import VALUES


@pytest.mark.published
@pytest.mark.parametrize("row", load_rows("ground"), ids=name_row)
def test_printed(row: dict[str, Any]) -> None:
    assert_printed(row, VALUES.value(row["inputs"]["name"]) / M_PER_FT)

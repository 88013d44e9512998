"""Figures printed elsewhere for returns, loans, variance shares and normal losses."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from published import assert_printed, load_rows, name_row

from capture.basis import Worlds
from capture.money import (
    compute_annuity,
    compute_first_order,
    compute_irr,
    compute_npv,
    compute_payment,
    compute_unit_normal_loss,
)


def _ishigami(which: int) -> float:
    worlds = Worlds(seed=5, draws=20_000)
    x = np.pi * (2 * worlds.uniform("ishigami", ["1", "2", "3"]) - 1)
    y = np.sin(x[0]) + 7 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0])
    return compute_first_order(y, x[which])


def compute(check: str, given: dict[str, Any]) -> float:
    match check:
        case "irr":
            return float(compute_irr(given["payments"]))
        case "npv":
            return float(compute_npv(given["rate"], given["payments"]))
        case "payment":
            return float(compute_payment(given["loan"], given["rate"], given["periods"]))
        case "annuity":
            return float(compute_annuity(given["rate"], given["periods"]))
        case "sobol":
            return _ishigami(given["input"])
        case "unit_normal_loss":
            return float(compute_unit_normal_loss(given["z"]))
    raise AssertionError(check)


@pytest.mark.published
@pytest.mark.parametrize("row", load_rows("money"), ids=name_row)
def test_printed(row: dict[str, Any]) -> None:
    assert_printed(row, compute(row["check"], row["inputs"]))

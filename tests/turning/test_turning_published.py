"""Figures printed elsewhere for gap acceptance."""

from __future__ import annotations

from typing import Any

import pytest
from published import assert_printed, load_rows, name_row

from capture.turning import (
    compute_capacity,
    compute_delay,
    compute_headways,
    compute_queue95,
    compute_two_stage_capacity,
    find_letter,
)

ROWS = load_rows("turning")


def compute(check: str, given: dict[str, Any]) -> float:
    if check == "capacity":
        return float(compute_capacity(given["q"], critical_s=given["tc"], follow_up_s=given["tf"]))
    if check in ("delay", "queue95", "letter"):
        flow, capacity = given["v"], given["c"]
        delay = float(compute_delay(flow, capacity))
        if check == "letter":
            return "ABCDEF".index(find_letter(delay, flow / capacity)) + 1
        return delay if check == "delay" else float(compute_queue95(flow, capacity))
    if check == "two_stage":
        return two_stage(given)
    critical, follow_up = compute_headways(
        given["movement"], lanes=given["lanes"], heavy_share=given["heavy"]
    )
    if check == "movement_capacity":
        return float(compute_capacity(given["q"], critical_s=critical, follow_up_s=follow_up))
    return float({"critical": critical, "follow_up": follow_up}[check])


def two_stage(given: dict[str, Any]) -> float:
    """Turn out across a road with room in its middle."""

    def capacity(movement: str, flow: float) -> Any:
        critical, follow_up = compute_headways(
            movement, lanes=given["lanes"], heavy_share=given["heavy"]
        )
        return compute_capacity(flow, critical_s=critical, follow_up_s=follow_up)

    far = given["far"] + 2 * given["crossing"]
    return float(
        compute_two_stage_capacity(
            capacity("cross_out", given["near"] + far),
            first_veh_h=capacity("first_stage", given["near"]),
            second_veh_h=capacity("second_stage", far),
            crossing_veh_h=given["crossing"],
            storage_count=given["storage"],
        )
    )


@pytest.mark.published
@pytest.mark.parametrize("row", ROWS, ids=name_row)
def test_printed(row: dict[str, Any]) -> None:
    assert_printed(row, compute(row["check"], row["inputs"]))

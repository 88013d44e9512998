"""Figures printed elsewhere for motors, pumps, nozzles, water, meters and sound."""

from __future__ import annotations

from typing import Any

import pytest
from published import assert_printed, load_rows, name_row

from capture.basis.units import M3S_PER_GPM, PA_PER_PSI, W_PER_HP
from capture.utilities import (
    VALUES,
    Motor,
    add_levels,
    compute_feeder_amps,
    compute_full_load_amps,
    compute_noise_level,
    compute_nozzle_flow,
    compute_pump_power,
    pick_meter,
)


def _motor(amps: float) -> Motor:
    return Motor(name="motor", count=1, power_w=1.0, full_load_a=amps)


def compute(check: str, given: dict[str, Any]) -> float:
    match check:
        case "full_load_a":
            return compute_full_load_amps(given["hp"] * W_PER_HP, volts=given["volts"])
        case "feeder_a":
            return compute_feeder_amps([_motor(amps) for amps in given["amps"]])
        case "pump_hp":
            power = compute_pump_power(
                given["gpm"] * M3S_PER_GPM, given["psi"] * PA_PER_PSI, given["efficiency"]
            )
            return float(power) / W_PER_HP
        case "nozzle_gpm":
            return float(compute_nozzle_flow(given["gpm"], given["psi"], given["new_psi"]))
        case "viscosity_mpas":
            return 1000 * VALUES.value("water_viscosity_pas")
        case "add_db":
            return add_levels(given["levels"])
        case "far_db":
            return float(
                compute_noise_level(given["level"], given["far"], reference_m=given["near"])
            )
        case "meter_in":
            size = pick_meter(given["gpm"] * M3S_PER_GPM * (1 - 1e-9)).size.removesuffix(" in")
            return float(size)
    raise AssertionError(check)


@pytest.mark.published
@pytest.mark.parametrize("row", load_rows("utilities"), ids=name_row)
def test_printed(row: dict[str, Any]) -> None:
    assert_printed(row, compute(row["check"], row["inputs"]))

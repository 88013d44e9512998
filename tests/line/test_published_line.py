"""Do queue and line formulas give the figures printed for them?"""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from capture.basis.units import M_PER_FT, MPS_PER_FT_PER_MIN
from capture.line import compute_chain_rate, compute_erlang_b, compute_erlang_c
from capture.line.queueing import pass_line

ROWS = list(
    csv.DictReader(
        (Path(__file__).parents[1] / "published" / "line.csv").read_text("utf-8").splitlines()
    )
)


def mmc_wait_h(arrivals_h, served_h, servers):
    load = arrivals_h / served_h
    return float(compute_erlang_c(load, servers)) / (servers * served_h - arrivals_h)


def md1_wait(load):
    """Wait in headways of a line that serves one car per headway, by the recursion."""
    rng = np.random.default_rng(3)
    gaps = rng.exponential(1 / load, (400, 3000))
    arrives = np.cumsum(gaps, axis=1)
    done = pass_line(arrives, np.zeros_like(arrives), headway_s=1.0, lanes=1)
    return float(done.wait_s[:, 500:].mean())


CHECKS = {
    "erlang_b": lambda load, servers: float(compute_erlang_b(load, servers)),
    "erlang_c": lambda load, servers: float(compute_erlang_c(load, servers)),
    "mmc_wait_h": mmc_wait_h,
    "md1_wait": md1_wait,
    "chain_rate": lambda ft_min, pitch_ft, loading: float(
        compute_chain_rate(
            ft_min * MPS_PER_FT_PER_MIN, pitch_m=pitch_ft * M_PER_FT, loading=loading
        )
    ),
}


@pytest.mark.published
@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['check']} {row['locator'][:40]}")
def test_printed_figure(row):
    got = CHECKS[row["check"]](**json.loads(row["inputs"]))
    assert got == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))

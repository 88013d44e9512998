"""How much sooner does a trial answer than a whole study? Prints medians of one run.

Run from the repository: ``python tests/benchmarks/bench_whatif.py``.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from capture.area import open_area
from capture.chain import (
    Memo,
    propose_driveway,
    study,
    try_closing,
    try_driveway,
    try_price,
    try_rival,
    try_sign,
)

DEMO = Path(__file__).parents[2] / "data_public" / "demo"
ROUNDS = 7


def _time(run: Callable[[int], Any]) -> float:
    taken = []
    for turn in range(ROUNDS):
        start = time.perf_counter()
        run(turn)
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def main() -> None:
    """Time each kind of trial, every round a change not tried before."""
    area, memo = open_area(DEMO), Memo()
    found = study(area, "parcel:P01", memo=memo)
    lat, lon = float(found.sites.lat[0]), float(found.sites.lon[0])
    whole = _time(lambda _: study(area, "parcel:P01", memo=Memo()))
    print(f"whole study from nothing, area open: {whole:.2f} s")
    trials: dict[str, Callable[[int], Any]] = {
        "price": lambda k: try_price(found, 10.0 + k, memo=memo),
        "sign": lambda k: try_sign(found, 7.0 + k, memo=memo),
        "median closed": lambda k: try_closing(
            try_sign(found, 7.0 + k, memo=memo).chain, memo=memo
        ),
        "driveway moved": lambda k: try_driveway(found, 5.0 * (k - 3), memo=memo),
        "one more rival": lambda k: try_rival(found, lat + 0.002 + 0.001 * k, lon, memo=memo),
        "driveway proposed": lambda _: propose_driveway(found, memo=memo),
    }
    for name, run in trials.items():
        taken = _time(run)
        print(f"{name}: {taken:.3f} s, {whole / taken:.0f} times sooner")


if __name__ == "__main__":
    main()

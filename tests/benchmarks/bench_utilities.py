"""How long does sizing pipes and wires take, and what does the timeline cost beside a plain loop?

Prints medians and the ratio; the loop follows every car past every station second by second.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np

from capture.basis import Offer, Worlds
from capture.line import size_line
from capture.utilities import compute_timeline, size_utilities
from capture.utilities.reading import read_stations

CAR_M, HOURS = 4.9, 3.0


def median_s(run: Callable[[], object], runs: int = 5) -> float:
    spent = []
    for _ in range(runs):
        start = time.perf_counter()
        run()
        spent.append(time.perf_counter() - start)
    return statistics.median(spent)


def main() -> None:
    """Print the ratios."""
    offer, worlds = Offer(), Worlds(draws=1000)
    line = size_line(98.0, offer)
    stations = read_stations(line, offer)
    headway = 3600 / line.cars_per_hour
    entries = headway * np.arange(round(HOURS * line.cars_per_hour))
    reach = (CAR_M + stations.wetted_m) / line.chain_speed_mps
    begins = stations.start_m / line.chain_speed_mps

    def plain() -> float:
        best = 0.0
        for second in range(int(entries[-1])):
            flow = 0.0
            for begin, held, amount in zip(begins, reach, stations.flow_m3s, strict=True):
                since = second - entries - begin
                if ((since >= 0) & (since < held)).any():
                    flow += amount
            best = max(best, flow)
        return best

    def ours() -> float:
        return compute_timeline(
            entries, start_m=stations.start_m, wetted_m=stations.wetted_m,
            amount=stations.flow_m3s, car_length_m=CAR_M, chain_speed_mps=line.chain_speed_mps,
        ).peak  # fmt: skip

    quick, slow = median_s(ours), median_s(plain, runs=1)
    whole = median_s(lambda: size_utilities(line, 95_000.0, 80.0, offer, worlds))
    print(
        f"peak flow: {1e3 * quick:.2f} ms, second by second {1e3 * slow:.0f} ms, "
        f"{slow / quick:.0f} times faster, peaks {ours():.5f} and {plain():.5f} m3/s; "
        f"all utilities with 1000 draws {1e3 * whole:.1f} ms"
    )


if __name__ == "__main__":
    main()

"""How fast is the busy hour of a noisy year, against years simulated hour by hour?

Run as ``python tests/benchmarks/bench_hours.py``; prints medians and ratios of one run.
"""

import statistics
import time

import numpy as np

from capture.basis import Offer
from capture.hours import make_year_shape
from capture.hours.lookup import make_day_peak, make_hour_peak


def median_s(work, rounds=5):
    taken = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def simulate(shape, cars, years):
    rng = np.random.default_rng(0)
    k = 1 / shape.day_noise_cv**2
    peaks = np.empty(years)
    for year in range(years):
        counts = rng.poisson(cars * shape.day_hours * rng.gamma(k, 1 / k, (365, 1)))
        peaks[year] = np.partition(counts.ravel(), -30)[-30]
    return peaks


if __name__ == "__main__":
    made = make_year_shape(Offer())
    start = time.perf_counter()
    peak = make_hour_peak(made, rank=30)
    first = time.perf_counter() - start
    make_day_peak(made)
    cars = np.full((1000, 1000), 100_000.0)
    noise = np.random.default_rng(1).standard_normal(cars.shape)
    ours = median_s(lambda: peak.look_up(cars, noise))
    peer = median_s(lambda: simulate(made, 100_000.0, 200), 3) / 200
    print(f"table of the 30th hour, made once for a shape: {1000 * first:.3g} ms")
    print(f"lookup of 1,000 sites x 1,000 worlds: {1000 * ours:.3g} ms")
    print(f"one year: lookup {1e9 * ours / cars.size:.3g} ns, simulated {1e6 * peer:.3g} us, "
          f"{peer / ours * cars.size:,.0f} x")  # fmt: skip

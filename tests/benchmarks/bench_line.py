"""How fast are lines sized and queues run, against plain ways of doing the same?

Run as ``python tests/benchmarks/bench_line.py``; prints medians and ratios of one run.
"""

import statistics
import time

import numpy as np
import simpy

from capture.basis import Offer, Worlds
from capture.hours import make_year_shape
from capture.line import compute_lost_share, simulate_queue, size_line, size_lines
from capture.line.queueing import draw_arrivals, pass_line

OFFER = Offer()


def median_s(work, rounds=5):
    taken = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def say(what, ours, peer, name):
    print(f"{what}: {1000 * ours:.3g} ms, {name} {1000 * peer:.3g} ms, {peer / ours:.0f} x")


def bench_sizing():
    hours = np.random.default_rng(0).uniform(20, 250, 100_000)
    size_lines(hours, OFFER)
    ours = median_s(lambda: size_lines(hours, OFFER))
    one_by_one = median_s(lambda: [size_line(hour, OFFER) for hour in hours[:200]], 3) * 500
    say("100,000 lines", ours, one_by_one, "one by one (200, times 500)")
    moved = median_s(lambda: size_line(float(hours[0]), OFFER))
    print(f"one line laid out with its rules: {1000 * moved:.2g} ms")


def run_events(times, pay, headway, lanes):
    env = simpy.Environment()
    tills, belt = simpy.Resource(env, lanes), simpy.Resource(env, 1)

    def car(k):
        yield env.timeout(times[k])
        with tills.request() as till:
            yield till
            yield env.timeout(pay[k])
        with belt.request() as place:
            yield place
            yield env.timeout(headway)

    for k in range(times.size):
        env.process(car(k))
    env.run()


def bench_queue():
    rng = np.random.default_rng(1)
    means = np.zeros((1000, 24))
    means[:, 8:20] = 50.0
    arrives = draw_arrivals(means, rng)
    pay = np.where(rng.random(arrives.shape) < 0.6, 10.0, 40.0)
    ours = median_s(lambda: pass_line(arrives, pay, headway_s=40.0, lanes=3), 3)
    few = [arrives[day][~np.isnan(arrives[day])] for day in range(10)]
    peer = 100 * median_s(
        lambda: [run_events(times, pay[day], 40.0, 3) for day, times in enumerate(few)], 3
    )
    say("1,000 days of 600 cars", ours, peer, "general event simulator (10 days, times 100)")
    shape, worlds = make_year_shape(OFFER), Worlds()
    line = size_line(98.0, OFFER)
    cars = np.full(1000, 100_000.0)
    whole = median_s(lambda: simulate_queue(cars, shape, line, OFFER, worlds), 3)
    print(f"a site's queue, 2,000 days with percentiles: {1000 * whole:.3g} ms")
    many = np.full((1000, 1000), 100_000.0)
    fast = median_s(lambda: compute_lost_share(many, 100.0, shape, OFFER), 3)
    print(f"lost share of 1,000 sites x 1,000 worlds by lookup: {1000 * fast:.3g} ms")


if __name__ == "__main__":
    bench_sizing()
    bench_queue()

"""How soon does the strip answer a changed input, and against running the chain afresh?

Prints medians over 20 changes of each kind on the demo area, and their ratio to one whole
walk without anything remembered, timed in the same run.
"""

from __future__ import annotations

import statistics
import time
from pathlib import Path

from capture.area import open_area
from capture.basis import Offer, Worlds
from capture.chain import Memo, Request, load_numbers, walk_chain
from capture.line import size_line
from capture.place import find_sites, open_place

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"
TIMES = 20
CHANGES = {
    "price of a wash": lambda k: {"ticket_price_usd": 9.0 + 0.5 * k},
    "headroom": lambda k: {"headroom_share": 0.02 * (k + 1)},
    "land": lambda k: {"land_cost_usd": 100_000.0 * (k + 1)},
    "plan price": lambda k: {"plan_price_usd_month": 20.0 + k},
    "opening hour": lambda k: {"opens_hour": k % 9, "busy_rank": 20 + k},
}


def main() -> None:
    area = open_area(DEMO)
    sites = find_sites(area, open_place(area), "parcel:P04")

    def walk(memo: Memo, **changes: object) -> float:
        request = Request(
            area=area, sites=sites, offer=Offer(**changes), worlds=Worlds(),
            numbers=load_numbers(), year=2026, keep=True,
        )  # fmt: skip
        started = time.perf_counter()
        chain = walk_chain(request, memo=memo)
        size_line(float(chain.design_hour_cars[0]), request.offer)
        return time.perf_counter() - started

    walk(Memo())
    afresh = statistics.median(walk(Memo()) for _ in range(5))
    print(f"{'whole walk, nothing remembered':34} {1000 * afresh:8.0f} ms")
    for name, change in CHANGES.items():
        memo = Memo()
        walk(memo)
        took = statistics.median(walk(memo, **change(k)) for k in range(TIMES))
        print(f"{name + ' changed':34} {1000 * took:8.0f} ms  {afresh / took:6.1f} times sooner")


if __name__ == "__main__":
    main()

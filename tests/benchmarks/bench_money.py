"""How much faster than one numpy-financial call per world are value and rate of return?

Prints medians of five runs and the ratio; both price the same worlds of the same sites.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from functools import partial

import numpy as np
import numpy_financial as nf

from capture.basis import Offer, Worlds
from capture.money import Money, price_study

SITES, DRAWS, PEER_DRAWS = 40, 1000, 100
LINE = {"capital_usd": 1.5e6, "length_m": 38.0}


def price(cars: np.ndarray, worlds: Worlds, *, irr: bool) -> Money:
    ids = [str(at) for at in range(cars.shape[0])]
    return price_study(cars, 0.0, LINE, Offer(), worlds, ids, irr=irr)


def median_s(run: Callable[[], object], runs: int = 5) -> float:
    spent = []
    for _ in range(runs):
        start = time.perf_counter()
        run()
        spent.append(time.perf_counter() - start)
    return statistics.median(spent)


def peer(money: Money, *, irr: bool) -> float:
    """Worst difference, after pricing one site's worlds one by one."""
    laid = money.schedule(0)
    worst = 0.0
    for draw in range(PEER_DRAWS):
        flows = laid.before_debt[draw]
        value = nf.npv(money.terms.discount_share[draw], flows)
        worst = max(worst, abs(value - money.npv_usd[0, draw]))
        if irr:
            nf.irr(flows)
    return worst


def main() -> None:
    """Print the ratios."""
    worlds = Worlds(draws=DRAWS)
    ids = [str(at) for at in range(SITES)]
    cars = 1.2e5 * np.exp(0.3 * worlds.normal("cars", ids))
    cells = SITES * DRAWS
    for irr in (False, True):
        money = price(cars, worlds, irr=irr)
        ours = median_s(partial(price, cars, worlds, irr=irr)) / cells
        theirs = median_s(partial(peer, money, irr=irr)) / PEER_DRAWS
        what = "value and rate" if irr else "value"
        print(
            f"{what}: {1e6 * ours:.2f} us a world, peer {1e6 * theirs:.0f} us, "
            f"{theirs / ours:.0f} times faster; worst difference {peer(money, irr=False):.1e} USD"
        )


if __name__ == "__main__":
    main()

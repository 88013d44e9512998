"""How fast is the share's exact fit, against peers in the same run? Medians of five.

Run as ``python tests/benchmarks/bench_share.py``. Peers do less: the ridge knows its
penalty, the automatic-relevance one maximises instead of integrating, none has operators,
count errors or ranges from an exact posterior.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from statistics import median

import numpy as np
from sklearn.linear_model import BayesianRidge, Ridge
from statsmodels.regression.mixed_linear_model import MixedLM

from capture.basis import Worlds
from capture.share import CORE, FACTORS, fit_share, make_prior
from capture.share.design import make_design
from capture.share.left_out import leave_out_rows
from capture.share.mixture import Prior, Rows, fit_mixture
from capture.share.table import FactorTable


def clock(work: Callable[[], object], *, repeats: int = 5) -> float:
    """Return the median seconds of several runs, after one that warms up."""
    work()
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return median(taken)


def make_large(sites: int, factors: int) -> tuple[Rows, Prior]:
    """Make many known sites of many operators."""
    rng = np.random.default_rng(0)
    core = make_prior(CORE)
    x = rng.normal(size=(sites, factors))
    design = make_design(x, ["exterior"] * sites)
    y = design[:, -factors:] @ rng.normal(0, 0.2, factors) + 0.3 * rng.normal(size=sites)
    prior = Prior(
        mean=np.zeros(design.shape[1]),
        sd=np.append(core.sd[:6], np.full(factors, 0.2)),
        sigma=core.sigma,
        log_weight=core.log_weight,
        group_sd=core.group_sd,
    )
    group = rng.integers(0, max(1, sites // 5), sites)
    return Rows.of(design, y, variance=rng.uniform(0, 0.05, sites), group=group), prior


def main() -> None:
    """Print the table."""
    for sites in (40, 1000, 5000):
        rows, prior = make_large(sites, 20)
        ours = clock(lambda rows=rows, prior=prior: fit_mixture(rows, prior))
        x, y = rows.design[:, 6:], rows.target
        peers = {
            "Ridge (scikit-learn), one penalty": clock(lambda x=x, y=y: Ridge().fit(x, y)),
            "BayesianRidge (scikit-learn)": clock(lambda x=x, y=y: BayesianRidge().fit(x, y)),
            "MixedLM (statsmodels)": clock(
                lambda x=x, y=y, g=rows.group: MixedLM(
                    y, np.column_stack([np.ones(len(x)), x]), g
                ).fit(),
                repeats=1,
            ),
        }
        print(f"{sites} sites x 20 factors: exact mixture of 64 nodes {ours * 1e3:.1f} ms")
        for name, seconds in peers.items():
            print(f"  {name}: {seconds * 1e3:.1f} ms, {seconds / ours:.3g} x ours")
    rows, prior = make_large(40, 20)
    mixture = fit_mixture(rows, prior)
    exact = clock(lambda: leave_out_rows(rows, mixture))
    refits = clock(
        lambda: [fit_mixture(rows.take(np.delete(np.arange(40), i)), prior) for i in range(40)]
    )
    print(f"leaving out each of 40: {exact * 1e3:.1f} ms, refits {refits / exact:.2g} x that")
    fit, worlds = fit_share(), Worlds(draws=1000)
    own = clock(lambda: fit_share().draw(worlds))
    print(f"fit and 1,000 draws, no known site: {own * 1e3:.1f} ms")
    reference = np.array([FACTORS[name].reference for name in CORE])
    for sites in (1, 100, 1000):
        table = FactorTable(
            ids=tuple(map(str, range(sites))),
            names=CORE,
            x=np.tile(reference, (sites, 1)),
            missing=np.zeros((sites, len(CORE)), dtype=bool),
        )
        taken = clock(lambda table=table: fit.predict(table, worlds))
        print(f"predicting {sites} sites x 1,000 draws: {taken * 1e3:.1f} ms")


if __name__ == "__main__":
    main()

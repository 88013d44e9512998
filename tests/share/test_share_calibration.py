"""Are the ranges honest: simulation-based calibration, coverage and width by known sites?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from capture.basis import FORMATS, Worlds
from capture.share import CORE, FACTORS, VALUES, fit_share, predict_share
from capture.share.design import make_design
from capture.share.normals import mixture_quantile

COUNTS = (0, 1, 2, 3, 10, 40)
FITS_EACH = 340
DRAWS = 199
BINS = 20


def rank_towns(town_maker: Callable, *, keep_signs: bool) -> dict[int, np.ndarray]:
    """Rank each truth among its posterior draws; by number of known sites, (fits, quantities)."""
    ranks = defaultdict(list)
    for fit_number in range(FITS_EACH * len(COUNTS)):
        count = COUNTS[fit_number % len(COUNTS)]
        rng = np.random.default_rng([int(keep_signs), fit_number])
        town = town_maker(rng, count=count, keep_signs=keep_signs)
        fit = fit_share(town.known, keep_signs=keep_signs, selection=False)
        worlds = Worlds(seed=fit_number, draws=DRAWS)
        own = fit.draw(worlds)
        share = predict_share(fit, town.new, worlds, format=town.new_format, coefficients=own).rate[
            0
        ]
        drawn = np.column_stack([own.value, np.log(own.sigma), np.log(share)])
        truth = np.array([*town.coefficient, np.log(town.sigma), town.new_log_share])
        ties = drawn == truth
        below = (drawn < truth).sum(axis=0) + rng.integers(0, ties.sum(axis=0) + 1)
        ranks[count].append(below)
    return {count: np.array(found) for count, found in ranks.items()}


def inside_share(ranks: np.ndarray, width: float) -> float:
    where = (ranks + 0.5) / (DRAWS + 1)
    return float((np.abs(where - 0.5) < width / 2).mean())


@pytest.mark.slow
@pytest.mark.parametrize("keep_signs", [False, True], ids=["bare", "signs kept"])
def test_simulation_based_calibration(town_maker: Callable, keep_signs: bool) -> None:
    by_count = rank_towns(town_maker, keep_signs=keep_signs)
    ranks = np.concatenate(list(by_count.values()))
    fits, quantities = ranks.shape
    assert fits >= 2000
    # bands that hold for all bins of all histograms at once, 99 times in 100
    each = 1 - 0.99 ** (1 / (BINS * quantities))
    least, most = stats.binom(fits, 1 / BINS).ppf([each / 2, 1 - each / 2])
    for quantity in range(quantities):
        bars, _ = np.histogram(ranks[:, quantity], bins=BINS, range=(0, DRAWS + 1))
        assert bars.min() >= least, (quantity, bars)
        assert bars.max() <= most, (quantity, bars)
    assert 0.88 <= inside_share(ranks, 0.9) <= 0.92
    assert 0.46 <= inside_share(ranks, 0.5) <= 0.54
    assert 0.88 <= inside_share(ranks[:, -1], 0.9) <= 0.92
    assert 0.46 <= inside_share(ranks[:, -1], 0.5) <= 0.54
    for count, found in by_count.items():
        nine, half = inside_share(found, 0.9), inside_share(found, 0.5)
        print(f"{keep_signs=} {count:3d} known sites: 90 % covers {nine:.1%}, 50 % {half:.1%}")
        assert 0.88 <= nine <= 0.92, count
        assert 0.46 <= half <= 0.54, count


@pytest.mark.slow
def test_ranges_narrow_with_known_sites_on_average(town_maker: Callable) -> None:
    counts, towns = (0, 1, 3, 10, 40), 500
    row = make_design(np.zeros((1, len(CORE))), [FORMATS[0]])
    parts = np.empty((len(counts), 3, 64, towns))
    for town_number in range(towns):
        rng = np.random.default_rng([77, town_number])
        town = town_maker(rng, count=40, keep_signs=True)
        for place, count in enumerate(counts):
            mixture = fit_share(town.known.take(range(count))).mixture
            mean, sd = mixture.predict_parts(row)
            parts[place, :, :, town_number] = mixture.weight, mean[:, 0], sd[:, 0]
    ends = [[mixture_quantile(share, *part) for part in parts] for share in (0.05, 0.95)]
    widths = np.subtract(ends[1], ends[0]).T
    means = widths.mean(axis=0)
    print("mean range, times:", dict(zip(counts, np.exp(means).round(2).tolist(), strict=True)))
    assert (np.diff(means) < 0).all()
    # a surprising row may widen it now and then
    assert (np.diff(widths[:, [0, -1]], axis=1) > 0).mean() < 0.2
    assert (np.diff(widths, axis=1) > 0).any()


def test_a_factor_left_out_of_a_row_widens_it_and_keeps_coverage(town_maker: Callable) -> None:
    inside, wider = [], []
    for town_number in range(300):
        rng = np.random.default_rng([99, town_number])
        town = town_maker(rng, count=10, keep_signs=True)
        hidden = rng.random(town.new.x.shape) < 0.4
        x = np.where(hidden, np.array([FACTORS[name].reference for name in CORE]), town.new.x)
        table = type(town.new)(ids=("new",), names=CORE, x=x, missing=hidden)
        fit = fit_share(town.known, selection=False)
        worlds = Worlds(seed=town_number, draws=400)
        part = fit.predict(table, worlds, format=town.new_format)
        whole = fit.predict(town.new, worlds, format=town.new_format)
        low, high = np.log(np.quantile(part.rate[0], [0.05, 0.95]))
        inside.append(low <= town.new_log_share <= high)
        wider.append(np.log(part.rate[0]).std() / np.log(whole.rate[0]).std())
    assert 0.86 <= np.mean(inside) <= 0.94
    assert np.mean(wider) > 1.02


@pytest.mark.slow
def test_full_lines_keep_the_ranges_honest(town_maker: Callable) -> None:
    """Lines sized at random, about a third of them full: ranges hold, and are not too low."""
    ranks, careless = [], []
    for town_number in range(120):
        rng = np.random.default_rng([5, town_number])
        town = town_maker(rng, count=6, keep_signs=True)
        base = np.array([VALUES.value(f"base_{name}_share") for name in town.known.formats])
        above = np.log(town.known.share / base)
        room = rng.normal(0.5, 0.5, 6)
        cars = town.known.cars_per_year * np.exp(np.minimum(room - above, 0))
        known = replace(town.known, cars_per_year=cars, at_capacity=above > room)
        worlds = Worlds(seed=town_number, draws=DRAWS)
        fit = fit_share(known, selection=False)
        own = fit.draw(worlds)
        share = fit.predict(town.new, worlds, format=town.new_format).rate[0]
        drawn = np.column_stack([own.value, np.log(share)])
        truth = np.array([*town.coefficient, town.new_log_share])
        ranks.append((drawn < truth).sum(axis=0))
        blind = fit_share(replace(known, at_capacity=known.bays > 1), selection=False)
        careless.append((blind.draw(worlds).value[:, 0] < truth[0]).sum())
    found = np.array(ranks)
    assert 0.87 <= inside_share(found, 0.9) <= 0.93
    assert 0.45 <= inside_share(found, 0.5) <= 0.55
    level = (found[:, 0] / DRAWS).mean()
    assert level == pytest.approx(0.5, abs=3 * np.sqrt(1 / 12 / 120))
    assert np.mean(careless) / DRAWS > level + 0.03


def test_factors_left_out_of_known_rows_keep_coverage(town_maker: Callable) -> None:
    reference = np.array([FACTORS[name].reference for name in CORE])
    ranks = []
    for town_number in range(200):
        rng = np.random.default_rng([8, town_number])
        town = town_maker(rng, count=30, keep_signs=True)
        table = town.known.factors
        hidden = rng.random(table.x.shape) < 0.3
        gaps = replace(table, x=np.where(hidden, reference, table.x), missing=hidden)
        fit = fit_share(replace(town.known, factors=gaps), selection=False)
        own = fit.draw(Worlds(seed=town_number, draws=DRAWS))
        ranks.append((own.value < town.coefficient).sum(axis=0))
    assert 0.87 <= inside_share(np.array(ranks), 0.9) <= 0.93
    assert 0.45 <= inside_share(np.array(ranks), 0.5) <= 0.55

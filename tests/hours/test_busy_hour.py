"""Is the nth busiest hour that of years simulated hour by hour, and does it answer at once?"""

import numpy as np
import pytest

from capture.basis import InputError, Offer, Worlds
from capture.hours import (
    VALUES,
    compute_design_hour,
    compute_duration_curve,
    compute_expected_hours,
    compute_ramp_share,
    estimate_busy_hour,
    list_full_choices,
    make_year_shape,
)
from capture.hours.lookup import compute_hour_peak, make_day_peak, make_hour_peak
from capture.hours.noise import compute_fewer_chance
from capture.hours.values import MONTHS, WEEKDAYS

SHAPE = make_year_shape(Offer())
#: no spread but the noise of days and hours
CERTAIN = VALUES.override({"weather_year_cv": 0.0, "peak_log_sd": 0.0})


def simulate_years(cars, rank, years, seed=1):
    rng = np.random.default_rng(seed)
    k = 1 / SHAPE.day_noise_cv**2
    hours, days = np.empty(years), np.empty(years)
    for year in range(years):
        factor = rng.gamma(k, 1 / k, 365)
        counts = rng.poisson(cars * SHAPE.day_hours * factor[:, None])
        hours[year] = np.partition(counts.ravel(), -rank)[-rank]
        days[year] = counts.sum(axis=1).max()
    return hours, days


@pytest.mark.parametrize(
    ("cars", "rank"), [(30_000, 30), (120_000, 30), (120_000, 1), (300_000, 100)]
)
def test_lookup_agrees_with_simulated_years(cars, rank):
    hours, days = simulate_years(cars, rank, 1200)
    score = np.random.default_rng(2).standard_normal(50_000)
    drawn = np.floor(make_hour_peak(SHAPE, rank=rank).look_up(cars, score) + 0.5)
    error = 3.5 * hours.std() / np.sqrt(hours.size)
    assert drawn.mean() == pytest.approx(hours.mean(), abs=0.005 * hours.mean() + error)
    for share in (0.05, 0.5, 0.95):
        near = np.quantile(hours, [max(share - 0.03, 0), min(share + 0.03, 1)])
        assert near[0] - 1 <= np.quantile(drawn, share) <= near[1] + 1
    day = make_day_peak(SHAPE).look_up(cars, score)
    assert day.mean() == pytest.approx(days.mean(), rel=0.005, abs=3.5 * days.std() / 1200**0.5)
    assert day.std() == pytest.approx(days.std(), rel=0.1)


def test_lookup_keeps_within_half_a_percent_of_its_own_levels():
    """Between the levels of the table the answer is that of a table made there."""
    peak = make_hour_peak(SHAPE, rank=30)
    score = np.array([-1.6, 0.0, 1.6])
    for cars in (22_222.0, 87_654.0, 345_678.0):
        exact = compute_hour_peak(cars, SHAPE, rank=30, noise=score)
        assert peak.look_up(cars, score) == pytest.approx(exact, rel=0.005)


@pytest.mark.practice
def test_thirtieth_hour_and_busiest_day_against_the_average_day():
    average = 100_000 / 365
    hour = make_hour_peak(SHAPE, rank=30).look_up(100_000, 0.0) / average
    day = make_day_peak(SHAPE).look_up(100_000, 0.0) / average
    assert 0.2 <= hour <= 0.45
    assert 1.9 <= day <= 3.5
    busiest = SHAPE.day_hours[SHAPE.day_share.argmax()]
    assert 0.10 <= busiest.max() / busiest.sum() <= 0.15


@pytest.mark.property
def test_more_cars_and_busier_ranks_never_bring_a_quieter_hour():
    cars = np.geomspace(500, 5e6, 200)
    first, thirtieth = (make_hour_peak(SHAPE, rank=rank) for rank in (1, 30))
    for score in (-2.0, 0.0, 2.0):
        assert (np.diff(first.look_up(cars, score)) > 0).all()
        assert (first.look_up(cars, score) > thirtieth.look_up(cars, score)).all()
    assert make_hour_peak(SHAPE, rank=30).look_up(0.0, 0.0) == 0


def test_noise_is_added_once_and_parameters_alone_are_narrower():
    worlds = Worlds(draws=2000)
    cars = 90_000 * np.exp(0.3 * worlds.normal("some spread"))
    busy = estimate_busy_hour(cars, SHAPE, worlds, ["P01"], values=CERTAIN)
    spread = [np.log(part).std() for part in (busy.cars, busy.expected)]
    assert spread[0] > spread[1]
    hours, _ = simulate_years(90_000, 30, 400)
    fixed = estimate_busy_hour(
        np.full((1, 2000), 90_000.0), _certain_shape(), worlds, ["P01"], values=CERTAIN
    )
    assert fixed.cars.mean() == pytest.approx(hours.mean(), rel=0.01)
    assert np.ptp(fixed.expected) == 0


def _certain_shape():
    return make_year_shape(Offer(), values=CERTAIN)


def test_sites_share_weather_but_not_their_noise_and_order_does_not_matter():
    worlds = Worlds(draws=500)
    cars = np.full((2, 500), 80_000.0)
    both = estimate_busy_hour(cars, SHAPE, worlds, ["A", "B"])
    alone = estimate_busy_hour(cars[:1], SHAPE, worlds, ["B"])
    assert (both.cars[1] == alone.cars[0]).all()
    assert (both.cars[0] != both.cars[1]).any()


def test_design_hour_adds_headroom_and_confidence():
    worlds = Worlds(draws=500)
    busy = estimate_busy_hour(np.full((1, 500), 80_000.0), SHAPE, worlds, ["A"])
    plain = compute_design_hour(busy, Offer(headroom_share=0.0))
    assert plain == pytest.approx(np.median(busy.cars, axis=1))
    assert compute_design_hour(busy, Offer(headroom_share=0.2)) == pytest.approx(1.2 * plain)
    assert (compute_design_hour(busy, Offer(), confidence_share=0.9) > 1.2 * plain).all()
    with pytest.raises(InputError, match="confidence_share"):
        compute_design_hour(busy, Offer(), confidence_share=1.0)


def test_duration_curve_falls_and_agrees_with_the_busy_hour():
    worlds = Worlds(draws=1000)
    cars = 100_000 * np.exp(0.3 * worlds.normal("some spread")[0])
    rows = compute_duration_curve(cars, SHAPE, worlds, "P01", ranks=(1, 30, 200, 8000))
    assert [row.rank for row in rows] == [1, 30, 200]
    assert rows[0].cars.value > rows[1].cars.value > rows[2].cars.value
    busy = estimate_busy_hour(cars[None], SHAPE, worlds, ["P01"]).summary()
    assert rows[1].cars.value == pytest.approx(busy.value, rel=0.03)
    assert rows[1].cars.low == pytest.approx(busy.low, rel=0.08)
    assert rows[1].cars.high == pytest.approx(busy.high, rel=0.08)
    with pytest.raises(InputError, match="ranks"):
        compute_duration_curve(cars, SHAPE, worlds, "P01", ranks=(0,))


def test_whoever_is_content_to_be_full_more_often_sizes_for_less():
    rows = list_full_choices(90_000, SHAPE)
    cars = [row["cars_per_hour"] for row in rows]
    assert cars == sorted(cars, reverse=True)
    assert all(row["low"] < row["cars_per_hour"] < row["high"] for row in rows)


@pytest.mark.practice
def test_ramp_keeps_its_yearly_means():
    share = compute_ramp_share(np.arange(48))
    means = share.reshape(4, 12).mean(axis=1)
    assert means == pytest.approx([0.58, 0.80, 0.95, 1.0], abs=1e-9)
    drawn = compute_ramp_share([0, 12, 24, 47], worlds=Worlds(draws=200))
    assert drawn.shape == (4, 200)
    assert (np.diff(drawn, axis=0) >= -1e-9).all()
    with pytest.raises(InputError, match="months"):
        compute_ramp_share([-1])


def test_panjer_family_meets_poisson_and_binomial():
    from scipy.stats import binom, poisson

    assert compute_fewer_chance(7.0, 7.0, 5) == pytest.approx(poisson.cdf(4, 7.0))
    assert compute_fewer_chance(6.0, 6.0 * 0.7, 5) == pytest.approx(binom.cdf(4, 20, 0.3))


def test_a_wrong_rank_or_shape_is_refused():
    worlds = Worlds(draws=10)
    with pytest.raises(InputError, match="busy_rank must be 1 to 2190"):
        estimate_busy_hour(np.ones((1, 10)), SHAPE, worlds, ["A"], rank=3000)
    with pytest.raises(InputError, match="1 sites by 10 draws"):
        estimate_busy_hour(np.ones((1, 9)), SHAPE, worlds, ["A"])


@pytest.mark.practice
def test_an_hours_cars_are_the_cars_passing_times_the_share_washed():
    """With the road's own hours and no season, each hour is passing x capture rate."""
    flat = {f"month_{kind}_{m}": 1.0 for kind in ("salt", "sun") for m in MONTHS}
    values = VALUES.override(
        flat | {f"weekday_{day}": 1.0 for day in WEEKDAYS} | {"road_blend_share": 1.0}
    )
    road = np.linspace(1.0, 5.0, 24)
    road /= road.sum()
    shape = make_year_shape(
        Offer(opens_hour=0, closes_hour=24), road_hour_share=road, values=values
    )
    passing_a_day, rate = 20_000.0, 0.008
    hours = compute_expected_hours([365 * passing_a_day * rate], shape)[0]
    assert hours.max() == pytest.approx(passing_a_day * road.max() * rate, rel=1e-6)


def test_lookup_of_many_is_the_lookup_of_each():
    peak = make_hour_peak(SHAPE, rank=30)
    rng = np.random.default_rng(3)
    cars, score = rng.uniform(1e3, 1e6, (300, 251)), rng.standard_normal((300, 251))
    many = peak.look_up(cars, score)
    assert many[[0, 137, 299], [0, 40, 250]] == pytest.approx(
        [float(peak.look_up(cars[i, j], score[i, j])) for i, j in ((0, 0), (137, 40), (299, 250))]
    )
    assert peak.look_up(cars[0], 0.0).shape == (251,)


def test_chances_summed_over_a_year_are_those_of_the_gamma_function():
    from scipy.special import gammainc

    from capture.hours.noise import _sum_chances

    for cars in (0.5, 3.0, 7.9, 8.0, 40.0, 700.0):
        mean = np.linspace(3 * cars, 0.2 * cars, 300)[None, :, None] * np.array([0.7, 1.0, 1.3])
        total, spread = _sum_chances(cars, np.cbrt(mean))
        chance = gammainc(cars, mean)
        # the cube-root approximation is within 0.001 an hour, the table far within that
        least = 1e-3 if cars >= 8 else 1e-6
        assert total == pytest.approx(chance.sum(axis=1), abs=least * 300)
        assert spread == pytest.approx((chance * (1 - chance)).sum(axis=1), abs=least * 300)

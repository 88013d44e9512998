"""Do waits, queues and losses agree with theory and with a general event simulator?"""

import numpy as np
import pytest

from capture.basis import InputError, Offer, Worlds
from capture.hours import VALUES as HOUR_VALUES
from capture.hours import estimate_busy_hour, make_year_shape
from capture.line import (
    VALUES,
    compare_design_hours,
    compute_balk_share,
    compute_erlang_b,
    compute_erlang_c,
    compute_lost_share,
    compute_queue_sensitivity,
    count_bays_needed,
    estimate_stacking_cars,
    list_frontier,
    make_frontier,
    simulate_queue,
    size_line,
)
from capture.line.queue_days import draw_days
from capture.line.queueing import draw_arrivals, find_most_waiting, pass_line

OFFER = Offer()
#: a year whose shape and weather are certain
CERTAIN_HOURS = HOUR_VALUES.override({"peak_log_sd": 0.0, "weather_year_cv": 0.0})


def poisson_times(rng, rate_s, cars, days):
    return np.cumsum(rng.exponential(1 / rate_s, (days, cars)), axis=1)


def test_pay_lanes_alone_are_an_erlang_c_queue():
    rng = np.random.default_rng(5)
    pay, lanes, load = 30.0, 3, 2.2
    arrives = poisson_times(rng, load / pay, 3000, 250)
    done = pass_line(arrives, rng.exponential(pay, arrives.shape), headway_s=1e-9, lanes=lanes)
    waited = (done.paid_s - arrives).mean() - pay
    expected = float(compute_erlang_c(load, lanes)) * pay / (lanes - load)
    assert waited == pytest.approx(expected, rel=0.05)


def test_bays_block_as_erlang_b_says_whatever_the_spread_of_the_stay():
    rng = np.random.default_rng(6)
    for stay in (lambda n: np.full(n, 450.0), lambda n: rng.exponential(450.0, n)):
        free, blocked, cars = np.zeros(3), 0, 60_000
        times, stays = np.cumsum(rng.exponential(225.0, cars)), stay(cars)
        for k in range(cars):
            bay = free.argmin()
            if free[bay] > times[k]:
                blocked += 1
            else:
                free[bay] = times[k] + stays[k]
        assert blocked / cars == pytest.approx(float(compute_erlang_b(2.0, 3)), abs=0.008)


def run_events(arrives, pay, headway, lanes, limit, chance):
    """Run one day in a general event simulator; return entry times (NaN: turned away)."""
    simpy = pytest.importorskip("simpy")
    env = simpy.Environment()
    tills, belt = simpy.Resource(env, lanes), simpy.Resource(env, 1)
    enters, waiting = np.full(arrives.size, np.nan), [0]

    def hold_belt(request):
        yield env.timeout(headway)
        belt.release(request)

    def car(k):
        yield env.timeout(arrives[k])
        if chance[k] < compute_balk_share(waiting[0], limit):
            return
        waiting[0] += 1
        with tills.request() as till:
            yield till
            yield env.timeout(pay[k])
        request = belt.request()
        yield request
        waiting[0] -= 1
        enters[k] = env.now
        env.process(hold_belt(request))

    for k in range(arrives.size):
        env.process(car(k))
    env.run()
    return enters


def test_entry_times_are_those_of_a_general_event_simulator():
    """Nobody turns away: every car of every day enters at the same second."""
    rng = np.random.default_rng(7)
    arrives = poisson_times(rng, 1 / 38.0, 250, 4)
    pay = np.where(rng.random(arrives.shape) < 0.6, 10.0, 45.0)
    ours = pass_line(arrives, pay, headway_s=36.0, lanes=2)
    for day in range(4):
        theirs = run_events(arrives[day], pay[day], 36.0, 2, 1e12, np.ones(250))
        assert ours.enters_s[day] == pytest.approx(theirs, abs=1e-6)


@pytest.mark.parametrize(("gap_s", "cars"), [(30.0, 300), (9.0, 900)])
def test_who_turns_away_agrees_with_a_general_event_simulator(gap_s, cars):
    """Also where most turn away, so that few of those who come are among those who wait."""
    rng = np.random.default_rng(8)
    arrives = poisson_times(rng, 1 / gap_s, cars, 12)
    pay = np.where(rng.random(arrives.shape) < 0.6, 10.0, 45.0)
    chance = rng.random(arrives.shape)
    ours = pass_line(arrives, pay, headway_s=36.0, lanes=2, balk_cars=8.0, chance=chance)
    theirs = np.array(
        [run_events(arrives[day], pay[day], 36.0, 2, 8.0, chance[day]) for day in range(12)]
    )
    turned = [1 - (~np.isnan(enters)).mean() for enters in (ours.enters_s, theirs)]
    assert turned[0] == pytest.approx(turned[1], abs=0.01)
    waits = [np.nanmean(enters - arrives) for enters in (ours.enters_s, theirs)]
    assert waits[0] == pytest.approx(waits[1], rel=0.03)
    assert find_most_waiting(ours).max() <= 17


def test_most_waiting_is_counted_right():
    arrives = np.array([[0.0, 1.0, 2.0, 200.0, np.nan]])
    done = pass_line(arrives, np.zeros((1, 5)), headway_s=50.0, lanes=1)
    assert done.enters_s[0, :4].tolist() == [0.0, 50.0, 100.0, 200.0]
    assert done.saw_cars[0, :4].tolist() == [0, 0, 1, 0]
    assert find_most_waiting(done).tolist() == [2.0]


def test_plan_lane_serves_members_and_leaves_the_rest_to_others():
    rng = np.random.default_rng(9)
    arrives = poisson_times(rng, 1 / 25.0, 400, 20)
    member = rng.random(arrives.shape) < 0.5
    pay = np.where(member, 10.0, 60.0)
    shared = pass_line(arrives, pay, headway_s=1.0, lanes=2)
    apart = pass_line(arrives, pay, headway_s=1.0, lanes=2, member=member, plan_lanes=1)
    assert apart.wait_s[member].mean() < shared.wait_s[member].mean()
    assert apart.wait_s[~member].mean() > shared.wait_s[~member].mean()
    with pytest.raises(InputError, match="plan lanes must be fewer"):
        pass_line(arrives, pay, headway_s=1.0, lanes=1, member=member, plan_lanes=1)


def test_arrivals_have_the_means_they_were_drawn_from():
    means = np.zeros((4000, 24))
    means[:, 9], means[:, 15] = 4.0, 20.0
    times = draw_arrivals(means, np.random.default_rng(1))
    hour = times[~np.isnan(times)] // 3600
    assert (hour == 9).sum() / 4000 == pytest.approx(4.0, abs=0.15)
    assert (hour == 15).sum() / 4000 == pytest.approx(20.0, abs=0.3)
    assert set(hour) == {9.0, 15.0}
    assert (np.diff(times, axis=1)[~np.isnan(np.diff(times, axis=1))] >= 0).all()


def test_queue_days_are_the_days_of_the_year_and_keep_its_cars():
    shape, worlds = make_year_shape(OFFER), Worlds(draws=1000)
    means, world = draw_days(np.full(1000, 90_000.0), shape, worlds, site_id="A", days=7300)
    assert means.shape == (7300, 24)
    assert np.bincount(world).max() <= 8
    assert means.sum() / 20 == pytest.approx(90_000, rel=0.02)
    assert (means[:, :8] == 0).all()


def test_fast_lost_share_agrees_with_the_simulation():
    shape = make_year_shape(OFFER, values=CERTAIN_HOURS)
    values = VALUES.override({"balk_cars": 10.0, "pay_ticket_s": 0.01, "pay_member_s": 0.01})
    worlds, line = Worlds(draws=200), size_line(60.0, OFFER)
    for cars in (90_000.0, 150_000.0):
        queue = simulate_queue(
            np.full(200, cars), shape, line, OFFER, worlds, days=2000, values=values
        )
        fast = float(compute_lost_share(cars, line.cars_per_hour, shape, OFFER, values=values))
        assert fast == pytest.approx(queue.lost_share, rel=0.12, abs=0.001)


def test_fast_lost_share_holds_with_all_that_is_not_known():
    """Weather of the year, the shape's own spread and balking are drawn in one, meant in both."""
    shape, worlds, line = make_year_shape(OFFER), Worlds(draws=1000), size_line(70.0, OFFER)
    for cars in (80_000.0, 130_000.0):
        queue = simulate_queue(np.full(1000, cars), shape, line, OFFER, worlds, days=3000)
        fast = float(compute_lost_share(cars, line.cars_per_hour, shape, OFFER))
        assert fast == pytest.approx(queue.lost_share, rel=0.3, abs=0.001)


@pytest.mark.property
def test_lost_share_rises_with_cars_and_falls_with_the_line():
    shape = make_year_shape(OFFER)
    cars = np.geomspace(1e4, 1e6, 40)
    lost = compute_lost_share(cars[:, None], np.array([[40.0, 80.0, 160.0]]), shape, OFFER)
    assert lost.shape == (40, 3)
    assert (np.diff(lost, axis=0) >= -1e-12).all()
    assert (np.diff(lost, axis=1) <= 1e-12).all()
    assert ((lost >= 0) & (lost < 1)).all()
    # far above capacity nearly all but what the line takes is turned away
    heavy = float(compute_lost_share(5e6, 50.0, shape, OFFER)) / (
        1 - VALUES.value("come_back_share")
    )
    assert heavy == pytest.approx(1 - 50.0 * 4380 / 5e6, abs=0.02)
    assert float(compute_lost_share(0.0, 50.0, shape, OFFER)) == pytest.approx(0, abs=1e-9)


def test_a_queue_says_what_a_planner_asks():
    shape, worlds = make_year_shape(OFFER), Worlds(draws=300)
    cars = np.full(300, 160_000.0)
    line = size_line(60.0, OFFER)
    queue = simulate_queue(cars, shape, line, OFFER, worlds, days=600, stacking_places=8)
    assert queue.wait_s.shape == (3, 24)
    busy = slice(9, 18)
    assert (np.diff(queue.wait_s[:, busy], axis=0) >= 0).all()
    assert queue.stacking_m == pytest.approx(queue.stacking_cars * VALUES.value("stacking_car_m"))
    assert queue.share_of_days_over_stacking > 0.05
    assert any("reach the street" in said for said in queue.cautions)
    assert 0 < queue.lost_share < queue.balked_share < 1
    assert queue.lost_cars_per_year == pytest.approx(queue.lost_share * 160_000)
    again = simulate_queue(cars, shape, line, OFFER, worlds, days=600, stacking_places=8)
    assert (again.most_waiting == queue.most_waiting).all()


def test_more_lanes_and_a_faster_chain_never_hurt():
    shape, worlds = make_year_shape(OFFER), Worlds(draws=200)
    cars = np.full(200, 130_000.0)
    rows = compute_queue_sensitivity(
        cars, shape, size_line(70.0, OFFER), OFFER, worlds, pay_lanes=(1, 3),
        speed_factors=(0.8, 1.2), days=400,
    )  # fmt: skip
    assert rows[0]["wait_95_s"] > rows[1]["wait_95_s"]
    assert rows[2]["lost_share"] > rows[1]["lost_share"] > rows[3]["lost_share"]


@pytest.mark.parametrize(("kind", "low", "high"), [("in_bay", 6, 11), ("self_service", 3.5, 7.5)])
def test_bays_get_an_answer_too(kind, low, high):
    offer = Offer(format=kind, bays=3)
    line = size_line(40.0, offer)
    assert low <= line.cars_per_hour / 3 <= high
    assert line.lines == line.bays == 3
    assert any("find all 3 bays taken" in said for said in line.cautions)
    shape, worlds = make_year_shape(offer), Worlds(draws=100)
    queue = simulate_queue(np.full(100, 30_000.0), shape, line, offer, worlds, days=500)
    fast = float(compute_lost_share(30_000.0, line.cars_per_hour, shape, offer))
    assert queue.lost_share == pytest.approx(fast, rel=0.25)
    needed = int(count_bays_needed(40.0, offer))
    hold = 3600 * 3 / line.cars_per_hour
    allowed = VALUES.value("bay_blocked_share")
    assert compute_erlang_b(40 * hold / 3600, needed) <= allowed
    assert compute_erlang_b(40 * hold / 3600, needed - 1) > allowed


def test_choices_can_be_laid_side_by_side():
    shape = make_year_shape(OFFER)
    rows = compare_design_hours(120_000, shape, OFFER)
    for name in ("design_cars_per_hour", "line_cars_per_hour", "capital_usd"):
        assert [row[name] for row in rows] == sorted((row[name] for row in rows), reverse=True)
    assert rows[0]["lost_share"] < rows[-1]["lost_share"]
    chart = list_frontier(make_frontier(OFFER))
    assert {row["package"] for row in chart} == {"essential", "complete"}


def test_what_cannot_be_simulated_is_refused():
    shape, worlds, line = make_year_shape(OFFER), Worlds(draws=60), size_line(50.0, OFFER)
    with pytest.raises(InputError, match="days must be 50 to"):
        simulate_queue(np.ones(60), shape, line, OFFER, worlds, days=5)
    with pytest.raises(InputError, match="must be 60 numbers"):
        simulate_queue(np.ones(59), shape, line, OFFER, worlds)
    with pytest.raises(InputError, match="line_cars_per_hour must be above 0"):
        compute_lost_share([1.0], 0.0, shape, OFFER)
    with pytest.raises(InputError, match="cars_per_year must be numbers"):
        compute_lost_share([-1.0], 5.0, shape, OFFER)
    with pytest.raises(InputError, match="Erlang B"):
        compute_erlang_b(-1.0, 2)
    empty = simulate_queue(np.zeros(60), shape, line, OFFER, worlds, days=60)
    assert (empty.lost_share, empty.stacking_cars, empty.mean_wait_s) == (0.0, 0, 0.0)


def test_hours_and_queue_share_one_model_of_noise():
    """The 30th hour of the queue's own days spreads as the busy hour does, not more."""
    shape, found, meant = make_year_shape(OFFER), [], []
    for seed in range(120):
        worlds = Worlds(seed=seed, draws=1)
        cars = np.array([100_000.0])
        means, _ = draw_days(cars, shape, worlds, site_id="A", days=365)
        counts = np.random.default_rng(seed).poisson(means)
        found.append(np.partition(counts.ravel(), -30)[-30])
        meant.append(estimate_busy_hour(cars[None], shape, worlds, ["A"]).cars[0, 0])
    logs = [np.log(found), np.log(meant)]
    assert logs[0].mean() == pytest.approx(logs[1].mean(), abs=0.05)
    assert logs[0].std() == pytest.approx(logs[1].std(), rel=0.15)
    # the same world: weather and shape are shared, only hours and days differ
    assert np.corrcoef(logs)[0, 1] > 0.9


@pytest.mark.property
def test_stacking_of_a_site_does_not_depend_on_who_else_is_asked_about():
    shape = make_year_shape(OFFER)
    sites = np.geomspace(14_000.0, 130_000.0, 12)
    quiet = estimate_stacking_cars(sites, 90.0, shape, OFFER)
    beside = estimate_stacking_cars([*sites, 280_000.0], 90.0, shape, OFFER)
    assert quiet.tolist() == beside[:-1].tolist()
    assert beside[-1] > quiet[-1]


def test_stacking_of_many_sites_agrees_with_the_simulation_of_one():
    shape = make_year_shape(OFFER, values=CERTAIN_HOURS)
    values = VALUES.override(
        {name: VALUES.value(name) for name in ("balk_cars", "pay_ticket_s", "pay_member_s",
                                               "member_share")}
    )  # fmt: skip
    worlds, line = Worlds(draws=100), size_line(80.0, OFFER)
    cars = np.array([60_000.0, 110_000.0, 180_000.0])
    many = estimate_stacking_cars(cars, line.cars_per_hour, shape, OFFER, values=values)
    for wanted, found in zip(cars, many, strict=True):
        queue = simulate_queue(
            np.full(100, wanted), shape, line, OFFER, worlds, days=1000, values=values
        )
        assert found == pytest.approx(queue.stacking_cars, abs=1.6)
    assert (np.diff(many) > 0).all()
    bays = Offer(format="in_bay")
    assert estimate_stacking_cars([1e4], 8.0, shape, bays).tolist() == [0.0]
    with pytest.raises(InputError, match="line_cars_per_hour above 0"):
        estimate_stacking_cars([1e4], 0.0, shape, OFFER)


def test_exponentials_are_those_of_the_library():
    from scipy.linalg import expm

    from capture.line.lost import _exponentials

    step = np.diag(np.full(20, -1.0)) + np.diag(np.full(19, 1.0), k=1)
    many = np.array([0.0, 0.3, 5.0, 60.0])[:, None, None] * step
    assert _exponentials(many) == pytest.approx(np.stack([expm(one) for one in many]), abs=1e-10)


@pytest.mark.property
def test_compiled_queue_turns_away_the_share_that_the_formula_says():
    from capture.line.lost import compute_balk_share

    rng = np.random.default_rng(11)
    arrives = np.sort(rng.uniform(0, 3600, (40, 90)), axis=1)
    chance = rng.random(arrives.shape)
    done = pass_line(
        arrives, np.zeros_like(arrives), headway_s=70.0, lanes=1, balk_cars=6.0, chance=chance
    )
    # nobody pays here, so that those seen waiting are those who wait for the line
    assert (done.joined == (chance >= compute_balk_share(done.saw_cars, 6.0))).all()
    assert 0 < done.joined.mean() < 1


@pytest.mark.property
def test_compiled_queue_lets_cars_enter_as_they_have_paid():
    rng = np.random.default_rng(12)
    arrives = np.sort(rng.uniform(0, 3600, (20, 60)), axis=1)
    pay = rng.choice([5.0, 200.0], arrives.shape)
    done = pass_line(arrives, pay, headway_s=40.0, lanes=3)
    for paid, enters in zip(done.paid_s, done.enters_s, strict=True):
        ranked = enters[np.argsort(paid, kind="stable")]
        line_free = 0.0
        for ready, entered in zip(np.sort(paid), ranked, strict=True):
            assert entered == pytest.approx(max(ready, line_free))
            line_free = entered + 40.0

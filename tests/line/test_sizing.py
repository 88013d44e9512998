"""Is the line found the shortest there is, and does it grow only with the hour?"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.basis import InputError, Offer
from capture.basis.units import M_PER_FT, MPS_PER_FT_PER_MIN
from capture.line import (
    VALUES,
    Catalog,
    Package,
    Station,
    StationSet,
    compute_chain_rate,
    lay_out_line,
    make_frontier,
    size_line,
    size_lines,
    usual_catalog,
)
from capture.line.frontier import list_speeds

FT_MIN = MPS_PER_FT_PER_MIN


def random_station(rng, name):
    contact = float(rng.uniform(0, 25)) * (rng.random() < 0.8)
    return Station(
        id=name, name=name, role="x", purpose="x", body_m=float(rng.uniform(0, 3)),
        each_m=float(rng.uniform(0, 2.5)), zone_s=float(rng.uniform(0, 25)),
        contact_s=contact, wetted_m=float(rng.uniform(0.3, 3)), count=int(rng.integers(1, 3)),
    )  # fmt: skip


def random_catalog(rng):
    stations = {f"s{k}": random_station(rng, f"s{k}") for k in range(int(rng.integers(2, 9)))}
    packages = {}
    for name in ("a", "b"):
        slow = float(rng.uniform(10, 30)) * FT_MIN
        fast = slow + float(rng.uniform(2, 30)) * FT_MIN
        size = int(rng.integers(1, len(stations) + 1))
        packages[name] = Package(
            id=name, name=name, formats=("exterior",), slowest_mps=slow, fastest_mps=fast,
            reason="", stations=tuple(rng.permutation(list(stations))[:size]),
        )  # fmt: skip
    return Catalog(stations=stations, packages=packages)


def brute_force(needed, catalog, values=VALUES):
    """Try every package, speed step and whole count of every station; no use of the solver."""
    best = math.inf
    rate = 3600 / values.value("pitch_m") * values.value("loading_guided_share")
    for package in catalog.packages.values():
        for speed in list_speeds(package, values.value("speed_step_mps")):
            if speed * rate < needed - 1e-9:
                continue
            length = 0.0
            for name in package.stations:
                one = catalog.stations[name]
                zones = [
                    max(one.body_m + one.each_m * count, one.zone_s * speed)
                    for count in range(one.count, 120)
                    if count * one.wetted_m >= one.contact_s * speed - 1e-9
                ]
                length += min(zones)
            best = min(best, length)
    return best


@pytest.mark.property
def test_the_solver_agrees_with_brute_force_on_500_random_station_sets():
    rng = np.random.default_rng(11)
    values = VALUES.override({"speed_step_mps": 1.5 * FT_MIN})
    compared = 0
    for _ in range(500):
        catalog = random_catalog(rng)
        frontier = make_frontier(Offer(), catalog=catalog, values=values)
        needed = float(rng.uniform(0, frontier.cars_per_hour[-1]))
        line = size_line(needed, Offer(), catalog=catalog, values=values)
        assert line.lines == 1
        assert line.cars_per_hour >= needed - 1e-6
        assert line.length_m == pytest.approx(brute_force(needed, catalog, values), abs=1e-9)
        compared += 1
    assert compared == 500


@pytest.mark.property
@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.lists(st.floats(0.01, 0.6), min_size=2, max_size=20))
def test_a_slower_chain_never_needs_a_longer_line(seed, speeds):
    rng = np.random.default_rng(seed)
    stations = StationSet(stations=tuple(random_station(rng, f"s{k}") for k in range(6)))
    speed = np.sort(speeds)
    assert (np.diff(stations.length_m(speed)) >= -1e-12).all()
    assert (np.diff(stations.count(speed), axis=1) >= 0).all()


@pytest.mark.property
@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0, 1000), min_size=1, max_size=30))
def test_many_sites_get_the_lines_that_each_gets_alone(hours):
    table = size_lines(hours, Offer())
    assert (table.cars_per_hour >= np.array(hours) - 1e-6).all()
    for k in (0, -1):
        line = size_line(hours[k], Offer())
        for name in (
            "length_m",
            "cars_per_hour",
            "lines",
            "capital_usd",
            "power_w",
            "flow_m3s",
            "building_area_m2",
        ):
            assert getattr(table, name)[k] == pytest.approx(getattr(line, name), rel=1e-9)


@pytest.mark.practice
def test_the_long_and_short_lists_come_out_as_practice_has_them():
    catalog = usual_catalog()
    long = lay_out_line(catalog.pick("complete"), Offer(), chain_speed_mps=45 * FT_MIN)
    short = lay_out_line(catalog.pick("essential"), Offer(), chain_speed_mps=22 * FT_MIN)
    assert long.length_m / M_PER_FT == pytest.approx(125, abs=3)
    assert long.cars_per_hour == pytest.approx(100, abs=2)
    assert short.length_m / M_PER_FT == pytest.approx(60, abs=3)
    assert short.cars_per_hour == pytest.approx(49, abs=1)
    assert not long.rule_breaks
    assert not short.rule_breaks


@pytest.mark.practice
@pytest.mark.parametrize("hour", [40, 60, 80, 100])
def test_sized_lines_keep_to_what_practice_knows(hour):
    line = size_line(float(hour), Offer())
    dryers = next(one for one in line.stations if one.id == "dryers")
    assert line.line_s <= 300
    assert 0.6 <= line.cars_per_hour / (line.length_m / M_PER_FT) <= 1.05
    assert 0.8 <= dryers.power_w / 745.7 / line.cars_per_hour <= 1.7
    cost = (0.45e6, 1.2e6) if line.package == "essential" else (0.9e6, 2.3e6)
    assert cost[0] <= line.capital_usd <= cost[1]


def test_positions_counts_and_times_fit_together():
    line = size_line(98.0, Offer())
    zones = [one for one in line.stations if one.length_m > 0]
    assert sum(one.length_m for one in zones) == pytest.approx(line.length_m)
    ends = np.cumsum([one.length_m for one in zones])
    assert [one.start_m for one in zones[1:]] == pytest.approx(ends[:-1].tolist())
    for one in line.stations:
        assert one.enters_s == pytest.approx(one.start_m / line.chain_speed_mps)
        if one.contact_s:
            need = one.contact_s * line.chain_speed_mps
            assert one.count * one.wetted_m >= need - 1e-9
    assert line.conveyor_length_m > line.length_m
    assert line.building_length_m > line.length_m
    assert line.meets_the_hour


def test_a_given_building_gets_the_most_cars_and_says_what_is_missing():
    limit = 30.0
    offer = Offer(building_limit_m=limit)
    line = size_line(200.0, offer)
    assert line.length_m <= limit
    assert not line.meets_the_hour
    assert any("the building allows" in said for said in line.cautions)
    frontier = make_frontier(offer)
    fits = frontier.cars_per_hour[frontier.length_m <= limit]
    assert line.cars_per_hour == pytest.approx(fits.max())
    # an hour that fits gets the shortest line, not the fullest
    assert size_line(40.0, offer).length_m == size_line(40.0, Offer()).length_m
    with pytest.raises(InputError, match="building_limit_m must be at least"):
        size_line(40.0, Offer(building_limit_m=10.0))


def test_an_hour_beyond_one_line_takes_more_lines():
    line = size_line(200.0, Offer())
    assert line.lines == 2
    assert line.cars_per_hour >= 200
    assert any("2 lines" in said for said in line.cautions)


def test_cars_an_hour_follow_speed_pitch_and_who_loads():
    rate = compute_chain_rate(45 * FT_MIN, pitch_m=22 * M_PER_FT)
    assert rate == pytest.approx(60 * 45 / 22)
    alone = size_line(60.0, Offer(guided_loading=False))
    guided = size_line(60.0, Offer())
    assert alone.length_m > guided.length_m


def test_frontier_rises_and_answers_at_once():
    frontier = make_frontier(Offer())
    assert (np.diff(frontier.cars_per_hour) > 0).all()
    assert (np.diff(frontier.length_m) >= 0).all()
    assert make_frontier(Offer()) is frontier
    for hour in (0.0, 31.0, 77.0):
        row = int(frontier.find_row(hour))
        assert frontier.cars_per_hour[row] >= hour
        assert row == 0 or frontier.cars_per_hour[row - 1] < hour


def test_an_hour_that_cannot_be_is_refused():
    for hour in (-1.0, math.nan, math.inf, 1e9):
        with pytest.raises(InputError, match="cars_per_hour must be 0 to"):
            size_line(hour, Offer())
    with pytest.raises(InputError, match="cars_per_hour must be numbers"):
        size_lines([1.0, -2.0], Offer())
    with pytest.raises(InputError, match="package must be one of"):
        size_line(50.0, Offer(), package="huge")
    with pytest.raises(InputError, match="chain_speed_mps"):
        lay_out_line(usual_catalog().pick("essential"), Offer(), chain_speed_mps=0.0)

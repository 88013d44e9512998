"""One change at a time on the invented town, in the same worlds."""

from __future__ import annotations

import dataclasses
import time

import numpy as np
import pytest

from capture.basis import InputError, Offer
from capture.chain import (
    Memo,
    Works,
    compare,
    find_hope,
    list_screens,
    propose_driveway,
    study,
    try_closing,
    try_cut,
    try_driveway,
    try_formats,
    try_line_length,
    try_near_side_only,
    try_offer,
    try_opening,
    try_price,
    try_rival,
    try_rival_closes,
    try_rival_opens,
    try_sign,
)
from capture.place import open_place
from capture.share import find_needed

DRAWS = 400
#: the invented town's tree row
ROW = 501463


@pytest.fixture(scope="module")
def p05(demo, memo):
    """A parcel behind a raised median."""
    return study(demo, "parcel:P05", draws=DRAWS, memo=memo)


@pytest.fixture(scope="module")
def opened(p05, memo):
    """The median opened in front of it."""
    return try_opening(p05, memo=memo)


@pytest.fixture(scope="module")
def hidden(demo, memo):
    """A spot beside the road that a tree row stands before."""
    plane = open_place(demo).network.projection
    lat, lon = plane.to_latlon(-894.0, 1095.0)
    return study(demo, (float(lat), float(lon)), draws=DRAWS, memo=memo)


@pytest.fixture(scope="module")
def rival(p01, memo):
    """One more rival three hundred metres away."""
    return try_rival(p01, float(p01.sites.lat[0]) + 0.003, float(p01.sites.lon[0]), memo=memo)


def test_change_is_the_difference_of_two_studies_world_by_world(demo, p01, memo):
    change = try_price(p01, 16.0, memo=memo)
    dear = study(demo, "parcel:P01", Offer(ticket_price_usd=16.0), draws=DRAWS, memo=Memo())
    assert change.share_ratio_draws == pytest.approx(dear.share.rate[0] / p01.share.rate[0])
    cars = (dear.cars_per_year - p01.cars_per_year) / 365
    assert change.cars_per_day_change.value == pytest.approx(np.median(cars))
    assert change.cars_per_day_change.high == pytest.approx(np.quantile(cars, 0.95))
    npv = dear.money.npv_usd[0] - p01.money.npv_usd[0]
    assert change.npv_usd_change.mean == pytest.approx(npv.mean())
    assert change.after.design_hour_cars == pytest.approx(dear.design_hour_cars)
    assert change.after.payback_years.value == pytest.approx(
        np.median(dear.money.payback_years), rel=1e-3
    )
    assert change.request.offer == dear.offer


def test_shared_worlds_narrow_the_range_of_a_change(demo, p01, memo):
    change = try_price(p01, 16.0, memo=memo)
    apart = study(demo, "parcel:P01", Offer(ticket_price_usd=16.0), draws=DRAWS, seed=1, memo=memo)
    loose = np.log(apart.share.rate[0] / p01.share.rate[0]).std()
    assert np.log(change.share_ratio_draws).std() < 0.2 * loose


def test_one_factor_alone_explains_the_whole_change(p01, opened, memo):
    price = try_price(p01, 16.0, memo=memo)
    assert [factor.name for factor in price.factors] == ["log_price"]
    for part in ("low", "value", "high"):
        whole = getattr(price.share_ratio, part)
        assert getattr(price.factors[0].multiplier, part) == pytest.approx(whole, rel=1e-12)
    assert [factor.name for factor in opened.factors] == ["delay"]
    assert opened.factors[0].multiplier.value == pytest.approx(opened.share_ratio.value)
    assert opened.factors[0].after < opened.factors[0].before


def test_factors_multiply_up_when_several_move(p01, rival):
    names = {factor.name for factor in rival.factors}
    assert names == {"pull", "passed_first"}
    typical = np.exp(np.log(rival.share_ratio_draws).mean())
    product = np.prod([factor.multiplier.value for factor in rival.factors])
    assert product == pytest.approx(typical, rel=0.02)


@pytest.mark.property
def test_opening_a_median_helps_and_closing_hurts_no_less(p01, p05, opened, memo):
    assert opened.share_ratio.low > 1
    assert opened.chance_more > 0.95
    assert opened.after.factors["delay"] < opened.before.factors["delay"]
    closed = try_closing(p01, memo=memo)
    assert closed.share_ratio.high < 1
    kept = try_near_side_only(p01, memo=memo)
    assert (kept.share_ratio_draws == closed.share_ratio_draws).all()
    assert "right turns" in kept.what
    again = try_closing(p05, memo=memo)
    assert again.share_ratio_draws == pytest.approx(1.0)
    assert "stays" in again.sentence


def test_change_kept_can_be_undone(p05, opened, memo):
    back = try_closing(opened.chain, memo=memo)
    assert back.share_ratio_draws * opened.share_ratio_draws == pytest.approx(1.0)
    with pytest.raises(InputError, match="nothing to open"):
        try_opening(opened.chain, memo=memo)
    assert try_opening(back.chain, memo=memo).share_ratio_draws == pytest.approx(
        opened.share_ratio_draws
    )


@pytest.mark.property
def test_more_rivals_lower_and_fewer_raise_the_share(p01, rival, memo):
    assert rival.share_ratio.high < 1
    assert rival.after.factors["pull"] > rival.before.factors["pull"]
    gone = try_rival_closes(rival.chain, rival.chain.rivals.ids[-1], memo=memo)
    assert gone.share_ratio_draws * rival.share_ratio_draws == pytest.approx(1.0)
    built = try_rival_opens(p01, "W09", memo=memo)
    assert built.share_ratio.high < 1
    assert "open instead of planned" in built.what
    with pytest.raises(InputError, match="open already"):
        try_rival_opens(p01, "W01", memo=memo)
    with pytest.raises(InputError, match="none with id"):
        try_rival_closes(p01, "W99", memo=memo)


def test_closing_the_only_rival_with_a_price_says_that_the_price_is_in_doubt(p01, memo):
    closed = try_rival_closes(p01, "W01", memo=memo)
    assert any("price" in note and "widens" in note for note in closed.notes)
    assert closed.share_ratio.value > 1
    typical = np.exp(np.log(closed.share_ratio_draws).mean())
    product = np.prod([factor.multiplier.value for factor in closed.factors])
    assert product == pytest.approx(typical, rel=0.05)


def test_driveway_moves_along_its_road_only(p01, memo):
    moved = try_driveway(p01, 15.0, memo=memo)
    old, new = p01.frontage, moved.chain.frontage
    far = np.hypot(new.line_x - old.line_x, new.line_y - old.line_y)
    assert far == pytest.approx([15.0, 0.0], abs=1e-6)
    assert (new.segment == old.segment).all()
    assert moved.what == "driveway D1 15 m to the north"
    assert (moved.chain.passing == p01.chain.passing).all()
    for wrong in (500.0, float("nan")):
        with pytest.raises(InputError, match="for this frontage"):
            try_driveway(p01, wrong, memo=memo)
    with pytest.raises(InputError, match="there are D1, D2"):
        try_driveway(p01, 5.0, driveway="D7", memo=memo)


def test_moved_driveway_is_the_same_from_a_fresh_memory(demo, p01, memo):
    moved = try_driveway(p01, -10.0, memo=memo)
    fresh = study(demo, "parcel:P01", draws=DRAWS, frontage=moved.request.frontage, memo=Memo())
    assert any("moved" in said for said in fresh.cautions)
    assert (fresh.share.rate == moved.chain.share.rate).all()
    assert (fresh.money.npv_usd == moved.chain.money.npv_usd).all()
    same = try_driveway(p01, 0.0, memo=memo)
    assert (same.share_ratio_draws == 1).all()


def test_proposed_driveway_is_the_scan_s_and_says_why(p01, memo):
    told = propose_driveway(p01, memo=memo)
    table = told.scan.table
    row = table.iloc[told.scan.best]
    assert told.along_m == row["along_m"]
    assert told.reasons
    mine = np.asarray(told.change.chain.frontage.driveway) == told.driveway
    assert told.change.chain.frontage.x[mine] == pytest.approx(row["x"])
    # sight is looked up, not assumed: a place tried alone sees what the scan says
    assert table["sight"].between(0, 1).all()
    sound = table["triangles_clear"] & (table["corner_m"] > 60)
    assert not sound.any() or bool(sound.iloc[told.scan.best])


def test_scan_looks_as_the_chain_does(hidden, memo):
    told = propose_driveway(hidden, memo=memo)
    rows = np.asarray(told.change.chain.streams.driveway) == 0
    seen = np.average(
        told.change.chain.seeing.sight[rows],
        weights=told.change.chain.streams.vehicles_per_day[rows],
    )
    if len(told.change.chain.frontage) == 1:
        assert told.scan.table["sight"].iloc[told.scan.best] == pytest.approx(seen)
    assert told.change.share_ratio.value >= 0.99


def test_screens_near_a_site_can_be_cut(hidden, p01, memo):
    near = list_screens(hidden)
    assert near["osm_id"].to_list() == [ROW]
    cut = try_cut(hidden, [ROW], memo=memo)
    assert "tree row" in cut.what
    assert (cut.chain.seeing.seen_m >= hidden.seeing.seen_m).all()
    assert (cut.chain.seeing.sight >= hidden.seeing.sight).all()
    assert cut.chain.seeing.seen_m.sum() > hidden.seeing.seen_m.sum()
    assert cut.share_ratio.low >= 1
    assert list_screens(cut.chain)["height_m"].to_list() == [0.0]
    with pytest.raises(InputError, match="no hedge, wall"):
        try_cut(p01, [1], memo=memo)
    with pytest.raises(InputError, match="list_screens"):
        try_cut(p01, [], memo=memo)


@pytest.mark.property
def test_higher_sign_is_never_seen_less(hidden, memo):
    high, low = try_sign(hidden, 14.0, memo=memo), try_sign(hidden, 2.0, memo=memo)
    assert (high.chain.seeing.seen_m >= hidden.seeing.seen_m).all()
    assert (low.chain.seeing.seen_m <= hidden.seeing.seen_m).all()
    assert high.share_ratio.low >= 1 >= low.share_ratio.high


def test_every_other_format_is_tried_in_the_same_worlds(demo, p01, memo):
    tried = try_formats(p01, memo=memo)
    assert set(tried) == {"flex", "full_service", "in_bay", "self_service"}
    bays = study(demo, "parcel:P01", Offer(format="in_bay", bays=2), draws=DRAWS, memo=memo)
    assert tried["in_bay"].after.share.value == pytest.approx(np.median(bays.share.rate))
    assert tried["full_service"].factors[0].name == "format"
    assert all(change.notes for change in tried.values())


def test_longer_line_keeps_the_share_and_turns_fewer_away(demo, memo):
    short = study(demo, "parcel:P01", Offer(building_limit_m=20.0), draws=DRAWS, memo=memo)
    longer = try_line_length(short, 30.0, memo=memo)
    assert longer.share_ratio_draws == pytest.approx(1.0)
    assert longer.before.line_length_m < longer.after.line_length_m <= 30.0
    assert longer.after.lost_share.value < longer.before.lost_share.value
    assert longer.washed_per_day_change.low > 0
    assert "turns away" in longer.sentence
    with pytest.raises(InputError, match="give more room"):
        try_line_length(short, 19.0, memo=memo)


def test_longer_line_than_the_hour_asks_for(p01, memo):
    longer = try_line_length(p01, 45.0, memo=memo)
    assert longer.after.line_length_m > p01.line.length_m
    assert longer.after.washed_per_day.value >= longer.before.washed_per_day.value
    with pytest.raises(InputError, match="bays have no length"):
        try_line_length(try_formats(p01, memo=memo)["in_bay"].chain, 45.0, memo=memo)


def test_quiet_site_calls_for_no_longer_line(demo, memo):
    quiet = study(demo, "parcel:P01", Offer(ticket_price_usd=500.0), draws=DRAWS, memo=memo)
    with pytest.raises(InputError, match="so few cars"):
        try_line_length(quiet, 45.0, memo=memo)


def test_hope_is_told_of_the_same_share(p01):
    assert find_hope(p01, share=0.012) == find_needed(p01.share, 0.012)
    cars = find_hope(p01, cars_per_day=200.0)
    assert cars.share == pytest.approx(200.0 / np.median(p01.passing))
    with pytest.raises(InputError, match="give one of the two"):
        find_hope(p01)
    with pytest.raises(InputError, match="within 0 to 1"):
        find_hope(p01, share=1.5)
    for wrong in (-1.0, 1e9, float("nan")):
        with pytest.raises(InputError, match="vehicles a day that pass"):
            find_hope(p01, cars_per_day=wrong)


def test_trial_answers_at_once_even_without_the_study_s_memo(p01):
    try_sign(p01, 9.0)
    start = time.perf_counter()
    alone = try_near_side_only(p01)
    assert time.perf_counter() - start < 3
    assert alone.chain.volumes is p01.volumes
    assert alone.chain.fit is p01.fit


def test_trials_that_cannot_be_compared_are_refused(demo, p01, ranked, memo):
    other = dataclasses.replace(p01.chain.request, worlds=dataclasses.replace(p01.worlds, seed=9))
    with pytest.raises(InputError, match="same worlds"):
        compare(p01, other, name="x", what="x", memo=memo)
    with pytest.raises(InputError, match="no field"):
        try_offer(p01, wish=3, memo=memo)
    with pytest.raises(InputError, match="works: there is no driveway 'D9'"):
        study(demo, "parcel:P01", draws=DRAWS, memo=memo, works=Works(openings={("P01", "D9")}))


WORKS = {
    "openings": (("P05", "D1"),),
    "near_side_only": (("P01", "D1"),),
    "grade_percent": {("P01", "D1"): 8.0},
    "access_s": {("P01", "D1"): 20.0},
    "front_xy": {("P01", "D1"): (-700.0, 600.0)},
    "sign_xy": {("P01", "D1"): (-625.0, 700.0)},
    "cut_screens": {ROW: 0.5},
}


@pytest.mark.parametrize("name", [field.name for field in dataclasses.fields(Works)])
def test_no_work_is_forgotten_by_the_memo(demo, memo, p01, p05, name):
    built = Works(**{name: WORKS[name]})
    site = "parcel:P05" if name == "openings" else "parcel:P01"
    plain = p05 if name == "openings" else p01
    changed = study(demo, site, draws=DRAWS, memo=memo, works=built)
    fresh = study(demo, site, draws=DRAWS, memo=Memo(), works=built)
    assert changed.chain.turning.delay_s == pytest.approx(fresh.chain.turning.delay_s)
    assert changed.chain.seeing.seen_by_target_m == pytest.approx(
        fresh.chain.seeing.seen_by_target_m, nan_ok=True
    )
    assert (changed.share.rate == fresh.share.rate).all()
    assert any(said.startswith("Taken as built") for said in changed.cautions)
    assert not any(said.startswith("Taken as built") for said in plain.cautions)
    if name in ("openings", "near_side_only", "grade_percent", "access_s"):
        assert not np.allclose(changed.chain.turning.delay_s, plain.chain.turning.delay_s)
    elif name != "cut_screens":
        assert changed.chain.seeing is not plain.chain.seeing


BAD_WORKS = {
    "steep": {"grade_percent": {("P01", "D1"): 90.0}},
    "no number": {"access_s": {("P01", "D1"): float("nan")}},
    "below ground": {"cut_screens": {1: -1.0}},
    "far away": {"sign_xy": {("P01", "D1"): (1e9, 0.0)}},
    "both": {"openings": [("P01", "D1")], "near_side_only": [("P01", "D1")]},
}


@pytest.mark.parametrize("name", BAD_WORKS)
def test_impossible_works_are_refused_in_one_sentence(name):
    with pytest.raises(InputError) as told:
        Works(**BAD_WORKS[name])
    assert str(told.value).startswith("works: ")
    assert "\n" not in str(told.value)


def test_wash_hours_of_the_year_weigh_the_waits(p01):
    share = p01.shape.hour_share
    by_hour = p01.turning.delay_by_hour_s
    assert p01.turning.delay_s == pytest.approx(by_hour @ share)


def test_low_sun_is_told_by_the_area_s_clock_only_where_it_can_be(demo, p01):
    from capture.chain.joints import find_time_zone

    assert find_time_zone(demo, p01.place) == "America/Chicago"
    abroad = dataclasses.replace(demo, time_zone="Europe/Helsinki")
    assert find_time_zone(abroad, p01.place) is None

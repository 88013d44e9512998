"""The whole chain on the invented town: one site, many, changed inputs, the same bytes."""

from __future__ import annotations

import dataclasses
import warnings

import numpy as np
import pytest

from capture.basis import CaptureError, InputError, Offer
from capture.chain import Memo, many, study
from capture.papers import load_schema, make_study_dict, render_study

DRAWS = 400


def test_every_step_hands_on_draws(p01):
    assert p01.vehicles.shape == (len(p01.streams), DRAWS)
    assert p01.passing == pytest.approx(p01.vehicles.sum(axis=0))
    assert p01.cars_per_year == pytest.approx(365 * p01.passing * p01.share.rate[0])
    assert p01.busy.cars.shape == (1, DRAWS)
    assert p01.money.npv_usd.shape == (1, DRAWS)
    for draws in (p01.passing, p01.share.rate, p01.busy.cars, p01.money.npv_usd):
        assert np.isfinite(draws).all()
        assert np.ptp(draws) > 0


def test_a_dearer_plan_is_joined_less_often(demo, memo, p01):
    dear = study(demo, "parcel:P01", Offer(plan_price_usd_month=40.0), draws=DRAWS, memo=memo)
    assert (dear.cars_per_year < p01.cars_per_year).all()
    assert dear.share.rate == pytest.approx(p01.share.rate)


def test_line_meets_the_hour_that_it_is_sized_for(p01):
    hour = np.median(p01.busy.cars[0]) * (1 + p01.offer.headroom_share)
    assert p01.design_hour_cars == pytest.approx(hour)
    assert p01.line.cars_per_hour >= p01.design_hour_cars
    assert p01.line.length_m == pytest.approx(float(p01.chain.lines.length_m[0]), rel=1e-6)


@pytest.mark.practice
def test_car_is_in_the_line_for_at_most_five_minutes(p01):
    # common practice, no source: a car is in the line for at most three to five minutes
    assert p01.line.length_m / p01.line.chain_speed_mps <= 5 * 60


@pytest.mark.practice
def test_busiest_hour_is_passing_times_share_in_that_hour(p01):
    # common practice, no source: busiest-hour cars = cars passing x capture rate; the part of
    # the year's passing cars that falls into the 30th hour is 0.2 to 0.45 of an average day
    day = np.median(p01.passing * p01.share.rate[0])
    assert 0.2 <= np.median(p01.busy.cars[0]) / day <= 0.45


def test_one_row_of_many_is_the_study(p01, ranked):
    at = ranked.sites.ids.index("P01")
    assert ranked.cars_per_year[at] == pytest.approx(p01.cars_per_year, rel=1e-5)
    assert ranked.npv_usd[at] == pytest.approx(p01.money.npv_usd[0], rel=1e-4, abs=50)


def test_size_of_pieces_never_changes_an_answer(demo, ranked):
    pieces = many(demo, draws=DRAWS, piece=17)
    assert (pieces.cars_per_year == ranked.cars_per_year).all()
    assert pieces.ranking["id"].to_list() == ranked.ranking["id"].to_list()


def test_ranking_loses_no_parcel_and_gives_reasons(ranked):
    table = ranked.ranking
    assert sorted(table["id"]) == sorted(ranked.sites.ids)
    standing = table[~table["struck"].astype(bool)]
    assert standing["rank"].to_list() == list(range(1, len(standing) + 1))
    assert standing["npv_usd"].is_monotonic_decreasing
    struck = table[table["struck"].astype(bool)]
    assert len(struck) > 0
    assert (struck["reason"].str.len() > 10).all()
    assert standing["chance_top"].sum() == pytest.approx(5, abs=1e-9)


def test_same_input_and_seed_same_bytes(demo, p01):
    again = study(demo, "parcel:P01", draws=DRAWS, memo=Memo())
    assert render_study(again) == render_study(p01)


def test_another_seed_is_another_world(demo, p01):
    other = study(demo, "parcel:P01", draws=DRAWS, seed=1)
    assert not np.allclose(other.passing, p01.passing)
    assert np.median(other.share.rate) == pytest.approx(np.median(p01.share.rate), rel=0.2)


def test_study_file_keeps_its_published_schema(p01):
    import jsonschema

    told = make_study_dict(p01)
    jsonschema.Draft202012Validator(load_schema()).validate(told)


def _numbers(thing, path=""):
    if isinstance(thing, dict):
        if {"value", "low", "high", "mean", "unit"} <= set(thing):
            yield path, thing
        for key, value in thing.items():
            yield from _numbers(value, f"{path}.{key}")
    elif isinstance(thing, list):
        for index, value in enumerate(thing):
            yield from _numbers(value, f"{path}[{index}]")


def test_every_uncertain_number_leads_to_a_source(p01):
    told = make_study_dict(p01)
    known = {entry["id"] for entry in told["sources"]}
    found = list(_numbers(told))
    assert len(found) > 40
    for path, number in found:
        assert number["source"] in known, path
    for name in ("streams", "rivals", "cautions"):
        assert told[name], name
    assert {"length_m", "chain_speed_mps", "cars_per_hour", "stations"} <= set(told["line"])


def test_remembered_steps_give_what_fresh_ones_give(demo, memo, p01):
    dear = Offer(ticket_price_usd=18)
    changed = study(demo, "parcel:P01", dear, draws=DRAWS, memo=memo)
    fresh = study(demo, "parcel:P01", dear, draws=DRAWS, memo=Memo())
    assert render_study(changed) == render_study(fresh)
    assert changed.chain.seeing is p01.chain.seeing
    assert np.median(changed.share.rate) < np.median(p01.share.rate)


#: steps that read no offer, so that a fresh memory may start with them
GROUND = {"place", "frontage", "volumes", "streams", "vehicles", "passing", "terrain", "walls",
          "rivals", "fit", "coefficients"}  # fmt: skip


def _start_afresh(memo):
    """A memory that knows the ground but nothing that an offer has touched."""
    return memo.start_from(GROUND)


FIELDS = {
    "format": "flex", "bays": 2, "ticket_price_usd": 10.0, "plan_offered": False,
    "plan_price_usd_month": 35.0, "opens_hour": 6, "closes_hour": 22, "years_open": 1.0,
    "busy_rank": 5, "headroom_share": 0.4, "guided_loading": False, "pay_lanes": 2,
    "reclaim": False, "sign_height_m": 12.0, "building_limit_m": 24.0, "land_cost_usd": 5e5,
}  # fmt: skip


@pytest.mark.parametrize("name", [field.name for field in dataclasses.fields(Offer)])
def test_no_offer_field_is_forgotten_by_the_memo(demo, memo, p01, name):
    offer = Offer().change(**{name: FIELDS[name]})
    changed = study(demo, "parcel:P01", offer, draws=DRAWS, memo=memo)
    fresh = study(demo, "parcel:P01", offer, draws=DRAWS, memo=_start_afresh(memo))
    assert render_study(changed) == render_study(fresh)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("passing.heavy_primary_share", None),
        ("turning.delay_cap_s", 60.0),
        ("hours.weather_year_cv", 0.0),
        ("line.pitch_m", 8.0),
        ("money.discount_rate_share", None),
    ],
)
def test_own_number_moves_the_answer(demo, memo, p01, name, value):
    room, _, short = name.partition(".")
    sheet = p01.numbers[room]
    if short not in sheet:
        short = next(entry for entry in sheet if sheet[entry].is_uncertain)
    value = sheet[short].high if value is None else value
    changed = study(demo, "parcel:P01", draws=DRAWS, memo=memo, replaced={f"{room}.{short}": value})
    assert changed.numbers[room][short].grade == "yours"
    assert render_study(changed) != render_study(p01)


@pytest.mark.property
@pytest.mark.parametrize("offset_m", [(300.0, 200.0), (-800.0, 900.0), (1500.0, -1200.0)])
def test_another_rival_never_raises_the_share(demo, memo, p01, offset_m):
    from capture.around import apply_edits, load_rivals

    plane = p01.place.network.projection
    lat, lon = plane.to_latlon(p01.sites.x[0] + offset_m[0], p01.sites.y[0] + offset_m[1])
    edit = {
        "do": "add", "id": "extra", "name": "One more", "format": "exterior",
        "lat": float(lat), "lon": float(lon),
    }  # fmt: skip
    base = load_rivals(demo, p01.place, on_year=2026.5)
    more = apply_edits(base, [edit], place=p01.place)
    with_more = study(demo, "parcel:P01", draws=DRAWS, rivals=more, memo=memo)
    with_base = study(demo, "parcel:P01", draws=DRAWS, rivals=base, memo=memo)
    assert with_more.around.pull[0] > with_base.around.pull[0]
    assert np.median(with_more.share.rate) < np.median(with_base.share.rate)


def test_chain_warns_of_nothing_on_the_demo(demo):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        study(demo, "parcel:P02", draws=200)


def test_many_sites_are_refused_as_one(demo):
    with pytest.raises(InputError, match="a study is of one site"):
        study(demo, str(demo.layers["parcels"].path), draws=50)


@pytest.mark.parametrize(
    "change", [{"draws": 0}, {"seed": -1}, {"replaced": {"line.nothing": 1.0}},
               {"replaced": {"line.pitch_m": float("nan")}}]
)  # fmt: skip
def test_bad_requests_are_refused_in_one_sentence(demo, change):
    with pytest.raises(CaptureError) as told:
        study(demo, "parcel:P01", **change)
    assert "\n" not in str(told.value)

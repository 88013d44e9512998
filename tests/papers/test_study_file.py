"""Does the file of a study keep to its schema, lead to its sources, and say what was computed?"""

from __future__ import annotations

import json
from typing import Any

import jsonschema
import numpy as np
import pytest

from capture.papers import load_schema, make_study_dict, render_study, render_study_map
from capture.papers.argument import make_argument, say_argument
from capture.papers.pictures import (
    make_cash_table,
    make_delay_table,
    make_duration_table,
    make_money_table,
    make_month_table,
    make_queue_table,
    make_rival_table,
    make_station_table,
    make_stream_table,
    make_utility_table,
    make_week_table,
)
from capture.papers.share_tables import make_step_table
from capture.papers.sources import GRADE_WORDS
from capture.papers.study_json import make_source_book
from capture.papers.why import explain, find_movers


@pytest.fixture(scope="module")
def told(demo_study) -> dict[str, Any]:
    return json.loads(render_study(demo_study))


def walk(thing: Any, path: str = "$") -> Any:
    """Yield (path, object) of every object in a file."""
    if isinstance(thing, dict):
        yield path, thing
        for key, value in thing.items():
            yield from walk(value, f"{path}.{key}")
    elif isinstance(thing, list):
        for index, value in enumerate(thing):
            yield from walk(value, f"{path}[{index}]")


def test_schema_is_a_schema_and_the_file_keeps_to_it(told) -> None:
    jsonschema.Draft202012Validator.check_schema(load_schema())
    faults = jsonschema.Draft202012Validator(load_schema()).iter_errors(told)
    assert [f"{fault.json_path}: {fault.message[:90]}" for fault in faults] == []


@pytest.mark.parametrize(
    ("path", "bad"),
    [
        (("capture_rate", "value"), "high"),
        (("cars_per_year", "source"), "nowhere"),
        (("streams",), {}),
        (("site", "lat"), 200),
        (("busy_hour_cars", "rank"), 0),
        (("surprise",), 1),
    ],
)
def test_schema_refuses_a_wrong_file(told, path, bad) -> None:
    wrong = json.loads(json.dumps(told))
    place = wrong
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = bad
    assert not jsonschema.Draft202012Validator(load_schema()).is_valid(wrong)


def test_every_number_leads_to_a_source(told) -> None:
    ids = {entry["id"] for entry in told["sources"]}
    named = [(path, thing["source"]) for path, thing in walk(told) if "source" in thing]
    assert len(named) > 100
    assert [(path, name) for path, name in named if name not in ids] == []
    numbers = [path for path, thing in walk(told) if {"value", "low", "high"} <= set(thing)]
    without = [path for path in numbers if not path.startswith("$.sources")
               and "source" not in _at(told, path)]  # fmt: skip
    assert without == []


def _at(thing: Any, path: str) -> Any:
    for step in path.removeprefix("$.").replace("]", "").replace("[", ".").split("."):
        thing = thing[int(step)] if step.isdigit() and isinstance(thing, list) else thing[step]
    return thing


def test_every_source_is_graded_and_made_from_known_ones(told) -> None:
    ids = {entry["id"] for entry in told["sources"]}
    for entry in told["sources"]:
        assert entry["grade"] in GRADE_WORDS
        assert entry["title"]
        assert set(entry["made_from"]) <= ids


def test_trail_of_the_money_reaches_roads_counts_and_constants(demo_study) -> None:
    book = make_source_book(demo_study)
    ids = {entry.id for entry in book.walk("step.money")}
    assert {"data.roads", "stream.1", "step.share", "step.turning"} <= ids
    for room in ("passing", "turning", "share", "hours", "line", "money"):
        assert any(name.startswith(f"{room}.") for name in ids), room
    assert book.unresolved() == []


def test_values_in_order_and_medians_as_drawn(told, demo_study) -> None:
    for path, thing in walk(told):
        if {"value", "low", "high", "mean", "unit"} <= set(thing) and None not in thing.values():
            assert thing["low"] <= thing["value"] <= thing["high"], path
    rate = np.median(demo_study.share.rate[0])
    assert told["capture_rate"]["value"] == pytest.approx(rate, rel=1e-5)
    cars = np.median(demo_study.cars_per_year)
    assert told["cars_per_year"]["value"] == pytest.approx(cars, rel=1e-5)


@pytest.mark.property
def test_multipliers_and_base_make_the_rate(told) -> None:
    product = told["capture_rate"]["base"]["value"]
    for factor in told["capture_rate"]["multipliers"]:
        product *= factor["value"]
    assert product == pytest.approx(told["capture_rate"]["value"], rel=0.25)


@pytest.mark.property
def test_same_study_same_bytes(demo_study) -> None:
    from capture.chain import study

    again = study(demo_study.area, "parcel:P04", draws=400, year=2024)
    assert render_study(again) == render_study(demo_study)
    assert render_study_map(again) == render_study_map(demo_study)


def test_hostile_names_in_a_study_stay_text(demo_study) -> None:
    names = make_study_dict(demo_study)["streams"]
    assert all("\x00" not in stream["road"] for stream in names)


def test_argument_says_six_claims(demo_study) -> None:
    claims = make_argument(demo_study, system="metric")
    assert [claim.key for claim in claims] == ["passing", "share", "cars", "hour", "line", "pay"]
    said = say_argument(claims)
    assert said.count(" → ") == 5
    assert " m line at " in said
    assert "m/min" in said
    assert " ft line at " in say_argument(make_argument(demo_study))


def test_every_claim_has_a_why(demo_study) -> None:
    book = make_source_book(demo_study)
    for claim in make_argument(demo_study):
        why = explain(demo_study, claim, book)
        assert why.inputs, claim.key
        assert why.trail[0].id == f"step.{claim.step}"
        for _, _, _, source in why.inputs:
            assert source in book, source
        for mover in why.movers:
            assert mover.source in book, mover.source
            assert 0 < mover.part <= 1


def test_movers_find_what_was_put_in(demo_study) -> None:
    vehicles = np.asarray(demo_study.vehicles).sum(axis=0)
    noise = demo_study.worlds.normal("noise of this test")[0]
    movers = find_movers(demo_study, vehicles * np.exp(0.01 * noise), "passing")
    assert movers[0].name.startswith("vehicles on")
    assert movers[0].part > 0.5
    assert movers[0].at_high > movers[0].at_low


def test_unrelated_draws_have_no_mover(demo_study) -> None:
    noise = demo_study.worlds.normal("noise that nothing makes")[0]
    assert all(mover.part < 0.05 for mover in find_movers(demo_study, noise, "money"))
    assert find_movers(demo_study, np.ones(400), "money") == ()


@pytest.mark.property
def test_pictures_agree_with_the_study(demo_study) -> None:
    mean_year = float(np.mean(demo_study.cars_per_year))
    assert make_month_table(demo_study)["cars"].sum() == pytest.approx(mean_year, rel=1e-9)
    duration = make_duration_table(demo_study)["cars_per_hour"]
    assert (duration.diff().dropna() <= 0).all()
    assert len(make_stream_table(demo_study)) == len(demo_study.streams.edge)
    assert len(make_delay_table(demo_study)) == 24 * len(demo_study.streams.edge)
    assert len(make_week_table(demo_study)) == 7 * 24
    assert len(make_station_table(demo_study)) == len(demo_study.line.stations)
    minutes = make_rival_table(demo_study)["minutes"].dropna()
    assert (minutes.diff().dropna() >= 0).all()
    assert len(make_queue_table(demo_study)) == 24
    assert len(make_utility_table(demo_study)) == len(demo_study.utilities.figures)
    worth = make_money_table(demo_study).set_index("key")
    assert worth.loc["npv_usd", "value"] == pytest.approx(np.median(demo_study.money.npv_usd))
    cash = make_cash_table(demo_study)
    assert (cash["low_usd"] <= cash["high_usd"]).all()
    share = make_step_table(demo_study)
    steps = share.iloc[1:-1]
    assert np.allclose(steps["from_share"] * steps["factor"], steps["to_share"])


@pytest.mark.property
def test_approach_agrees_with_what_was_seen(demo_study) -> None:
    from capture.papers.approach import make_approach, make_view_table

    for stream in range(len(demo_study.streams.edge)):
        approach = make_approach(demo_study, stream)
        assert (np.diff(approach.distance_m) < 0).all()
        assert approach.events["what"].iloc[-1].startswith("the driveway") or (
            approach.events["distance_m"].iloc[-1] == 0
        )
        view = make_view_table(approach)
        assert (view["from_s"] >= view["to_s"]).all()
        total = view.groupby("what")["from_s"].max()
        assert np.allclose(total, approach.seconds[0])
        any_clear = approach.clear.any(axis=1)
        longest = float(approach.distance_m[any_clear].max()) if any_clear.any() else 0.0
        assert demo_study.seeing.seen_m[stream] <= longest + 5.0


def test_approach_without_rays_is_refused(demo_study) -> None:
    from capture.basis import InputError
    from capture.papers.approach import make_approach

    with pytest.raises(InputError, match="stream must be 0 to"):
        make_approach(demo_study, 99)


@pytest.mark.parametrize(
    ("years", "said"),
    [(9.6, "9.6 years until"), (200.0, "Over 40 years until"), (np.inf, "Does not pay back")],
)
def test_payback_is_said_no_finer_than_it_is_known(demo_study, years, said) -> None:
    import dataclasses

    money = dataclasses.replace(demo_study.money, payback_years=np.full((1, 400), years))
    chain = dataclasses.replace(demo_study.chain, money=money)
    study = dataclasses.replace(demo_study, chain=chain)
    assert said in say_argument(make_argument(study))

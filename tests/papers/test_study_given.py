"""Does a study's file alone make it again, whatever was given by hand, and is bad given refused?"""

from __future__ import annotations

import copy
import dataclasses
import datetime
import json
import random
import shutil
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pandas as pd
import pytest

import capture
from capture.area import open_area
from capture.around import Rivals, load_rivals
from capture.basis import CaptureError, DataError, InputError, Offer
from capture.chain import LineChoice, Request, YearChoice, load_numbers, study
from capture.chain.works import Works
from capture.chain.year_choice import MonthNormal
from capture.ground import Answer, AnswerBook
from capture.line import Catalog, Package, Station, usual_catalog
from capture.papers import load_schema, render_study, reopen_study
from capture.papers.given import GIVEN, list_kinds, read_given
from capture.passing import RoadNote, make_key
from capture.place import Frontage, open_place
from capture.share import FactorTable, KnownSites, load_known_sites

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"
THIRD = 1 / 3


def make_sales() -> pd.DataFrame:
    times = pd.date_range("2023-01-02 08:00", periods=24 * 60, freq="h")
    times = times[(times.hour >= 8) & (times.hour < 19)]
    cars = np.random.default_rng(1).poisson(20, len(times)).astype(float)
    return pd.DataFrame({"time": times, "cars": cars})


def make_catalog() -> Catalog:
    usual = usual_catalog()
    listed = usual.pick("complete")
    changed = usual.change_station(listed[3].id, zone_s=listed[3].zone_s + THIRD)
    return changed.save_package("own", [one.id for one in listed], name="own list", reason="mine")


def learn(name: str) -> Any:
    usual = load_numbers()["share"][name]
    return dataclasses.replace(
        usual, value=usual.value * 1.01, low=usual.value, high=usual.value * 1.02 + THIRD / 1e3,
        source="12 own months", grade="yours",
    )  # fmt: skip


@pytest.fixture(scope="module")
def everything() -> Any:
    """A study in which every part that can be given by hand was given."""
    area = open_area(DEMO)
    place = open_place(area)
    plain = study(area, "parcel:P01", draws=20, year=2024)
    mouth = plain.frontage.driveway[0]
    near = {"lat": float(plain.sites.lat[0]) + 0.002, "lon": float(plain.sites.lon[0])}
    count = plain.volumes.counts.iloc[0]
    zoning = Answer(status="ask", cost_low_usd=1.5, cost_high_usd=1234.56789, who="the office")
    return study(
        area,
        "parcel:P01",
        Offer(ticket_price_usd=12.3456789012),
        seed=3,
        draws=40,
        year=2024,
        replaced={
            "line.pitch_m": 7.123456789,
            "share.visits_member_month": learn("visits_member_month"),
        },
        known=load_known_sites(area).take(range(12)),
        rivals=load_rivals(area, place, on_year=2024.5).add(place=place, price_usd=8.7, **near),
        answers=AnswerBook(by_parcel={"P01": {"zoning": zoning}}),
        ties={make_key(count): {}},
        columns={"aadt": "aadt"},
        works=Works(near_side_only={("P01", mouth)}, grade_percent={("P01", mouth): THIRD}),
        frontage=plain.frontage,
        driveways=pd.DataFrame({"site": ["P01"], **{k: [v] for k, v in near.items()}}),
        sales=make_sales(),
        notes=(RoadNote(road="Mill Road", starts=datetime.date(2024, 7, 1), factor=THIRD,
                        why="widening"),),
        line=LineChoice(catalog=make_catalog(), package="own", stacking_places=11.0,
                        plan_lane=True, confidence_share=0.7),
        year_choice=YearChoice(country="US", subdivision="TX",
                               closed_days=(datetime.date(2024, 12, 25),),
                               normals=(MonthNormal(wet_days=9.1, high_c=20 + THIRD),) * 12),
    )  # fmt: skip


@pytest.fixture(scope="module")
def file(everything, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("given") / "study.json"
    path.write_text(render_study(everything), "utf-8")
    return path


@pytest.fixture(scope="module")
def told(file) -> dict[str, Any]:
    return json.loads(file.read_text("utf-8"))


@pytest.mark.property
def test_the_file_alone_makes_the_same_bytes_again(everything, file, told) -> None:
    assert told["request"]["by_hand"] == []
    assert set(told["request"]["given"]) == set(GIVEN)
    assert jsonschema.Draft202012Validator(load_schema()).is_valid(told)
    again = capture.open(file)
    assert np.array_equal(again.money.npv_usd, everything.money.npv_usd)
    assert again.numbers["share"]["visits_member_month"] == learn("visits_member_month")
    assert render_study(again) == file.read_text("utf-8")


@pytest.mark.property
def test_an_area_folder_moved_elsewhere_gives_the_same_bytes(tmp_path) -> None:
    first, second = tmp_path / "first" / "our_town", tmp_path / "second" / "renamed"
    shutil.copytree(DEMO, first)
    made = study(first, "parcel:P02", draws=20, year=2024)
    path = tmp_path / "elsewhere" / "study.json"
    path.parent.mkdir()
    path.write_text(render_study(made), "utf-8")
    assert str(tmp_path) not in path.read_text("utf-8")
    second.parent.mkdir()
    first.rename(second)
    with pytest.raises(DataError, match=r"its area our_town is neither .* pass area= with its"):
        reopen_study(path)
    assert capture.open(path, area=second).area.folder == second
    second.rename(path.parent / "our_town")
    again = capture.open(path)
    assert render_study(again) == path.read_text("utf-8")


def test_a_changed_count_is_said_even_when_the_roads_are_the_same(tmp_path) -> None:
    town = tmp_path / "town"
    shutil.copytree(DEMO, town)
    made = study(town, "parcel:P01", draws=20, year=2024)
    path = tmp_path / "study.json"
    path.write_text(render_study(made), "utf-8")
    rivals = town / "rivals.csv"
    rows = rivals.read_text("utf-8").splitlines()
    rivals.write_text("\n".join(rows[:3]) + "\n", "utf-8")
    with pytest.raises(DataError, match=r"was .* comes out as .* files or the program have"):
        reopen_study(path)


def test_every_part_of_a_request_is_written_or_said_elsewhere() -> None:
    elsewhere = {"area", "sites", "offer", "worlds", "numbers", "year"}
    only_looks = {"keep", "search", "irr"}
    asked = {item.name for item in dataclasses.fields(Request)}
    assert asked == set(GIVEN) | elsewhere | only_looks


@pytest.mark.parametrize(
    "kind",
    [Works, LineChoice, YearChoice, MonthNormal, AnswerBook, Answer, Catalog, Station, Package,
     KnownSites, FactorTable, Frontage, Rivals, RoadNote],
)  # fmt: skip
def test_every_field_has_a_reader(kind) -> None:
    assert list_kinds(kind) == []


def test_what_is_hidden_stays_out_and_is_asked_for(everything, tmp_path) -> None:
    path = tmp_path / "study.json"
    path.write_text(render_study(everything, hide=("known", "sales")), "utf-8")
    ask = json.loads(path.read_text("utf-8"))["request"]
    assert ask["by_hand"] == ["known", "sales"]
    assert not {"known", "sales"} & set(ask["given"])
    with pytest.raises(DataError, match="known, sales of its maker's own"):
        reopen_study(path)
    request = everything.chain.request
    again = reopen_study(path, known=request.known, sales=request.sales)
    assert np.array_equal(again.cars_per_year, everything.cars_per_year)
    with pytest.raises(InputError, match="hide must be of"):
        render_study(everything, hide=("roads",))


@pytest.mark.parametrize("area", ["/etc", "../town", "..", ".", "", "a/b", 7, None])
def test_a_path_in_place_of_an_area_is_not_followed(file, told, tmp_path, area) -> None:
    changed = copy.deepcopy(told)
    changed["request"]["area"] = area
    path = tmp_path / "study.json"
    path.write_text(json.dumps(changed), "utf-8")
    with pytest.raises(DataError, match="pass area="):
        reopen_study(path)


@pytest.mark.parametrize(
    ("part", "field", "value", "words"),
    [
        ("rivals", "lat", [1.0], "lat must have"),
        ("rivals", "formats", "boat", "formats must be of"),
        ("rivals", "price_usd", "cheap", "rivals is damaged"),
        ("known", "cars_per_year", [-1.0] * 12, "cars_per_year must be"),
        ("known", "vehicles_veh_day", [None] * 12, "vehicles_veh_day must be"),
        ("frontage", "fraction", 7.0, "fraction must be 0 to 1"),
        ("frontage", "segment", 0.5, "frontage is damaged"),
        ("works", "openings", [["P01"]], "works is damaged"),
        ("works", "surprise", 1, "works is damaged"),
        ("line", "stacking_places", -1.0, "stacking_places must be"),
        ("year_choice", "country", "Atlantis", "country"),
        ("answers", "by_parcel", {"P01": {"zoning": {"status": "maybe"}}}, "status must be"),
        ("columns", "aadt", 3, "columns is damaged"),
    ],
)
def test_bad_given_is_refused_in_one_sentence(told, part, field, value, words) -> None:
    given = copy.deepcopy(told["request"]["given"])
    held = given[part].get(field)
    one_each = isinstance(held, list) and not isinstance(value, list)
    given[part][field] = [value] * len(held) if one_each else value
    with pytest.raises(CaptureError, match=words) as caught:
        read_given(given, "study.json")
    assert "\n" not in str(caught.value)


def test_a_driveway_on_a_road_that_is_not_there_is_refused(told, tmp_path) -> None:
    changed = copy.deepcopy(told)
    frontage = changed["request"]["given"]["frontage"]
    frontage["segment"] = [10**8] * len(frontage["segment"])
    frontage["segment"][0] = 10**6
    path = tmp_path / "study.json"
    path.write_text(json.dumps(changed), "utf-8")
    with pytest.raises(DataError, match=r"segment must be|road that this area"):
        reopen_study(path, area=DEMO)
    frontage["segment"] = [10**6] * len(frontage["segment"])
    path.write_text(json.dumps(changed), "utf-8")
    with pytest.raises(DataError, match="road that this area does not have"):
        reopen_study(path, area=DEMO)


def spots(thing: Any) -> list[tuple[Any, Any]]:
    """List (container, key) of everything in plain values."""
    if not isinstance(thing, dict | list):
        return []
    keys = list(thing) if isinstance(thing, dict) else range(len(thing))
    return [spot for key in keys for spot in [(thing, key), *spots(thing[key])]]


@pytest.mark.property
def test_any_damage_is_refused_or_read_never_a_crash(told) -> None:
    rng = random.Random(5)
    junk = [None, True, -1, 10**30, 1e308, "", "x\x00", [], {}, [[]], [None], {"a": {}}]
    clean = {k: v for k, v in told["request"]["given"].items() if k != "sales"}
    refused: list[str] = []
    for _ in range(400):
        given = copy.deepcopy(clean)
        holder, key = rng.choice(spots(given))
        holder[key] = rng.choice(junk)
        try:
            read_given(given, "study.json")
        except CaptureError as error:
            refused.append(str(error))
    assert len(refused) > 200
    assert [said for said in refused if "\n" in said] == []

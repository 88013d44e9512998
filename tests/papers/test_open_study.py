"""Is a study made again from its file, to the last digit, and is a broken file refused?"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

import capture
from capture.basis import DataError, InputError, Offer
from capture.chain import study
from capture.papers import load_schema, render_study, reopen_study
from capture.papers.open_study import load_study_file

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"
OFFER = Offer(format="exterior", ticket_price_usd=12.3456789, headroom_share=0.25)


@pytest.fixture(scope="module")
def own(request) -> Any:
    """A study with an own offer, seed and numbers."""
    return study(DEMO, "parcel:P01", OFFER, seed=7, draws=50, year=2024,
                 replaced={"line.pitch_m": 7.123456789})  # fmt: skip


@pytest.fixture
def kept(own, tmp_path) -> Path:
    path = tmp_path / "study.json"
    path.write_text(render_study(own), "utf-8")
    return path


def change(path: Path, **fields: Any) -> Path:
    told = json.loads(path.read_text("utf-8"))
    for name, value in fields.items():
        place = told
        *steps, last = name.split("__")
        for step in steps:
            place = place[step]
        place[last] = value
    path.write_text(json.dumps(told), "utf-8")
    return path


@pytest.mark.property
def test_study_comes_out_again_to_the_last_digit(own, kept) -> None:
    again = capture.open(kept)
    assert np.array_equal(again.cars_per_year, own.cars_per_year)
    assert np.array_equal(again.money.npv_usd, own.money.npv_usd)
    assert again.offer == own.offer
    assert render_study(again) == kept.read_text("utf-8")


def test_a_typed_place_comes_out_again(tmp_path) -> None:
    made = study(DEMO, "43.6058123456,-87.3080123456", draws=20, year=2024)
    path = tmp_path / "study.json"
    path.write_text(render_study(made), "utf-8")
    again = reopen_study(path)
    assert np.array_equal(again.cars_per_year, made.cars_per_year)
    assert again.sites.lat[0] == made.sites.lat[0]


def test_request_keeps_to_the_schema(kept) -> None:
    told = load_study_file(kept)
    assert jsonschema.Draft202012Validator(load_schema()).is_valid(told)
    assert told["request"]["replaced"] == {"line.pitch_m": "7.123456789"}
    assert told["request"]["by_hand"] == []


def test_other_numbers_are_said(kept) -> None:
    change(kept, cars_per_year__value=1.0, request__roads_sha256="0" * 64)
    with pytest.raises(DataError, match=r"cars_per_year.value was 1 .* roads file has changed"):
        reopen_study(kept)
    assert reopen_study(kept, check=False).sites.ids == ("P01",)


def test_area_is_looked_for_and_may_be_named(kept) -> None:
    change(kept, request__area="nowhere/at/all")
    with pytest.raises(DataError, match="pass area="):
        reopen_study(kept)
    assert reopen_study(kept, area=DEMO).sites.ids == ("P01",)


@pytest.mark.parametrize(
    ("fields", "kind", "words"),
    [
        ({"schema": "other"}, DataError, "no study file"),
        ({"seed": "7"}, DataError, "seed must be a whole number"),
        ({"draws": True}, DataError, "draws must be a whole number"),
        ({"draws": 10**9}, DataError, "draws must be"),
        ({"offer": []}, DataError, "offer must be a table"),
        ({"offer__format": "boat"}, InputError, "format must be one of"),
        ({"offer__surprise": 1}, InputError, "no field 'surprise'"),
        ({"offer__bays": "many"}, (DataError, InputError), "offer"),
        ({"request__site": "parcel:P02"}, DataError, "renamed"),
        ({"request__site": ""}, DataError, "request.site"),
        ({"request__area": 5}, DataError, "pass area="),
        ({"request__replaced": {"line.pitch_m": "x"}}, DataError, "must be a number"),
        ({"request__replaced": {"line.pitch_m": "inf"}}, DataError, "must be a number"),
        ({"request__replaced": {"line.unknown": "1"}}, InputError, "no constant"),
        ({"request__by_hand": ["rivals"]}, DataError, "made with rivals of its"),
        ({"request__by_hand": 3}, DataError, "by_hand"),
        ({"request": []}, DataError, "request must be a table"),
    ],
)
def test_broken_files_are_refused_in_one_sentence(kept, fields, kind, words) -> None:
    with pytest.raises(kind, match=words) as caught:
        reopen_study(change(kept, **fields))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"\xff\xfe", "not JSON"), (b"{", "not JSON"), (b"[]", "no study file"),
     (b'{"schema": "urn:site-to-line:study:1"}', "made from"), (b"[" * 100_000, "not JSON")],
)  # fmt: skip
def test_what_is_no_study_file_is_refused(tmp_path, content, words) -> None:
    path = tmp_path / "study.json"
    path.write_bytes(content)
    with pytest.raises(DataError, match=words):
        load_study_file(path)


def test_missing_file_is_said(tmp_path) -> None:
    with pytest.raises(DataError, match="cannot be read"):
        load_study_file(tmp_path / "none.json")

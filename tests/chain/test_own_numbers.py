"""Every built-in number, put to the ends of what is permitted: an answer, or one sentence."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest

from capture.__main__ import main
from capture.basis import CaptureWarning, InputError, find_permitted
from capture.chain import load_numbers, parse_replaced, study
from capture.papers.study_json import render_study

DEMO = Path(__file__).parents[2] / "data_public" / "demo"
DRAWS = 400

#: a fuller walk over all of them takes an hour; this many ends are looked at each time
_STRIDE = 89
_ALL = [
    (f"{room}.{name}", end)
    for room, sheet in load_numbers().items()
    for name, entry in sheet.items()
    for end in find_permitted(entry)
]
#: those that hung, divided by nothing, or ran over
_ONCE_BAD = [
    ("hours.crowd_power", 1.0), ("hours.salt_snow_days", 1.0), ("money.opening_months", 120.0),
    ("passing.direction_split_share", 0.01), ("share.sigma_least", 0.01),
    ("share.visits_member_month", 0.1), ("share.base_exterior_share", 1e-6),
]  # fmt: skip


def _assert_sane(made):
    for name, least, most in (
        ("passing", 0, 1e6), ("cars_per_year", 0, 1e8), ("design_hour_cars", 0, 1e5),
    ):  # fmt: skip
        values = np.asarray(getattr(made, name))
        assert ((values >= least) & (values <= most)).all(), name
    assert ((made.share.rate >= 0) & (made.share.rate <= 1)).all()
    assert ((made.chain.lost_share >= 0) & (made.chain.lost_share <= 1)).all()
    assert np.isfinite(made.money.npv_usd).all()
    assert (made.money.capital_usd >= 0).all()
    assert "NaN" not in render_study(made)


@pytest.mark.property
@pytest.mark.parametrize(("name", "value"), _ONCE_BAD + _ALL[::_STRIDE], ids=str)
def test_permitted_ends_give_a_sane_answer_or_one_sentence(demo, memo, p01, name, value):
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        try:
            made = study(demo, "parcel:P01", draws=DRAWS, memo=memo, replaced={name: value})
        except InputError as error:
            said = str(error)
        else:
            said = "must be said"
            _assert_sane(made)
    assert "must be" in said or "change" in said


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf"), 1e300, -1e300])
def test_no_number_may_be_everything(value):
    for room, sheet in load_numbers().items():
        for name in sheet:
            with pytest.raises(InputError, match=rf"{room}\.{name} must be a finite number from"):
                load_numbers({f"{room}.{name}": value})


def test_built_in_ends_are_permitted():
    for room, sheet in load_numbers().items():
        for name, entry in sheet.items():
            for value in (entry.low, entry.value, entry.high):
                assert load_numbers({f"{room}.{name}": value})[room].value(name) == value


@pytest.mark.regression
@pytest.mark.parametrize(
    "own",
    ["hours.crowd_power=800", "hours.salt_snow_days=0", "money.opening_months=36000"],
)
def test_far_off_number_is_refused_with_what_is_permitted(tmp_path, capsys, own):
    asked = ["study", str(DEMO), "--site", "parcel:P01", "--out", str(tmp_path), "--draws", "20"]
    assert main([*asked, "--set", own]) == 2
    said = capsys.readouterr().err.splitlines()[-1]
    assert f"{own.partition('=')[0]} must be a finite number from" in said


@pytest.mark.regression
def test_sum_that_runs_over_is_refused_not_hidden(tmp_path, capsys, monkeypatch):
    def overflow(*_, **__):
        np.exp(np.array([1e4]))

    monkeypatch.setattr("capture.command.run_study", overflow)
    asked = ["study", str(DEMO), "--site", "parcel:P01", "--out", str(tmp_path)]
    assert main([*asked, "--set", "line.pitch_m=7"]) == 2
    assert "cannot be worked out with line.pitch_m=7" in capsys.readouterr().err


@pytest.mark.regression
def test_own_speed_of_a_road_class_reaches_the_roads(demo, memo, p01):
    entry = p01.numbers["place"]["speed_residential_mps"]
    slow = study(
        demo, "parcel:P01", draws=DRAWS, memo=memo,
        replaced={"place.speed_residential_mps": entry.low},
    )  # fmt: skip
    seconds = [np.asarray(made.place.network.edge_seconds).sum() for made in (p01, slow)]
    assert seconds[1] > 1.01 * seconds[0]


@pytest.mark.regression
def test_warning_is_told_in_one_sentence_without_our_code(tmp_path, capsys, monkeypatch):
    def warn(*_, **__):
        warnings.warn("grains are too coarse", CaptureWarning, stacklevel=1)
        np.exp(np.array([1e4]))

    monkeypatch.setattr("capture.command.run_study", warn)
    assert main(["study", str(DEMO), "--site", "parcel:P01", "--out", str(tmp_path)]) == 0
    said = capsys.readouterr().err.splitlines()
    assert said[0] == "study: note: grains are too coarse"
    assert said[1] == "study: note: a sum ran over (overflow encountered in exp)"
    assert len(said) == 2


@pytest.mark.regression
@pytest.mark.parametrize(
    ("texts", "said"),
    [
        (["line.pitch_m=7", " line.pitch_m = 8"], "line.pitch_m stands twice"),
        (["line.pitch_m=7_0"], "write room.name=number"),
        (["line.pitch_m"], "write room.name=number"),
    ],
)
def test_own_number_told_twice_or_oddly_is_refused(texts, said):
    with pytest.raises(InputError, match=said):
        parse_replaced(texts)

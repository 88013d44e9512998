import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.basis import (
    DataError,
    InputError,
    LocalProjection,
    Offer,
    Sheet,
    Sourced,
    cell_text,
    escape_text,
    load_offer,
    practice,
    raise_gathered,
)

GOOD = {
    "name": "pitch_m",
    "value": 6.7,
    "unit": "m",
    "low": 5.5,
    "high": 8.5,
    "source": "s",
    "grade": "practice",
    "meaning": "m",
}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"value": float("nan")}, "finite"),
        ({"low": 7}, "low <= value"),
        ({"grade": "sure"}, "grade"),
        ({"source": ""}, "source"),
    ],
)
def test_sourced_refuses(change, said):
    with pytest.raises(InputError, match=said):
        Sourced(**{**GOOD, **change})


def test_sheet_overrides_without_touching_the_first():
    sheet = Sheet("line", [practice("pitch_m", 5.5, 6.7, 8.5, "m", "car and gap")])
    own = sheet.override({"pitch_m": 7.0})
    assert own.value("pitch_m") == 7.0
    assert not own["pitch_m"].is_uncertain
    assert sheet.value("pitch_m") == 6.7


def test_sheet_refuses_unknown_and_double_names():
    entry = practice("pitch_m", 5.5, 6.7, 8.5, "m", "car and gap")
    with pytest.raises(InputError, match="no constant 'pitch'"):
        Sheet("line", [entry])["pitch"]
    with pytest.raises(InputError, match="twice"):
        Sheet("line", [entry, entry])
    with pytest.raises(InputError, match="finite"):
        Sheet("line", [entry]).override({"pitch_m": float("inf")})


@pytest.mark.parametrize(
    ("unit", "value"),
    [("m", 0.0), ("m", -1.0), ("m", 1e9), ("share", 1.5), ("share", -0.1), ("USD", -1.0)],
)
def test_own_value_must_be_possible(unit, value):
    sheet = Sheet("line", [practice("x", 0.1, 0.2, 0.3, unit, "a test")])
    with pytest.raises(InputError, match=r"line\.x must be a finite number"):
        sheet.override({"x": value})


def test_own_value_may_be_nothing_where_that_makes_sense():
    sheet = Sheet("money", [practice("x", 0.1, 0.2, 0.3, "USD", "a test")])
    assert sheet.override({"x": 0.0}).value("x") == 0.0


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"format": "steam"}, "format must be one of"),
        ({"ticket_price_usd": -1}, "ticket_price_usd must be"),
        ({"ticket_price_usd": float("nan")}, "ticket_price_usd must be"),
        ({"ticket_price_usd": 1e12}, "ticket_price_usd must be"),
        ({"ticket_price_usd": "12"}, "ticket_price_usd must be"),
        ({"opens_hour": 20, "closes_hour": 8}, "opens_hour must be before"),
        ({"busy_rank": 2.5}, "whole number"),
        ({"colour": "red"}, "no field 'colour'"),
        ({"reclaim": 1}, "true or false"),
        ({"building_limit_m": True}, "building_limit_m must be"),
    ],
)
def test_offer_refuses(change, said):
    with pytest.raises(InputError, match=said):
        Offer().change(**change)


def test_offer_file_round_trip(tmp_path):
    path = tmp_path / "offer.json"
    path.write_text(json.dumps(Offer(ticket_price_usd=15).to_dict()))
    assert load_offer(path) == Offer(ticket_price_usd=15)
    toml = tmp_path / "offer.toml"
    toml.write_text('format = "flex"\n')
    assert load_offer(toml).format == "flex"


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.json", b"", "not readable"),
        ("a.json", b"[1]", "one table of fields"),
        ("a.toml", b"format = ", "not readable"),
        ("a.json", b"\xff\xfe\x00", "UTF-8"),
        ("a.json", b" " * 200_000, "under 100 kB"),
    ],
)
def test_offer_file_refusals(tmp_path, name, content, said):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(DataError, match=said):
        load_offer(path)
    with pytest.raises(DataError, match="cannot be read"):
        load_offer(tmp_path / "missing.json")


@pytest.mark.property
@given(st.text(max_size=300))
def test_escaped_text_holds_no_live_sign(text):
    shown = escape_text(text)
    assert not set(shown) & set("<>\"'`${}\\")
    assert shown.isprintable()


@pytest.mark.property
@given(st.text(max_size=50))
def test_cell_is_never_a_formula(text):
    assert not cell_text(text).startswith(("=", "+", "-", "@", "\t", "\r"))


def test_gathered_faults_are_counted():
    with pytest.raises(DataError, match=r"^t.csv: a; b; and 3 more"):
        raise_gathered(["a", "b", "c", "d", "e"], where="t.csv", most=2)


@pytest.mark.property
@given(st.floats(-80, 80), st.floats(-179, 179), st.floats(-0.2, 0.2), st.floats(-0.2, 0.2))
def test_projection_there_and_back_and_true_to_length(lat, lon, dlat, dlon):
    from pyproj import Geod

    plane = LocalProjection(centre_lat=lat, centre_lon=lon)
    x, y = plane.to_xy([lat, lat + dlat], [lon, lon + dlon])
    back_lat, back_lon = plane.to_latlon(x, y)
    assert back_lat[1] == pytest.approx(lat + dlat, abs=1e-8)
    assert back_lon[1] == pytest.approx(lon + dlon, abs=1e-8)
    _, _, length_m = Geod(ellps="WGS84").inv(lon, lat, lon + dlon, lat + dlat)
    plane_m = float(((x[1] - x[0]) ** 2 + (y[1] - y[0]) ** 2) ** 0.5)
    assert plane_m == pytest.approx(length_m, rel=1e-4, abs=0.01)


def test_projection_refuses_swapped_degrees():
    with pytest.raises(InputError, match="latitude comes first"):
        LocalProjection(centre_lat=151.2, centre_lon=-33.8)


@pytest.mark.regression
def test_what_divides_cannot_be_nothing() -> None:
    sheet = Sheet("r", [practice("pump_efficiency_share", 0.5, 0.6, 0.7, "share", "of a pump")])
    with pytest.raises(InputError, match=r"from 0\.01 to 1 share, got 0"):
        sheet.override({"pump_efficiency_share": 0.0})


@pytest.mark.regression
def test_own_value_far_too_small_for_a_length_is_refused() -> None:
    sheet = Sheet("r", [practice("pitch_m", 5.5, 6.7, 8.5, "m", "car and gap")])
    with pytest.raises(InputError, match=r"from 0\.275 to 170 m, got 1e-09"):
        sheet.override({"pitch_m": 1e-9})


@pytest.mark.regression
def test_a_sheet_may_say_what_an_own_value_may_be() -> None:
    entry = practice("crowd_power", 0.3, 0.5, 0.8, "1", "how a day rises")
    sheet = Sheet("hours", [entry], permitted={"crowd_power": (0.0, 1.0)})
    assert sheet.override({"crowd_power": 1.0}).override({"crowd_power": 0.0})
    with pytest.raises(InputError, match="from 0 to 1, got 800"):
        sheet.override({"crowd_power": 1.0}).override({"crowd_power": 800.0})
    with pytest.raises(InputError, match="must hold what is known"):
        Sheet("hours", [entry], permitted={"crowd_power": (0.6, 1.0)})
    with pytest.raises(InputError, match="no constant"):
        Sheet("hours", [entry], permitted={"crowd": (0.6, 1.0)})


@pytest.mark.regression
def test_whole_fields_written_as_decimals_become_whole() -> None:
    offer = Offer(bays=2.0, opens_hour=8.0, closes_hour=9.0)  # type: ignore[arg-type]
    assert [type(n) for n in (offer.bays, offer.opens_hour, offer.closes_hour)] == [int] * 3


@pytest.mark.regression
@pytest.mark.parametrize("text", ["[" * 60_000, '{"bays": ' + "9" * 400 + "}"])
def test_offer_files_beyond_any_depth_or_size(text: str, tmp_path) -> None:
    file = tmp_path / "offer.json"
    file.write_text(text)
    with pytest.raises((DataError, InputError)):
        load_offer(file)


@pytest.mark.regression
def test_offer_file_without_an_end_is_not_read_to_it() -> None:
    endless = Path("/dev/zero")
    if not endless.exists():
        pytest.skip("this machine has no endless file")
    with pytest.raises(DataError, match="under 100 kB"):
        load_offer(endless)

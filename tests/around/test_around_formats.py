"""Are rivals' formats read rightly, and is the likeness table what it should be?"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.around import RIVAL_FORMATS, load_format_table, read_format, read_tags
from capture.around.dates import read_date, read_opening_hours
from capture.basis import FORMATS, DataError, InputError


def test_table_is_complete_and_bounded():
    table = load_format_table()
    for name in RIVAL_FORMATS:
        for offered in FORMATS:
            assert 0 <= table.likeness[name][offered] <= 1
        assert table.size[name] > 0
        assert table.words[name]
    for name in FORMATS:
        assert table.likeness[name][name] == 1.0


def test_nobody_is_more_alike_than_the_same_format():
    table = load_format_table()
    for offered in FORMATS:
        assert table.weigh(RIVAL_FORMATS, offered).max() == 1.0


def test_size_counts_bays_only_where_cars_are_washed_in_bays():
    table = load_format_table()
    one, many = (
        table.measure_size(["self_service", "exterior"], [1, 1]),
        table.measure_size(["self_service", "exterior"], [5, 5]),
    )
    assert many[0] == pytest.approx(5 * one[0])
    assert many[1] == one[1]


def test_offered_format_must_be_known():
    with pytest.raises(InputError, match="format offered must be one of exterior"):
        load_format_table().weigh(["exterior"], "fuel")


def test_own_table_names_every_fault(tmp_path):
    file = tmp_path / "formats.toml"
    file.write_text("[exterior]\nsize = -1\nlikeness = {exterior = 2.0}\n", encoding="utf-8")
    with pytest.raises(DataError) as error:
        load_format_table(file)
    assert "there is no table for flex," in str(error.value)
    assert "likeness must name" in str(error.value)


def test_broken_table_is_one_sentence(tmp_path):
    file = tmp_path / "formats.toml"
    file.write_text("[exterior\n", encoding="utf-8")
    with pytest.raises(DataError, match=r"formats.toml: not readable as TOML"):
        load_format_table(file)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("exterior", "exterior"),
        ("Full Service", "full_service"),
        ("full-service", "full_service"),
        ("Flex-serve", "flex"),
        ("Self Serve", "self_service"),
        ("coin-op", "self_service"),
        ("In-Bay Automatic", "in_bay"),
        ("touchless", "in_bay"),
        ("express", "exterior"),
        ("conveyor", "conveyor"),
        ("tunnel", "conveyor"),
        ("gas station", "fuel"),
        ("hand wash", "hand"),
        ("detailing", "hand"),
        ("", "unknown"),
        ("nan", "unknown"),
        ("spaceport", "unknown"),
        (None, "unknown"),
    ],
)
def test_words_of_a_table(text, expected):
    assert read_format(text) == expected


@pytest.mark.parametrize(
    ("tags", "expected"),
    [
        ({"amenity": "car_wash"}, "unknown"),
        ({"amenity": "car_wash", "automated": "yes"}, "in_bay"),
        ({"amenity": "car_wash", "automated": "yes", "car_wash": "tunnel"}, "conveyor"),
        ({"amenity": "car_wash", "automated": "yes", "name": "Elm Express Wash"}, "exterior"),
        ({"amenity": "car_wash", "self_service": "yes"}, "self_service"),
        ({"amenity": "car_wash", "self_service": "yes", "automated": "yes"}, "in_bay"),
        ({"amenity": "car_wash", "automated": "no", "self_service": "no"}, "hand"),
        ({"amenity": "car_wash", "name": "Elm Hand Car Wash"}, "hand"),
        ({"amenity": "fuel", "car_wash": "yes"}, "fuel"),
        ({"amenity": "fuel", "car_wash": "tunnel"}, "fuel"),
        ({"building": "car_wash", "car_wash:type": "self service"}, "self_service"),
    ],
)
def test_tags_of_a_map(tags, expected):
    assert read_tags(tags) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2016", 2016.5),
        (2016.0, 2016.5),
        ("2016-01", 2016 + 0.5 / 12),
        ("2016-12-31", 2016 + (11 + 30 / 31) / 12),
        ("05/2016", 2016 + 4.5 / 12),
        ("5/1/2016", 2016 + 4 / 12),
        ("2016-05-20T00:00:00", 2016 + (4 + 19 / 31) / 12),
    ],
)
def test_dates(text, expected):
    assert read_date(text) == pytest.approx(expected)


@pytest.mark.parametrize("text", ["", "soon", "2016-13", "2016-02-30", "nan", None, "13/2016"])
def test_dates_that_say_nothing(text):
    assert math.isnan(read_date(text))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("24/7", 24.0),
        ("08:00-20:00", 12.0),
        ("Mo-Fr 08:00-18:00; Sa 09:00-17:00; Su off", (5 * 10 + 8) / 7),
        ("Mo-Su 22:00-02:00", 4.0),
        ("Mo,We 08:00-10:00", 4 / 7),
        ("Fr-Mo 10:00-12:00", 8 / 7),
        ("Mo-Sa 08:00-12:00, 13:00-17:00", 6 * 8 / 7),
        (11.5, 11.5),
    ],
)
def test_opening_hours(text, expected):
    assert read_opening_hours(text) == pytest.approx(expected)


@pytest.mark.parametrize("text", ["", "sunrise-sunset", "by appointment", "25", "-3", "Mo-Xx 8-9"])
def test_opening_hours_not_understood(text):
    assert math.isnan(read_opening_hours(text))


def test_likeness_is_an_array_per_rival():
    assert load_format_table().weigh([], "exterior").shape == (0,)
    assert np.all(load_format_table().weigh(["hand", "hand"], "exterior") == 0.2)


@pytest.mark.parametrize("text", ["99:99-00:00", "08:00-31:00", "25:00-26:00", "08:61-09:00"])
def test_clock_times_that_do_not_exist_say_nothing(text):
    assert math.isnan(read_opening_hours(text))


@pytest.mark.property
@settings(max_examples=150, deadline=None)
@given(
    st.text(max_size=60) | st.from_regex(r"(Mo|Tu|Su)(-Fr)? \d{1,2}:\d\d-\d{1,2}:\d\d(; Su off)?")
)
def test_any_text_gives_hours_of_a_day_or_nothing(text):
    hours = read_opening_hours(text)
    assert math.isnan(hours) or 0 < hours <= 24


@pytest.mark.property
@settings(max_examples=150, deadline=None)
@given(st.text(max_size=60) | st.from_regex(r"(19|20)\d\d-\d{1,2}(-\d{1,2})?"))
def test_any_text_gives_a_year_or_nothing(text):
    year = read_date(text)
    assert math.isnan(year) or 1900 <= year < 2100
    assert read_format(text) in RIVAL_FORMATS

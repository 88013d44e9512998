"""Weather in other units is read as what it is, and an unknown unit is refused."""

import numpy as np
import pandas as pd
import pytest

from capture.area import open_area
from capture.basis import DataError
from capture.hours.weather import add_weather_factor, read_weather

DATES = pd.date_range("2025-01-01", periods=365)


def make_table(**options):
    season = -np.cos(2 * np.pi * np.arange(365) / 365)
    table = pd.DataFrame(
        {
            "date": DATES,
            "prcp": np.where(np.arange(365) % 5 == 0, 12.7, 0.0),
            "tmin": 5 + 10 * season,
            "tmax": 15 + 10 * season,
            "snow": np.where(np.arange(365) < 20, 50.8, 0.0),
        }
    )
    table.attrs["options"] = options
    return table


@pytest.mark.regression
@pytest.mark.parametrize("unit", ["degC", "degF", "K", "0.1 degC"])
@pytest.mark.parametrize("length", ["mm", "cm", "in", "0.1 mm"])
def test_units_named_in_the_settings_are_read(unit, length):
    other = make_table(temperature_unit=unit, rain_unit=length, snow_unit=length)
    degrees = {
        "degC": lambda c: c, "degF": lambda c: c * 9 / 5 + 32, "K": lambda c: c + 273.15,
        "0.1 degC": lambda c: 10 * c,
    }  # fmt: skip
    per_mm = {"mm": 1, "cm": 0.1, "in": 1 / 25.4, "0.1 mm": 10}
    for name in ("tmin", "tmax"):
        other[name] = degrees[unit](other[name])
    for name in ("prcp", "snow"):
        other[name] = per_mm[length] * other[name]
    pd.testing.assert_frame_equal(read_weather(other), read_weather(make_table()))
    assert np.allclose(add_weather_factor(other).factor, add_weather_factor(make_table()).factor)


@pytest.mark.regression
@pytest.mark.parametrize("told", ["fahrenheit", 5, ["mm"], "{{7*191}}", None])
def test_unknown_unit_is_refused(told):
    with pytest.raises(DataError, match="temperature_unit must be one of degC, degF"):
        read_weather(make_table(temperature_unit=told))


def test_unit_against_the_heading_is_refused():
    table = make_table(snow_unit="in").rename(columns={"snow": "snow_cm"})
    with pytest.raises(DataError, match="snow_unit is in but column snow_cm says cm"):
        read_weather(table)
    told = make_table(snow_unit="cm").rename(columns={"snow": "snow_cm"})
    assert read_weather(told)["snow_mm"].max() == pytest.approx(508)


@pytest.mark.regression
def test_units_of_an_area_reach_the_reader(tmp_path):
    (tmp_path / "roads.osm").write_text("<osm version='0.6'></osm>")
    table = make_table()
    table.assign(tmax=table["tmax"] * 9 / 5 + 32).to_csv(tmp_path / "weather.csv", index=False)
    (tmp_path / "area.toml").write_text(
        '[layers.roads]\npath = "roads.osm"\n'
        '[layers.weather]\npath = "weather.csv"\ntemperature_unit = "degF"\n'
    )
    read = read_weather(open_area(tmp_path).read("weather"))
    assert np.allclose(read["high_c"], table["tmax"])


@pytest.mark.regression
def test_monthly_normals_may_be_warm_in_other_degrees():
    normals = pd.DataFrame({"month": range(1, 13), "wet_days": 8.0, "high_c": 10.0})
    other = normals.assign(high_c=50.0)
    other.attrs["options"] = {"temperature_unit": "degF", "rain_unit": "in"}
    assert np.allclose(add_weather_factor(other).factor, add_weather_factor(normals).factor)

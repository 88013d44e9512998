"""How many cars come in the busiest hour: a year of hours, its weather and its noise."""

from capture.hours.busy import (
    BusyHour,
    compute_design_hour,
    compute_expected_hours,
    compute_peak_factor,
    compute_year_factor,
    estimate_busy_hour,
)
from capture.hours.curve import (
    FULL_CHOICES,
    DurationRow,
    compute_duration_curve,
    compute_ramp_share,
    list_full_choices,
)
from capture.hours.sales import SalesFit, fit_sales, load_sales_table
from capture.hours.shape import holiday_days, make_year_shape
from capture.hours.tilt import tilt_hours
from capture.hours.values import VALUES
from capture.hours.weather import read_weather
from capture.hours.weather_effect import WeatherEffect, estimate_weather_effect
from capture.hours.year import YearShape

__all__ = [
    "FULL_CHOICES",
    "VALUES",
    "BusyHour",
    "DurationRow",
    "SalesFit",
    "WeatherEffect",
    "YearShape",
    "compute_design_hour",
    "compute_duration_curve",
    "compute_expected_hours",
    "compute_peak_factor",
    "compute_ramp_share",
    "compute_year_factor",
    "estimate_busy_hour",
    "estimate_weather_effect",
    "fit_sales",
    "holiday_days",
    "list_full_choices",
    "load_sales_table",
    "make_year_shape",
    "read_weather",
    "tilt_hours",
]

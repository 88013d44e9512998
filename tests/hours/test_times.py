"""Are dates and times of files read as the wash's own clock, and never as seconds?"""

import pandas as pd
import pytest

from capture.hours import load_sales_table, read_weather
from capture.hours.times import read_times


@pytest.mark.regression
@pytest.mark.parametrize(
    "said",
    [
        ["2025-03-30 09:15", "2025-07-01 09:45"],
        ["2025-03-30T09:15:00Z", "2025-07-01T09:45:00Z"],
        # two offsets in one file, as summer time begins
        ["2025-03-30 09:15:00+01:00", "2025-07-01 09:45:00+02:00"],
        ["2025-03-30T09:15:00.000-0500", "2025-07-01T09:45:00.000-0400"],
    ],
)
def test_offsets_are_dropped_and_not_applied(said):
    assert read_times(pd.Series(said)).dt.hour.tolist() == [9, 9]
    table = load_sales_table(pd.DataFrame({"time": said, "cars": [3, 4]}))
    assert table["time"].dt.hour.tolist() == [9, 9]


def test_aware_datetimes_keep_their_clock():
    aware = pd.Series(pd.to_datetime(["2025-03-30 09:15"])).dt.tz_localize("America/New_York")
    assert read_times(aware).dt.hour.tolist() == [9]


@pytest.mark.regression
def test_whole_numbers_are_dates_and_not_seconds():
    table = read_weather(pd.DataFrame({"date": [20250301, 20250302], "prcp": [0.0, 3.0]}))
    assert table["date"].dt.strftime("%Y-%m-%d").tolist() == ["2025-03-01", "2025-03-02"]
    assert read_times(pd.Series([99, 20251301])).isna().all()


def test_a_day_first_date_is_not_taken_for_an_offset():
    assert read_times(pd.Series(["2025-01-31"])).dt.day.tolist() == [31]

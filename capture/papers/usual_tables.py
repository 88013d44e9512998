"""Which hours, weekdays and months are taken where nothing was counted, and how sure are they?"""

from __future__ import annotations

from typing import Final

import pandas as pd

from capture.basis import Sheet
from capture.passing.shapes import make_hour_share
from capture.passing.usual import MONTHS, WEEKDAYS

#: heading of the table of hours -> a class of road that has those hours
_ROADS: Final = {"motorways and trunk roads": 0, "main roads": 2, "other roads": 5}
_NAMES: Final = {
    "jan": "January", "feb": "February", "mar": "March", "apr": "April", "may": "May",
    "jun": "June", "jul": "July", "aug": "August", "sep": "September", "oct": "October",
    "nov": "November", "dec": "December", "mon": "Monday", "tue": "Tuesday", "wed": "Wednesday",
    "thu": "Thursday", "fri": "Friday", "sat": "Saturday", "sun": "Sunday",
}  # fmt: skip


def make_usual_days(values: Sheet) -> pd.DataFrame:
    """Make the table of usual months and weekdays.

    Parameters
    ----------
    values : Sheet
        Numbers of the passing room, the user's own in them.

    Returns
    -------
    DataFrame
        Columns ``what, over_average, low, high, grade, source``, one row a month, then one a
        weekday.
    """
    names = [f"month_{name}" for name in MONTHS] + [f"weekday_{name}" for name in WEEKDAYS]
    rows = [
        {
            "what": _NAMES[name.partition("_")[2]],
            "over_average": values[name].value,
            "low": values[name].low,
            "high": values[name].high,
            "grade": values[name].grade,
            "source": values[name].source,
        }
        for name in names
    ]
    return pd.DataFrame(rows)


def make_usual_hours(values: Sheet) -> pd.DataFrame:
    """Make the table of usual hours by kind of road.

    Returns
    -------
    DataFrame
        Column ``hour`` and one a kind of road, shares of the day that add up to 1.
    """
    shares = {name: make_hour_share(road, values=values) for name, road in _ROADS.items()}
    hours = [f"{hour}:00" for hour in range(24)]
    return pd.DataFrame({"hour": hours, **shares})

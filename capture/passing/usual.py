"""Which hours, weekdays and months are usual on a road, as numbers that can be replaced?

Assumes ordinary urban and suburban roads of temperate countries. All of it is written from
memory, with no source at hand; the ranges are our own. An area's own continuous station goes
before it.
"""

from __future__ import annotations

from typing import Final

from capture.basis import Sourced

MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
WEEKDAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
#: kinds of road that have hours of their own
SHAPES: Final = ("through", "arterial", "local")

#: vehicles in each hour from midnight on, per mille of the day, averaged over all days
_HOURS: Final = {
    "through": (
        *(9, 6, 5, 6, 11, 25, 48, 62, 58, 50, 50, 53),
        *(56, 57, 61, 69, 75, 76, 60, 45, 37, 31, 24, 16),
    ),
    "arterial": (
        *(8, 5, 4, 4, 7, 18, 40, 62, 59, 50, 52, 58),
        *(63, 62, 64, 71, 77, 78, 63, 49, 39, 31, 22, 14),
    ),
    "local": (
        *(6, 3, 2, 2, 4, 13, 33, 66, 62, 49, 50, 55),
        *(60, 59, 64, 75, 82, 83, 69, 54, 43, 33, 22, 11),
    ),
}
#: average day of each month over the average day of the year
_MONTHS: Final = (0.91, 0.94, 0.99, 1.01, 1.04, 1.06, 1.04, 1.05, 1.01, 1.01, 0.98, 0.96)
#: average day of each weekday over the average day
_WEEKDAYS: Final = (0.99, 1.03, 1.05, 1.07, 1.13, 0.95, 0.78)
#: part of a number that its range reaches to either side
_SLACK: Final = {"hour": 0.25, "month": 0.08, "weekday": 0.06}
#: least and most of an own value: a weight of nothing would leave its hour or month empty
PERMITTED_WEIGHT: Final = (0.01, 1000.0)


def list_usual() -> list[Sourced]:
    """List every hour, weekday and month as a number with its range."""
    rows = [
        _usual(
            f"{shape}_hour_{hour:02d}", weight, "hour",
            f"vehicles from {hour}:00 on an uncounted {shape} road, relative weight",
        )
        for shape in SHAPES
        for hour, weight in enumerate(_HOURS[shape])
    ]  # fmt: skip
    rows += [
        _usual(f"month_{name}", ratio, "month", f"average day of {name} over that of the year")
        for name, ratio in zip(MONTHS, _MONTHS, strict=True)
    ]
    rows += [
        _usual(f"weekday_{name}", ratio, "weekday", f"average {name} over the average day")
        for name, ratio in zip(WEEKDAYS, _WEEKDAYS, strict=True)
    ]
    return rows


def _usual(name: str, value: float, kind: str, meaning: str) -> Sourced:
    slack = _SLACK[kind]
    return Sourced(
        name=name,
        value=float(value),
        unit="1",
        low=round(value * (1 - slack), 4),
        high=round(value * (1 + slack), 4),
        source="typical urban road, from memory, no source at hand",
        grade="memory",
        meaning=meaning,
    )

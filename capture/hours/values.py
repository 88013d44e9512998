"""Which numbers shape a wash's year, where does each come from, and how sure is it?

Everything here is common practice or our own choice until a sales file replaces it; the
month, weekday and hour weights are relative to their own mean, so only their proportions
matter.
"""

from __future__ import annotations

from typing import Final

from capture.basis import Sheet, Sourced, chosen, practice

MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
WEEKDAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

_SALT = (1.35, 1.40, 1.50, 1.15, 0.95, 0.85, 0.80, 0.75, 0.75, 0.80, 0.80, 0.90)
_SUN = (0.95, 0.98, 1.15, 1.20, 1.10, 1.00, 0.95, 0.93, 0.92, 0.95, 0.93, 0.94)
_WEEK = (0.88, 0.84, 0.86, 0.90, 1.12, 1.42, 0.98)
_WORKDAY = (
    *(0.04, 0.03, 0.03, 0.03, 0.04, 0.10, 0.25, 0.45),
    *(0.60, 0.75, 0.90, 1.00, 1.10, 1.10, 1.10, 1.15),
    *(1.15, 1.05, 0.80, 0.50, 0.30, 0.20, 0.12, 0.07),
)
_WEEKEND = (
    *(0.05, 0.04, 0.03, 0.03, 0.03, 0.05, 0.12, 0.25),
    *(0.40, 0.75, 1.10, 1.40, 1.60, 1.65, 1.55, 1.30),
    *(1.00, 0.70, 0.45, 0.25, 0.18, 0.14, 0.10, 0.07),
)


def _series(
    prefix: str, labels: tuple[str, ...], weights: tuple[float, ...], meaning: str
) -> list[Sourced]:
    return [
        practice(f"{prefix}_{label}", weight, weight, weight, "1", f"{meaning}, {label}")
        for label, weight in zip(labels, weights, strict=True)
    ]


_HOURS: Final = tuple(f"{hour:02d}" for hour in range(24))

#: least and most that an own value may be, where unit and spread do not say it
_PERMITTED: Final = {
    **dict.fromkeys(
        [
            *(f"month_{kind}_{month}" for kind in ("salt", "sun") for month in MONTHS),
            *(f"weekday_{day}" for day in WEEKDAYS),
            *(f"{kind}_hour_{hour}" for kind in ("workday", "weekend") for hour in _HOURS),
        ],
        (0.0, 20.0),
    ),
    "salt_snow_days": (1.0, 366.0),
    "holiday_factor": (0.0, 10.0),
    "wet_day_change_share": (-1.0, 2.0),
    "rebound_factor": (0.0, 10.0),
    "thaw_factor": (0.0, 20.0),
    "thaw_days": (1.0, 90.0),
    "weather_floor": (0.05, 1.0),
    "crowd_knee": (0.5, 20.0),
    "crowd_power": (0.0, 1.0),
    "peak_log_sd": (0.0, 1.0),
    # a first year of nothing has no month from which to grow
    **{f"ramp_year_{year}": (0.01, 1.0) for year in (1, 2, 3)},
}

VALUES: Final = Sheet(
    "hours",
    [
        *_series(
            "month_salt", MONTHS, _SALT, "month against the mean month where roads are salted"
        ),
        *_series("month_sun", MONTHS, _SUN, "month against the mean month where they are not"),
        *_series("weekday", WEEKDAYS, _WEEK, "weekday against the mean day"),
        *_series("workday_hour", _HOURS, _WORKDAY, "hour of a Monday to Friday, relative weight"),
        *_series("weekend_hour", _HOURS, _WEEKEND, "hour of a Saturday or Sunday, relative weight"),
        chosen(
            "road_blend_share",
            0.0,
            0.25,
            0.5,
            "share",
            "how much of the passing road's own hours is blended into the wash's",
        ),
        chosen(
            "salt_snow_days",
            12,
            20,
            30,
            "days",
            "snow days a year from which months follow the salted-road shape in full",
        ),
        chosen("holiday_factor", 0.6, 0.85, 1.2, "1", "a public holiday against the same weekday"),
        chosen("wet_day_m", 0.001, 0.0025, 0.004, "m", "rain from which a day counts as wet"),
        practice("wet_day_change_share", -0.92, -0.75, -0.5, "1", "change of a wet day's cars"),
        practice(
            "rebound_factor", 1.1, 1.3, 1.7, "1", "first dry day after rain against a dry day"
        ),
        practice("thaw_factor", 1.5, 2.2, 3.2, "1", "first thaw in salt country against a dry day"),
        chosen("thaw_c", 2.0, 4.0, 7.0, "degC", "warmest hour from which salted cars come in"),
        chosen("thaw_days", 3, 7, 14, "days", "how far back snow or frost still makes a thaw"),
        chosen(
            "closed_c", -12.0, -7.0, -4.0, "degC", "warmest hour below which the wash stays shut"
        ),
        chosen(
            "weather_floor",
            0.4,
            0.5,
            0.6,
            "1",
            "least mean of a month's weather factors that is made up for on its open days",
        ),
        chosen(
            "crowd_knee",
            1.7,
            2.0,
            2.3,
            "1",
            "times the mean day from which a day rises less than its factors say",
        ),
        chosen(
            "crowd_power",
            0.3,
            0.5,
            0.8,
            "1",
            "how a day rises beyond that knee, so that the busiest day keeps to practice",
        ),
        chosen(
            "day_cv",
            0.12,
            0.18,
            0.28,
            "share",
            "spread of a day round its expectation when daily weather is known",
        ),
        chosen(
            "day_cv_no_weather",
            0.18,
            0.26,
            0.36,
            "share",
            "spread of a day round its expectation when weather is part of the noise",
        ),
        practice("weather_year_cv", 0.03, 0.07, 0.12, "share", "spread of a year through weather"),
        chosen(
            "peak_log_sd",
            0.12,
            0.2,
            0.28,
            "1",
            "log spread of the busy hour since another wash's year has another shape",
        ),
        practice("ramp_year_1", 0.40, 0.58, 0.75, "share", "first year against the mature year"),
        practice("ramp_year_2", 0.65, 0.80, 0.92, "share", "second year against the mature year"),
        practice("ramp_year_3", 0.85, 0.95, 0.999, "share", "third year against the mature year"),
        chosen(
            "sales_pseudo_cars",
            200,
            500,
            2000,
            "cars",
            "how many cars of the default shape are mixed into a sales file",
        ),
    ],
    permitted=_PERMITTED,
)

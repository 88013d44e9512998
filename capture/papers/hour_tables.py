"""How full is each hour of the year? Tables behind the pictures of the busy hour.

Cars are those of a mean year over the possible worlds; ranges hold what is not known and
the year's own luck. Assumes a finished study or one without its queue.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.papers.pictures import MONTHS, WEEKDAYS

FloatArray = NDArray[np.float64]
_DAYS: Final = 365
_MOST_RANK: Final = 1000
#: weather factors this far from 1 are worth a word
_PLAIN: Final = 0.03
KIND_WORDS: Final = {
    "wet": "rain or snow",
    "rebound": "first dry days after it",
    "thaw": "thaw after frost and salt",
}


def expect_hours(study: Any) -> FloatArray:
    """Return the expected cars in each hour of a mean year, (365, 24)."""
    hours = np.asarray(study.shape.share) * float(np.mean(study.cars_per_year))
    return np.asarray(hours.reshape(_DAYS, 24))


def list_days(study: Any) -> pd.DatetimeIndex:
    """List the 365 days of the study's year, 29 February left out."""
    days = pd.date_range(f"{study.shape.year}-01-01", f"{study.shape.year}-12-31")
    return days[~((days.month == 2) & (days.day == 29))]


def make_month_hour_table(study: Any) -> pd.DataFrame:
    """Make expected cars an hour by month and hour, the mean over a month's days."""
    hours, month = expect_hours(study), list_days(study).month.to_numpy() - 1
    mean = np.array([hours[month == one].mean(axis=0) for one in range(12)])
    return pd.DataFrame(
        {
            "month": np.repeat(MONTHS, 24),
            "hour": np.tile(np.arange(24), 12),
            "cars_per_hour": mean.ravel(),
        }
    )


def make_day_table(study: Any) -> pd.DataFrame:
    """Make expected cars by day, with what the weather does to each, 365 rows.

    ``week`` counts from 0 on the first Monday-to-Sunday week; ``weather`` is a word.
    """
    days = list_days(study)
    factor = np.asarray(study.shape.weather_factor)
    first = int(study.shape.first_weekday)
    number = np.arange(_DAYS) + first
    words = np.select([factor > 1 + _PLAIN, factor < 1 - _PLAIN], ["more", "fewer"], "as usual")
    return pd.DataFrame(
        {
            "day": days.strftime("%Y-%m-%d"),
            "month": np.array(MONTHS)[days.month.to_numpy() - 1],
            "week": number // 7,
            "weekday": np.array(WEEKDAYS)[number % 7],
            "cars": expect_hours(study).sum(axis=1),
            "weather_factor": factor,
            "weather": words,
        }
    )


def make_range_table(study: Any) -> pd.DataFrame:
    """Make the duration curve of next year with its range: rank, cars, low, high."""
    from capture.hours import compute_duration_curve
    from capture.hours.curve import USUAL_RANKS

    ranks = sorted({*USUAL_RANKS, min(int(study.offer.busy_rank), _MOST_RANK)})
    rows = compute_duration_curve(
        study.cars_per_year, study.shape, study.worlds, study.sites.ids[0], ranks=ranks,
        values=study.numbers["hours"],
    )  # fmt: skip
    return pd.DataFrame(
        [
            {"rank": row.rank, "cars": row.cars.value, "low": row.cars.low, "high": row.cars.high}
            for row in rows
        ]
    )


def make_full_table(study: Any) -> pd.DataFrame:
    """Make what each answer to *how often may the line be full?* leads to, one row each."""
    from capture.line import compare_design_hours

    rows = compare_design_hours(
        float(np.median(study.cars_per_year)), study.shape, study.offer,
        values=study.numbers["line"],
    )  # fmt: skip
    table = pd.DataFrame(rows)
    table.insert(
        0, "chosen", ["chosen" if int(row["hours_a_year"]) == study.offer.busy_rank else ""
                      for row in rows]
    )  # fmt: skip
    return table


def make_ramp_table(study: Any) -> pd.DataFrame:
    """Make the share of its mature cars that a young wash has in each month, 48 rows."""
    from capture.hours import compute_ramp_share

    values = study.numbers["hours"]
    drawn = compute_ramp_share(range(48), worlds=study.worlds, values=values)
    low, middle, high = np.quantile(drawn, [0.05, 0.5, 0.95], axis=1)
    return pd.DataFrame({"month": np.arange(1, 49), "share": middle, "low": low, "high": high})


def make_weather_kinds(study: Any) -> pd.DataFrame:
    """Make what each kind of weather does as practice has it: kind and factor."""
    values = study.numbers["hours"]
    rows = [("wet", 1 + values.value("wet_day_change_share"))]
    rows += [(kind, values.value(f"{kind}_factor")) for kind in ("rebound", "thaw")]
    return pd.DataFrame([{"kind": KIND_WORDS[kind], "factor": factor} for kind, factor in rows])


def make_effect_tables(effect: Any) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Make tables of what weather does at a wash with its own sales: kinds, months."""
    kinds = pd.DataFrame(
        [
            {"kind": KIND_WORDS.get(one.kind, one.kind), "days": one.days, "factor": one.factor,
             "low": one.low, "high": one.high, "default": one.default}
            for one in effect.kinds
        ]
    )  # fmt: skip
    months = pd.DataFrame(
        [
            {"month": one.month, "days": one.days, "cars": one.cars, "usual_cars": one.usual_cars,
             "weather_share": one.weather_share, "left_over_share": one.left_over_share,
             "beyond": "beyond chance" if one.stands_out else ""}
            for one in effect.months
        ]
    )  # fmt: skip
    return kinds, months


def make_fit_table(fit: Any) -> pd.DataFrame:
    """Make the table of how well a year's shape fits a sales file: what, value, unit."""
    rows = (
        ("days in the file", float(fit.days), "count"),
        ("cars in the file", fit.cars, "count"),
        ("off on a day, this fit", fit.day_error_share, "share"),
        ("off on a day, the usual shape", fit.default_day_error_share, "share"),
        ("off on a day in weeks left out of the fit", fit.held_out_error_share, "share"),
        ("off by weekday and hour, on average", fit.hour_error_share, "share"),
        ("spread of a day beyond plain chance", fit.day_cv, "share"),
        ("busiest hour in the file", fit.busiest_hour, "cars/h"),
        ("busiest hour that the fit expects, luck aside", fit.fitted_busiest_hour, "cars/h"),
    )
    return pd.DataFrame(rows, columns=["what", "value", "unit"])

"""Which tables lie behind the charts of screens and papers?

One function per picture; each returns a small table in SI units with the unit in the
column's name, so that a screen, a report and a workbook show the same numbers.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.papers.numbers import sum_draws

#: said where the land would have to bring money with it
_NO_LAND: Final = "below nothing: it would not pay even on free land"

FloatArray = NDArray[np.float64]
WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov",
                 "Dec")  # fmt: skip
_MONTH_DAYS: Final = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
BUSY_HOURS_SHOWN: Final = 200
FACTOR_WORDS: Final = {
    "log_vehicles": "how busy the road is",
    "delay": "delay turning in and out",
    "sight": "being seen in time",
    "pull": "pull of rivals",
    "passed_first": "rival passed first",
    "log_people": "people within 10 minutes",
    "log_price": "price against the area",
    "plan": "monthly plan",
    "ramp": "years open",
    "speed": "speed of the road",
    "log_income": "income",
    "attractions": "shops and sights near",
    "log_hours": "hours open",
    "huff": "share of people by distance",
}


def say_factor(name: str) -> str:
    """Say a factor's name in plain words.

    Examples
    --------
    >>> say_factor("delay"), say_factor("my_own")
    ('delay turning in and out', 'my own')
    """
    return FACTOR_WORDS.get(name, name.replace("_", " "))


def make_stream_table(study: Any) -> pd.DataFrame:
    """Make the table of streams past the site, one row each."""
    streams, turning, seeing = study.streams, study.turning, study.seeing
    rows = []
    for r in range(len(streams.edge)):
        summed = sum_draws(study.vehicles[r], "vehicles/day").range
        rows.append(
            {
                "road": streams.road[r] or "road without a name",
                "direction_deg": float(streams.direction_deg[r]),
                "side": "near" if bool(streams.near_side[r]) else "far",
                "vehicles_per_day": summed.value,
                "low": summed.low,
                "high": summed.high,
                "known_by": "measured" if bool(streams.measured[r]) else "estimated",
                "speed_mps": float(streams.speed_mps[r]),
                "delay_s": float(turning.delay_s[r]),
                "way_in": turning.way_in[r],
                "way_out": turning.way_out[r],
                "service_letter": turning.service_letter[r],
                "seen_m": float(seeing.seen_m[r]),
                "needed_m": float(seeing.needed_m[r]),
                "sight_share": float(seeing.sight[r]),
                "source": streams.source[r],
            }
        )
    return pd.DataFrame(rows)


def make_delay_table(study: Any) -> pd.DataFrame:
    """Make the table of turning delay by hour of the day, one row per stream and hour."""
    streams = study.streams
    delay = np.asarray(study.turning.delay_by_hour_s)
    return pd.DataFrame(
        {
            "stream": [
                f"{streams.road[r] or 'road'}, {'near' if streams.near_side[r] else 'far'} side"
                for r in range(len(delay))
                for _ in range(24)
            ],
            "hour": np.tile(np.arange(24), len(delay)),
            "delay_s": delay.ravel(),
        }
    )


def make_rival_table(study: Any) -> pd.DataFrame:
    """Make the table of rivals, nearest first."""
    rivals, around = study.rivals, study.around
    seconds = np.asarray(around.rival_seconds)[0] if len(rivals.names) else np.empty(0)
    likeness = np.asarray(around.likeness) if len(rivals.names) else np.empty(0)
    table = pd.DataFrame(
        {
            "name": [name or "wash without a name" for name in rivals.names],
            "format": list(rivals.formats),
            "minutes": np.where(np.isfinite(seconds), seconds / 60, np.nan),
            "likeness": likeness,
            "status": list(rivals.status),
            "source": list(rivals.source),
        }
    )
    return table.sort_values("minutes", na_position="last", kind="stable", ignore_index=True)


def make_week_table(study: Any) -> pd.DataFrame:
    """Make expected cars an hour by weekday and hour, averaged over the year."""
    hours = _expected_hours(study).reshape(365, 24)
    weekday = (np.arange(365) + int(study.shape.first_weekday)) % 7
    mean = np.array([hours[weekday == day].mean(axis=0) for day in range(7)])
    return pd.DataFrame(
        {
            "weekday": np.repeat(WEEKDAYS, 24),
            "hour": np.tile(np.arange(24), 7),
            "cars_per_hour": mean.ravel(),
        }
    )


def make_month_table(study: Any) -> pd.DataFrame:
    """Make expected cars by month."""
    days = _expected_hours(study).reshape(365, 24).sum(axis=1)
    month = np.repeat(np.arange(12), _MONTH_DAYS)
    return pd.DataFrame({"month": MONTHS, "cars": np.bincount(month, weights=days)})


def make_duration_table(study: Any) -> pd.DataFrame:
    """Make the busiest expected hours of the year, in order."""
    hours = np.sort(_expected_hours(study))[::-1][:BUSY_HOURS_SHOWN]
    return pd.DataFrame({"rank": np.arange(1, len(hours) + 1), "cars_per_hour": hours})


def _expected_hours(study: Any) -> FloatArray:
    return np.asarray(study.shape.share) * float(np.mean(study.cars_per_year))


def make_station_table(study: Any) -> pd.DataFrame:
    """Make the line's schedule of stations, in order."""
    return pd.DataFrame(
        [
            {
                "name": station.name,
                "purpose": station.purpose,
                "start_m": station.start_m,
                "length_m": station.length_m,
                "enters_s": station.enters_s,
                "count": station.count,
                "power_w": station.power_w,
                "flow_m3s": station.flow_m3s,
                "pressure_pa": station.pressure_pa,
                "water": station.water,
                "cost_usd": station.cost_usd,
            }
            for station in study.line.stations
        ]
    )


def make_queue_table(study: Any) -> pd.DataFrame:
    """Make waits and queues by hour of arrival: median, 90th and 95th percentile."""
    wait, cars = np.asarray(study.queue.wait_s), np.asarray(study.queue.queue_cars)
    table = pd.DataFrame({"hour": np.arange(24)})
    for row, name in enumerate(("half of cars", "9 of 10 cars", "19 of 20 cars")):
        table[f"wait_s {name}"] = wait[row]
        table[f"queue_cars {name}"] = cars[row]
    return table


def make_utility_table(study: Any) -> pd.DataFrame:
    """Make the table of what must be piped and wired."""
    return pd.DataFrame(
        [
            {
                "what": figure.label,
                "value": figure.range.value,
                "low": figure.range.low,
                "high": figure.range.high,
                "unit": figure.range.unit,
                "source": figure.source,
                "caution": figure.caution,
            }
            for figure in study.utilities.figures.values()
        ]
    )


def make_cash_table(study: Any) -> pd.DataFrame:
    """Make cash gathered since the contract, before debt: percentiles by month."""
    schedule = study.money.schedule(0)
    gathered = np.cumsum(np.asarray(schedule.before_debt), axis=1)
    low, middle, high = np.quantile(gathered, [0.05, 0.5, 0.95], axis=0)
    return pd.DataFrame(
        {"month": np.arange(gathered.shape[1]), "low_usd": low, "usd": middle, "high_usd": high}
    )


def make_money_table(study: Any) -> pd.DataFrame:
    """Make the table of what the site is worth."""
    money = study.money
    rows = []
    for words, name, unit in (
        ("value today, before debt", "npv_usd", "USD"),
        ("pays back in", "payback_years", "years"),
        ("return a year", "irr_share", "share"),
        ("cars a day to break even, loan paid", "breakeven_cars_day", "cars/day"),
        ("land may cost at most", "land_ceiling_usd", "USD"),
        ("cash over loan payments, third year", "dscr", "1"),
        ("spent by opening", "capital_usd", "USD"),
        ("owner's cash needed", "equity_usd", "USD"),
        ("cash in a mature year", "mature_cash_usd_year", "USD"),
        ("months from contract to opening", "opening_months", "months"),
    ):
        summed = sum_draws(np.asarray(getattr(money, name))[0], unit)
        found = summed.range
        rows.append(
            {
                "what": words,
                "key": name,
                "value": found.value,
                "low": found.low,
                "high": found.high,
                "mean": found.mean,
                "unit": unit,
                "words": _NO_LAND if name == "land_ceiling_usd" and found.value <= 0
                else summed.words,
            }
        )  # fmt: skip
    return pd.DataFrame(rows)

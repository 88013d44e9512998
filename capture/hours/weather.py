"""How does each day's weather move a wash's cars, and when does it stay shut?

Takes daily weather in the columns that open weather archives use (``date``, ``prcp`` mm,
``tmin``, ``tmax`` degC, ``snow`` mm), or twelve monthly normals. Assumes that rain keeps
cars away on the day, that the first dry day after it brings some back, that the first
thaw after snow brings many, and that a hard frost shuts the wash.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from capture.basis import DataError, InputError, Sheet, plain_text, raise_gathered
from capture.hours.times import name_columns, read_times
from capture.hours.values import VALUES

FloatArray = NDArray[np.float64]

#: column -> names it goes by, first one of ours
_NAMES: Final = {
    "date": ("date", "time", "day"),
    "precipitation_mm": ("precipitation_mm", "prcp_mm", "prcp", "rain_mm", "precipitation"),
    "low_c": ("low_c", "tmin_c", "tmin", "temperature_min_c", "temp_min_c"),
    "high_c": ("high_c", "tmax_c", "tmax", "temperature_max_c", "temp_max_c"),
    "snow_mm": ("snow_mm", "snow", "snowfall_mm", "snow_depth_mm", "snow_cm"),
}
_LIMITS: Final = {
    "precipitation_mm": (0.0, 2000.0, "mm"),
    "low_c": (-90.0, 60.0, "degC"),
    "high_c": (-90.0, 65.0, "degC"),
    "snow_mm": (0.0, 20000.0, "mm"),
}
#: column -> name of its unit in the table's settings
_UNIT_NAMES: Final = {
    "precipitation_mm": "rain_unit",
    "low_c": "temperature_unit",
    "high_c": "temperature_unit",
    "snow_mm": "snow_unit",
}
_MM: Final = {"mm": (1.0, 0.0), "cm": (10.0, 0.0), "in": (25.4, 0.0), "0.1 mm": (0.1, 0.0)}
#: kind of unit -> unit -> factor and amount added, into mm or degC
_UNITS: Final = {
    "rain_unit": _MM,
    "snow_unit": _MM,
    "temperature_unit": {
        "degC": (1.0, 0.0),
        "degF": (5 / 9, -160 / 9),
        "K": (1.0, -273.15),
        "0.1 degC": (0.1, 0.0),
    },
}
_LEAST_DAYS: Final = 330
_MOST_DAYS: Final = 100_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WeatherDays:
    """What the weather does to each of 365 days."""

    #: factor on a day's cars, mean about 1 within each month, (365,)
    factor: FloatArray
    #: 0 where roads are never salted, 1 where winters are snowy
    salt_share: float
    #: spread of a day that stays unexplained
    day_cv: float
    #: calendar year of the days
    year: int
    #: wet days, rebounds, thaws and shut days in the year
    wet_days: int
    rebound_days: int
    thaw_days: int
    shut_days: int
    #: where it comes from, one sentence
    source: str
    #: what to know
    cautions: tuple[str, ...]


def read_weather(table: pd.DataFrame) -> pd.DataFrame:
    """Bring a daily weather table into one form and check it.

    Parameters
    ----------
    table : DataFrame
        A date and at least precipitation in mm; temperatures in degC and snow in mm when
        known. Names such as ``prcp``, ``tmin``, ``tmax`` and ``snow`` are understood. Other
        units are named by ``rain_unit``, ``snow_unit`` and ``temperature_unit`` in
        ``attrs["options"]``, where an area's own settings stand.

    Returns
    -------
    DataFrame
        Columns ``date``, ``precipitation_mm``, ``low_c``, ``high_c``, ``snow_mm``; gaps are
        NaN; sorted by date.

    Raises
    ------
    DataError
        Naming each fault: a missing column, a value out of range, a date twice, a unit that
        is not known.

    Examples
    --------
    >>> frame = pd.DataFrame({"date": ["2025-01-01"], "prcp": [3.2]})
    >>> float(read_weather(frame).precipitation_mm[0])
    3.2
    """
    if len(table) > _MOST_DAYS:
        raise DataError(f"weather: at most {_MOST_DAYS} days are read, got {len(table)}; cut it")
    lower = name_columns(table, where="weather")
    found = {
        ours: next((lower[name] for name in names if name in lower), None)
        for ours, names in _NAMES.items()
    }
    if found["date"] is None or found["precipitation_mm"] is None:
        raise DataError(
            "weather: needs a column date and a column prcp (mm a day), got "
            f"{', '.join(map(str, table.columns[:12]))}; rename them"
        )
    out = pd.DataFrame({"date": read_times(table[found["date"]])})
    rows = table["row"].to_numpy() if "row" in table.columns else np.arange(1, len(table) + 1)
    faults = [f"row {rows[k]}: date is not readable" for k in np.flatnonzero(out["date"].isna())]
    for ours, (low, high, unit) in _LIMITS.items():
        column = found[ours]
        if column is None:
            out[ours] = np.nan
            continue
        factor, added = _find_scale(ours, str(column), table)
        out[ours] = factor * pd.to_numeric(table[column], errors="coerce").astype(float) + added
        bad = np.flatnonzero(~out[ours].between(low, high) & out[ours].notna())
        faults += [
            f"row {rows[k]}: {column} is {out[ours].iloc[k]:g}, must be {low:g} to {high:g} {unit}"
            for k in bad
        ]
    twice = np.flatnonzero(out["date"].duplicated() & out["date"].notna())
    faults += [f"row {rows[k]}: date {out['date'].iloc[k]:%Y-%m-%d} stands twice" for k in twice]
    if any("degC" in fault for fault in faults):
        faults.append("archives that give tenths of a degree or of a mm must be divided by ten")
    raise_gathered(faults, where="weather")
    return out.sort_values("date", ignore_index=True)


def _find_scale(ours: str, column: str, table: pd.DataFrame) -> tuple[float, float]:
    """Return by what a column is multiplied, and what is added, to come to our unit."""
    kind = _UNIT_NAMES[ours]
    known = _UNITS[kind]
    usual = "cm" if column.strip().lower().endswith("_cm") else next(iter(known))
    told = table.attrs.get("options", {}).get(kind, usual)
    if not isinstance(told, str) or told not in known:
        raise DataError(
            f"weather: {kind} must be one of {', '.join(known)}, got "
            f"{plain_text(told, most=40)!r}; mend it in area.toml"
        )
    if usual == "cm" and told != usual:
        raise DataError(
            f"weather: {kind} is {told} but column {plain_text(column, most=40)} says cm; "
            "mend one of them"
        )
    return known[told]


def add_weather_factor(
    weather: pd.DataFrame | None, *, year: int | None = None, values: Sheet = VALUES
) -> WeatherDays:
    """Turn daily weather, monthly normals or nothing into a factor for each day.

    Parameters
    ----------
    weather : DataFrame or None
        Daily table, or twelve rows with ``month`` and ``wet_days`` (and ``snow_days``).
    year : int, optional
        Which year of the table; by default the most usual complete one.

    Returns
    -------
    WeatherDays

    Raises
    ------
    DataError
        When the table is not usable or no year is nearly complete.
    """
    from capture.hours.year import DAYS, USUAL_YEAR

    if weather is None:
        return WeatherDays(
            factor=np.ones(DAYS), salt_share=0.5, day_cv=values.value("day_cv_no_weather"),
            year=year or USUAL_YEAR, wet_days=0, rebound_days=0, thaw_days=0, shut_days=0,
            source="weather: none given, so it is part of the day's noise",
            cautions=("no weather is given: seasons lie halfway between salted and sunny places",),
        )  # fmt: skip
    columns = {str(name).strip().lower() for name in weather.columns}
    told = "daily table"
    if {"month", "wet_days"} <= columns:
        told = "monthly normals spread over the days"
        from capture.hours.normals import make_usual_days

        options = weather.attrs.get("options", {})
        weather = make_usual_days(weather, year=year or USUAL_YEAR)
        weather.attrs["options"] = {k: v for k, v in options.items() if k == "temperature_unit"}
        year = year or USUAL_YEAR
    table = read_weather(weather)
    chosen = _choose_year(table, year)
    days = _one_year(table, chosen)
    factor, counts = compute_weather_factor(days, values=values)
    snow_days = int((days["snow_mm"].fillna(0) > 0).sum())
    gaps = int(days["precipitation_mm"].isna().sum())
    cautions = [f"{gaps} days of {chosen} have no weather and count as dry"] if gaps else []
    if days["high_c"].isna().all():
        cautions.append("weather has no temperature: no thaw or frost day is known")
    return WeatherDays(
        factor=factor,
        salt_share=min(1.0, snow_days / values.value("salt_snow_days")),
        day_cv=values.value("day_cv"),
        year=chosen,
        source=f"weather: {told}, year {chosen} ({counts[0]} wet days, {snow_days} with snow)",
        cautions=tuple(cautions),
        wet_days=counts[0], rebound_days=counts[1], thaw_days=counts[2], shut_days=counts[3],
    )  # fmt: skip


def compute_weather_factor(
    days: pd.DataFrame, *, values: Sheet = VALUES
) -> tuple[FloatArray, tuple[int, int, int, int]]:
    """Compute each day's factor from 365 rows of weather.

    Returns
    -------
    tuple
        Factors (365,), and how many days are wet, rebounds, thaws and shut.

    Notes
    -----
    A wet day is 1 + change, the first dry day after one the rebound, the first day above
    the thaw temperature after snow or frost the thaw (the larger of the two holds), a day
    that stays below the closing temperature 0. Each month is then scaled to a mean of 1,
    but a month that is shut for most of its days is not made up for in full.
    """
    from capture.hours.year import month_of_day

    kinds = classify_days(days, values=values)
    wet, rebound, thaw, shut = (kinds[name] for name in DAY_KINDS)
    factor = np.where(wet, 1 + values.value("wet_day_change_share"), 1.0)
    factor = np.where(rebound, values.value("rebound_factor"), factor)
    factor = np.where(thaw, np.maximum(factor, values.value("thaw_factor")), factor)
    factor = np.where(shut, 0.0, factor)
    month = month_of_day()
    mean = np.bincount(month, weights=factor, minlength=12) / np.bincount(month)
    scaled = factor / np.maximum(mean, values.value("weather_floor"))[month]
    return scaled, (int(wet.sum()), int(rebound.sum()), int(thaw.sum()), int(shut.sum()))


#: what weather makes of a day
DAY_KINDS: Final = ("wet", "rebound", "thaw", "shut")


def classify_days(days: pd.DataFrame, *, values: Sheet = VALUES) -> dict[str, NDArray[np.bool_]]:
    """Tell wet days, rebounds, thaws and shut days apart; a plain dry day is none of them.

    Parameters
    ----------
    days : DataFrame
        Consecutive days in the form of :func:`read_weather`; the day before the first is
        taken to be the last.

    Returns
    -------
    dict of ndarray of bool
        By kind, one per day.
    """
    rain = days["precipitation_mm"].fillna(0).to_numpy()
    snow = days["snow_mm"].fillna(0).to_numpy()
    high = days["high_c"].fillna(np.inf).to_numpy()
    known = days["high_c"].notna().to_numpy()
    wet = rain >= 1000 * values.value("wet_day_m")
    winter = (snow > 0) | (known & (high <= 0))
    warm = known & (high >= values.value("thaw_c"))
    thaw = ~wet & warm & _recent(winter, int(values.value("thaw_days"))) & ~np.roll(warm, 1)
    return {
        "wet": wet,
        "rebound": ~wet & np.roll(wet, 1),
        "thaw": thaw,
        "shut": known & (high < values.value("closed_c")),
    }


def _recent(flag: NDArray[np.bool_], days: int) -> NDArray[np.bool_]:
    out = np.zeros_like(flag)
    for back in range(1, days + 1):
        out |= np.roll(flag, back)
    return out


def _choose_year(table: pd.DataFrame, year: int | None) -> int:
    counted = table["date"].dt.year.value_counts()
    if year is not None:
        if counted.get(year, 0) < _LEAST_DAYS:
            raise InputError(
                f"weather: year {year} must have at least {_LEAST_DAYS} days, got "
                f"{int(counted.get(year, 0))}; pick another year or mend the table"
            )
        return year
    whole = sorted(int(one) for one, count in counted.items() if count >= _LEAST_DAYS)
    if not whole:
        raise DataError(
            f"weather: needs one calendar year with at least {_LEAST_DAYS} days, got years "
            f"{', '.join(f'{one}: {count}' for one, count in list(counted.items())[:6])}; "
            "add the missing days"
        )
    rain = table.groupby(table["date"].dt.year)["precipitation_mm"].sum()
    middle = float(np.median([rain[one] for one in whole]))
    return min(whole, key=lambda one: (abs(float(rain[one]) - middle), -one))


def _one_year(table: pd.DataFrame, year: int) -> pd.DataFrame:
    dates = pd.date_range(f"{year}-01-01", f"{year}-12-31")
    dates = dates[~((dates.month == 2) & (dates.day == 29))]
    kept = table.assign(date=table["date"].dt.normalize()).set_index("date")
    return kept.reindex(dates).reset_index(names="date")

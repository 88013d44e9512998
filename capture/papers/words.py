"""How is a number said to a person: how many digits, which unit, which range?

The only arithmetic is the turn from SI into what the reader uses. Assumes that nobody can
use more than three digits of an estimate.
"""

from __future__ import annotations

import math
import re
from typing import Final

from capture.basis import Range, UnitSystem, convert_out

#: unit as stored -> (factor, label, digits after the point or None for significant digits)
_SAID: Final[dict[str, tuple[float, str]]] = {
    "share": (100.0, "%"),
    "s": (1.0, "s"),
    "min": (1.0, "min"),
    "vehicles/day": (1.0, "vehicles a day"),
    "cars/year": (1.0, "cars a year"),
    "cars/day": (1.0, "cars a day"),
    "cars/h": (1.0, "cars an hour"),
    "veh/day": (1.0, "vehicles a day"),
    "J": (1 / 3.6e6, "kWh"),
    "VA": (1 / 1000, "kVA"),
    "deg": (1.0, "°"),
    "degrees": (1.0, "°"),
    "degC": (1.0, "°C"),
    "USD/year": (1.0, "$ a year"),
    "veh/h": (1.0, "vehicles an hour"),
    "years": (1.0, "years"),
    "months": (1.0, "months"),
    "count": (1.0, ""),
    "1": (1.0, ""),
}
#: unit as stored -> the edge's own name for it
_EDGE_NAMES: Final = {"m/s": "mps", "m3/s": "m3s", "Pa": "pa", "W": "w"}
#: figures that the trade says in another unit than their kind: name -> system -> factor, label
TRADE_UNITS: Final[dict[str, dict[UnitSystem, tuple[float, str]]]] = {
    "heater_w": {"us": (3.412142, "BTU/h"), "metric": (1e-3, "kW")},
    "demand_w": {"us": (1e-3, "kW"), "metric": (1e-3, "kW")},
    "air_m3s": {"us": (2118.88, "cfm"), "metric": (1e3, "L/s")},
}
#: speeds below this are said in millimetres a second
_SLOW_MPS: Final = 0.05
#: lengths below this are said in inches or millimetres
_SHORT_M: Final = 0.1
#: years to pay back beyond this are not told apart
LONG_YEARS: Final = 100.0
NOT_KNOWN: Final = "not known"
#: a metric amount in a sentence: perhaps a first number of two, the number, its unit
_METRIC: Final = re.compile(
    r"(?<![\w.,])(?:(\d[\d,]*(?:\.\d+)?)( to | and |-))?(\d[\d,]*(?:\.\d+)?) "
    r"(km/h|km|m2|m²|m)(?![\w/²])"
)
_IN_SI: Final[dict[str, tuple[str, float]]] = {
    "km/h": ("mps", 1 / 3.6),
    "km": ("km", 1.0),
    "m2": ("m2", 1.0),
    "m²": ("m2", 1.0),
    "m": ("m", 1.0),
}
NEVER: Final = "never"


def say_number(value: float | None, *, digits: int = 3) -> str:
    """Say a number with so many significant digits, thousands parted by commas.

    Examples
    --------
    >>> say_number(32149.0), say_number(0.8512, digits=2), say_number(float("nan"))
    ('32,100', '0.85', 'not known')
    """
    if value is None or math.isnan(value):
        return NOT_KNOWN
    if math.isinf(value):
        return NEVER if value > 0 else "less than any"
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    places = max(0, digits - 1 - math.floor(math.log10(abs(rounded))))
    text = f"{rounded:,.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def say_money(value: float | None, *, digits: int = 3) -> str:
    """Say US dollars, in millions from a million on.

    Examples
    --------
    >>> say_money(1_530_000), say_money(-84_200), say_money(13)
    ('$1.53 M', '-$84,200', '$13')
    """
    if value is None or not math.isfinite(value):
        return say_number(value)
    sign = "-" if value < 0 else ""
    size = abs(value)
    if size >= 1e6:
        return f"{sign}${say_number(size / 1e6, digits=digits)} M"
    return f"{sign}${say_number(size, digits=digits)}"


def say_amount(
    value: float | None, unit: str, system: UnitSystem = "us", *, digits: int = 3
) -> str:
    """Say an amount with its unit in the reader's system.

    Parameters
    ----------
    value : float or None
        In ``unit``.
    unit : str
        As stored: an SI unit, ``"share"``, ``"USD"``, ``"cars/h"`` and the like; or the name of
        a figure in ``TRADE_UNITS``, in SI.
    system : {"us", "metric"}
    digits : int
        Significant digits.

    Examples
    --------
    >>> say_amount(36.6, "m"), say_amount(0.0085, "share"), say_amount(20, "mps", "metric")
    ('120 ft', '0.85 %', '72 km/h')
    """
    if unit in {"USD", "usd"}:
        return say_money(value, digits=digits)
    if value is None or not math.isfinite(value):
        return say_number(value)
    if unit == "years" and value > LONG_YEARS:
        return f"over {LONG_YEARS:.0f} years"
    if unit in TRADE_UNITS:
        factor, label = TRADE_UNITS[unit][system]
        return f"{say_number(value * factor, digits=digits)} {label}"
    if unit in _SAID:
        factor, label = _SAID[unit]
        return f"{say_number(value * factor, digits=digits)} {label}".strip()
    if unit == "m" and 0 < abs(value) < _SHORT_M:
        small, label = (value / 0.0254, "in") if system == "us" else (value * 1000, "mm")
        return f"{say_number(small, digits=digits)} {label}"
    if unit == "m/s" and abs(value) < _SLOW_MPS:
        return f"{say_number(value * 1000, digits=digits)} mm/s"
    amount, label = convert_out(value, _EDGE_NAMES.get(unit, unit), system)
    return f"{say_number(amount, digits=digits)} {label}".strip()


def say_lengths(text: str, system: UnitSystem = "us") -> str:
    """Say a sentence whose metres, areas and speeds are turned into the reader's unit.

    Examples
    --------
    >>> say_lengths("seen over 61 m of the 143 m asked for")
    'seen over 200 ft of the 469 ft asked for'
    >>> say_lengths("150 to 180 m off, 400 m2 short, at 60 km/h")
    '492 to 591 ft off, 4,310 ft² short, at 37.3 mph'
    >>> say_lengths("a signal 70 m before", "metric")
    'a signal 70 m before'
    """
    return text if system == "metric" else _METRIC.sub(_say_us, text)


def _say_us(hit: re.Match[str]) -> str:
    unit, size = _IN_SI[hit[4]]
    first, last = (
        None if number is None else say_amount(float(number.replace(",", "")) * size, unit, "us")
        for number in (hit[1], hit[3])
    )
    return f"{first.partition(' ')[0]}{hit[2]}{last}" if first is not None else str(last)


def say_long_years(years: float) -> str:
    """Say years until paid back, those that no plan looks ahead to not told apart.

    Examples
    --------
    >>> say_long_years(18.83), say_long_years(640.0), say_long_years(float("inf"))
    ('19 years', 'over 100 years', 'never')
    """
    return say_amount(years, "years", digits=2)


def say_minutes(value: float | None) -> str:
    """Say driving minutes, no finer than anyone drives.

    Examples
    --------
    >>> say_minutes(0.14), say_minutes(2.05), say_minutes(1.2)
    ('under a minute', '2 minutes', '1 minute')
    """
    if value is None or not math.isfinite(value):
        return "not reached"
    if value < 1:
        return "under a minute"
    return "1 minute" if round(value) == 1 else f"{value:.0f} minutes"


def say_spread(number: Range, system: UnitSystem = "us", *, digits: int = 2) -> str:
    """Say the 5th to 95th percentile, without the unit where both share it.

    Examples
    --------
    >>> say_spread(Range(value=272, low=151, high=484, mean=290, unit="cars/day"))
    '150 to 480'
    """
    low = say_amount(number.low, number.unit, system, digits=digits)
    high = say_amount(number.high, number.unit, system, digits=digits)
    tail = low.partition(" ")[2]
    if tail and tail != "M" and high.endswith(" " + tail):
        return f"{low.partition(' ')[0]} to {high.partition(' ')[0]}"
    return f"{low} to {high}"

"""Which values may a user's own number have, so that the chain can be worked out with it?

A constant may say its ``least`` and ``most`` itself; else they follow from its unit, its
name and its spread: a share stays within 0 and 1, money may change its currency, a log or a
power stays within a few spreads, a length or a time within twenty times what is known.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from capture.basis.errors import InputError

if TYPE_CHECKING:
    from capture.basis.sourced import Sourced

#: units of what cannot be nothing
_NEVER_ZERO: Final = frozenset(
    {"Pa s", "m", "m2", "m3", "m3/s", "m/s", "m/s2", "s", "min", "h", "W", "Pa", "kg/m3", "people"}
    | {"cars", "days", "months", "veh/day", "veh/h", "J/m3/K"}
)
#: words in the names of ratios that something is divided by
_DIVIDES: Final = ("efficiency", "duty", "heat_ratio", "layout")
#: what a unit allows whatever is known
_BY_UNIT: Final = {
    "degC": (-60.0, 60.0),
    "deg": (0.0, 180.0),
    "degrees": (0.0, 180.0),
    "dB": (0.0, 140.0),
    "0/1": (0.0, 1.0),
}
#: words in the names of what stands in an exponent, and how a value to compare with starts
_EXPONENTS: Final = ("_log", "log_", "_power", "elasticity", "beta_")
_REFERENCE: Final = "reference_"
#: how many times what is known an own value may be, and which part of it
_FARTHEST: Final = 20.0
#: the same for money, whose currency may be another
_FARTHEST_MONEY: Final = 1000.0
#: spreads that an exponent may be away
_SPREADS: Final = 3.0
#: how far what is known exactly may be off, as when gravity is given with two digits
_EXACT: Final = 1.1
#: the least share that something may be divided by
_LEAST_SHARE: Final = 0.01


def find_permitted(entry: Sourced) -> tuple[float, float]:
    """Return the least and the most that an own value of a constant may be.

    Examples
    --------
    >>> from capture.basis import practice
    >>> find_permitted(practice("pitch_m", 6.0, 6.7, 8.0, "m", "car and gap on the chain"))
    (0.3, 160.0)
    >>> find_permitted(practice("loan_share", 0.5, 0.6, 0.7, "share", "part borrowed"))
    (0.0, 1.0)
    """
    least, most = _derive(entry)
    return (
        least if entry.least is None else entry.least,
        most if entry.most is None else entry.most,
    )


def _derive(entry: Sourced) -> tuple[float, float]:
    if entry.unit in _BY_UNIT:
        return _BY_UNIT[entry.unit]
    divides = entry.low > 0 and (
        entry.unit in _NEVER_ZERO or any(word in entry.name for word in _DIVIDES)
    )
    if entry.unit == "share" and entry.low >= 0 and entry.high <= 1:
        return (min(_LEAST_SHARE, entry.low) if divides else 0.0), 1.0
    if entry.grade == "exact" and entry.low > 0:
        return entry.low / _EXACT, entry.high * _EXACT
    exponent = any(word in entry.name for word in _EXPONENTS)
    if entry.low < 0 or exponent or entry.name.startswith(_REFERENCE):
        reach = _SPREADS * max(entry.high - entry.low, abs(entry.low), abs(entry.high), 1 / 3)
        floor = 0.0 if entry.low >= 0 and entry.high > 0 else -math.inf
        return max(entry.low - reach, floor), entry.high + reach
    farthest = _FARTHEST_MONEY if "USD" in entry.unit else _FARTHEST
    most = farthest * (entry.high or 1.0)
    return (entry.low / farthest if divides else 0.0), most


def check_own(name: str, entry: Sourced, value: float) -> float:
    """Return a user's own value of a constant, or refuse it with what it may be.

    Raises
    ------
    InputError
        When it is not a finite number within :func:`find_permitted`.
    """
    least, most = find_permitted(entry)
    # what is written with few digits of a permitted end is that end
    slack = 1e-9 * max(abs(least), abs(most))
    if math.isfinite(value) and least - slack <= value <= most + slack:
        return value
    unit = "" if entry.unit == "1" else f" {entry.unit}"
    raise InputError(
        f"{name} must be a finite number from {least:g} to {most:g}{unit}, got {value:g}; change it"
    )

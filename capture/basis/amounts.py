"""Is what was asked a number that can be used? One check and one sentence for every room.

What is passed from a notebook or read from a file may be anything: a text, nothing, NaN,
a whole number of a thousand digits.
"""

from __future__ import annotations

from numbers import Real
from typing import Any

from capture.basis.errors import InputError
from capture.basis.text import plain_text


def say_amount_fault(
    name: str, value: Any, least: float, most: float, unit: str, *, whole: bool = False
) -> str:
    """Say what is wrong with an amount; nothing when it can be used.

    Examples
    --------
    >>> say_amount_fault("wet_days", 3, 0, 28, "days")
    ''
    >>> say_amount_fault("wet_days", "3", 0, 28, "days")
    "wet_days must be 0 to 28 days, got '3'"
    """
    good = isinstance(value, Real) and not isinstance(value, bool)
    # whole numbers of any length compare well, but do not all turn into floats
    if not good or not least <= value <= most:
        return f"{name} must be {least:g} to {most:g} {unit}, got {_show(value)}"
    if whole and value != int(value):
        return f"{name} must be a whole number, got {_show(value)}"
    return ""


def check_amount(
    where: str,
    name: str,
    value: Any,
    least: float,
    most: float,
    unit: str,
    *,
    whole: bool = False,
) -> None:
    """Refuse what is no number from ``least`` to ``most``.

    Raises
    ------
    InputError
        Naming where, the rule with its unit, and the value got.

    Examples
    --------
    >>> check_amount("offer", "bays", 2.5, 1, 40, "bays", whole=True)
    Traceback (most recent call last):
    ...
    capture.basis.errors.InputError: offer: bays must be a whole number, got 2.5; change it
    """
    fault = say_amount_fault(name, value, least, most, unit, whole=whole)
    if fault:
        raise InputError(f"{where}: {fault}; change it")


def _show(value: Any) -> str:
    text = plain_text(value, most=40)
    return repr(text) if isinstance(value, str) else text

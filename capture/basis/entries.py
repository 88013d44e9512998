"""How is a built-in number written down in one line, with where it comes from?"""

from __future__ import annotations

from typing import Final

from capture.basis.sourced import Grade, Sourced

OURS: Final = "our own modelling choice, change it to yours"
MEMORY: Final = "from memory, unchecked"


def chosen(
    name: str,
    low: float,
    value: float,
    high: float,
    unit: str,
    meaning: str,
    *,
    locator: str = "",
) -> Sourced:
    """Make a constant that nobody published: a choice of how to model.

    Parameters
    ----------
    name : str
        Its name in the room's sheet.
    low, value, high : float
        5th percentile, value used, 95th percentile, in ``unit``.
    unit : str
        SI unit, or "share", "count", "USD", "1" for a bare ratio.
    meaning : str
        What it means, one plain sentence.
    locator : str
        Where the choice is argued, "" for nowhere.

    Examples
    --------
    >>> chosen("headroom_share", 0.0, 0.1, 0.3, "share", "added to the hour").grade
    'invented'
    """
    return Sourced(
        name=name, value=value, unit=unit, low=low, high=high, source=OURS, locator=locator,
        grade="invented", meaning=meaning,
    )  # fmt: skip


def remembered(
    name: str, low: float, value: float, high: float, unit: str, meaning: str
) -> Sourced:
    """Make a constant that was written from memory and not looked up.

    Parameters
    ----------
    name, low, value, high, unit, meaning
        As for :func:`chosen`.

    Examples
    --------
    >>> remembered("car_m", 4.3, 4.8, 5.4, "m", "length of a car").source
    'from memory, unchecked'
    """
    return Sourced(
        name=name, value=value, unit=unit, low=low, high=high, source=MEMORY, grade="memory",
        meaning=meaning,
    )  # fmt: skip


def fixed(
    name: str,
    value: float,
    unit: str,
    meaning: str,
    source: str,
    locator: str = "",
    grade: Grade = "published",
) -> Sourced:
    """Make a constant that has a source and no spread.

    Parameters
    ----------
    name : str
        Its name in the room's sheet.
    value : float
        The value used, in ``unit``.
    unit : str
        SI unit, or "share", "count", "USD", "1" for a bare ratio.
    meaning : str
        What it means, one plain sentence.
    source : str
        Title and year.
    locator : str
        Table, equation or section in it.
    grade : str
        One of ``GRADES``.

    Examples
    --------
    >>> fixed("gravity_mps2", 9.80665, "m/s2", "standard gravity", "ISO 80000-3 (2019)").low
    9.80665
    """
    return Sourced(
        name=name, value=value, unit=unit, low=value, high=value, source=source, locator=locator,
        grade=grade, meaning=meaning,
    )  # fmt: skip

"""What is known of a year's holidays, closed days and usual weather, where a file does not say?

Country and state name public holidays through the holidays library; days shut are the same
each year; twelve monthly normals stand in for daily weather, and go before an area's own.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from capture.basis import (
    DataError,
    InputError,
    plain_text,
    raise_gathered,
    say_amount_fault,
)

if TYPE_CHECKING:
    import pandas as pd

_MONTHS: Final = 12
_MOST_CLOSED: Final = 364
#: year in which codes are tried; which one does not matter
_TRIED: Final = 2025
#: field of a month -> least, most, unit
_LIMITS: Final = {
    "wet_days": (0.0, 28.0, "days"),
    "snow_days": (0.0, 28.0, "days"),
    "high_c": (-60.0, 60.0, "degC"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthNormal:
    """The usual weather of one month.

    Examples
    --------
    >>> MonthNormal(wet_days=9.0).high_c is None
    True
    """

    #: days with rain or snow enough to keep cars away
    wet_days: float
    #: days with snow; None when not known
    snow_days: float | None = None
    #: mean daily high, degC; None when not known
    high_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class YearChoice:
    """What is chosen of the year; nothing where nothing is said.

    Raises
    ------
    InputError
        When a country or state is not known, or too many days are shut.
    DataError
        When the months are not twelve or an amount of one is out of range.

    Examples
    --------
    >>> YearChoice(country="US", subdivision="TX").normals
    ()
    """

    #: ISO code of the country whose public holidays hold, such as "US"; None counts none
    country: str | None = None
    #: code of its state or province, such as "TX"
    subdivision: str | None = None
    #: days on which the wash stays shut; month and day count, the year does not
    closed_days: tuple[datetime.date, ...] = ()
    #: usual weather, January to December; empty takes the area's own weather
    normals: tuple[MonthNormal, ...] = ()

    def __post_init__(self) -> None:
        from capture.hours import holiday_days

        if self.subdivision is not None and self.country is None:
            raise InputError(
                f"holidays: a state needs its country, got {self.subdivision!r} alone; name both"
            )
        for day in self.closed_days:
            if not isinstance(day, datetime.date):
                raise InputError(
                    f"closed days: each must be a date, got {plain_text(day, most=40)!r}; "
                    "give dates"
                )
        holiday_days(_TRIED, country=self.country, subdivision=self.subdivision)
        if len(self.closed_days) > _MOST_CLOSED:
            raise InputError(
                f"closed days: at most {_MOST_CLOSED} are taken, got {len(self.closed_days)}; "
                "leave some open"
            )
        _check_normals(self.normals)

    def find_weather(self, area_weather: pd.DataFrame | None) -> pd.DataFrame | None:
        """Return the weather that holds: the normals where given, else the area's own.

        Parameters
        ----------
        area_weather : DataFrame or None
            The area's own.

        Examples
        --------
        >>> months = (MonthNormal(wet_days=9.0, high_c=20.0),) * 12
        >>> table = YearChoice(normals=months).find_weather(None)
        >>> table.shape, table["month"].to_list()[-1]
        ((12, 4), 12)
        """
        if not self.normals:
            return area_weather
        import pandas as pd

        return pd.DataFrame(
            {
                "month": range(1, _MONTHS + 1),
                **{
                    name: [getattr(month, name) for month in self.normals] for name in _LIMITS
                },
            }
        ).astype(float).astype({"month": int})  # fmt: skip

    def lay_year(self, area_weather: pd.DataFrame | None) -> Mapping[str, Any]:
        """Return what :func:`capture.hours.make_year_shape` is told, by parameter.

        Examples
        --------
        >>> YearChoice(country="US").lay_year(None)["country"]
        'US'
        """
        return {
            "weather": self.find_weather(area_weather),
            "country": self.country,
            "subdivision": self.subdivision,
            "closed_days": self.closed_days,
        }


def _check_normals(normals: tuple[MonthNormal, ...]) -> None:
    if not normals:
        return
    if len(normals) != _MONTHS:
        raise DataError(
            f"monthly weather: months must be 12, January to December, got {len(normals)}; "
            "give each"
        )
    faults = []
    for number, month in enumerate(normals, start=1):
        for name, (low, high, unit) in _LIMITS.items():
            amount = getattr(month, name)
            if amount is None and name != "wet_days":
                continue
            if fault := say_amount_fault(name, amount, low, high, unit):
                faults.append(f"month {number}: {fault}")
    raise_gathered(faults, where="monthly weather")

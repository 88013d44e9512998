"""Which facts of a site raise or lower the share, and how is each turned into a number?

One registry, one short function each. A function reads *measures* (plain quantities such
as delay in seconds) and returns the factor in its own unit, so that sites from the map
and rows of a known-sites table pass through the same code. To add a factor, give it an
entry in ``starter.toml`` and one function here. Assumes that a measure not known is NaN.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Sheet, Sourced
from capture.share.values import STARTER, VALUES, prior_sd

FloatArray = NDArray[np.float64]
Measures = Mapping[str, FloatArray]


class Compute(Protocol):
    """Turns measures, each of shape (S,), into one factor, shape (S,), NaN where unknown."""

    def __call__(self, measures: Measures, values: Sheet, /) -> FloatArray:
        """Compute the factor."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """One fact of a site that moves the share."""

    #: short name, also its column in tables of factors
    name: str
    #: unit of x
    unit: str
    #: x of the reference site, where the multiplier is 1
    reference: float
    #: prior mean of the coefficient, log share per unit
    prior_mean: float
    #: prior sd of the coefficient; 0 holds it fixed
    prior_sd: float
    #: declared sign of the coefficient: -1, +1, or 0 for none
    sign: int
    #: sd of x among sites, used where a site does not tell it
    spread: float
    #: one plain sentence
    meaning: str
    #: who says so
    source: str
    #: the function that computes x
    compute: Compute
    #: whether it waits for enough known sites (three per factor) before it may speak up
    is_extra: bool = False

    def __post_init__(self) -> None:
        if self.prior_sd < 0 or self.spread < 0:
            raise InputError(f"{self.name}: prior_sd and spread must be 0 or more; change them")
        if self.sign * self.prior_mean < 0:
            raise InputError(
                f"{self.name}: its prior mean {self.prior_mean:g} goes against its declared sign "
                f"{self.sign:+d}; change one of them"
            )


def _column(measures: Measures, name: str) -> FloatArray:
    if name in measures:
        return np.asarray(measures[name], dtype=np.float64)
    some = next(iter(measures.values()))
    return np.full(np.shape(some), np.nan)


def _log(amount: FloatArray, reference: float) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(amount / reference)
    return np.where(np.isfinite(logs), logs, np.nan)


def _log_vehicles(measures: Measures, values: Sheet) -> FloatArray:
    return _log(_column(measures, "vehicles_veh_day"), values.value("vehicles_ref_veh_day"))


def _delay(measures: Measures, _: Sheet) -> FloatArray:
    return _column(measures, "delay_s")


def _sight(measures: Measures, _: Sheet) -> FloatArray:
    return _column(measures, "sight")


def _pull(measures: Measures, _: Sheet) -> FloatArray:
    return _column(measures, "pull")


def _passed_first(measures: Measures, _: Sheet) -> FloatArray:
    return _column(measures, "passed_first_share")


def _log_people(measures: Measures, values: Sheet) -> FloatArray:
    # a place with nobody living near counts as ten people, not as unknown
    people = np.maximum(_column(measures, "people_10min"), 10.0)
    return _log(people, values.value("people_ref"))


def _log_price(measures: Measures, _: Sheet) -> FloatArray:
    return _log(_column(measures, "price_ratio"), 1.0)


def _plan(measures: Measures, _: Sheet) -> FloatArray:
    return _column(measures, "plan_offered")


def _ramp(measures: Measures, values: Sheet) -> FloatArray:
    return np.log(compute_ramp_share(_column(measures, "years_open"), values=values))


def _speed(measures: Measures, values: Sheet) -> FloatArray:
    above = _column(measures, "speed_mps") - values.value("speed_ref_mps")
    return np.maximum(above, 0.0) / values.value("speed_step_mps")


def _log_income(measures: Measures, values: Sheet) -> FloatArray:
    return _log(_column(measures, "income_usd"), values.value("income_ref_usd"))


def _attractions(measures: Measures, _: Sheet) -> FloatArray:
    return _column(measures, "attractions")


def _log_hours(measures: Measures, values: Sheet) -> FloatArray:
    return _log(_column(measures, "open_h"), values.value("open_ref_h"))


def _huff(measures: Measures, _: Sheet) -> FloatArray:
    return _column(measures, "huff_share")


_COMPUTE: Final[Mapping[str, Compute]] = {
    "log_vehicles": _log_vehicles,
    "delay": _delay,
    "sight": _sight,
    "pull": _pull,
    "passed_first": _passed_first,
    "log_people": _log_people,
    "log_price": _log_price,
    "plan": _plan,
    "ramp": _ramp,
    "speed": _speed,
    "log_income": _log_income,
    "attractions": _attractions,
    "log_hours": _log_hours,
    "huff": _huff,
}
#: names of the factors that always take part
CORE: Final[tuple[str, ...]] = tuple(STARTER["factor"])
#: names of the further factors
EXTRA: Final[tuple[str, ...]] = tuple(STARTER["extra"])


def compute_ramp_share(years_open: FloatArray, *, values: Sheet = VALUES) -> FloatArray:
    """Compute how much of its mature volume a wash reaches in a year after opening.

    Parameters
    ----------
    years_open : ndarray, any shape
        Years after opening at the end of the year looked at: 1 is the first year. Straight
        lines between the three practice values; the first year's below 1, all from 4 on.

    Returns
    -------
    ndarray of float, same shape
        Share of the mature volume, 0-1; NaN where the years are not known.

    Examples
    --------
    >>> compute_ramp_share(np.array([1.0, 2.5, 6.0])).tolist()
    [0.58, 0.875, 1.0]
    """
    steps = [values.value(f"ramp_year_{year}_share") for year in (1, 2, 3)]
    years = np.asarray(years_open, dtype=np.float64)
    return np.asarray(np.interp(years, [1.0, 2.0, 3.0, 4.0], [*steps, 1.0]))


def list_factors(values: Sheet = VALUES) -> dict[str, Factor]:
    """Return the registry, with the numbers of a sheet.

    Parameters
    ----------
    values : Sheet
        The share's constants, perhaps with the user's own in them.

    Returns
    -------
    dict of str to Factor
        By name, core factors first.

    Examples
    --------
    >>> list_factors()["pull"].prior_mean
    -0.3
    >>> list_factors(VALUES.override({"beta_pull": -0.5}))["pull"].prior_sd
    0.0
    """
    entries = {**STARTER["factor"], **STARTER["extra"]}
    return {name: _make(name, entry, values) for name, entry in entries.items()}


def _make(name: str, entry: Mapping[str, object], values: Sheet) -> Factor:
    beta: Sourced = values[f"beta_{name}"]
    return Factor(
        name=name,
        unit=str(entry["unit"]),
        reference=values.value(f"reference_{name}"),
        prior_mean=beta.value,
        prior_sd=prior_sd(values, name),
        sign=int(str(entry["sign"])),
        spread=values.value(f"spread_{name}"),
        meaning=str(entry["meaning"]),
        source=beta.source,
        compute=_COMPUTE[name],
        is_extra=name in STARTER["extra"],
    )


#: the registry as built in
FACTORS: Final[Mapping[str, Factor]] = list_factors()


def say_factor(name: str, x: float, *, values: Sheet = VALUES) -> str:
    """Say a factor's value as people would, logs turned back.

    Examples
    --------
    >>> say_factor("log_people", 0.0), say_factor("log_price", 0.0953), say_factor("delay", 24.6)
    ('40,000 people', "1.10 of the area's price", '25 s')
    """
    factor = list_factors(values)[name]
    if name == "log_vehicles":
        return f"{math.exp(x) * values.value('vehicles_ref_veh_day'):,.0f} vehicles a day"
    if name == "log_people":
        return f"{math.exp(x) * values.value('people_ref'):,.0f} people"
    if name == "log_income":
        return f"{math.exp(x) * values.value('income_ref_usd'):,.0f} USD a year"
    if name == "log_hours":
        return f"{math.exp(x) * values.value('open_ref_h'):.1f} h a day"
    if name == "log_price":
        return f"{math.exp(x):.2f} of the area's price"
    if name == "ramp":
        return f"{math.exp(x):.0%} of mature volume"
    if name == "plan":
        return "sold" if x > 0.5 else "not sold"
    if factor.unit.startswith("share"):
        return f"{x:.0%}"
    return f"{x:.0f} s" if factor.unit == "s" else f"{x:.2f}"

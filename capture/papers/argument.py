"""What is the whole argument of a study, said in one line of six claims?

From the cars that pass to the years until it pays back; each claim carries its draws, so
that its range and its *why* can be shown. Assumes a finished study.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import UnitSystem
from capture.papers.numbers import Summed, sum_draws
from capture.papers.words import say_amount, say_number, say_spread

FloatArray = NDArray[np.float64]
DAYS: Final = 365.0
#: paybacks beyond this are not told apart
LONG_YEARS: Final = 40.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """One number of the argument."""

    #: unique name
    key: str
    #: the number as said, such as "32,100"
    said: str
    #: what it counts, such as "pass a day"
    words: str
    #: its 5th to 95th percentile as said; "" for what was chosen
    spread: str
    #: key of the step of the chain that made it
    step: str
    #: the draws, shape (n,)
    draws: FloatArray
    #: unit of the draws
    unit: str

    @property
    def summed(self) -> Summed:
        """The draws summed up."""
        return sum_draws(self.draws, self.unit)


def make_argument(study: Any, *, system: UnitSystem = "us") -> tuple[Claim, ...]:
    """Make the claims of a study, in the order of the chain.

    Parameters
    ----------
    study : Study
    system : {"us", "metric"}
        What the reader uses.

    Returns
    -------
    tuple of Claim
        Passing, share, cars a day, design hour, line, payback.
    """
    passing = np.asarray(study.vehicles).sum(axis=0)
    cars = np.asarray(study.cars_per_year).ravel()
    hour = np.asarray(study.busy.cars)[0]
    return (
        _claim("passing", passing, "count", "pass a day", "passing"),
        _claim("share", np.asarray(study.share.rate)[0], "share", "are washed", "share", digits=2),
        _claim("cars", cars / DAYS, "count", "washed a day", "year"),
        _claim(
            "hour",
            hour,
            "count",
            f"in design hour, {say_number(float(study.design_hour_cars), digits=2)} with headroom",
            "busy",
            digits=2,
        ),
        _line_claim(study, system),
        _pay_claim(study),
    )


def _claim(key: str, draws: FloatArray, unit: str, words: str, step: str, digits: int = 3) -> Claim:
    summed = sum_draws(draws, unit)
    said = say_amount(summed.range.value, unit, digits=digits)
    return Claim(
        key=key, said=said, words=words, spread=say_spread(summed.range), step=step,
        draws=np.asarray(draws, dtype=np.float64), unit=unit,
    )  # fmt: skip


def _line_claim(study: Any, system: UnitSystem) -> Claim:
    line = study.line
    length = say_amount(float(line.length_m), "m", system)
    speed = say_amount(float(line.chain_speed_mps), "chain_mps", system, digits=2)
    draws = np.asarray(study.lines.length_m, dtype=np.float64).ravel()
    if study.offer.is_conveyor:
        parallel = int(getattr(line, "lines", 1))
        several = f"{parallel} lines of " if parallel > 1 else ""
        said, words = f"{several}{length}", f"line at {speed}"
    else:
        said, words = say_number(float(study.offer.bays)), "bays"
    spread = say_spread(sum_draws(draws, "m").range, system) if study.offer.is_conveyor else ""
    return Claim(
        key="line", said=said, words=words, spread=spread, step="line", draws=draws, unit="m"
    )


def _pay_claim(study: Any) -> Claim:
    draws = np.asarray(study.money.payback_years, dtype=np.float64).ravel()
    summed = sum_draws(draws, "years")
    value = summed.range.value
    words = "until it has paid back"
    if not np.isfinite(value):
        said, words = "Does not", "pay back"
    elif value > LONG_YEARS:
        said = f"Over {LONG_YEARS:.0f} years"
    else:
        said = f"{say_number(value, digits=2)} years"
    spread = say_spread(summed.range).replace(" years", "")
    if np.isinf(summed.range.low):
        spread = "not in 19 of 20 draws"
    return Claim(
        key="pay", said=said, words=words, spread=spread, step="money", draws=draws, unit="years"
    )


def say_argument(claims: tuple[Claim, ...]) -> str:
    """Say the whole argument in one line of text.

    Examples
    --------
    >>> claim = Claim(key="a", said="272", words="washed a day", spread="150 to 480",
    ...               step="year", draws=np.ones(2), unit="count")
    >>> say_argument((claim, claim))
    '272 washed a day (150 to 480) → 272 washed a day (150 to 480)'
    """
    return " → ".join(
        f"{claim.said} {claim.words}" + (f" ({claim.spread})" if claim.spread else "")
        for claim in claims
    )

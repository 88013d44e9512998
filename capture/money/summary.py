"""How is a draw that may not exist (never pays back, no rate of return) said and stored?

JSON has no infinity. An outcome carries plain numbers or None, the chance that the thing
exists, and a sentence.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError
from capture.money.pricing import Money

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Draws of one quantity that may not exist in some worlds.

    Examples
    --------
    >>> paid = Outcome.of([8.0, 10.0, np.inf, np.inf], "years", never="never pays back")
    >>> paid.chance, paid.said
    (0.5, 'never pays back in 50 % of worlds')
    """

    #: median over all worlds; None where it does not exist
    value: float | None
    #: 5th percentile; None where it does not exist
    low: float | None
    #: 95th percentile; None where it does not exist
    high: float | None
    #: mean; None unless it exists in every world
    mean: float | None
    #: unit
    unit: str
    #: share of worlds in which it exists
    chance: float
    #: what is to be said when it does not exist everywhere, else empty
    said: str

    @classmethod
    def of(
        cls, draws: ArrayLike, unit: str, *, never: str = "does not exist", bad_is_low: bool = False
    ) -> Outcome:
        """Sum up draws in which ``inf`` and ``nan`` mean that there is none.

        Parameters
        ----------
        draws : array_like of float, shape (n,)
        never : str
            How that is said.
        bad_is_low : bool
            Whether the missing ones stand below all others (a rate of return) or above
            them (years to pay back).

        Raises
        ------
        InputError
            When there are no draws.
        """
        array = np.asarray(draws, dtype=np.float64)
        if array.size == 0:
            raise InputError(f"draws in {unit}: at least one is needed, got none; draw first")
        there = np.isfinite(array)
        chance = float(there.mean())
        filled = np.sort(np.where(there, array, -np.inf if bad_is_low else np.inf))
        low, value, high = (_at(filled, share) for share in (0.05, 0.5, 0.95))
        missing = 1.0 - chance
        return cls(
            value=value,
            low=low,
            high=high,
            mean=float(array.mean()) if missing == 0 else None,
            unit=unit,
            chance=chance,
            said="" if missing == 0 else f"{never} in {_percent(missing)} of worlds",
        )

    def to_dict(self) -> dict[str, Any]:
        """Return plain JSON values."""
        return asdict(self)


def _at(ordered: FloatArray, share: float) -> float | None:
    """Quantile with linear interpolation; None where a neighbour does not exist."""
    place = share * (ordered.size - 1)
    below, above = ordered[int(np.floor(place))], ordered[int(np.ceil(place))]
    if not (np.isfinite(below) and np.isfinite(above)):
        return None
    return float(below + (place - np.floor(place)) * (above - below))


def _percent(share: float) -> str:
    if share >= 1:
        return "100 %"
    return "under 1 %" if share < 0.01 else f"{min(100 * share, 99):.0f} %"


_SAID: Final = (
    ("npv_usd", "USD", "has no value", True),
    ("owner_npv_usd", "USD", "has no value", True),
    ("irr_share", "1/year", "has no rate of return (money is not earned back)", True),
    ("payback_years", "years", "never pays back", False),
    ("breakeven_cars_day", "cars/day", "never breaks even, a car costs more than it brings", False),
    ("land_ceiling_usd", "USD", "has no highest land price", False),
    ("dscr", "1", "needs no loan payments", False),
    ("dscr_first_year", "1", "needs no loan payments", False),
    ("mature_cash_usd_year", "USD/year", "has no cash", True),
    ("capital_usd", "USD", "has no capital", False),
    ("equity_usd", "USD", "has no equity", False),
    ("loan_usd", "USD", "has no loan", False),
    ("opening_months", "months", "never opens", False),
)


def sum_up(money: Money, site: int) -> dict[str, Outcome]:
    """Return one site's outcomes by name, ready for JSON and papers.

    Parameters
    ----------
    money : Money
    site : int
        Row.

    Returns
    -------
    dict of str to Outcome
    """
    return {
        name: Outcome.of(getattr(money, name)[site], unit, never=never, bad_is_low=low)
        for name, unit, never, low in _SAID
    }


def price_land_at(money: Money, chance: float) -> FloatArray:
    """Return the land price that leaves a value over zero with a given chance, shape (S,).

    Examples
    --------
    A chance of 0.8 takes the 20th percentile of the highest land price.

    Raises
    ------
    InputError
        When the chance is not within 0 to 1.
    """
    if not 0 <= chance <= 1:
        raise InputError(f"chance must be 0 to 1, got {chance}; give a share")
    return np.asarray(np.quantile(money.land_ceiling_usd, 1.0 - chance, axis=1))

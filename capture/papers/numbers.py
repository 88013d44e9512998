"""How are numbers written to a file so that the same study gives the same bytes?

Floats are rounded to six significant digits, keys are sorted, and what has no end (a
payback that never comes) is ``null`` with words beside it, since JSON has no infinity.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from capture.basis import InputError, Range

DIGITS: Final = 6


def round_digits(value: float, digits: int = DIGITS) -> float:
    """Round to so many significant digits.

    Examples
    --------
    >>> round_digits(123456.789), round_digits(0.00123456789)
    (123457.0, 0.00123457)
    """
    if value == 0 or not math.isfinite(value):
        return value
    return float(f"{value:.{digits - 1}e}")


class Exact(float):
    """A number that is written with all its digits.

    Examples
    --------
    >>> make_plain([Exact(1 / 3), 1 / 3])
    [0.3333333333333333, 0.333333]
    """

    __slots__ = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Summed:
    """Draws summed up, some of which may be endless or undefined."""

    #: median, 5th percentile, 95th percentile and mean
    range: Range
    #: share of draws for which there is no such number
    undefined_share: float = 0.0
    #: share of draws without end
    endless_share: float = 0.0

    @property
    def words(self) -> str:
        """What the four numbers cannot say; empty when they say all."""
        said = []
        if self.endless_share:
            said.append(f"without end in {_percent(self.endless_share)} of draws")
        if self.undefined_share:
            said.append(f"undefined in {_percent(self.undefined_share)} of draws")
        return "; ".join(said)


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %" if share < 0.1 else f"{100 * share:.0f} %"


def sum_draws(draws: ArrayLike, unit: str) -> Summed:
    """Sum up draws of one quantity, endless and undefined ones included.

    Parameters
    ----------
    draws : array_like, shape (n,) or a single number
        NaN stands for undefined; infinity for endless.
    unit : str
        Unit of the draws.

    Raises
    ------
    InputError
        When there are no draws.

    Examples
    --------
    >>> summed = sum_draws([4.0, 5.0, 6.0, np.inf], "years")
    >>> summed.range.value, summed.range.high, summed.words
    (5.0, inf, 'without end in 25 % of draws')
    """
    array = np.atleast_1d(np.asarray(draws, dtype=np.float64)).ravel()
    if array.size == 0:
        raise InputError(f"draws in {unit} must be numbers, got none; run the study again")
    known = array[~np.isnan(array)]
    undefined = 1 - known.size / array.size
    if known.size == 0:
        nothing = Range(value=math.nan, low=math.nan, high=math.nan, mean=math.nan, unit=unit)
        return Summed(range=nothing, undefined_share=1.0)
    endless = float(np.isinf(known).mean())
    if not endless:
        return Summed(range=Range.of(known, unit), undefined_share=undefined)
    low, value, high = np.quantile(known, [0.05, 0.5, 0.95], method="inverted_cdf")
    mean = float(known.mean()) if len(set(np.sign(known[np.isinf(known)]))) == 1 else math.nan
    found = Range(value=float(value), low=float(low), high=float(high), mean=mean, unit=unit)
    return Summed(range=found, undefined_share=undefined, endless_share=endless)


def write_number(summed: Summed | Range, source: str) -> dict[str, Any]:
    """Turn a summed quantity into the object that a study file holds.

    Examples
    --------
    >>> write_number(Range.exactly(0.1 + 0.2, "m"), "step.line")["value"]
    0.3
    """
    number = summed.range if isinstance(summed, Summed) else summed
    written: dict[str, Any] = {
        name: _finite(getattr(number, name)) for name in ("value", "low", "high", "mean")
    }
    written |= {"unit": number.unit, "source": source}
    words = summed.words if isinstance(summed, Summed) else ""
    if not words and None in written.values():
        words = "no number can be given"
    if words:
        written["words"] = words
    return written


def _finite(value: float) -> float | None:
    return round_digits(value) if math.isfinite(value) else None


def make_plain(thing: Any) -> Any:
    """Turn arrays, numpy numbers and tuples into what JSON knows, rounded.

    Raises
    ------
    InputError
        For a number that is not finite, or a thing that JSON has no form for.
    """
    if thing is None or isinstance(thing, bool | np.bool_):
        return None if thing is None else bool(thing)
    if isinstance(thing, str):
        return str(thing)
    if isinstance(thing, int | np.integer):
        return int(thing)
    if isinstance(thing, float | np.floating):
        if not math.isfinite(thing):
            raise InputError(f"a study file holds finite numbers, got {thing}; say it in words")
        if isinstance(thing, Exact):
            return float(thing)
        return round_digits(float(thing))
    if isinstance(thing, Mapping):
        return {str(key): make_plain(value) for key, value in thing.items()}
    if isinstance(thing, list | tuple | np.ndarray):
        return [make_plain(value) for value in thing]
    raise InputError(f"a study file has no form for {type(thing).__name__}; turn it into numbers")


def render_json(thing: Any) -> str:
    """Render as JSON text: keys sorted, two spaces, one line at the end.

    Examples
    --------
    >>> print(render_json({"b": np.float64(1 / 3), "a": None}), end="")
    {
      "a": null,
      "b": 0.333333
    }
    """
    plain = make_plain(thing)
    return json.dumps(plain, indent=2, sort_keys=True, ensure_ascii=False, allow_nan=False) + "\n"

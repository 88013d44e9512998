"""Which uncertain input moves the result most?

Reads the draws that are there already (given data), no further runs: the share of the
result's variance that goes with each input alone, and the mean result where the input is
lowest and highest. Assumes that inputs were drawn independently of each other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import InputError
from capture.money.pricing import Money

FloatArray = NDArray[np.float64]
_LEAST_DRAWS: Final = 50
_MOST_BINS: Final = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One input's bar in a tornado chart."""

    #: input
    name: str
    #: first-order index: share of the result's variance, 0-1 but for noise
    index: float
    #: standard error of the index if the input did nothing
    noise: float
    #: mean result in the lowest tenth of the input
    at_low: float
    #: mean result in the highest tenth
    at_high: float
    #: the input's 10th and 90th percentile
    input_low: float
    input_high: float


def compute_first_order(result: ArrayLike, given: ArrayLike, *, bins: int | None = None) -> float:
    """Estimate a first-order variance index from given draws.

    Parameters
    ----------
    result, given : array_like of float, shape (n,)
        Draws of the result and of one input.
    bins : int, optional
        Equally filled classes of the input; about the cube root of n times 2 when left out.

    Returns
    -------
    float
        Near 0 when the input alone does nothing, near 1 when it does all; noise may take
        it slightly below 0.

    Raises
    ------
    InputError
        With fewer than 50 draws, unequal lengths, or draws that are not finite.

    Notes
    -----
    S = Var(E[Y | X in class]) / Var(Y), with the classes' share that pure noise would have
    taken off: 1 - (1 - eta^2)(n - 1)/(n - bins).

    References
    ----------
    Plischke, Borgonovo and Smith (2013), "Global sensitivity measures from given data",
    *European Journal of Operational Research* 226; Kelley (1935) for the correction.

    Examples
    --------
    >>> x = np.linspace(0, 1, 1000)
    >>> round(compute_first_order(3 * x, x), 2)
    1.0
    """
    y = np.asarray(result, dtype=np.float64)
    x = np.asarray(given, dtype=np.float64)
    if y.ndim != 1 or y.shape != x.shape or y.size < _LEAST_DRAWS:
        raise InputError(
            f"tornado: result and input need the same {_LEAST_DRAWS} draws or more, got "
            f"{y.shape} and {x.shape}; draw more"
        )
    if not (np.isfinite(y).all() and np.isfinite(x).all()):
        raise InputError("tornado: draws must be finite; sum up what does not exist first")
    classes = bins or _count_bins(y.size)
    spread = float(((y - y.mean()) ** 2).sum())
    if spread <= 0 or float(np.ptp(x)) == 0:
        return 0.0
    order = np.argsort(x, kind="stable")
    edges = np.linspace(0, y.size, classes + 1).astype(np.int64)
    sums = np.add.reduceat(y[order] - y.mean(), edges[:-1])
    between = float((sums**2 / np.diff(edges)).sum())
    eta = between / spread
    return 1.0 - (1.0 - eta) * (y.size - 1) / (y.size - classes)


def _count_bins(draws: int) -> int:
    return int(np.clip(round(2.0 * draws ** (1.0 / 3.0)), 5, _MOST_BINS))


def rank_inputs(
    result: ArrayLike, inputs: Mapping[str, ArrayLike], *, most: int | None = None
) -> list[Bar]:
    """Make the bars of a tornado chart, longest first.

    Parameters
    ----------
    result : array_like of float, shape (n,)
        Draws of one result, such as a site's value today.
    inputs : mapping of name to array_like, shape (n,)
        Draws of the inputs; those without spread are left out.
    most : int, optional
        How many bars to keep.

    Returns
    -------
    list of Bar
    """
    y = np.asarray(result, dtype=np.float64)
    bars = []
    for name, draws in inputs.items():
        x = np.asarray(draws, dtype=np.float64)
        if float(np.ptp(x)) == 0:
            continue
        order = np.argsort(x, kind="stable")
        tenth = max(1, y.size // 10)
        classes = _count_bins(y.size)
        bars.append(
            Bar(
                name=name,
                index=compute_first_order(y, x),
                noise=float(np.sqrt(2.0 * (classes - 1)) / y.size),
                at_low=float(y[order[:tenth]].mean()),
                at_high=float(y[order[-tenth:]].mean()),
                input_low=float(np.quantile(x, 0.1)),
                input_high=float(np.quantile(x, 0.9)),
            )
        )
    return sorted(bars, key=lambda bar: (-bar.index, bar.name))[:most]


def make_tornado(
    money: Money,
    site: int,
    *,
    also: Mapping[str, ArrayLike] | None = None,
    most: int = 12,
) -> list[Bar]:
    """Make the tornado of one site's value today.

    Parameters
    ----------
    money : Money
    site : int
        Row.
    also : mapping of name to array_like, shape (n,), optional
        Inputs from earlier steps, such as vehicles a day or the share's parts.
    most : int
        How many bars to keep.

    Returns
    -------
    list of Bar
        Cars a year stand as one input; give their parts in ``also`` to split them.
    """
    inputs: dict[str, ArrayLike] = {**money.terms.inputs, **money.capital.inputs}
    inputs["cars_per_year"] = money.cars_per_year[site]
    for name in ("land_usd", "ground_usd", "ground_months"):
        rows = np.atleast_2d(getattr(money.capital, name))
        row = rows[site if rows.shape[0] > 1 else 0]
        inputs[name] = np.broadcast_to(row, money.npv_usd.shape[1:])
    return rank_inputs(money.npv_usd[site], inputs | dict(also or {}), most=most)

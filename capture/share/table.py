"""How are the factors of many sites held together, and how do measures become factors?

One row a site, one column a factor, in the factor's own unit. A factor that a site does
not tell stands at its reference and is marked, so that nothing reads it as a fact.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Sheet
from capture.share.factors import CORE, FloatArray, Measures, list_factors
from capture.share.values import VALUES


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorTable:
    """The factors of S sites."""

    #: who they are, S names
    ids: tuple[str, ...]
    #: names of the k factors, in the order of the columns of ``x``
    names: tuple[str, ...]
    #: factors in their own units, shape (S, k); the reference where missing
    x: FloatArray
    #: true where the site does not tell it, shape (S, k)
    missing: NDArray[np.bool_]
    #: sd of an x that was assumed rather than told, 0 elsewhere, shape (S, k); the same
    #: world holds for all sites. None for none
    unsure: FloatArray | None = None

    def __post_init__(self) -> None:
        shape = (len(self.ids), len(self.names))
        if self.x.shape != shape or self.missing.shape != shape:
            raise InputError(
                f"factors: x and missing must have shape {shape} (sites, factors), got "
                f"{self.x.shape} and {self.missing.shape}; pass one row a site"
            )
        if self.unsure is not None and self.unsure.shape != shape:
            raise InputError(f"factors: unsure must have shape {shape}, got {self.unsure.shape}")
        if not np.isfinite(self.x).all():
            raise InputError("factors: x must be finite; mark an unknown factor as missing")

    def take(self, index: Sequence[int] | NDArray[np.intp]) -> FactorTable:
        """Return some of the sites, in the order given."""
        rows = np.asarray(index, dtype=np.intp)
        return FactorTable(
            ids=tuple(self.ids[row] for row in rows),
            names=self.names,
            x=self.x[rows],
            missing=self.missing[rows],
            unsure=None if self.unsure is None else self.unsure[rows],
        )

    def change(self, name: str, x: float) -> FactorTable:
        """Return the same sites with one factor set to ``x`` at all of them."""
        if name not in self.names:
            raise InputError(f"there is no factor {name!r}; known are {', '.join(self.names)}")
        column = self.names.index(name)
        changed, missing = self.x.copy(), self.missing.copy()
        changed[:, column], missing[:, column] = x, False
        unsure = None if self.unsure is None else self.unsure.copy()
        if unsure is not None:
            unsure[:, column] = 0.0
        return FactorTable(
            ids=self.ids, names=self.names, x=changed, missing=missing, unsure=unsure
        )


def make_factor_table(
    measures: Measures,
    ids: Sequence[str],
    *,
    names: Sequence[str] = CORE,
    values: Sheet = VALUES,
) -> FactorTable:
    """Turn measures into factors.

    Parameters
    ----------
    measures : mapping of str to ndarray of shape (S,)
        ``vehicles_veh_day, delay_s, sight, pull, passed_first_share, people_10min,
        price_ratio, plan_offered, years_open`` and, for further factors, ``speed_mps,
        income_usd, attractions, open_h, huff_share``; NaN or left out where unknown.
        ``price_log_sd`` is the sd of the log of an area price that was assumed.
    ids : sequence of str
        S names.
    names : sequence of str
        Which factors.
    values : Sheet
        The share's constants.

    Returns
    -------
    FactorTable

    Raises
    ------
    InputError
        For an unknown factor, or no measures at all.

    Examples
    --------
    >>> table = make_factor_table({"delay_s": np.array([25.0, np.nan])}, ["a", "b"])
    >>> table.x[:, table.names.index("delay")].tolist()
    [25.0, 10.0]
    """
    registry = list_factors(values)
    unknown = [name for name in names if name not in registry]
    if unknown or not measures:
        raise InputError(
            f"factors must be among {', '.join(registry)} and measures must not be empty; "
            f"got {', '.join(unknown) or 'no measures'}"
        )
    rows = len(ids)
    x = np.empty((rows, len(names)))
    compute: Callable[[Measures, Sheet], FloatArray]
    for column, name in enumerate(names):
        compute = registry[name].compute
        x[:, column] = compute(measures, values)
    missing = np.isnan(x)
    reference = np.array([registry[name].reference for name in names])
    unsure = None
    if "price_log_sd" in measures and "log_price" in names:
        unsure = np.zeros(x.shape)
        unsure[:, list(names).index("log_price")] = measures["price_log_sd"]
    return FactorTable(
        ids=tuple(ids),
        names=tuple(names),
        x=np.where(missing, reference, x),
        missing=missing,
        unsure=unsure,
    )

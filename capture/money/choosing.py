"""Which k of many sites should be built together, given what they take from each other?

Exact for what it is given: mean values and what each pair takes from each other. When the
search stops early the gap says how far the answer may be from the best.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import FitError, InputError

FloatArray = NDArray[np.float64]
_MOST_SITES: Final = 5000
_MOST_PAIRS: Final = 200_000
#: least gain of a swap, relative to the largest value
_STEP: Final = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Sites to build together."""

    #: rows chosen, ascending
    chosen: tuple[int, ...]
    #: mean value of them together, USD
    value_usd: float
    #: no choice is worth more than this, USD
    bound_usd: float
    #: (bound - value) / |bound|, 0 when proved best
    gap_share: float


def choose_sites(
    value_usd: ArrayLike,
    most: int,
    *,
    taken_usd: ArrayLike | None = None,
    cost_usd: ArrayLike | None = None,
    budget_usd: float | None = None,
    exactly: bool = False,
    gap_share: float = 0.0,
    nodes: int = 500,
) -> Choice:
    """Choose the best sites to build together.

    Parameters
    ----------
    value_usd : array_like of float, shape (S,)
        Mean value of each site alone; means are what sums.
    most : int
        How many may be built.
    taken_usd : array_like of float, shape (S, S), optional
        What two sites lose when both are built, symmetric, 0 or more.
    cost_usd, budget_usd : optional
        Money that each needs, shape (S,), and how much there is.
    exactly : bool
        Build ``most`` even if the last lowers the total.
    gap_share : float
        Stop when this close to the best.
    nodes : int
        Stop after so many branches; a count, not a time, so that the answer never changes.

    Returns
    -------
    Choice

    Raises
    ------
    InputError
        When an amount is not usable or there are too many sites.
    FitError
        When no choice keeps to the budget.

    Notes
    -----
    max sum v_i x_i - sum c_ij y_ij with y_ij >= x_i + x_j - 1, x binary; solved as a
    mixed-integer linear program. When the search is stopped, swaps improve what it found,
    and the bound is the lower of the program's and of each site's value less half of the
    least that m - 1 others take from it, best m of those.

    Examples
    --------
    >>> apart = choose_sites([5.0, 4.0, 3.0], 2)
    >>> near = choose_sites([5.0, 4.0, 3.0], 2, taken_usd=[[0, 3, 0], [3, 0, 0], [0, 0, 0]])
    >>> apart.chosen, near.chosen
    ((0, 1), (0, 2))
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import coo_array

    value, taken, cost = _check(value_usd, most, taken_usd, cost_usd, budget_usd)
    sites = value.size
    first, second = np.nonzero(np.triu(taken, 1))
    pairs = first.size
    if pairs > _MOST_PAIRS:
        raise InputError(
            f"choosing: at most {_MOST_PAIRS} pairs may take from each other, got {pairs}; "
            "leave out what is far apart"
        )
    weight = np.concatenate((-value, taken[first, second]))
    rules = [
        LinearConstraint(
            np.concatenate((np.ones(sites), np.zeros(pairs)))[None, :],
            most if exactly else 0,
            most,
        )
    ]
    if budget_usd is not None:
        rules.append(
            LinearConstraint(np.concatenate((cost, np.zeros(pairs)))[None, :], -np.inf, budget_usd)
        )
    if pairs:
        row = np.arange(pairs)
        matrix = coo_array(
            (
                np.concatenate((np.ones(2 * pairs), -np.ones(pairs))),
                (np.tile(row, 3), np.concatenate((first, second, sites + row))),
            ),
            shape=(pairs, sites + pairs),
        ).tocsr()
        rules.append(LinearConstraint(matrix, -np.inf, 1.0))
    solved = milp(
        weight,
        integrality=np.concatenate((np.ones(sites), np.zeros(pairs))),
        bounds=Bounds(0, 1),
        constraints=rules,
        options={"mip_rel_gap": gap_share, "node_limit": nodes},
    )
    if solved.x is None:
        raise FitError("choosing: no choice keeps to the budget and number; raise one of them")
    chosen = np.flatnonzero(solved.x[:sites] > 0.5)
    if solved.status != 0:
        chosen = _improve(chosen, value, taken, cost, most, budget_usd, exactly=exactly)
    total = _worth(value, taken, chosen)
    bound = -solved.mip_dual_bound if solved.mip_dual_bound is not None else np.inf
    bound = max(min(float(bound), _bound(value, taken, most, exactly=exactly)), total)
    return Choice(
        chosen=tuple(int(at) for at in chosen),
        value_usd=total,
        bound_usd=bound,
        gap_share=(bound - total) / abs(bound) if bound != 0 else 0.0,
    )


def _bound(value: FloatArray, taken: FloatArray, most: int, *, exactly: bool) -> float:
    """Bound the worth of any choice from above, by size of the choice."""
    others = np.sort(taken + np.diag(np.full(value.size, np.inf)), axis=1)[:, : value.size - 1]
    least = np.concatenate((np.zeros((value.size, 1)), np.cumsum(others, axis=1)), axis=1)
    sizes = [most] if exactly else list(range(most + 1))
    best = -np.inf
    for size in sizes:
        if size == 0:
            best = max(best, 0.0)
            continue
        alone = np.sort(value - 0.5 * least[:, size - 1])[::-1]
        best = max(best, float(alone[:size].sum()))
    return best


def _improve(
    chosen: NDArray[np.intp],
    value: FloatArray,
    taken: FloatArray,
    cost: FloatArray,
    most: int,
    budget_usd: float | None,
    *,
    exactly: bool,
) -> NDArray[np.intp]:
    """Add, drop or swap one site at a time while that helps, the best step first."""
    inside = np.zeros(value.size, dtype=bool)
    inside[chosen] = True
    room = np.inf if budget_usd is None else budget_usd
    for _ in range(20 * value.size):
        loss = taken @ inside
        gain_in = np.where(inside, -np.inf, value - loss)
        gain_out = np.where(inside, loss - value, -np.inf)
        swap = gain_in[:, None] + gain_out[None, :] + taken
        spent = float(cost @ inside)
        swap[spent + cost[:, None] - cost[None, :] > room] = -np.inf
        add = np.where(spent + cost > room, -np.inf, gain_in)
        if inside.sum() >= most:
            add[:] = -np.inf
        drop = np.full_like(gain_out, -np.inf) if exactly else gain_out
        steps = (swap.max(), add.max(), drop.max())
        if max(steps) <= _STEP * max(1.0, float(np.abs(value).max())):
            break
        if steps[0] == max(steps):
            entering, leaving = np.unravel_index(int(swap.argmax()), swap.shape)
            inside[entering], inside[leaving] = True, False
        elif steps[1] == max(steps):
            inside[int(add.argmax())] = True
        else:
            inside[int(drop.argmax())] = False
    return np.flatnonzero(inside)


def _worth(value: FloatArray, taken: FloatArray, chosen: NDArray[np.intp]) -> float:
    both = taken[np.ix_(chosen, chosen)]
    return float(value[chosen].sum() - np.triu(both, 1).sum())


def _check(
    value_usd: ArrayLike,
    most: int,
    taken_usd: ArrayLike | None,
    cost_usd: ArrayLike | None,
    budget_usd: float | None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    value = np.asarray(value_usd, dtype=np.float64)
    if value.ndim != 1 or not 1 <= value.size <= _MOST_SITES or not np.isfinite(value).all():
        raise InputError(
            f"choosing: 1 to {_MOST_SITES} finite values are needed, got shape {value.shape}"
        )
    if not 0 <= most <= value.size:
        raise InputError(f"choosing: most must be 0 to {value.size} sites, got {most}; change it")
    taken = np.zeros((value.size,) * 2)
    if taken_usd is not None:
        taken = np.asarray(taken_usd, dtype=np.float64)
        if taken.shape != (value.size,) * 2 or not np.isfinite(taken).all() or (taken < 0).any():
            raise InputError(
                f"choosing: taken_usd must be {value.size} x {value.size}, finite, 0 or more"
            )
        if not np.allclose(taken, taken.T):
            raise InputError("choosing: taken_usd must be the same both ways; mirror it")
    if (cost_usd is None) != (budget_usd is None):
        raise InputError("choosing: give both cost_usd and budget_usd, or neither")
    cost = np.zeros(value.size)
    if cost_usd is not None:
        cost = np.asarray(cost_usd, dtype=np.float64)
        if cost.shape != value.shape or not np.isfinite(cost).all() or (cost < 0).any():
            raise InputError("choosing: cost_usd must be one finite amount of 0 or more a site")
    return value, taken, cost

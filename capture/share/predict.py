"""What share of the cars passing a new site will be washed, and which factor does what?

Draws are keyed: coefficients, sigma, the operator's effect and the discount for untried
ground are shared by all sites of a study; each site has its own residual and its own
draw of any factor that it does not tell. The count's own error is not in here: cars a
year are 365 x a draw of the vehicles x a draw of this share, so it is counted once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.basis import FORMATS, InputError, Worlds
from capture.share.design import align_factors
from capture.share.factors import FloatArray
from capture.share.fit import Coefficients, ShareFit
from capture.share.known import DAYS_PER_YEAR
from capture.share.table import FactorTable

_PERCENTILES = (0.05, 0.5, 0.95)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareDraws:
    """The predicted share of S sites in n worlds."""

    #: names of the sites
    ids: tuple[str, ...]
    #: names of the k factors
    names: tuple[str, ...]
    #: cars washed per washable vehicle passing, shape (S, n)
    rate: FloatArray
    #: share at the reference site, of this format and number of bays, shape (n,)
    base: FloatArray
    #: multiplier of the operator, shape (n,)
    operator: FloatArray
    #: multiplier for untried ground, at most 1, shape (n,)
    selection: FloatArray
    #: multiplier of all that no factor tells, shape (S, n); 1 when left out
    residual: FloatArray
    #: multiplier of each factor against the reference: median, shape (S, k)
    multiplier: FloatArray
    #: 5th percentile, shape (S, k)
    multiplier_low: FloatArray
    #: 95th percentile, shape (S, k)
    multiplier_high: FloatArray
    #: factors in their own units, shape (S, k)
    x: FloatArray
    #: true where the site does not tell the factor, shape (S, k)
    missing: NDArray[np.bool_]
    #: value of each factor at the reference site, shape (k,)
    reference: FloatArray
    #: draws of the coefficients, shape (k, n)
    beta: FloatArray
    #: draws of the spread between sites, shape (n,)
    sigma: FloatArray
    #: part of the candidates that broke a declared sign or a full line
    rejected_share: float
    #: what is sold
    format: str
    #: number of bays, 1 for conveyors
    bays: int

    def cars_per_year(self, vehicles_veh_day: FloatArray) -> FloatArray:
        """Return cars a year, shape (S, n), from draws of the vehicles, shape (S, n)."""
        return np.asarray(DAYS_PER_YEAR * vehicles_veh_day * self.rate)


def predict_share(
    fit: ShareFit,
    table: FactorTable,
    worlds: Worlds,
    site_ids: Sequence[str] | None = None,
    *,
    format: str = "exterior",
    bays: int = 1,
    residuals: bool = True,
    operator: str | None = None,
    coefficients: Coefficients | None = None,
) -> ShareDraws:
    """Predict the washed share of S sites.

    Parameters
    ----------
    fit : ShareFit
        The belief.
    table : FactorTable
        Factors of the sites; a factor of the fit that it lacks counts as missing.
    worlds : Worlds
        n draws.
    site_ids : sequence of str, optional
        Keys of the sites' own draws; the table's names when left out.
    format : str
        What is sold.
    bays : int
        Bays, for in-bay and self-service formats.
    residuals : bool
        Whether the share includes what no factor tells; without it, it is the typical
        share of sites alike.
    operator : str, optional
        Who will run the site, as named among the known sites. Left out, an operator not
        yet known, the same one at all sites. ``"typical"`` has no effect of its own.
    coefficients : Coefficients, optional
        Draws made before, to save time.

    Returns
    -------
    ShareDraws

    Raises
    ------
    InputError
        For an unknown format, bays below 1, or names that do not match the table.

    Examples
    --------
    >>> from capture.share import fit_share, make_factor_table
    >>> table = make_factor_table({"delay_s": np.array([10.0, 100.0])}, ["near", "far"])
    >>> told = table.missing & False
    >>> table = FactorTable(ids=table.ids, names=table.names, x=table.x, missing=told)
    >>> draws = fit_share(selection=False).predict(table, Worlds(draws=400))
    >>> bool((draws.multiplier[:, 1] < [1.01, 0.8]).all())
    True
    """
    if format not in FORMATS or bays < 1:
        raise InputError(
            f"format must be one of {', '.join(FORMATS)} with at least 1 bay, got "
            f"{format!r} and {bays}; change it"
        )
    ids = tuple(table.ids if site_ids is None else site_ids)
    if len(ids) != len(table.ids):
        raise InputError(f"site_ids must name {len(table.ids)} sites, got {len(ids)}")
    own = coefficients if coefficients is not None else fit.draw(worlds)
    known = align_factors(table, fit.names, fit.values)
    beta = own.value[:, -len(fit.names) :].T if fit.names else np.zeros((0, worlds.draws))
    count = 1 if format in ("exterior", "flex", "full_service") else bays
    level = own.value[:, 0] + own.value[:, 1 + FORMATS.index(format)]
    base = fit.base[format] * count * np.exp(level)
    effect = np.exp(draw_operator(fit, own, worlds, operator))
    chosen = np.exp(-fit.selection_sd * np.abs(worlds.normal("share selection")[0]))
    centred = np.where(known.missing, 0.0, known.x - fit.reference)
    logs = centred @ beta + np.log(base * effect * chosen)
    for column in np.flatnonzero(known.missing.any(axis=0)):
        rows = np.flatnonzero(known.missing[:, column])
        name = f"share missing {fit.names[column]}"
        unknown = worlds.normal(name, [ids[row] for row in rows]) * fit.spread[column]
        logs[rows] += unknown * beta[column]
    if known.unsure is not None:
        for column in np.flatnonzero(known.unsure.any(axis=0)):
            shared = worlds.normal("share unsure", [fit.names[column]])[0] * beta[column]
            logs += known.unsure[:, [column]] * shared
    residual = np.ones((1, 1))
    if residuals:
        noise = worlds.normal(f"share residual {fit.stream}", ids) * own.sigma
        logs += noise
        residual = np.exp(noise)
    low, middle, high = _multipliers(fit, known, centred, beta, worlds)
    return ShareDraws(
        ids=ids,
        names=fit.names,
        # nobody is washed twice in passing once
        rate=np.exp(np.minimum(logs, 0.0)),
        base=base,
        operator=effect,
        selection=chosen,
        residual=np.broadcast_to(residual, logs.shape),
        multiplier=middle,
        multiplier_low=low,
        multiplier_high=high,
        x=known.x,
        missing=known.missing,
        reference=fit.reference,
        beta=beta,
        sigma=own.sigma,
        rejected_share=own.rejected_share,
        format=format,
        bays=count,
    )


def draw_operator(
    fit: ShareFit, own: Coefficients, worlds: Worlds, operator: str | None
) -> FloatArray:
    """Draw the log effect of an operator, shape (n,): one known, one not yet known, or none."""
    if operator == "typical":
        return np.zeros(worlds.draws)
    if operator is not None and operator in own.operator:
        return own.operator[operator]
    normal = worlds.normal(f"share operator {fit.stream}", [operator or "a new operator"])[0]
    for known in fit.operators:
        if known.name == operator:
            mean = known.level[own.node] - (known.slope[own.node] * own.value).sum(axis=1)
            return np.asarray(mean + known.sd[own.node] * normal)
    return np.asarray(fit.mixture.prior.group_sd * normal)


def _multipliers(
    fit: ShareFit,
    table: FactorTable,
    centred: FloatArray,
    beta: FloatArray,
    worlds: Worlds,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return 5th, 50th and 95th percentile of exp(beta x), each of shape (S, k)."""
    at = np.quantile(beta, _PERCENTILES, axis=1)[:, None, :] * centred
    low, high = np.minimum(at[0], at[2]), np.maximum(at[0], at[2])
    middle = at[1].copy()
    missing, parts = table.missing, (low, middle, high)
    normal = worlds.normal("share missing", fit.names)
    for column in np.flatnonzero(missing.any(axis=0)):
        wide = np.quantile(normal[column] * fit.spread[column] * beta[column], _PERCENTILES)
        for part, value in zip(parts, wide, strict=True):
            part[missing[:, column], column] = value
    if table.unsure is not None:
        shared = worlds.normal("share unsure", fit.names)
        for column in np.flatnonzero(table.unsure.any(axis=0)):
            pairs = np.column_stack([centred[:, column], table.unsure[:, column]])
            cases, case = np.unique(pairs, axis=0, return_inverse=True)
            drawn = (cases[:, :1] + cases[:, 1:] * shared[column]) * beta[column]
            for part, value in zip(parts, np.quantile(drawn, _PERCENTILES, axis=1), strict=True):
                part[:, column] = value[case.ravel()]
    return np.exp(low), np.exp(middle), np.exp(high)

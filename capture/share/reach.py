"""How far is a site from what is known, and what would have to be true for a hoped share?

Unlike-ness is the Mahalanobis distance from the known sites, whose mean and covariance
are pulled towards the reference site and the usual spread while there are few; leverage
is how much the coefficients' doubt grows at the site. Assumes that factors act as the fit
says also beyond the sites it has seen, which is why it says when it goes there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import gammainc

from capture.basis import InputError
from capture.share.design import align_factors, make_design
from capture.share.factors import FloatArray, list_factors, say_factor
from capture.share.fit import ShareFit
from capture.share.predict import ShareDraws
from capture.share.table import FactorTable

#: part of sites like the known ones that are nearer than this: word for it
_WORDS: Final = ((0.8, "much like"), (0.95, "somewhat unlike"), (0.995, "unlike"))
#: least and greatest value that a factor can be brought to
_LIMITS: Final[dict[str, tuple[float, float]]] = {
    "delay": (0.0, 120.0),
    "sight": (0.0, 1.0),
    "pull": (0.0, 100.0),
    "passed_first": (0.0, 1.0),
    "plan": (0.0, 1.0),
    "ramp": (-0.6, 0.0),
    "huff": (0.0, 1.0),
    "speed": (0.0, 10.0),
    "attractions": (0.0, 100.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Unlikeness:
    """How unlike the known sites one site is."""

    #: name of the site
    id: str
    #: Mahalanobis distance in standard units, of k factors
    distance: float
    #: part of sites drawn like the known ones that would be nearer, 0-1
    nearer_share: float
    #: variance from the coefficients here over that at the known sites' middle
    leverage: float
    #: factors outside the known sites' range, with their value
    outside: tuple[str, ...]
    #: the factor that adds most to the distance
    most: str
    #: one plain sentence
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Needed:
    """What one factor would have to be for the hoped share, all else as it is."""

    #: name of the factor
    name: str
    #: unit of the values
    unit: str
    #: its value now
    now: float
    #: the value that would bring the typical share to the hope
    needed: float
    #: whether such a value can be had at all
    is_possible: bool
    #: typical share at the best value that can be had
    best_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Hope:
    """What would have to be true for a hoped share."""

    #: the hoped share
    share: float
    #: chance that the share is at least that, as the site is
    chance: float
    #: typical share as the site is
    typical: float
    #: each factor by itself, those that can do it first
    needed: tuple[Needed, ...]
    #: one plain sentence
    words: str


def measure_unlikeness(fit: ShareFit, table: FactorTable) -> list[Unlikeness]:
    """Say for each site how unlike the known sites it is.

    Parameters
    ----------
    fit : ShareFit
        With its known sites, or without any.
    table : FactorTable
        S sites.

    Returns
    -------
    list of Unlikeness
        Missing factors add nothing to the distance.

    Notes
    -----
    Mean and covariance are (n mean + m reference) / (n + m) and (n cov + m spread^2) /
    (n + m) with m = k + 2 sites' worth of prior.

    References
    ----------
    Mahalanobis, "On the generalised distance in statistics", Proceedings of the National
    Institute of Sciences of India 2, 1936.
    """
    here = align_factors(table, fit.names, fit.values)
    x, known = here.x - fit.reference, _known_x(fit)
    prior, count = len(fit.names) + 2, len(known)
    share = count / (count + prior)
    centre = share * known.mean(axis=0) if count else np.zeros(len(fit.names))
    spread = np.diag((1 - share) * fit.spread**2)
    if count > 1:
        spread = spread + share * np.cov(known.T, bias=True).reshape(spread.shape)
    apart = np.where(here.missing, 0.0, x - centre)
    part = apart * np.linalg.solve(spread, apart.T).T
    return [
        _say_unlike(fit, here, row, part[row], known, _leverage(fit, x[row], centre))
        for row in range(len(here.ids))
    ]


def _known_x(fit: ShareFit) -> FloatArray:
    if fit.known is None or len(fit.known) == 0:
        return np.zeros((0, len(fit.names)))
    return align_factors(fit.known.factors, fit.names, fit.values).x - fit.reference


def _leverage(fit: ShareFit, x: FloatArray, centre: FloatArray) -> float:
    covariance = fit.mixture.coefficient_covariance()
    rows = make_design(np.stack([x, centre]), ["exterior", "exterior"])
    variance = np.einsum("ij,jk,ik->i", rows, covariance, rows)
    return float(variance[0] / variance[1])


def _say_unlike(
    fit: ShareFit,
    table: FactorTable,
    row: int,
    part: FloatArray,
    known: FloatArray,
    leverage: float,
) -> Unlikeness:
    square = max(float(part.sum()), 0.0)
    told = max(int((~table.missing[row]).sum()), 1)
    nearer = float(gammainc(told / 2, square / 2))
    word = next((word for limit, word in _WORDS if nearer <= limit), "far from")
    x = table.x[row] - fit.reference
    outside = ()
    if len(known):
        beyond = (x < known.min(axis=0)) | (x > known.max(axis=0))
        outside = tuple(np.array(fit.names)[beyond & ~table.missing[row]].tolist())
    most = fit.names[int(np.argmax(part))]
    base = "the known sites" if len(known) else "the reference site"
    words = f"This site is {word} {base}"
    if nearer > _WORDS[0][0]:
        words += f", most of all in {most.replace('_', ' ')}"
    if outside:
        listed = ", ".join(name.replace("_", " ") for name in outside)
        words += f"; no known site reaches its {listed}, so the line is drawn on beyond them"
    return Unlikeness(
        id=table.ids[row],
        distance=float(np.sqrt(square)),
        nearer_share=nearer,
        leverage=leverage,
        outside=outside,
        most=most,
        words=words + ".",
    )


def find_needed(draws: ShareDraws, hoped: float, site: int = 0) -> Hope:
    """Say what would have to be true for a hoped share at one site.

    Parameters
    ----------
    draws : ShareDraws
        The prediction.
    hoped : float
        Cars washed per washable vehicle passing, above 0 and below 1.
    site : int
        Which row.

    Returns
    -------
    Hope

    Raises
    ------
    InputError
        When the hope is not within 0 to 1.
    """
    if not 0 < hoped < 1:
        raise InputError(f"hoped share must be within 0 to 1, got {hoped}; 0.01 means 1 %")
    registry = list_factors()
    typical = float(np.exp(np.log(draws.rate[site]).mean()))
    gap = np.log(hoped / typical)
    found = []
    for column, name in enumerate(draws.names):
        beta, now = float(draws.beta[column].mean()), float(draws.x[site, column])
        # one cannot choose the road's vehicles and keep the share's own base
        if name == "log_vehicles" or beta == 0:
            continue
        needed = now + gap / beta
        low, high = _LIMITS.get(name, (now - 0.5, now + 0.5))
        best = high if (beta > 0) == (gap > 0) else low
        found.append(
            Needed(
                name=name,
                unit=registry[name].unit,
                now=now,
                needed=float(needed),
                is_possible=bool(low <= needed <= high),
                best_share=float(typical * np.exp(beta * (best - now))),
            )
        )
    found.sort(key=lambda each: (not each.is_possible, -abs(np.log(each.best_share / typical))))
    chance = float((draws.rate[site] >= hoped).mean())
    able = [_say_needed(each) for each in found[:2] if each.is_possible]
    words = f"As it stands there is a {chance:.0%} chance of {hoped:.2%} or more; "
    words += (
        f"by itself {' or '.join(able)} would make it typical."
        if able
        else "no single factor can make it typical."
    )
    return Hope(share=hoped, chance=chance, typical=typical, needed=tuple(found), words=words)


def _say_needed(each: Needed) -> str:
    plain = each.name.removeprefix("log_").replace("_", " ")
    return f"{plain} at {say_factor(each.name, each.needed)}"

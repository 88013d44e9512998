"""Why is the share of this site what it is, and what did the known sites teach?

The waterfall works on mean logs, which add, so that its bars multiply up exactly to the
typical (geometric mean) share. Ranges are 5th to 95th percentile of the draws, so they
carry declared signs and full lines. All sentences are written from the numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from capture.basis import FORMAT_WORDS, FORMATS, Range, Worlds
from capture.basis.draws import Z95
from capture.share.factors import list_factors, say_factor
from capture.share.fit import ShareFit
from capture.share.normals import mixture_cdf
from capture.share.predict import ShareDraws, predict_share
from capture.share.table import FactorTable

#: a factor within this of 1 is not worth a clause
_PLAIN_CHANGE: Final = 0.05
_WORDS: Final[Mapping[str, tuple[str, str]]] = {
    "log_vehicles": ("a quieter road", "a busier road"),
    "delay": ("easy turning in", "slow turning in and out"),
    "sight": ("being seen well in time", "being seen late"),
    "pull": ("few rivals near by", "rivals near by"),
    "passed_first": ("few drivers passing a rival first", "drivers passing a rival first"),
    "log_people": ("many people near by", "few people near by"),
    "log_price": ("a price below the area's", "a price above the area's"),
    "plan": ("a monthly plan", "no monthly plan"),
    "ramp": ("a mature site", "being in its first years"),
    "speed": ("the speed of traffic", "fast traffic"),
    "log_income": ("incomes near by", "incomes near by"),
    "attractions": ("shops near by", "few shops near by"),
    "log_hours": ("long hours", "short hours"),
    "huff": ("home-based demand", "little home-based demand"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One bar of the waterfall."""

    #: ``base``, a factor's name, ``operator``, ``selection`` or ``untold``
    name: str
    #: what it is called on screen
    label: str
    #: what it multiplies the share by; the share itself for ``base``
    multiplier: float
    #: 5th percentile
    low: float
    #: 95th percentile
    high: float
    #: share after this bar
    running: float
    #: the factor in its own unit, None where there is none
    x: float | None
    #: the same as people say it, "" where there is none
    said: str
    #: unit of ``x``
    unit: str
    #: whether the site did not tell it
    is_missing: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """What the known sites taught of one factor."""

    #: name of the factor
    name: str
    #: its unit
    unit: str
    #: 5th percentile, mean and 95th percentile before
    prior: tuple[float, float, float]
    #: the same after
    posterior: tuple[float, float, float]
    #: part of the prior's variance that the rows took away; 0 when they say nothing
    learned_share: float
    #: probability, before declared signs are kept, that the coefficient has the other sign
    wrong_sign_share: float
    #: one plain sentence on the factor
    meaning: str
    #: whether it still waits for more known sites
    is_waiting: bool


def explain_site(draws: ShareDraws, site: int = 0, *, names: bool = True) -> list[Step]:
    """Build the waterfall from the base to one site.

    Parameters
    ----------
    draws : ShareDraws
        The prediction.
    site : int
        Which row.
    names : bool
        Whether labels name the format.

    Returns
    -------
    list of Step
        Base, factors in the order of the fit, operator, untried ground, and last what no
        factor tells; ``running`` of the last is the site's typical share.
    """
    registry = list_factors()
    logs = [("base", FORMAT_WORDS[draws.format] if names else "base", np.log(draws.base))]
    middle = np.log(draws.base).mean()
    steps = [_step(*logs[0], middle, 0.0)]
    for column, name in enumerate(draws.names):
        factor = registry[name]
        x, missing = float(draws.x[site, column]), bool(draws.missing[site, column])
        log = draws.beta[column] * (0.0 if missing else x - draws.reference[column])
        middle += log.mean()
        step = _step(name, name.replace("_", " "), log, log.mean(), middle - log.mean())
        limits = (draws.multiplier_low[site, column], draws.multiplier_high[site, column])
        steps.append(
            Step(
                name=name,
                label=step.label,
                multiplier=step.multiplier,
                low=float(limits[0]),
                high=float(limits[1]),
                running=step.running,
                x=None if missing else x,
                said="not known" if missing else say_factor(name, x),
                unit=factor.unit,
                is_missing=missing,
            )
        )
    for name, label, some in (
        ("operator", "operator", draws.operator),
        ("selection", "untried ground", draws.selection),
    ):
        log = np.log(some)
        steps.append(_step(name, label, log, log.mean(), middle))
        middle += log.mean()
    rest = np.log(draws.rate[site]).mean() - middle
    untold = np.log(draws.residual[site])
    last = _step("untold", "what no factor tells", untold, rest, middle)
    return [*steps, last]


def _step(name: str, label: str, log: np.ndarray, mean: float, before: float) -> Step:
    low, high = np.quantile(log, [0.05, 0.95])
    return Step(
        name=name,
        label=label,
        multiplier=float(np.exp(mean)),
        low=float(np.exp(low)),
        high=float(np.exp(high)),
        running=float(np.exp(before + mean)),
        x=None,
        said="",
        unit="",
        is_missing=False,
    )


def explain_learning(fit: ShareFit, worlds: Worlds) -> list[Learned]:
    """Set prior against posterior for each factor.

    Parameters
    ----------
    fit : ShareFit
    worlds : Worlds
        Draws for the ranges after, with declared signs kept.

    Returns
    -------
    list of Learned
        In the order of the fit.
    """
    registry = list_factors(fit.values)
    prior, mixture = fit.mixture.prior, fit.mixture
    own = fit.draw(worlds).value
    first = len(prior.mean) - len(fit.names)
    variance = np.diag(mixture.coefficient_covariance())
    found = []
    for place, name in enumerate(fit.names):
        column = first + place
        mean, sd = float(prior.mean[column]), float(prior.sd[column])
        low, high = np.quantile(own[:, column], [0.05, 0.95])
        found.append(
            Learned(
                name=name,
                unit=registry[name].unit,
                prior=(mean - Z95 * sd, mean, mean + Z95 * sd),
                posterior=(float(low), float(own[:, column].mean()), float(high)),
                learned_share=0.0 if sd == 0 else float(max(0.0, 1 - variance[column] / sd**2)),
                wrong_sign_share=_wrong_sign(fit, column, int(fit.sign[place])),
                meaning=registry[name].meaning,
                is_waiting=name in fit.waiting,
            )
        )
    return found


def _wrong_sign(fit: ShareFit, column: int, sign: int) -> float:
    mean, sd = fit.mixture.coefficient_parts(column)
    if sign == 0 or not (sd > 0).all():
        return 0.0
    below = float(mixture_cdf(0.0, fit.mixture.weight, mean, sd))
    return below if sign > 0 else 1 - below


def compare_formats(
    fit: ShareFit,
    table: FactorTable,
    worlds: Worlds,
    site: int = 0,
    *,
    bays: Mapping[str, int] | None = None,
    operator: str | None = None,
) -> dict[str, Range]:
    """Predict the same site under each format, in the same worlds.

    Parameters
    ----------
    fit : ShareFit
    table : FactorTable
    worlds : Worlds
    site : int
        Which row of the table.
    bays : mapping of str to int, optional
        Bays of in-bay and self-service formats; 2 and 4 when left out.
    operator : str, optional
        As in :func:`capture.share.predict_share`.

    Returns
    -------
    dict of str to Range
        Share by format.
    """
    count = {"in_bay": 2, "self_service": 4} | dict(bays or {})
    own = fit.draw(worlds)
    shares = {}
    for name in FORMATS:
        draws = predict_share(
            fit,
            table.take([site]),
            worlds,
            format=name,
            bays=count.get(name, 1),
            operator=operator,
            coefficients=own,
        )
        shares[str(name)] = Range.of(draws.rate[0], "share")
    return shares


def say_share(draws: ShareDraws, site: int = 0, *, known_count: int = 0) -> str:
    """Write one plain paragraph on a site's share from its numbers.

    Returns
    -------
    str
        Plain text: names of sites in it come from outside and must be escaped for a page.
    """
    share = Range.of(draws.rate[site], "share")
    steps = explain_site(draws, site)
    parts = [
        f"About {share.value:.2%} of the cars passing would be washed "
        f"(nine chances in ten that it is {share.low:.2%} to {share.high:.2%}), counted per "
        "passing, both directions."
    ]
    known = [s for s in steps if s.x is not None and abs(s.multiplier - 1) >= _PLAIN_CHANGE]
    known.sort(key=lambda step: -abs(np.log(step.multiplier)))
    up = [_clause(step) for step in known if step.multiplier > 1][:3]
    down = [_clause(step) for step in known if step.multiplier < 1][:3]
    label = FORMAT_WORDS[draws.format]
    start = (
        f"The reference site with {draws.bays} {label}"
        if draws.bays > 1
        else (f"The reference site as {label}")
    )
    parts.append(f"{start} washes {steps[0].multiplier:.2%}.")
    if up:
        parts.append(f"What lifts this one: {_join(up)}.")
    if down:
        parts.append(f"What lowers it: {_join(down)}.")
    lost = [step.label for step in steps if step.is_missing]
    if lost:
        parts.append(f"Not known here, so taken at the reference and wider: {_join(lost)}.")
    if draws.selection.min() < 1:
        cut = 1 - float(np.exp(np.log(draws.selection).mean()))
        parts.append(f"Untried ground is taken to do {cut:.0%} worse than sites that were built.")
    parts.append(
        f"It rests on {known_count} known sites and the starter sheet."
        if known_count
        else "No known site backs it yet: it rests on the starter sheet alone, trade practice "
        "from memory."
    )
    return " ".join(parts)


def _clause(step: Step) -> str:
    words = _WORDS.get(step.name, (step.label, step.label))
    word = words[0] if step.multiplier > 1 else words[1]
    return f"{word} ({step.said}, x {step.multiplier:.2f})"


def _join(words: list[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]

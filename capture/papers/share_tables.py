"""Which tables lie behind the screen on the share?

The steps from a reference site to this one, what the known sites taught, how far off the
share is at sites whose cars are known, which of them pull it about, and what would have to
be true for another share. Amounts in SI with the unit in the column's name.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from capture.basis import FORMAT_WORDS, FORMATS, Range, Worlds
from capture.papers.pictures import say_factor as say_name
from capture.papers.words import say_number
from capture.share import (
    Hope,
    KnownSites,
    LeftOutCheck,
    ShareFit,
    compare_formats,
    compute_influence,
    explain_learning,
    explain_site,
    fit_share,
    list_factors,
    predict_share,
    say_factor,
    share_by_stream,
)

#: steps that are no factor -> (what they are called, why they are there)
_STEPS: Final[Mapping[str, tuple[str, str]]] = {
    "base": (
        "share at the reference site",
        "what a typical wash of this kind washes of the cars passing",
    ),
    "operator": (
        "who runs it",
        "an operator not yet known may do better or worse than most",
    ),
    "selection": (
        "untried ground",
        "known sites were thought good enough to build; a spot not yet chosen does worse",
    ),
    "untold": (
        "what no factor tells",
        "sites alike in all of the above still differ",
    ),
}
_WIDTHS: Final = tuple(np.round(np.arange(0.1, 1.0, 0.1), 1).tolist())


def make_step_table(study: Any) -> pd.DataFrame:
    """Make the steps from the reference share to this site's, each with its reason.

    Returns
    -------
    DataFrame
        Columns ``key, name, here, factor, low, high, from_share, to_share, known, unit,
        why``; factors multiply up to the last row, the site's typical share.
    """
    registry = list_factors(study.fit.values)
    rows, level = [], 0.0
    for step in explain_site(study.share):
        name, why = _STEPS.get(step.name, (say_name(step.name), ""))
        if step.name in registry:
            why = registry[step.name].meaning
        rows.append(
            {
                "key": step.name,
                "name": name,
                "here": step.said,
                "factor": step.multiplier,
                "low": step.low,
                "high": step.high,
                "from_share": level,
                "to_share": step.running,
                "known": not step.is_missing,
                "unit": "share" if step.name == "base" else "1",
                "why": why,
            }
        )
        level = step.running
    found = Range.of(study.share.rate[0], "share")
    last = {
        "key": "rate", "name": "share washed here", "here": "", "factor": level,
        "low": found.low, "high": found.high, "from_share": 0.0, "to_share": level,
        "known": True, "unit": "share", "why": "all steps multiplied",
    }  # fmt: skip
    return pd.DataFrame([*rows, last])


def make_by_stream_table(study: Any) -> pd.DataFrame:
    """Make the table of streams by the cars that each brings.

    Returns
    -------
    DataFrame
        Columns ``road, side, vehicles_per_day, share, part, cars_per_day``.
    """
    streams = study.streams
    part, share = share_by_stream(
        study.share, streams, study.turning, study.seeing, study.around, study.offer
    )
    vehicles = np.asarray(streams.vehicles_per_day, dtype=np.float64)
    return pd.DataFrame(
        {
            "road": [name or "road without a name" for name in streams.road],
            "side": ["near" if near else "far" for near in streams.near_side],
            "vehicles_per_day": vehicles,
            "share": share,
            "part": part,
            "cars_per_day": share * vehicles,
        }
    )


def make_learning_table(fit: ShareFit, worlds: Worlds) -> pd.DataFrame:
    """Make the table of what each factor was believed to do, and what it is believed to do now.

    Returns
    -------
    DataFrame
        Columns ``key, name, step, prior_low, prior, prior_high, low, factor, high,
        learned_share, wrong_sign_share, note, why``; each multiplier is what one usual step
        between sites does to the share.
    """
    registry = list_factors(fit.values)
    rows = []
    for learned in explain_learning(fit, worlds):
        factor = registry[learned.name]
        step = 1.0 if factor.unit == "0/1" else factor.spread or 1.0
        prior = sorted(math.exp(step * beta) for beta in learned.prior)
        after = sorted(math.exp(step * beta) for beta in learned.posterior)
        rows.append(
            {
                "key": learned.name,
                "name": say_name(learned.name),
                "step": _say_step(factor.unit, step),
                "prior_low": prior[0],
                "prior": prior[1],
                "prior_high": prior[2],
                "low": after[0],
                "factor": after[1],
                "high": after[2],
                "learned_share": learned.learned_share,
                "wrong_sign_share": learned.wrong_sign_share,
                "note": "waits for more known sites"
                if learned.is_waiting
                else "held fixed"
                if factor.prior_sd == 0
                else "",
                "why": factor.meaning,
            }
        )
    return pd.DataFrame(rows)


def _say_step(unit: str, step: float) -> str:
    if unit.startswith("ln("):
        return f"times {say_number(math.exp(step), digits=2)}"
    if unit.startswith("share"):
        return f"{say_number(100 * step, digits=2)} points of 100 more"
    if unit == "0/1":
        return "yes against no"
    return f"{say_number(step, digits=2)} {unit} more"


def make_influence_table(fit: ShareFit, *, own: Sequence[str] = ()) -> pd.DataFrame:
    """Make the table of known sites by how much each moves the fit, the most first.

    Returns
    -------
    DataFrame
        Columns ``id, town, whose, share, told_share, ratio, moves_share, moves, outlier``;
        ``told_share`` is what the others tell of it, ``ratio`` the one over the other.
    """
    known = fit.known
    if known is None:
        return pd.DataFrame()
    at = {name: place for place, name in enumerate(known.ids)}
    rows = []
    for each in compute_influence(fit):
        share = float(known.share[at[each.id]])
        rows.append(
            {
                "id": each.id,
                "town": known.towns[at[each.id]],
                "whose": "yours" if each.id in own else "area",
                "share": share,
                "told_share": share / math.exp(each.error_log),
                "ratio": math.exp(each.error_log),
                "moves_share": each.moves_share,
                "moves": f"{say_name(each.moves_factor)}, "
                f"{say_number(abs(each.moves_sds), digits=2)} of its spread",
                "outlier": each.is_outlier,
            }
        )
    return pd.DataFrame(rows)


def make_check_table(check: LeftOutCheck) -> pd.DataFrame:
    """Make the table of known sites as told from the others and as they were.

    Returns
    -------
    DataFrame
        Columns ``id, share, told_share, low, high, ratio, place`` with shares 0-1 and
        ``place`` "inside" or "outside" the middle nine tenths.
    """
    inside = np.abs(check.rank_share - 0.5) <= 0.45
    return pd.DataFrame(
        {
            "id": check.ids,
            "share": check.observed,
            "told_share": check.predicted,
            "low": check.low,
            "high": check.high,
            "ratio": check.observed / check.predicted,
            "place": np.where(inside, "inside its range", "outside its range"),
        }
    )


def make_coverage_table(checks: Sequence[LeftOutCheck]) -> pd.DataFrame:
    """Make the table of how many sites fall in ranges of each width, against how many should.

    Returns
    -------
    DataFrame
        Columns ``told_from, width, inside_share``.
    """
    rows = [
        (f"the other {check.unit}s", width, check.inside_share(width))
        for check in checks
        for width in _WIDTHS
    ]
    return pd.DataFrame(rows, columns=["told_from", "width", "inside_share"])


def make_fit_ladder(
    study: Any, everyone: KnownSites, used: KnownSites, own: Sequence[str]
) -> list[tuple[str, Range]]:
    """Say this site's share with fewer and more of the known sites, in the same worlds.

    Returns
    -------
    list of (words, Range)
        Starting values alone; with the area's sites; with the user's as well; without those
        left out. Steps that change nothing are not listed.
    """
    theirs = everyone.leave_out([name for name in own if name in everyone.ids])
    left = [name for name in everyone.ids if name not in used.ids]
    steps: list[tuple[str, KnownSites | None]] = [("starting values alone", None)]
    if len(theirs):
        steps.append((f"with the area's {len(theirs)} known sites", theirs))
    if own:
        steps.append((f"with your {len(own)} as well", everyone))
    if left:
        shown = ", ".join(left[:3]) + (f" and {len(left) - 3} more" if len(left) > 3 else "")
        steps.append((f"without {shown}", used))
    return [(words, _predict(study, rows)) for words, rows in steps]


def _predict(study: Any, known: KnownSites | None) -> Range:
    fit = fit_share(known, values=study.numbers["share"])
    offer = study.offer
    drawn = predict_share(fit, study.factors, study.worlds, format=offer.format, bays=offer.bays)
    return Range.of(drawn.rate[0], "share")


def say_ladder(ladder: Sequence[tuple[str, Range]]) -> str:
    """Say what the last step of a ladder did to the range, in one sentence.

    Examples
    --------
    >>> one = Range(value=0.01, low=0.005, high=0.02, mean=0.011, unit="share")
    >>> two = Range(value=0.01, low=0.006, high=0.018, mean=0.011, unit="share")
    >>> say_ladder([("all", one), ("without K1", two)])
    'Without K1 the highest likely share is 3 times the lowest instead of 4 times.'
    """
    (_, before), (words, after) = ladder[-2:]
    old, new = before.high / before.low, after.high / after.low
    said = (
        f"{words[:1].upper()}{words[1:]} the highest likely share is {say_number(new, digits=2)} "
        f"times the lowest instead of {say_number(old, digits=2)} times"
    )
    if words.startswith("with ") and new > old:
        said += ": a row surprised the rest, so sites alike are taken to differ more"
    return said + "."


def make_format_table(study: Any, bays: Mapping[str, int]) -> list[tuple[str, Range]]:
    """Say this site's share under each format, in the same worlds."""
    found = compare_formats(study.fit, study.factors, study.worlds, bays=bays)
    named = []
    for name in FORMATS:
        count = bays.get(name)
        words = FORMAT_WORDS[name]
        named.append((f"{count} x {words}" if count else words, found[name]))
    return named


def make_needed_table(hope: Hope) -> pd.DataFrame:
    """Make the table of what each factor alone would have to be for a hoped share.

    Returns
    -------
    DataFrame
        Columns ``name, now, needed, possible, best_share``; ``best_share`` is the typical
        share with that factor as good as it can be.
    """
    return pd.DataFrame(
        [
            {
                "name": say_name(each.name),
                "now": say_factor(each.name, each.now),
                "needed": say_factor(each.name, each.needed)
                if each.is_possible
                else "it cannot do it alone",
                "best_share": each.best_share,
            }
            for each in hope.needed
        ]
    )

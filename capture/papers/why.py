"""Why is a number what it is: what went in, by which equation, how sure, what moves it most?

What moves a number most is read from the draws themselves: each uncertain input's draws
can be made again from its key, and their rank correlation with the number's draws, squared,
is the part of its spread that the input accounts for alone. Assumes at least 100 draws;
parts below what chance alone would show are left out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.stats import rankdata

from capture.papers.argument import Claim
from capture.papers.pictures import say_factor
from capture.papers.share_tables import make_step_table
from capture.papers.sources import Entry, SourceBook
from capture.papers.steps import STEPS, Step
from capture.papers.withheld import is_private, is_withheld

FloatArray = NDArray[np.float64]
LEAST_DRAWS: Final = 100
#: squared rank correlations of unrelated draws stay below this over n, nearly always
_CHANCE: Final = 12.0
#: step -> key of the claim whose direct inputs it takes
_INPUTS_OF: Final = {
    "passing": "passing", "turning": "passing", "seeing": "passing", "around": "around",
    "share": "share", "year": "cars", "busy": "hour", "line": "line", "queue": "queue",
    "utilities": "utilities", "ground": "ground", "money": "pay",
}  # fmt: skip
#: two inputs with a squared rank correlation above this say the same
_SAME: Final = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Mover:
    """An input that a number's spread comes from."""

    #: plain name
    name: str
    #: id of its source
    source: str
    #: part of the number's spread that it accounts for alone, 0-1
    part: float
    #: the number's median when the input is in its lowest and its highest tenth
    at_low: float
    at_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Why:
    """The account of one number."""

    #: the claim accounted for
    claim: Claim
    #: the step that made it
    step: Step
    #: what went in: plain name, value (None where it is withheld), its unit, source id
    inputs: tuple[tuple[str, float | None, str, str], ...]
    #: what moves it most, the strongest first
    movers: tuple[Mover, ...]
    #: all that it stands on, nearest first
    trail: tuple[Entry, ...]


def explain(study: Any, claim: Claim, book: SourceBook, *, most: int = 3) -> Why:
    """Account for one number of a study.

    Parameters
    ----------
    study : Study
    claim : Claim
        From :func:`capture.papers.argument.make_argument`.
    book : SourceBook
        Of the study.
    most : int
        How many movers are named.
    """
    step = STEPS[claim.step]
    return Why(
        claim=claim,
        step=step,
        inputs=tuple(
            (name, None if _is_hidden(study, book, source) else value, unit, source)
            for name, value, unit, source in _list_inputs(study, _INPUTS_OF[claim.step])
        ),
        movers=find_movers(study, claim.draws, step.key, most=most),
        trail=tuple(book.walk(f"step.{step.key}")),
    )


def _is_hidden(study: Any, book: SourceBook, source: str) -> bool:
    return is_withheld(study) and source in book and is_private(book[source])


def _list_inputs(study: Any, key: str) -> list[tuple[str, float, str, str]]:
    """List (name, value, unit, source) of what a claim is made from directly."""
    if key == "passing":
        return [
            (f"{study.streams.road[r] or 'road without a name'}, "
             f"{'near' if study.streams.near_side[r] else 'far'} side",
             float(np.median(study.vehicles[r])), "vehicles/day", f"stream.{r + 1}")
            for r in range(len(study.streams.edge))
        ]  # fmt: skip
    if key == "share":
        factors = set(study.share.names)
        return [
            (row["name"] if row["unit"] == "share" else f"times {row['name']}", row["factor"],
             row["unit"], f"share.beta_{row['key']}" if row["key"] in factors else "step.share")
            for row in make_step_table(study).iloc[:-1].to_dict("records")
        ]  # fmt: skip
    cars = float(np.median(study.cars_per_year))
    passing = float(np.median(np.asarray(study.vehicles).sum(axis=0)))
    rate = float(np.median(study.share.rate[0]))
    if key == "cars":
        return [
            ("vehicles passing", passing, "vehicles/day", "step.passing"),
            ("share washed", rate, "share", "step.share"),
        ]
    if key == "hour":
        return [
            ("cars a year", cars, "cars/year", "step.year"),
            ("rank of the hour", float(study.offer.busy_rank), "count", "offer.busy_rank"),
            ("headroom", float(study.offer.headroom_share), "share", "offer.headroom_share"),
        ]
    if key in _SMALL:
        return _SMALL[key](study)
    if key == "line":
        return [("cars to carry in the hour", float(study.design_hour_cars), "cars/h", "step.busy")]
    return [
        ("cars a year", cars, "cars/year", "step.year"),
        ("price of a single wash", study.offer.ticket_price_usd, "USD", "offer.ticket_price_usd"),
        ("price of the plan a month", study.offer.plan_price_usd_month, "USD",
         "offer.plan_price_usd_month"),
        ("equipment and building", float(np.median(np.asarray(study.line.capital_usd))), "USD",
         "step.line"),
    ]  # fmt: skip


def _around_inputs(study: Any) -> list[tuple[str, float, str, str]]:
    rivals = "data.rivals" if "rivals" in study.area.layers else "step.around"
    return [("washes around", float(len(study.rivals.names)), "count", rivals)]


def _queue_inputs(study: Any) -> list[tuple[str, float, str, str]]:
    return [
        ("cars in the design hour", float(study.design_hour_cars), "cars/h", "step.busy"),
        ("pay lanes", float(study.offer.pay_lanes), "count", "offer.pay_lanes"),
        ("cars an hour that the line carries", float(study.line.cars_per_hour), "cars/h",
         "step.line"),
    ]  # fmt: skip


def _utility_inputs(study: Any) -> list[tuple[str, float, str, str]]:
    return [
        ("cars a year", float(np.median(study.cars_per_year)), "cars/year", "step.year"),
        ("rated power of all stations", float(study.line.power_w), "w", "step.line"),
        ("water of all stations at once", float(study.line.flow_m3s), "m3s", "step.line"),
    ]


def _ground_inputs(study: Any) -> list[tuple[str, float, str, str]]:
    needs = study.ground.needs
    return [
        ("building length", float(needs.building_length_m), "m", "step.line"),
        ("lanes for the queue", float(needs.stacking_m), "m", "step.queue"),
        ("vacuum bays", float(needs.vacuum_bays), "count", "step.busy"),
    ]


_SMALL: Final[dict[str, Callable[[Any], list[tuple[str, float, str, str]]]]] = {
    "around": _around_inputs,
    "queue": _queue_inputs,
    "utilities": _utility_inputs,
    "ground": _ground_inputs,
}


def find_movers(
    study: Any, draws: FloatArray, step: str = "money", *, most: int = 3
) -> tuple[Mover, ...]:
    """Find the inputs that a number's spread comes from.

    Parameters
    ----------
    study : Study
    draws : ndarray of float, shape (n,)
        Of the number; endless ones count as largest.
    step : str
        The step that made it; only what it stands on is looked at.
    most : int
        How many are named.

    Returns
    -------
    tuple of Mover
        The strongest first; empty when the number has no spread.

    References
    ----------
    Saltelli et al., Global Sensitivity Analysis: The Primer, 2008, section 1.2.
    """
    output = np.asarray(draws, dtype=np.float64).ravel()
    known = ~np.isnan(output)
    if known.sum() < LEAST_DRAWS or np.ptp(rankdata(output[known])) == 0:
        return ()
    names, rows = _gather_inputs(study, step)
    if not rows:
        return ()
    inputs = np.vstack(rows)[:, known]
    parts = _rank_parts(inputs, output[known])
    picked: list[int] = []
    for at in np.argsort(-parts, kind="stable"):
        if len(picked) == most or parts[at] <= _CHANCE / known.sum():
            break
        if not _says_the_same(inputs, int(at), picked):
            picked.append(int(at))
    return tuple(
        _make_mover(names[at], inputs[at], output[known], float(parts[at])) for at in picked
    )


def measure_inputs(study: Any, draws: FloatArray, step: str = "money") -> dict[str, Mover]:
    """Measure how far every uncertain input moves a number, by the id of its source.

    Parameters
    ----------
    study : Study
    draws : ndarray of float, shape (n,)
        Of the number.
    step : str
        The step that made it.

    Returns
    -------
    dict of str to Mover
        The strongest of those that share a source; ``part`` is 0 where an input is not
        beyond chance. Empty when the number has no spread.
    """
    output = np.asarray(draws, dtype=np.float64).ravel()
    known = ~np.isnan(output)
    if known.sum() < LEAST_DRAWS or np.ptp(rankdata(output[known])) == 0:
        return {}
    names, rows = _gather_inputs(study, step)
    if not rows:
        return {}
    inputs = np.vstack(rows)[:, known]
    parts = _rank_parts(inputs, output[known])
    parts = np.where(parts > _CHANCE / known.sum(), parts, 0.0)
    found: dict[str, Mover] = {}
    for at in np.argsort(-parts, kind="stable"):
        if names[at][1] not in found:
            found[names[at][1]] = _make_mover(
                names[at], inputs[at], output[known], float(parts[at])
            )
    return found


def _says_the_same(inputs: FloatArray, at: int, picked: list[int]) -> bool:
    """Whether an input moves with one already named, as two directions of one road do."""
    return bool(picked) and bool((_rank_parts(inputs[picked], inputs[at]) > _SAME).any())


def _rank_parts(inputs: FloatArray, output: FloatArray) -> FloatArray:
    ranks = rankdata(inputs, axis=1)
    ranks -= ranks.mean(axis=1, keepdims=True)
    aim = rankdata(output)
    aim -= aim.mean()
    scale = np.sqrt((ranks**2).sum(axis=1) * (aim**2).sum())
    with np.errstate(invalid="ignore", divide="ignore"):
        parts = np.where(scale > 0, (ranks @ aim / scale) ** 2, 0.0)
    return np.asarray(parts)


def _make_mover(name: tuple[str, str], row: FloatArray, output: FloatArray, part: float) -> Mover:
    low, high = np.quantile(row, [0.1, 0.9])
    at_low = float(np.quantile(output[row <= low], 0.5, method="inverted_cdf"))
    at_high = float(np.quantile(output[row >= high], 0.5, method="inverted_cdf"))
    return Mover(name=name[0], source=name[1], part=part, at_low=at_low, at_high=at_high)


def _steps_below(step: str) -> set[str]:
    found: set[str] = set()
    waiting = [step]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting.extend(STEPS[name].after)
    return found


def _gather_inputs(study: Any, step: str) -> tuple[list[tuple[str, str]], list[FloatArray]]:
    below = _steps_below(step)
    names: list[tuple[str, str]] = []
    rows: list[FloatArray] = []
    rooms = {room for key in below for room in STEPS[key].rooms}
    for room, sheet in study.numbers.items():
        if room not in rooms or room == "share":
            continue
        for number in sheet.values():
            if number.is_uncertain:
                names.append((number.meaning, f"{room}.{number.name}"))
                rows.append(study.worlds.constant(number))
    for name, source, row in _own_draws(study, below):
        array = np.asarray(row, dtype=np.float64).ravel()
        if array.size == study.worlds.draws and np.ptp(array) > 0:
            names.append((name, source))
            rows.append(array)
    return names, rows


def _own_draws(study: Any, below: set[str]) -> list[tuple[str, str, Any]]:
    found: list[tuple[str, str, Any]] = []
    if "passing" in below:
        found += [
            (f"vehicles on {study.streams.road[r] or 'a road without a name'}",
             f"stream.{r + 1}", study.vehicles[r])
            for r in range(len(study.streams.edge))
        ]  # fmt: skip
    if "share" in below:
        share = study.share
        found += [
            ("share at the reference site", "step.share", share.base),
            ("the operator", "step.share", share.operator),
            ("untried ground does worse", "step.share", share.selection),
            ("what no factor tells of this site", "step.share", share.residual[0]),
        ]
        found += [
            (f"how much {say_factor(name)} counts", f"share.beta_{name}", share.beta[k])
            for k, name in enumerate(share.names)
        ]
    return found

"""What if one thing changed: how do share, cars a day, design hour and payback move?

The chain is walked again with the one change, in the same possible worlds, and the two are
compared world by world, so that only what the change itself does is left in the difference.
Steps that the change does not touch are remembered. Assumes that the regression's factors
act as they do between sites.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import InputError, Range
from capture.chain.memo import Memo
from capture.chain.request import Request
from capture.chain.steps import Chain, remember_chain, walk_chain
from capture.chain.whatif_factors import NOTHING, FactorChange, find_factor_changes, note_doubts

if TYPE_CHECKING:
    from capture.chain.single import Study

FloatArray = NDArray[np.float64]
_DAYS: Final = 365.0
#: shares of the cars turned away, and years, that are not worth a word
_FEW_LOST: Final = 0.001
_FEW_YEARS: Final = 0.05
#: a share that moves by less than this part of itself hardly moves
_HARDLY: Final = 0.005
#: years after which nobody asks how many
_MANY_YEARS: Final = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How one site stands: the numbers that a change is judged by."""

    #: share of washable vehicles passing that is washed
    share: Range
    #: cars a day that want to be washed
    cars_per_day: Range
    #: cars a day that the line washes, those turned away taken off
    washed_per_day: Range
    #: part of the cars that the line turns away for good
    lost_share: Range
    #: cars in the busy hour
    busy_hour_cars: Range
    #: hour that the line is sized for, headroom included, cars/h
    design_hour_cars: float
    #: length of the line, metres
    line_length_m: float
    #: sustained cars an hour of the line
    line_cars_per_hour: float
    #: value today before debt
    npv_usd: Range
    #: years until capital is paid back; inf is never
    payback_years: Range
    #: factors of the share in their own units, NaN where not known
    factors: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WhatIf:
    """One change, before and after, in the same worlds."""

    #: short name of the kind of change, such as "sign"
    name: str
    #: what is changed, in words
    what: str
    #: what it does, one plain sentence
    sentence: str
    #: as it is
    before: Standing
    #: as it would be
    after: Standing
    #: share after over share before in each world, (n,)
    share_ratio_draws: FloatArray
    #: the same, summed up
    share_ratio: Range
    #: cars a day that want to be washed, after less before
    cars_per_day_change: Range
    #: cars a day that are washed, after less before
    washed_per_day_change: Range
    #: cars in the busy hour, after less before
    busy_hour_change: Range
    #: value today, after less before
    npv_usd_change: Range
    #: part of the worlds in which more cars are washed
    chance_more: float
    #: the factors that moved, the strongest first
    factors: tuple[FactorChange, ...]
    #: what a reader should know of this trial
    notes: tuple[str, ...]
    #: the chain as it would be, for drawing and for keeping the change
    chain: Chain

    @property
    def request(self) -> Request:
        """What to ask for to keep the change."""
        return self.chain.request


def find_chain(found: Study | Chain) -> Chain:
    """Return the chain of a study, or the chain itself.

    Raises
    ------
    InputError
        When it has more than one site.
    """
    chain = found if isinstance(found, Chain) else found.chain
    if len(chain.request.ids) != 1:
        raise InputError(
            f"a change is tried at one site, got {len(chain.request.ids)}; study one of them"
        )
    return chain


def compare(
    found: Study | Chain,
    request: Request,
    *,
    name: str,
    what: str,
    notes: tuple[str, ...] = (),
    memo: Memo | None = None,
) -> WhatIf:
    """Walk the chain for a changed request and set it against what was found.

    Parameters
    ----------
    found : Study or Chain
        As it is, one site.
    request : Request
        The same with one change.
    name : str
        Short name of the kind of change.
    what : str
        What is changed, in words.
    notes : tuple of str
        What a reader should know.
    memo : Memo, optional
        That of the study, so that untouched steps are recalled; left out, they are taken
        from what was found.

    Returns
    -------
    WhatIf

    Raises
    ------
    InputError
        For other worlds or sites, which could not be compared draw by draw.
    """
    before = find_chain(found)
    if request.worlds != before.request.worlds or request.ids != before.request.ids:
        raise InputError("a change is compared at the same site in the same worlds; keep both")
    if memo is None:
        memo = Memo()
        remember_chain(before, memo)
    after = walk_chain(request, memo=memo)
    old, new = sum_up(before), sum_up(after)
    ratio = after.share.rate[0] / before.share.rate[0]
    washed = _washed(after) - _washed(before)
    made = WhatIf(
        name=name,
        what=what,
        sentence="",
        before=old,
        after=new,
        share_ratio_draws=ratio,
        share_ratio=Range.of(ratio, "1"),
        cars_per_day_change=Range.of(
            (after.cars_per_year[0] - before.cars_per_year[0]) / _DAYS, "cars/day"
        ),
        washed_per_day_change=Range.of(washed, "cars/day"),
        busy_hour_change=Range.of(after.busy.cars[0] - before.busy.cars[0], "cars/h"),
        npv_usd_change=Range.of(after.money.npv_usd[0] - before.money.npv_usd[0], "USD"),
        chance_more=float((washed > 0).mean()),
        factors=find_factor_changes(before, after),
        notes=(*notes, *note_doubts(before, after)),
        chain=after,
    )
    return replace(made, sentence=say_change(made))


def sum_up(found: Study | Chain) -> Standing:
    """Sum up how one site stands."""
    chain = find_chain(found)
    table = chain.factors
    known = np.where(table.missing[0], np.nan, table.x[0])
    return Standing(
        share=Range.of(chain.share.rate[0], "share"),
        cars_per_day=Range.of(chain.cars_per_year[0] / _DAYS, "cars/day"),
        washed_per_day=Range.of(_washed(chain), "cars/day"),
        lost_share=Range.of(np.asarray(chain.lost_share)[0], "share"),
        busy_hour_cars=Range.of(chain.busy.cars[0], "cars/h"),
        design_hour_cars=float(chain.design_hour_cars[0]),
        line_length_m=float(chain.lines.length_m[0]),
        line_cars_per_hour=float(chain.lines.cars_per_hour[0]),
        npv_usd=Range.of(chain.money.npv_usd[0], "USD"),
        payback_years=_range_of_years(np.asarray(chain.money.payback_years)[0]),
        factors=dict(zip(table.names, known.tolist(), strict=True)),
    )


def _washed(chain: Chain) -> FloatArray:
    return np.asarray(chain.cars_per_year[0] * (1 - np.asarray(chain.lost_share)[0]) / _DAYS)


def _range_of_years(years: FloatArray) -> Range:
    """Sum up years of which some may be without end."""
    at = [0.05, 0.5, 0.95]
    with np.errstate(invalid="ignore"):
        found = np.quantile(years, at)
    found = np.where(np.isnan(found), np.quantile(years, at, method="nearest"), found)
    low, value, high = found.tolist()
    return Range(value=value, low=low, high=high, mean=float(years.mean()), unit="years")


def say_change(change: WhatIf) -> str:
    """Write one plain sentence on a change from its numbers."""
    ratio, cars = change.share_ratio, change.cars_per_day_change
    old, new = change.before, change.after
    if max(abs(np.log(ratio.low)), abs(np.log(ratio.high))) < NOTHING:
        parts = [f"the share washed stays at {old.share.value:.2%}"]
    elif 1 - _HARDLY < ratio.low <= ratio.high < 1 + _HARDLY:
        parts = [f"the share washed hardly moves from {old.share.value:.2%}"]
    else:
        parts = [
            f"the share washed goes from {old.share.value:.2%} to {new.share.value:.2%} "
            f"(times {ratio.value:.2f}, {ratio.low:.2f} to {ratio.high:.2f})"
        ]
    if max(abs(cars.low), abs(cars.high)) >= 0.5:
        parts.append(f"{cars.value:+.0f} cars a day ({cars.low:+.0f} to {cars.high:+.0f})")
    if abs(new.lost_share.value - old.lost_share.value) >= _FEW_LOST:
        parts.append(
            f"the line turns away {new.lost_share.value:.1%} of them instead of "
            f"{old.lost_share.value:.1%}"
        )
    if said := _say_payback(old.payback_years.value, new.payback_years.value):
        parts.append(said)
    return f"{change.what}: {', '.join(parts)}."


def _say_payback(old: float, new: float) -> str:
    if min(old, new) > _MANY_YEARS:
        return ""
    if new > _MANY_YEARS:
        return f"it no longer pays back in {_MANY_YEARS:.0f} years (now in {old:.1f})"
    if old > _MANY_YEARS:
        return f"it pays back in {new:.1f} years (now not in {_MANY_YEARS:.0f})"
    if abs(new - old) < _FEW_YEARS:
        return ""
    return f"it pays back in {new:.1f} years instead of {old:.1f}"

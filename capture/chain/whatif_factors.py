"""Which factors of the share did a change move, and what does each do?

On the log scale the share is a sum, so what the factors multiply it by, world by world,
multiplies up to the whole change.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from capture.basis import Range
from capture.chain.made import Chain

FloatArray = NDArray[np.float64]
#: changes of the share, in logs, that are rounding and not worth a word
NOTHING: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorChange:
    """What one factor of the share does in a change."""

    #: its name; ``format`` for the format's own level
    name: str
    #: value as it is, in the factor's unit; NaN where it has none
    before: float
    #: value as it would be
    after: float
    #: what it multiplies the share by
    multiplier: Range


def find_factor_changes(before: Chain, after: Chain) -> tuple[FactorChange, ...]:
    """Find the factors that moved and what each does, the strongest first."""
    old, new = before.share, after.share
    found = []
    level = new.base / old.base
    if np.abs(np.log(level)).max() > NOTHING:
        found.append(
            FactorChange(
                name="format", before=np.nan, after=np.nan, multiplier=Range.of(level, "1")
            )
        )
    for k, name in enumerate(old.names):
        log = _find_log(after, k) - _find_log(before, k)
        if np.abs(log).max() > NOTHING:
            found.append(
                FactorChange(
                    name=name,
                    before=np.nan if old.missing[0, k] else float(old.x[0, k]),
                    after=np.nan if new.missing[0, k] else float(new.x[0, k]),
                    multiplier=Range.of(np.exp(log), "1"),
                )
            )
    return tuple(sorted(found, key=lambda each: -abs(np.log(each.multiplier.value))))


def _find_log(chain: Chain, k: int) -> FloatArray:
    """Return what one factor adds to the log share in each world, (n,)."""
    share, worlds, ids = chain.share, chain.request.worlds, chain.request.ids
    name = share.names[k]
    x = 0.0 if share.missing[0, k] else float(share.x[0, k] - share.reference[k])
    doubt = _find_doubt(chain, name)
    apart = np.full(worlds.draws, x)
    if share.missing[0, k]:
        apart += worlds.normal(f"share missing {name}", ids)[0] * chain.fit.spread[k]
    if doubt:
        apart += worlds.normal("share unsure", [name])[0] * doubt
    return np.asarray(share.beta[k] * apart)


def _find_doubt(chain: Chain, name: str) -> float:
    """Return how unsure one factor's value is, as a spread in its unit."""
    table = chain.factors
    if table.unsure is None or name not in table.names:
        return 0.0
    return float(table.unsure[0, table.names.index(name)])


def note_doubts(before: Chain, after: Chain) -> tuple[str, ...]:
    """Note the factors that are known less surely, or more, than before."""
    notes = []
    for k, name in enumerate(before.share.names):
        was, now = (
            bool(one.share.missing[0, k]) or _find_doubt(one, name) > 0 for one in (before, after)
        )
        if was != now:
            plain = name.removeprefix("log_").replace("_", " ")
            less = "not known there, which widens" if now else "known there, which narrows"
            notes.append(f"{plain} against what is around is {less} the range of the change")
    return tuple(notes)

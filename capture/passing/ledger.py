"""What was done with each row of a file, and what does a table of counts hold?

Every row either becomes (part of) a count or stands here with the reason.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd

from capture.basis import DataError

#: columns of every table of counts
COUNT_COLUMNS: Final = (
    "count_id", "station", "rows", "road", "ref", "road_class", "lat", "lon", "line",
    "vehicles_per_day", "log_sd", "year", "two_way", "direction_deg", "split_share",
    "heavy_share", "kind", "story", "history",
)  # fmt: skip


#: row numbers shown per thing done
MOST_SHOWN: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Did:
    """One thing that was done with rows of a file."""

    #: what was done: "used", "left out", "set aside", "changed", "assumed", "joined"
    what: str
    #: how many rows
    rows: int
    #: the first few of them, numbers in the file
    which: tuple[int, ...]
    #: why, one sentence
    why: str


@dataclass(slots=True)
class Ledger:
    """Collects what is done with a file's rows."""

    #: what was done, in order
    done: list[Did] = field(default_factory=list)
    #: rows of the file that are part of a count
    used: set[int] = field(default_factory=set)

    def note(self, what: str, rows: Any, why: str) -> None:
        """Note what was done with some rows; nothing is noted for no rows."""
        listed = [int(r) for r in rows]
        if not listed:
            return
        for k, old in enumerate(self.done):
            if (old.what, old.why) == (what, why):
                which = (old.which + tuple(listed))[:MOST_SHOWN]
                self.done[k] = Did(what=what, rows=old.rows + len(listed), which=which, why=why)
                return
        which = tuple(listed[:MOST_SHOWN])
        self.done.append(Did(what=what, rows=len(listed), which=which, why=why))

    def assume(self, why: str) -> None:
        """Note something assumed of the whole file."""
        self.done.append(Did(what="assumed", rows=0, which=(), why=why))

    def table(self) -> pd.DataFrame:
        """Return what, rows, which and why."""
        return pd.DataFrame(
            [(d.what, d.rows, _listed(d), d.why)
             for d in self.done],
            columns=["what", "rows", "which", "why"],
        )  # fmt: skip


def _listed(done: Did) -> str:
    return ", ".join(map(str, done.which)) + (" ..." if done.rows > len(done.which) else "")


def drop(table: pd.DataFrame, bad: Any, ledger: Ledger, why: str) -> pd.DataFrame:
    """Leave out rows and say so; returns a new table."""
    mask = np.asarray(pd.Series(bad, index=table.index).fillna(False), dtype=bool)
    ledger.note("left out", table.loc[mask, "row"], why)
    return table.loc[~mask]


def raise_none_left(ledger: Ledger, name: str) -> None:
    """Refuse a file of which no row is usable, saying why.

    Raises
    ------
    DataError
        Always.
    """
    reasons = "; ".join(f"{d.rows} row(s): {d.why}" for d in ledger.done if d.what == "left out")
    raise DataError(f"{name}: no usable count is left ({reasons or 'no rows'}); mend the file")


def list_rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return a table's rows as mappings, for loops over small tables."""
    names = [str(column) for column in table.columns]
    return [dict(zip(names, row, strict=True)) for row in table.itertuples(index=False, name=None)]

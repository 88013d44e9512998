"""What is asked of the chain, and how are parts of it told apart by content?

Keys hold content and not identity, so that a change undone finds its old answer again.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from numbers import Real
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from capture.basis import InputError, Offer, Worlds, check_amount
from capture.chain.assumptions import Numbers
from capture.chain.line_choice import LineChoice
from capture.chain.works import Works
from capture.chain.year_choice import YearChoice

if TYPE_CHECKING:
    import pandas as pd

    from capture.area import Area
    from capture.around import Rivals
    from capture.ground import AnswerBook
    from capture.passing import RoadNote
    from capture.passing.layers import Answers
    from capture.place import Frontage, Sites
    from capture.share import KnownSites


#: first and last year that can be looked at
YEARS: Final = (1950, 2100)


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What is asked of the chain: where, what, how sure, on which numbers."""

    #: the area
    area: Area
    #: sites to look at
    sites: Sites
    #: what is to be built
    offer: Offer
    #: the possible worlds
    worlds: Worlds
    #: every room's built-in numbers, the user's own in them
    numbers: Numbers
    #: year looked at, which counts are grown to
    year: int
    #: known sites; None reads the area's own
    known: KnownSites | None = None
    #: driveways by hand, a table; None proposes them
    driveways: Any = None
    #: what is known of each parcel's deal-breakers
    answers: AnswerBook | None = None
    #: rivals added or changed by hand; None takes the area's
    rivals: Rivals | None = None
    #: where counts were tied by hand
    ties: Mapping[str, Mapping[str, float]] | None = None
    #: which column of a counts file holds what, by file and role, where a guess was corrected
    columns: Answers | None = None
    #: dated notes on roads, such as road works, besides those of the area
    notes: tuple[RoadNote, ...] = ()
    #: whether sight rays are kept for drawing
    keep: bool = False
    #: driveways already laid on roads, as when one is moved; goes before ``driveways``
    frontage: Frontage | None = None
    #: what would be built or cut that the map does not show
    works: Works = field(default_factory=Works)
    #: the user's own sales by hour; None takes the usual shape of a year
    sales: pd.DataFrame | None = None
    #: what is chosen of the line by hand
    line: LineChoice = field(default_factory=LineChoice)
    #: holidays, closed days and usual weather; None leaves them to the area's own weather
    year_choice: YearChoice | None = None
    #: how placements are looked for: ``best`` draws them, ``quick`` tells whether one fits
    search: Literal["best", "quick"] = "best"
    #: whether rates of return are solved
    irr: bool = True

    def __post_init__(self) -> None:
        import pandas as pd

        for name in ("sales", "driveways"):
            table = getattr(self, name)
            if table is not None and not isinstance(table, pd.DataFrame):
                raise InputError(
                    f"{name}: must be a table, got {type(table).__name__}; give a DataFrame"
                )
        columns = {} if self.columns is None else self.columns
        by_file = _holds(columns, str | Mapping) and all(
            _holds(said, str) for said in columns.values() if isinstance(said, Mapping)
        )
        if not by_file:
            raise InputError(
                "columns: must name roles and headings as text, by file or not; mend them"
            )
        ties = {} if self.ties is None else self.ties
        if not _holds(ties, Mapping) or not all(_holds(tie, Real) for tie in ties.values()):
            raise InputError("ties: must name counts, and numbers by name for each; mend them")

    @property
    def ids(self) -> tuple[str, ...]:
        """Names of the sites, which key their own draws."""
        return tuple(self.sites.ids)


def _holds(table: object, kind: Any) -> bool:
    """Say whether a table has texts for names and one kind of thing for values."""
    return isinstance(table, Mapping) and all(
        isinstance(name, str) and isinstance(value, kind) for name, value in table.items()
    )


def site_key(sites: Sites) -> Hashable:
    """Return what makes sites the same sites, as a key."""
    shapes = tuple(None if p is None else p.wkb for p in sites.polygons)
    return (
        tuple(sites.ids),
        np.asarray(sites.x).tobytes(),
        np.asarray(sites.y).tobytes(),
        hash(shapes),
    )


def table_key(table: Any) -> Hashable:
    """Return a key of a frozen table of columns by content; None has its own.

    Parameters
    ----------
    table : Frontage, Rivals or None
        A dataclass of arrays and tuples.
    """
    if table is None:
        return None
    columns = (getattr(table, item.name) for item in fields(table))
    return tuple(
        (str(each.dtype), each.tobytes()) if isinstance(each, np.ndarray) else each
        for each in columns
    )


def frame_key(table: Any) -> Hashable:
    """Return a key of a data frame by content; None has its own."""
    if table is None:
        return None
    import pandas as pd

    try:
        rows = pd.util.hash_pandas_object(table, index=False).to_numpy()
    except TypeError:  # a cell that has no hash, such as a list
        rows = pd.util.hash_pandas_object(table.astype(str), index=False).to_numpy()
    return tuple(map(str, table.columns)), rows.tobytes()


def find_year(area: Area, year: int | None) -> int:
    """Return the year looked at: the one asked for, the area's own, or this year.

    Raises
    ------
    InputError
        When the one asked for is no year that traffic can be grown to.
    """
    if year is not None:
        check_amount("study", "year", year, *YEARS, "as a whole number", whole=True)
        return int(year)
    return area.study_year or date.today().year

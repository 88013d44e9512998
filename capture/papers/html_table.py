"""How is a table shown to a reader: said numbers, plain headings, safe text?

Used by screens and the printed report alike; every cell is escaped, a heading names each
column, and numbers stand on the right.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from capture.basis import UnitSystem, escape_text
from capture.papers.words import say_amount, say_lengths

#: column -> (heading, unit as stored; "" for text)
Columns = Mapping[str, tuple[str, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidTable:
    """A table in words, ready for any page."""

    #: heading of each column
    headings: tuple[str, ...]
    #: whether a column holds numbers
    is_number: tuple[bool, ...]
    #: cells as said
    rows: tuple[tuple[str, ...], ...]


def say_table(table: pd.DataFrame, columns: Columns, system: UnitSystem = "us") -> SaidTable:
    """Say a table's numbers in the reader's units, in the order of ``columns``.

    Parameters
    ----------
    table : DataFrame
        Columns that it lacks are left out.
    columns : mapping of str to (heading, unit)
        A unit of ``""`` marks text, in which metres are turned too; ``"@unit"`` takes it from
        the row's own column ``unit``.
    system : {"us", "metric"}

    Examples
    --------
    >>> said = say_table(pd.DataFrame({"seen_m": [30.48]}), {"seen_m": ("seen from", "m")})
    >>> said.headings, said.rows
    (('seen from',), (('100 ft',),))
    """
    kept = [name for name in columns if name in table.columns]
    rows = tuple(
        tuple(_say_cell(row[name], columns[name][1], row, system) for name in kept)
        for row in table.to_dict("records")
    )
    return SaidTable(
        headings=tuple(columns[name][0] for name in kept),
        is_number=tuple(bool(columns[name][1]) for name in kept),
        rows=rows,
    )


def _say_cell(value: Any, unit: str, row: Mapping[Any, Any], system: UnitSystem) -> str:
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return "not known" if unit else ""
    if not unit:
        return say_lengths(str(value), system)
    return say_amount(float(value), str(row["unit"]) if unit == "@unit" else unit, system)


def render_table(said: SaidTable, *, caption: str = "") -> str:
    """Render a said table as HTML.

    Examples
    --------
    >>> said = SaidTable(headings=("a",), is_number=(True,), rows=(("<b>",),))
    >>> "&lt;b&gt;" in render_table(said)
    True
    """
    head = "".join(
        f'<th scope="col"{_side(number)}>{escape_text(text)}</th>'
        for text, number in zip(said.headings, said.is_number, strict=True)
    )
    body = "".join(
        "<tr>"
        + "".join(
            f"<td{_side(number)}>{escape_text(cell, most=600)}</td>"
            for cell, number in zip(row, said.is_number, strict=True)
        )
        + "</tr>"
        for row in said.rows
    )
    title = f"<caption>{escape_text(caption)}</caption>" if caption else ""
    return (
        '<div class="table" role="region" tabindex="0" '
        f'aria-label="{escape_text(caption or "table")}"><table>{title}'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _side(is_number: bool) -> str:
    return ' class="number"' if is_number else ""

"""How is a report printed as PDF: which data does the page template read?"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from capture.papers.html_table import SaidTable
from capture.papers.printing import print_pdf
from capture.papers.report import READING, Fact, Part, Report


def render_report_pdf(report: Report) -> bytes:
    """Print a report as PDF; the same report gives the same bytes.

    Raises
    ------
    DataError
        When it cannot be set in type.
    """
    pictures = {}
    logo = ""
    if report.logo is not None:
        logo = f"logo.{report.logo.kind}"
        pictures[logo] = report.logo.content
    content = {
        "title": f"{report.heading}: site report",
        "author": report.author,
        "paper": report.paper,
        "footer": report.footer,
        "kicker": report.kicker,
        "heading": report.heading,
        "where": report.where,
        "mark": report.mark,
        "logo": logo,
        "fact": report.fact,
        "facts": [_fact_data(fact) for fact in report.facts],
        "reading": READING,
        "chain": [_fact_data(fact) for fact in report.chain],
        "sections": [
            {
                "wide": section.wide,
                "fresh": section.fresh,
                "parts": [_part_data(part) for part in section.parts],
            }
            for section in report.sections
        ],
    }
    return print_pdf(content, pictures)


def _fact_data(fact: Fact) -> dict[str, Any]:
    return {"said": fact.said, "words": fact.words, "spread": fact.spread.split("\n")}


def _part_data(part: Part) -> dict[str, Any]:
    said: dict[str, Any] = {"kind": part.kind, "text": part.text}
    if part.pictures:
        said["pictures"] = [
            {"svg": picture.svg, "caption": picture.caption, "width": picture.width}
            for picture in part.pictures
        ]
    if part.table is not None:
        said |= {
            "headings": list(part.table.headings),
            "numbers": list(part.table.is_number),
            "rows": [list(row) for row in part.table.rows],
            "widths": measure_columns(part.table),
        }
    if part.items:
        said["items"] = list(part.items)
    return said


#: columns of text longer than this share the width that the others leave
_LONG: Final = 21


def measure_columns(table: SaidTable) -> list[float]:
    """Share out a page's width: 0 for a column as wide as its words, else its weight.

    Examples
    --------
    >>> measure_columns(SaidTable(headings=("a", "b"), is_number=(True, False),
    ...                           rows=(("1", "a long sentence that needs to be broken"),)))
    [0, 6.2]
    """
    widths: list[float] = []
    for k, heading in enumerate(table.headings):
        lengths = [len(heading), *(len(row[k]) for row in table.rows)]
        long = max(lengths) > _LONG and not table.is_number[k]
        widths.append(round(float(np.sqrt(max(lengths))), 1) if long else 0)
    return widths

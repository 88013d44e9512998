"""How does a study become a printed report of four to six pages, as PDF and as HTML?

Both are made from one list of sections, so they say the same. Text from outside reaches
the PDF as data, where markup stays literal, and the HTML escaped. Assumes a finished study.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal

import numpy as np

import capture
from capture.basis import FORMAT_WORDS, UnitSystem, escape_text, plain_text
from capture.papers.argument import Claim, make_argument
from capture.papers.folder import list_credits
from capture.papers.html_table import SaidTable, render_table
from capture.papers.logo import Logo, check_logo
from capture.papers.printing import print_pdf
from capture.papers.words import say_amount

READING: Final = (
    "Each large number is the middle of what may be; the small ones below it hold nine times "
    "out of ten. Numbers are estimates for planning, not promises."
)
INVENTED: Final = "invented demo data"
Kind = Literal["heading", "text", "note", "pictures", "aside", "table", "list"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A drawing with its caption."""

    #: SVG text
    svg: str
    #: caption, which also stands for the picture where it cannot be seen
    caption: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part of a report."""

    #: what it is
    kind: Kind
    #: words of a heading, sentence or note; caption of a table
    text: str = ""
    #: drawings that stand side by side
    pictures: tuple[Picture, ...] = ()
    #: a table as said
    table: SaidTable | None = None
    #: entries of a list
    items: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """Parts that follow each other on paper."""

    #: the parts, in order
    parts: tuple[Part, ...]
    #: whether it lies on pages turned sideways
    wide: bool = False
    #: whether it starts a page
    fresh: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One large number of the cover."""

    #: as said, such as "283"
    said: str
    #: what it counts
    words: str
    #: how far it may be off, or how it is known
    spread: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """All that a report says, before it is printed."""

    #: name of the site
    heading: str
    #: line above it
    kicker: str
    #: where it is
    where: str
    #: the fact that the cover states, one sentence
    fact: str
    #: its numbers
    facts: tuple[Fact, ...]
    #: foot of every page
    footer: str
    #: the argument, step by step
    chain: tuple[Fact, ...]
    #: the rest, in order
    sections: tuple[Section, ...] = field(default=())
    #: words of a mark on the cover; empty when there is nothing to warn of
    mark: str = ""
    #: who gives it
    author: str = ""
    #: the user's own picture
    logo: Logo | None = None
    #: us-letter or a4
    paper: str = "us-letter"


def make_report(
    study: Any,
    *,
    system: UnitSystem | None = None,
    date: str = "",
    author: str = "",
    logo: bytes | None = None,
) -> Report:
    """Gather what a report says.

    Parameters
    ----------
    study : Study
    system : {"us", "metric"}, optional
        The area's own when left out.
    date : str
        As it is to be printed; left out when empty, so that the same study prints the same.
    author : str
        The user's own name or firm.
    logo : bytes, optional
        The user's own picture, a PNG, JPEG or SVG file.

    Returns
    -------
    Report

    Raises
    ------
    InputError
        When the logo cannot be used.
    """
    from capture.papers.report_parts import list_sections

    units = system or study.area.units
    claims = make_argument(study, system=units)
    sites = study.sites
    said_date = plain_text(date, most=60) or f"for the year {study.year}"
    heading = plain_text(sites.names[0])
    credit = list_credits(study.area)[0]
    footer = (heading, said_date, f"site-to-line {capture.__version__}", credit)
    return Report(
        heading=heading,
        kicker=" · ".join(
            filter(None, ("Wash site report", plain_text(study.area.name), said_date))
        ),
        where=f"{float(sites.lat[0]):.5f}, {float(sites.lon[0]):.5f}",
        fact=_say_fact(study, claims),
        facts=_list_facts(study, claims),
        footer=plain_text(" · ".join(footer), most=200),
        chain=tuple(
            Fact(said=c.said, words=c.words, spread=f"{c.spread}\n{how}".strip())
            for c, how in zip(claims, _say_known(study, claims), strict=True)
        ),
        sections=list_sections(study, claims, units),
        mark=INVENTED if study.area.invented else "",
        author=plain_text(author, most=120),
        logo=None if logo is None else check_logo(logo),
        paper="us-letter" if units == "us" else "a4",
    )


def _say_fact(study: Any, claims: Sequence[Claim]) -> str:
    by_key = {claim.key: claim for claim in claims}
    cars, line = by_key["cars"], by_key["line"]
    kind = FORMAT_WORDS[study.offer.format]
    article = "An" if kind[0] in "aeiou" else "A"
    built = (
        f"with a {line.said} {line.words}" if study.offer.is_conveyor else f"with {line.said} bays"
    )
    return (
        f"{article} {kind} here would wash about {cars.said} cars a day, {built}. Nine times out "
        f"of ten it is {cars.spread}.{_say_ground(study)}"
    )


def _say_ground(study: Any) -> str:
    ground = study.ground
    if ground.status == "fail":
        return f" As drawn the parcel fails: {plain_text(ground.reasons[0])}."
    if ground.status in {"ask", "unknown"} and ground.reasons:
        return f" Still to be asked: {plain_text(ground.reasons[0])}."
    return ""


def _list_facts(study: Any, claims: Sequence[Claim]) -> tuple[Fact, ...]:
    by_key = {claim.key: claim for claim in claims}
    pay, cars = by_key["pay"], by_key["cars"]
    chance = float(np.asarray(study.money.chance_npv_positive)[0])
    return (
        Fact(said=cars.said, words="cars washed a day", spread=cars.spread),
        Fact(said=pay.said, words=pay.words, spread=pay.spread),
        Fact(
            said=say_amount(chance, "share", digits=2),
            words="chance that it is worth more than it costs",
            spread="before income tax",
        ),
    )


def say_measured(study: Any) -> str:
    """Say how the vehicles passing are known: measured, estimated or invented demo data."""
    measured = np.asarray(study.streams.measured, dtype=bool)
    if study.area.invented and measured.any():
        return INVENTED
    if measured.all():
        return "measured"
    return "partly measured" if measured.any() else "estimated"


def _say_known(study: Any, claims: Sequence[Claim]) -> list[str]:
    words = {"passing": say_measured(study), "line": "sized for it"}
    return [words.get(claim.key, "estimated") for claim in claims]


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
            {"svg": picture.svg, "caption": picture.caption} for picture in part.pictures
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
    [0, 6.3]
    """
    widths: list[float] = []
    for k, heading in enumerate(table.headings):
        lengths = [len(heading), *(len(row[k]) for row in table.rows)]
        long = max(lengths) > _LONG and not table.is_number[k]
        widths.append(round(float(np.sqrt(max(lengths))), 1) if long else 0)
    return widths


_STYLE: Final = (
    "body{font:16px/1.5 'Source Sans Pro','Source Sans 3','Segoe UI',Helvetica,Arial,sans-serif;"
    "color:#1f2d36;background:#fff;max-width:62rem;margin:0 auto;padding:0 1rem 2rem}"
    "header{background:#1f2d36;color:#fff;margin:0 -1rem;padding:1.6rem}header p{margin:.2rem 0}"
    "h1{margin:.3rem 0;font-size:2.2rem;line-height:1.15}header img{float:right;max-height:5rem;"
    "max-width:14rem;background:#fff;padding:.4rem}.mark{display:inline-block;background:#a23b16;"
    "padding:.1rem .6rem;font-weight:600}h2{border-top:3px solid #1f2d36;padding-top:.4rem;"
    "margin-top:2.2rem}.fact{font-size:1.25rem;border-left:5px solid #a23b16;padding-left:1rem}"
    ".facts,.chain{display:flex;flex-wrap:wrap;gap:1.2rem 2rem;margin:1.2rem 0}.facts b{display:"
    "block;font-size:2.8rem;line-height:1;color:#a23b16}.facts>div{flex:1;min-width:12rem}"
    ".chain{border-top:3px solid #1f2d36;border-bottom:1px solid #1f2d36;padding:.6rem 0}"
    ".chain>div{flex:1;min-width:8rem}.chain b{display:block;font-size:1.5rem}small,figcaption,"
    ".foot,.note{color:#4b585f}figure{margin:1rem 0;flex:1;min-width:18rem}.side{display:flex;"
    "flex-wrap:wrap;gap:0 2rem}.beside{flex:1;min-width:18rem}svg{width:"
    "100%;height:auto}.table{overflow-x:auto}table{border-collapse:collapse;width:100%;font-size:.9rem}caption{text-align:left;color:#4b585f}th{border-"
    "bottom:2px solid #1f2d36;text-align:left;vertical-align:bottom}td{border-bottom:1px solid "
    "#d9d2c1;vertical-align:top}th,td{padding:.25rem .8rem .25rem 0}th.number,td.number{text-align:"
    "right}td.number{white-space:nowrap}li{margin:.2rem 0}@media(min-width:50rem){ul{columns:2;"
    "column-gap:2.4rem}}@media print{h2{break-after:avoid}figure,tr{break-inside:avoid}}"
)


def render_report_html(report: Report) -> str:
    """Render a report as one HTML page without any request."""
    body = "\n".join(_part_html(part) for section in report.sections for part in section.parts)
    logo = f'<img src="{report.logo.uri}" alt="logo"/>' if report.logo else ""
    mark = f'<p class="mark">{escape_text(report.mark)}</p>' if report.mark else ""
    author = f"<p>{escape_text(report.author)}</p>" if report.author else ""
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"/>'
        f"<title>{escape_text(report.heading)}: site report</title>"
        '<meta name="viewport" content="width=device-width, initial-scale=1.0"/>'
        f'<link rel="icon" href="data:,"/><style>{_STYLE}</style></head><body>\n'
        f"<header>{logo}<p>{escape_text(report.kicker)}</p><h1>{escape_text(report.heading)}</h1>"
        f"<p>{escape_text(report.where)}</p>{author}{mark}</header><main>\n"
        f'<div class="facts">{"".join(map(_fact_html, report.facts))}</div>'
        f'<p class="fact">{escape_text(report.fact, most=600)}</p>'
        f'<div class="chain">{"".join(map(_fact_html, report.chain))}</div>'
        f'<p class="foot">{escape_text(READING, most=400)}</p>\n{body}\n'
        f'<p class="foot">{escape_text(report.footer, most=600)}</p></main></body></html>\n'
    )


def _fact_html(fact: Fact) -> str:
    spread = "<br/>".join(escape_text(line) for line in fact.spread.split("\n"))
    return (
        f"<div><b>{escape_text(fact.said)}</b>{escape_text(fact.words)}<br/>"
        f"<small>{spread}</small></div>"
    )


def _part_html(part: Part) -> str:
    if part.kind == "heading":
        return f"<h2>{escape_text(part.text)}</h2>"
    if part.kind in {"text", "note"}:
        kind = ' class="note"' if part.kind == "note" else ""
        return f"<p{kind}>{escape_text(part.text, most=2000)}</p>"
    if part.kind == "aside":
        shown = part.pictures[0]
        return (
            f'<div class="side"><figure>{shown.svg}<figcaption>{escape_text(shown.caption)}'
            f'</figcaption></figure><p class="beside">{escape_text(part.text, most=2000)}</p></div>'
        )
    if part.pictures:
        figures = "".join(
            f"<figure>{picture.svg}<figcaption>{escape_text(picture.caption, most=400)}"
            "</figcaption></figure>"
            for picture in part.pictures
        )
        return f'<div class="side">{figures}</div>'
    if part.table is not None:
        return render_table(part.table, caption=part.text) if part.table.rows else ""
    items = "".join(f"<li>{escape_text(item, most=1200)}</li>" for item in part.items)
    return f"<ul>{items}</ul>" if items else ""

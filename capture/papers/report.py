"""What does the report of a study say, on four to six pages?

One list of sections, which PDF and HTML are both made from, so that they say the same.
Assumes a finished study.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal

import numpy as np

import capture
from capture.basis import FORMAT_WORDS, UnitSystem, plain_text
from capture.papers.argument import Claim, make_argument
from capture.papers.folder import list_credits
from capture.papers.html_table import Columns, SaidTable, say_table
from capture.papers.logo import Logo, check_logo
from capture.papers.words import say_amount, say_lengths

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
    #: part of the room that it takes, percent
    width: float = 100.0


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


def make_heading(text: str) -> Part:
    """Make a heading."""
    return Part(kind="heading", text=text)


def make_table(rows: Any, columns: Columns, units: UnitSystem, caption: str) -> Part:
    """Make a table of what ``columns`` names, said in the reader's units."""
    return Part(kind="table", text=caption, table=say_table(rows, columns, units))


def make_pictures(*shown: tuple[str, str]) -> Part:
    """Make pictures that stand side by side, each an SVG with its caption."""
    kept = tuple(Picture(svg=svg, caption=caption) for svg, caption in shown if svg)
    return Part(kind="pictures", pictures=kept)


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
        fact=say_lengths(_say_fact(study, claims), units),
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
    start = f"{kind.capitalize()}" if kind.endswith("s") else f"{article} {kind}"
    return (
        f"{start} here would wash about {cars.said} cars a day, {built}. Nine times out "
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

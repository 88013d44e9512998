"""How does a study become a printed report of four to six pages, as PDF and as HTML?

Both are made from one list of parts (headings, sentences, pictures, tables), so they say
the same. Text from outside reaches the PDF as data, where markup stays literal, and the
HTML escaped. Assumes a finished study.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any, Final

import numpy as np

import capture
from capture.basis import FORMAT_WORDS, DataError, UnitSystem, escape_text, plain_text
from capture.papers import figures, pictures
from capture.papers.argument import Claim, make_argument
from capture.papers.folder import list_credits
from capture.papers.html_table import Columns, SaidTable, render_table, say_table
from capture.papers.sources import GRADE_WORDS, SourceBook
from capture.papers.study_json import make_source_book
from capture.papers.words import say_amount, say_money

MOST_SOURCES: Final = 36
READING: Final = (
    "The large number is the middle of what may be; the small ones hold nine times out of ten."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part of a report."""

    #: heading, text, picture, table, list or break
    kind: str
    #: words of a heading or sentence; caption of a picture or table
    text: str = ""
    #: SVG of a picture
    svg: str = ""
    #: width of a picture on the page, percent
    width: int = 100
    #: a table as said
    table: SaidTable | None = None
    #: entries of a list
    items: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """All that a report says, before it is printed."""

    #: name of the site
    heading: str
    #: line above it
    kicker: str
    #: the fact that the cover states
    fact: str
    #: foot of every page
    footer: str
    #: the argument
    claims: tuple[Claim, ...]
    #: the rest, in order
    parts: tuple[Part, ...] = field(default=())
    #: who gives it
    author: str = ""
    #: us-letter or a4
    paper: str = "us-letter"


def make_report(
    study: Any, *, system: UnitSystem | None = None, date: str = "", author: str = ""
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

    Returns
    -------
    Report
    """
    units = system or study.area.units
    claims = make_argument(study, system=units)
    place = plain_text(study.area.name)
    invented = "invented demo data" if study.area.invented else ""
    footer = " · ".join(
        filter(None, ("site-to-line " + capture.__version__, date, f"seed {study.worlds.seed}",
                      *list_credits(study.area)))
    )  # fmt: skip
    return Report(
        heading=plain_text(study.sites.names[0]),
        kicker=" · ".join(filter(None, (author, place, invented, date))),
        fact=_say_fact(study, claims),
        footer=plain_text(footer, most=400),
        claims=claims,
        parts=tuple(_list_parts(study, units)),
        author=author,
        paper="us-letter" if units == "us" else "a4",
    )


def _say_fact(study: Any, claims: Sequence[Claim]) -> str:
    by_key = {claim.key: claim for claim in claims}
    pay, cars = by_key["pay"], by_key["cars"]
    chance = float(np.asarray(study.money.chance_npv_positive)[0])
    kind = FORMAT_WORDS[study.offer.format]
    return (
        f"An {kind} here would wash about {cars.said} cars a day ({cars.spread}). "
        f"{pay.said} {pay.words}; the chance that it is worth more than it costs is "
        f"{say_amount(chance, 'share', digits=2)}."
    ).replace("An f", "A f").replace("An s", "A s")  # fmt: skip


def _list_parts(study: Any, units: UnitSystem) -> list[Part]:
    book = make_source_book(study)
    return [
        Part(kind="picture", svg=figures.draw_map(study, height=270.0),
             text="Roads around the site; the wider, the more vehicles a day."),
        *_passing_parts(study, units),
        *_share_parts(study, units),
        *_line_parts(study, units),
        *_money_parts(study, units),
        *_doubt_parts(study, book, units),
    ]  # fmt: skip


def _table(rows: Any, columns: Columns, units: UnitSystem, caption: str) -> Part:
    return Part(kind="table", text=caption, table=say_table(rows, columns, units))


def _passing_parts(study: Any, units: UnitSystem) -> list[Part]:
    columns: Columns = {
        "road": ("road", ""), "side": ("side", ""), "vehicles_per_day": ("a day", "count"),
        "low": ("at least", "count"), "high": ("at most", "count"), "known_by": ("known by", ""),
        "delay_s": ("lost turning", "s"), "seen_m": ("seen from", "m"),
        "needed_m": ("needed", "m"), "source": ("from", ""),
    }  # fmt: skip
    return [
        Part(kind="heading", text="Who passes, turns in and sees it"),
        _table(pictures.make_stream_table(study), columns, units,
               "Vehicles that could be washed, by direction; heavy vehicles are taken out."),
    ]  # fmt: skip


def _share_parts(study: Any, units: UnitSystem) -> list[Part]:
    share = pictures.make_share_table(study)
    rivals = pictures.make_rival_table(study).head(8)
    rivals["format"] = [FORMAT_WORDS.get(name, name) for name in rivals["format"]]
    columns: Columns = {
        "name": ("wash", ""), "format": ("kind", ""), "minutes": ("drive", "min"),
        "likeness": ("likeness", "share"), "status": ("status", ""),
    }  # fmt: skip
    known = int(study.fit.known_count)
    ground = f"{known} washes with known cars and " if known else ""
    return [
        Part(kind="heading", text="What part of them is washed"),
        Part(kind="text", text=f"The share rests on {ground}starting values from trade practice. "
             "It is per passing: a commuter passes twice a day."),
        Part(kind="picture", svg=figures.draw_share(share), width=84,
             text="Each step multiplies the share: to the right raises, to the left lowers it."),
        _table(rivals, columns, units, "Rival washes, nearest first."),
    ]  # fmt: skip


def _line_parts(study: Any, units: UnitSystem) -> list[Part]:
    line, queue = study.line, study.queue
    stations = pictures.make_station_table(study)
    if len(stations):
        stations.insert(0, "number", range(1, len(stations) + 1))
    columns: Columns = {
        "number": ("no.", "count"), "name": ("station", ""), "start_m": ("starts at", "m"),
        "length_m": ("length", "m"), "count": ("units", "count"), "flow_m3s": ("water", "m3s"),
        "pressure_pa": ("pressure", "pa"), "power_w": ("power", "w"), "cost_usd": ("cost", "USD"),
    }  # fmt: skip
    figure_columns: Columns = {
        "what": ("figure", ""), "value": ("middle", "@unit"), "low": ("at least", "@unit"),
        "high": ("at most", "@unit"),
    }  # fmt: skip
    hour = say_amount(float(study.design_hour_cars), "cars/h", units, digits=2)
    return [
        Part(kind="heading", text="The busy hour and the line it needs"),
        Part(kind="text", text=f"The line is sized for {hour}, headroom of "
             f"{say_amount(study.offer.headroom_share, 'share')} in it; it carries "
             f"{say_amount(float(line.cars_per_hour), 'cars/h', units, digits=2)}."),
        Part(kind="picture", svg=figures.draw_week(pictures.make_week_table(study)), width=80,
             text="Cars an hour in a mean week."),
        Part(kind="picture", svg=figures.draw_line(stations, units),
             text="The line to scale; marks above hang over another's zone."),
        _table(stations, columns, units, "Stations in order, for equipment bidders."),
        Part(kind="heading", text="Queue, water and power"),
        Part(kind="text", text=f"On 19 of 20 days the queue fits in {queue.stacking_cars} places "
             f"({say_amount(queue.stacking_m, 'm', units)}); "
             f"{say_amount(queue.lost_share, 'share', digits=2)} of a year's cars drive on."),
        Part(kind="picture",
             svg=figures.draw_queue(pictures.make_queue_table(study), queue.stacking_places),
             width=80,
             text="Cars found waiting, over many simulated days."),
        _table(pictures.make_utility_table(study), figure_columns, units,
               "Planning figures; local codes and licensed practice decide."),
    ]  # fmt: skip


def _money_parts(study: Any, units: UnitSystem) -> list[Part]:
    columns: Columns = {
        "what": ("what", ""), "value": ("middle", "@unit"), "low": ("at least", "@unit"),
        "high": ("at most", "@unit"), "mean": ("mean", "@unit"), "words": ("note", ""),
    }  # fmt: skip
    ground = study.ground
    cost = ""
    if ground.cost_high_usd > 0:
        low, high = say_money(ground.cost_low_usd), say_money(ground.cost_high_usd)
        cost = f" What must be asked for adds {low} to {high}."
    return [
        Part(kind="heading", text="Money"),
        Part(kind="picture", svg=figures.draw_cash(pictures.make_cash_table(study)), width=84,
             text="Cash gathered since the contract: line the middle, band nine times of ten."),
        _table(pictures.make_money_table(study), columns, units, "Before income tax, in today's "
               "prices; not an appraisal or investment advice."),
        Part(kind="text", text=f"The ground stands at {ground.status}: "
             f"{'; '.join(ground.reasons)}.{cost}"),
    ]  # fmt: skip


def _doubt_parts(study: Any, book: SourceBook, units: UnitSystem) -> list[Part]:
    trail = [entry for entry in book.trail() if entry.grade != "computed"]
    shown = [entry for entry in trail if entry.low is not None and entry.low != entry.high]
    rows = [
        {
            "what": entry.meaning or entry.title,
            "value": say_amount(entry.value, entry.unit, units),
            "grade": GRADE_WORDS[entry.grade],
            "source": f"{entry.title} {entry.locator}".strip(),
        }
        for entry in shown[:MOST_SOURCES]
    ]
    import pandas as pd

    columns: Columns = {
        "what": ("input", ""), "value": ("used", ""), "grade": ("how sure", ""),
        "source": ("source", ""),
    }  # fmt: skip
    left_out = (
        f" {len(trail) - len(rows)} more are in the study file." if len(trail) > len(rows) else ""
    )
    return [
        Part(kind="heading", text="What we do not know"),
        Part(kind="list", items=tuple(plain_text(text, most=1000) for text in study.cautions)),
        Part(kind="heading", text="Where the numbers come from, the weakest first"),
        _table(pd.DataFrame(rows), columns, units, f"Uncertain inputs by grade.{left_out}"),
    ]


def render_report_pdf(report: Report) -> bytes:
    """Print a report as PDF.

    Raises
    ------
    DataError
        When it cannot be set in type.
    """
    import typst

    content = {
        "title": f"{report.heading}: site report",
        "author": report.author,
        "paper": report.paper,
        "footer": report.footer,
        "kicker": report.kicker,
        "heading": report.heading,
        "fact": report.fact,
        "reading": READING,
        "claims": [
            {"said": claim.said, "words": claim.words, "spread": claim.spread}
            for claim in report.claims
        ],
        "parts": [_part_data(part) for part in report.parts],
    }
    template = (files("capture.papers") / "report.typ").read_bytes()
    try:
        made: bytes = typst.compile(
            template, format="pdf", sys_inputs={"data": json.dumps(content, allow_nan=False)}
        )
    except RuntimeError as error:
        raise DataError(
            f"report: it cannot be set in type ({plain_text(error)}); please report it"
        ) from None
    return made


def _part_data(part: Part) -> dict[str, Any]:
    said: dict[str, Any] = {"kind": part.kind, "text": part.text, "caption": part.text}
    if part.kind == "picture":
        said |= {"svg": part.svg, "alt": part.text, "width": part.width}
    if part.table is not None:
        widest = [
            max((len(row[k]) for row in part.table.rows), default=0)
            for k in range(len(part.table.headings))
        ]
        said |= {
            "headings": list(part.table.headings),
            "numbers": list(part.table.is_number),
            "rows": [list(row) for row in part.table.rows],
            "widths": ["fr" if wide > 26 else "auto" for wide in widest],
        }
    if part.items:
        said["items"] = list(part.items)
    return said


_STYLE: Final = (
    "body{font:16px/1.5 'Source Serif',Georgia,serif;color:#1f2d36;background:#fff;"
    "max-width:60rem;margin:2rem auto;padding:0 1rem}h1{margin:.2rem 0}h2{border-top:3px solid "
    "#1f2d36;padding-top:.4rem;margin-top:2rem}.fact{font-size:1.25rem;border-left:5px solid "
    "#a23b16;padding-left:1rem}.claims{display:flex;flex-wrap:wrap;border-top:3px solid #1f2d36;"
    "border-bottom:1px solid #1f2d36;padding:.5rem 0;gap:1.4rem}.claims b{display:block;font-size:"
    "1.5rem}.claims small,figcaption,.foot{color:#55636b}figure{margin:1rem 0}svg{width:100%;"
    "height:auto}.table{overflow-x:auto}table{border-collapse:collapse;width:100%;font-size:.9rem}"
    "caption{text-align:left;color:#55636b}th{border-bottom:2px solid #1f2d36;text-align:left}"
    "td{border-bottom:1px solid #cfc6b0;vertical-align:top}th,td{padding:.25rem .6rem .25rem 0}"
    ".number{text-align:right;white-space:nowrap}@media print{h2{break-after:avoid}"
    "figure{break-inside:avoid}}"
)


def render_report_html(report: Report) -> str:
    """Render a report as one HTML page without any request."""
    claims = "".join(
        f"<div><b>{escape_text(claim.said)}</b>{escape_text(claim.words)}<br>"
        f"<small>{escape_text(claim.spread)}</small></div>"
        for claim in report.claims
    )
    body = "\n".join(_part_html(part) for part in report.parts)
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"/>'
        f"<title>{escape_text(report.heading)}: site report</title>"
        '<meta name="viewport" content="width=device-width, initial-scale=1.0"/>'
        f'<link rel="icon" href="data:,"/><style>{_STYLE}</style></head><body><main>\n'
        f"<p>{escape_text(report.kicker)}</p><h1>{escape_text(report.heading)}</h1>"
        f'<p class="fact">{escape_text(report.fact, most=600)}</p>'
        f'<div class="claims">{claims}</div>'
        f'<p class="foot">{escape_text(READING)}</p>\n{body}\n'
        f'<p class="foot">{escape_text(report.footer, most=600)}</p></main></body></html>\n'
    )


def _part_html(part: Part) -> str:
    if part.kind == "heading":
        return f"<h2>{escape_text(part.text)}</h2>"
    if part.kind == "text":
        return f"<p>{escape_text(part.text, most=2000)}</p>"
    if part.kind == "picture":
        return f"<figure>{part.svg}<figcaption>{escape_text(part.text)}</figcaption></figure>"
    if part.table is not None:
        return render_table(part.table, caption=part.text) if part.table.rows else ""
    items = "".join(f"<li>{escape_text(item, most=1200)}</li>" for item in part.items)
    return f"<ul>{items}</ul>" if items else ""

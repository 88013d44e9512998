"""How is a report shown as one HTML page that asks nothing of a network?"""

from __future__ import annotations

from typing import Final

from capture.basis import escape_text
from capture.papers.html_table import render_table
from capture.papers.report import READING, Fact, Part, Report

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

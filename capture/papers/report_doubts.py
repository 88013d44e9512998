"""What does a report say of what is not known, of cautions, and of where numbers come from?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import pandas as pd

import capture
from capture.basis import UnitSystem, plain_text
from capture.papers import figures
from capture.papers.argument import Claim
from capture.papers.folder import list_credits
from capture.papers.html_table import Columns
from capture.papers.remarks import list_cautions, list_notes
from capture.papers.report import Part, make_heading, make_pictures, make_table
from capture.papers.sources import GRADE_WORDS, SourceBook, say_known
from capture.papers.steps import STEPS
from capture.papers.why import Mover, find_movers
from capture.papers.words import say_amount, say_number

MOST_MOVERS: Final = 4
LEAST_DRAWS: Final = 100


def list_doubts(
    study: Any, claims: Sequence[Claim], book: SourceBook, units: UnitSystem
) -> tuple[Part, ...]:
    """List the parts that say what is not known, the cautions and the sources."""
    movers = _list_movers(study, claims, book, units)
    columns: Columns = {
        "what": ("what is not known", ""), "grade": ("known by", ""),
        "part": ("of the spread", ""), "cars": ("cars a day, if low and if high", ""),
        "years": ("years to pay back", ""),
    }  # fmt: skip
    parts = [
        make_heading("What we do not know"),
        make_pictures((figures.draw_ranges(claims),
                   "How far each number may be from its middle, nine times out of ten.")),
    ]  # fmt: skip
    if movers:
        said = "What the spread of cars a day comes from most, and where the result would stand."
        parts.append(make_table(pd.DataFrame(movers), columns, units, said))
    cautions = tuple(plain_text(text, most=1000) for text in list_cautions(study, units))
    notes = [plain_text(text, most=300).rstrip(".") for text in list_notes(study, units)]
    return (
        *parts,
        make_heading("Cautions"),
        Part(kind="list", items=cautions),
        *((Part(kind="note", text=f"Of the data: {'; '.join(notes)}."),) if notes else ()),
        *_source_parts(study, book, units),
    )


def _list_movers(
    study: Any, claims: Sequence[Claim], book: SourceBook, units: UnitSystem
) -> list[dict[str, str]]:
    """List what moves cars a day most, and the years to pay back with it."""
    if study.worlds.draws < LEAST_DRAWS:
        return []
    by_key = {claim.key: claim for claim in claims}
    cars, pay = by_key["cars"], by_key["pay"]
    years = {
        mover.source + mover.name: mover
        for mover in find_movers(study, pay.draws, pay.step, most=3 * MOST_MOVERS)
    }
    rows = []
    for mover in find_movers(study, cars.draws, cars.step, most=MOST_MOVERS):
        known = say_known(book[mover.source]) if mover.source in book else "estimated"
        known = "estimated" if known == GRADE_WORDS["computed"] else known
        row = {
            "what": mover.name,
            "grade": known,
            "part": say_amount(mover.part, "share", digits=2),
            "cars": _say_ends(mover),
        }
        also = years.get(mover.source + mover.name)
        rows.append({**row, "years": _say_ends(also) if also else "hardly moved"})
    return rows


def _say_ends(mover: Mover) -> str:
    low, high = (say_number(end, digits=2) for end in (mover.at_low, mover.at_high))
    return f"{low}, {high}"


def _source_parts(study: Any, book: SourceBook, units: UnitSystem) -> tuple[Part, ...]:
    trail = [entry for entry in book.trail() if entry.grade != "computed"]
    count = dict.fromkeys(GRADE_WORDS, 0)
    for entry in trail:
        count[entry.grade] += 1
    told = "; ".join(f"{n} {GRADE_WORDS[grade]}" for grade, n in count.items() if n)
    steps = [{"step": step.title, "after": step.source} for step in STEPS.values()]
    half = -(-len(steps) // 2)
    folded = pd.DataFrame(
        [
            {**one, "step_2": two.get("step", ""), "after_2": two.get("after", "")}
            for one, two in zip(steps[:half], [*steps[half:], {}], strict=False)
        ]
    )
    columns: Columns = {"step": ("number", ""), "after": ("made after", ""),
                        "step_2": ("number", ""), "after_2": ("made after", "")}  # fmt: skip
    made = (
        f"Made with site-to-line {capture.__version__}, seed {study.worlds.seed}, "
        f"{study.worlds.draws:,} possible worlds, looking at {study.year}."
    )
    named = ". ".join(plain_text(credit) for credit in list_credits(study.area))
    return (
        make_heading("Where the numbers come from"),
        make_table(folded, columns, units, ""),
        Part(kind="note", text=f"Behind this report stand {len(trail)} inputs: {told}. The study "
             f"file and the workbook list each with its source. {made} {named}."),
    )  # fmt: skip

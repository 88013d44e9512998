"""What opens when a number of the strip is pressed: what went in, how, how sure, what moves it?"""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from capture.basis import UnitSystem
from capture.papers.argument import Claim
from capture.papers.html_table import render_table, say_table
from capture.papers.sources import GRADE_WORDS, Entry, weakest_grade
from capture.papers.why import Why, explain
from capture.papers.withheld import WITHHELD
from capture.papers.words import say_amount, say_spread
from siteapp import engine
from siteapp.text import fill


@st.dialog("Why this number?", width="large")
def show_why(study: Any, claim: Claim, token: str, system: UnitSystem) -> None:
    """Show the account of one claim."""
    book = engine.get_book(study, token)
    why = explain(study, claim, book)
    st.markdown(_headline(why, system), unsafe_allow_html=True)
    st.latex(why.step.equation)
    st.markdown(
        fill('<p class="say">{} <i>{}</i></p>', why.step.sentence, why.step.source),
        unsafe_allow_html=True,
    )
    _show_inputs(why, {entry.id: entry for entry in book.entries()}, system)
    _show_movers(why, system)
    _show_trail(why, system)


def _headline(why: Why, system: UnitSystem) -> str:
    claim = why.claim
    summed = claim.summed
    said = fill('<p class="say"><b>{}</b> {}', claim.said, claim.words)
    if claim.spread:
        said += fill(
            "; nine times out of ten {}, on average {}.",
            say_spread(summed.range, system),
            say_amount(summed.range.mean, claim.unit, system),
        )
    if summed.words:
        said += fill(" {}.", summed.words.capitalize())
    weakest = weakest_grade(why.trail)
    return said + fill(' Weakest input: <span class="grade">{}</span></p>', GRADE_WORDS[weakest])


def _show_inputs(why: Why, entries: dict[str, Entry], system: UnitSystem) -> None:
    rows = [
        {
            "name": name,
            "said": WITHHELD if value is None else say_amount(value, unit, system),
            "grade": GRADE_WORDS[entries[source].grade] if source in entries else "",
            "source": entries[source].title if source in entries else source,
        }
        for name, value, unit, source in why.inputs
    ]
    if rows:
        columns = {"name": ("input", ""), "said": ("value", ""),
                   "grade": ("how sure", ""), "source": ("source", "")}  # fmt: skip
        table = render_table(
            say_table(pd.DataFrame(rows), columns), caption="What went in, step by step"
        )
        st.markdown(table, unsafe_allow_html=True)


def _show_movers(why: Why, system: UnitSystem) -> None:
    if not why.movers:
        return
    unit = why.claim.unit
    rows = [
        {
            "name": mover.name,
            "part": mover.part,
            "low": say_amount(mover.at_low, unit, system),
            "high": say_amount(mover.at_high, unit, system),
        }
        for mover in why.movers
    ]
    columns = {"name": ("input", ""), "part": ("part of the spread", "share"),
               "low": ("when it is low", ""), "high": ("when it is high", "")}  # fmt: skip
    st.markdown(
        render_table(say_table(pd.DataFrame(rows), columns), caption="What would move it most"),
        unsafe_allow_html=True,
    )


def _show_trail(why: Why, system: UnitSystem) -> None:
    with st.expander(f"All {len(why.trail)} sources it stands on"):
        st.markdown(render_trail(why.trail, system), unsafe_allow_html=True)


def render_trail(entries: tuple[Entry, ...] | list[Entry], system: UnitSystem) -> str:
    """Render sources as a table, as HTML."""
    rows = [
        {
            "meaning": entry.meaning or entry.title,
            "value": "" if entry.value is None else say_amount(entry.value, entry.unit, system),
            "grade": GRADE_WORDS[entry.grade],
            "title": " ".join(filter(None, (entry.title, entry.locator)))
            if not entry.id.startswith("step.") else entry.title,
            "id": entry.id,
        }
        for entry in entries
    ]  # fmt: skip
    columns = {"meaning": ("what", ""), "value": ("value used", ""), "grade": ("how sure", ""),
               "title": ("source", ""), "id": ("name", "")}  # fmt: skip
    return render_table(say_table(pd.DataFrame(rows), columns), caption="Sources")

"""What opens when a number of the strip is pressed: what went in, how, how sure, what moves it?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

import pandas as pd
import streamlit as st

from capture.basis import UnitSystem
from capture.papers.accounts import Account, account_for_row, list_accounts
from capture.papers.argument import Claim
from capture.papers.html_table import SaidTable, render_table, say_table
from capture.papers.sources import GRADE_WORDS, Entry, weakest_grade
from capture.papers.why import Why, explain
from capture.papers.withheld import WITHHELD
from capture.papers.words import say_amount, say_spread
from siteapp import engine
from siteapp.text import fill, tell_apart

Ask = Callable[[], Account]


@st.dialog("Why this number?", width="large")
def show_why(study: Any, claim: Claim, token: str, system: UnitSystem) -> None:
    """Show the account of one claim."""
    show_account(study, Account(label=claim.words, claim=claim), token, system)


def start_screen(title: str) -> None:
    """Begin a new list of the tables that a screen shows; the last one stays to be asked about."""
    st.session_state["tables before"] = st.session_state.pop("tables now", {})
    before = st.session_state.get("tables of", ("", ""))[0]
    st.session_state["tables of"] = (title, before)


def remember_table(caption: str, said: SaidTable) -> None:
    """Remember a table of the screen, so that each of its rows can be asked about."""
    st.session_state.setdefault("tables now", {})[caption] = said


@st.dialog("Why any number of this screen?", width="large")
def show_every(study: Any, title: str, token: str, system: UnitSystem) -> None:
    """Let any number of the screen be chosen and show its account."""
    accounts = _gather(study, title, system)
    labels = tell_apart({at: label for at, (label, _) in enumerate(accounts)})
    chosen = st.selectbox(
        "Which number",
        list(labels),
        index=None,
        format_func=labels.__getitem__,
        placeholder="choose, or type a part of its name",
        key=f"every-{title}",
    )
    if chosen is None:
        st.caption(f"{len(labels)} numbers of this screen can be asked about.")
        return
    show_account(study, accounts[chosen][1](), token, system)


def _gather(study: Any, title: str, system: UnitSystem) -> list[tuple[str, Ask]]:
    """Gather every number of a screen: of the argument, with draws of its own, rows of tables."""
    known = list_accounts(study, title, system=system)
    found: list[tuple[str, Ask]] = [(one.label, partial(_same, one)) for one in known]
    own = {one.claim.words.casefold() for one in known}
    for caption, said in _asked(title).items():
        for row in said.rows:
            name, numbers = _split_row(said, row)
            if numbers and name.casefold() not in own:
                ask = partial(account_for_row, study, title, caption, name, numbers, system=system)
                found.append((f"{caption}: {name}: {numbers}", ask))
    return found


def _asked(title: str) -> dict[str, SaidTable]:
    now, before = st.session_state.get("tables of", ("", ""))
    kept = st.session_state.get("tables before", {}) if now == before == title else {}
    return {**kept, **st.session_state.get("tables now", {})}


def _same(account: Account) -> Account:
    return account


def _split_row(said: SaidTable, row: Sequence[str]) -> tuple[str, str]:
    """Split a row into its name and its numbers, each with its heading."""
    words = [cell for cell, number in zip(row, said.is_number, strict=True) if not number and cell]
    numbers = [
        f"{heading} {cell}".strip()
        for heading, cell, number in zip(said.headings, row, said.is_number, strict=True)
        if number and any(sign.isdigit() for sign in cell)
    ]
    return (words[0] if words else row[0]), ", ".join(numbers)


def show_account(study: Any, account: Account, token: str, system: UnitSystem) -> None:
    """Show the account of one number, whether it has draws of its own or not."""
    book = engine.get_book(study, token)
    why = explain(study, account.claim, book)
    said = _say_row(why) if account.instead else _headline(why, system)
    st.markdown(said, unsafe_allow_html=True)
    st.latex(why.step.equation)
    st.markdown(
        fill('<p class="say">{} <i>{}</i></p>', why.step.sentence, why.step.source),
        unsafe_allow_html=True,
    )
    _show_inputs(why, {entry.id: entry for entry in book.entries()}, system)
    _show_movers(why, system, of=account.instead)
    _show_trail(why, system)
    st.page_link(
        "screens/trail.py",
        label="All inputs of this study, the weakest first",
        icon=":material/account_tree:",
    )


def _say_row(why: Why) -> str:
    weakest = GRADE_WORDS[weakest_grade(why.trail)]
    return fill(
        '<p class="say"><b>{}</b>: {}. Weakest input: <span class="grade">{}</span></p>',
        why.claim.words, why.claim.said, weakest,
    )  # fmt: skip


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


def _show_movers(why: Why, system: UnitSystem, *, of: str = "") -> None:
    if not why.movers:
        st.caption("No input that it stands on moves it beyond chance.")
        return
    caption = f"What would move '{of}' most, of all that this stands on" if of else (
        "What would move it most"
    )  # fmt: skip
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
        render_table(say_table(pd.DataFrame(rows), columns), caption=caption),
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

"""What does each column of a file of counts hold, and how is that corrected on the screen?

What was guessed is shown and can be corrected in place; what is unsure is asked.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Final

import pandas as pd
import streamlit as st

from capture.basis import CaptureError, plain_text
from capture.papers.passing_tables import ROLE_WORDS, say_role
from capture.passing.guess import Columns, guess_columns
from capture.passing.load import is_hourly
from capture.passing.reading import read_count_file
from siteapp.text import as_markdown

NOT_USED: Final = "not used"


def read_columns(path: Path, told: Mapping[str, str]) -> tuple[pd.DataFrame, Columns]:
    """Read a file and guess what its columns hold, with what was said of them.

    Raises
    ------
    CaptureError
        When the file cannot be read.
    """
    table, _ = read_count_file(path)
    try:
        return table, guess(table, told)
    except CaptureError:
        return table, guess(table, {})


def edit_roles(table: pd.DataFrame, columns: Columns, *, key: str) -> dict[str, str]:
    """Let the user say what each column holds; returns column -> role, "" for none."""
    others = [taken.role for taken in columns.taken if taken.role]
    words = list(dict.fromkeys([NOT_USED, *ROLE_WORDS.values(), *map(say_role, others)]))
    shown = pd.DataFrame(
        [
            {
                "column": taken.column,
                "taken for": say_role(taken.role) or NOT_USED,
                "first values": _say_first(table[taken.column]),
                "how sure": "" if not taken.role else f"{taken.confidence:.0%}",
                "why": taken.why,
            }
            for taken in columns.taken
        ]
    )
    edited = st.data_editor(
        shown,
        key=key,
        hide_index=True,
        width="stretch",
        disabled=["column", "first values", "how sure", "why"],
        column_config={"taken for": st.column_config.SelectboxColumn(options=words, required=True)},
    )
    back = {said: role for role, said in ROLE_WORDS.items()}
    return {
        str(column): back.get(str(said), "")
        for column, said in zip(edited["column"], edited["taken for"], strict=True)
    }


def _say_first(column: pd.Series) -> str:
    given = column.dropna().head(3)
    return ", ".join(plain_text(str(value), most=24) for value in given)


def guess(table: pd.DataFrame, told: Mapping[str, str]) -> Columns:
    """Guess what the columns of a file hold, whether of averages or of hours."""
    return guess_columns(table, answers=told, hourly=is_hourly(table))


def find_answers(
    table: pd.DataFrame, wanted: Mapping[str, str], told: Mapping[str, str]
) -> dict[str, str]:
    """Return what the user said, role -> heading, from what each column is to hold.

    Parameters
    ----------
    table : DataFrame
        The file as read.
    wanted : mapping of str to str
        Column -> role, "" for none.
    told : mapping of str to str
        Answers so far.
    """
    holds = {role: column for column, role in wanted.items() if role}
    answers = dict(told)
    for _ in ROLE_WORDS:
        found = guess(table, answers)
        roles = {taken.column: taken.role for taken in found.taken if taken.role in ROLE_WORDS}
        wrong = {role for column, role in roles.items() if wanted.get(column, role) != role}
        wrong |= {role for role, column in holds.items() if roles.get(column, "") != role}
        settled = {role: holds.get(role, "") for role in sorted(wrong)}
        if all(answers.get(role) == heading for role, heading in settled.items()):
            break
        answers |= settled
    return answers


def find_twice(wanted: Mapping[str, str]) -> list[str]:
    """Return what more than one column was said to hold, in words."""
    roles = [role for role in wanted.values() if role]
    return sorted({say_role(role) for role in roles if roles.count(role) > 1})


def settle(
    table: pd.DataFrame, columns: Columns, recalled: Mapping[str, str], key: str
) -> dict[str, str]:
    """Ask what is unsure and let the rest be corrected; returns role -> heading."""
    asked: dict[str, str] = {}
    for question in columns.questions:
        options = ["", *(question.options or tuple(taken.column for taken in columns.taken))]
        said = st.selectbox(
            f"Which column holds the {say_role(question.role)}?",
            options,
            format_func=lambda heading: heading or "none of them",
            key=f"ask-{key}-{question.role}",
            help="The headings leave it open; your answer is remembered for files like this.",
        )
        if said:
            asked[question.role] = said
    with st.container():
        st.caption("What each column was taken for; correct it in place.")
        wanted = edit_roles(table, columns, key=f"given-columns-{key}")
    twice = find_twice(wanted)
    if twice:
        st.warning(as_markdown(f"Only one column can hold: {', '.join(twice)}.", most=400))
    return {**find_answers(table, wanted, recalled), **asked}

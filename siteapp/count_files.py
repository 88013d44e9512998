"""How is a file of counts looked at, corrected, and a further one taken in, on the screen?

What each column was taken for is shown and can be corrected; what is unsure is asked, and
the answer is remembered. A new file is shown with all that was done to it before it is used.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
import streamlit as st

from capture.basis import CaptureError, plain_text
from capture.papers.passing_tables import (
    ROLE_WORDS,
    make_column_table,
    make_done_table,
    say_role,
    say_sure,
)
from capture.passing import ColumnMemory, load_counts, tie_counts
from capture.passing.guess import Columns, guess_columns
from capture.passing.load import is_hourly
from capture.passing.reading import read_count_file
from siteapp import count_answers, engine, own_counts
from siteapp.frame import Scene, change, notify, say
from siteapp.own_ties import get_columns
from siteapp.show import show_table
from siteapp.text import as_markdown

NOT_USED: Final = "not used"
_DONE: Final = {
    "file": ("file", ""), "what": ("what", ""), "rows": ("rows", ""), "why": ("why", ""),
    "which": ("rows in the file", ""),
}  # fmt: skip
_COLUMNS: Final = {
    "file": ("file", ""), "column": ("column", ""), "taken_for": ("taken for", ""),
    "sure": ("how sure", ""), "why": ("why", ""),
}  # fmt: skip


def show_files(scene: Scene) -> None:
    """Show what was done with the area's files, and take in a further one."""
    volumes = scene.study.volumes
    if len(volumes.done):
        say(
            "Every row of a file is part of a count or stands in this table with the reason; "
            "nothing vanishes unsaid."
        )
        show_table(
            make_done_table(volumes.done), _DONE, scene, caption="What was done with your files"
        )
        show_table(
            make_column_table(volumes.columns), _COLUMNS, scene,
            caption="What each column was taken for",
        )  # fmt: skip
        for name, question in volumes.questions:
            st.caption(as_markdown(f"Open in {name}: {question.text}", most=400))
        _correct_area(scene)
    else:
        say("This area has no file of counts; every figure is estimated and says so.")
    with st.expander("Use a counts file of your own", icon=":material/upload_file:"):
        _take_in(scene)


def _correct_area(scene: Scene) -> None:
    """Offer to correct what the columns of the area's own file were taken for."""
    layer = scene.study.area.layers.get("counts")
    if layer is None or layer.path is None:
        return
    stamp = engine.area_stamp(scene.inputs.area)
    told = get_columns(scene.inputs, scene.study.area, stamp=stamp) or {}
    with st.expander(f"Correct what a column of {as_markdown(layer.path.name)} was taken for"):
        table, columns = _read(layer.path, told)
        wanted = _edit_roles(
            table, columns, key=f"area-columns-{scene.kept.id}-{scene.kept.revision}"
        )
        answers = find_answers(table, wanted, told)
        if answers == told:
            st.caption("Change what a column was taken for; it is checked before it is used.")
        elif st.button("Read the file this way", type="primary"):
            _save_columns(scene, layer, columns, answers)
        if told and st.button("Go back to what was guessed", icon=":material/undo:"):
            change("columns of the counts file as guessed", columns={})
            st.rerun()


def _read(path: Path, told: Mapping[str, str]) -> tuple[pd.DataFrame, Columns]:
    table, _ = read_count_file(path)
    try:
        return table, guess(table, told)
    except CaptureError:
        return table, guess(table, {})


def _edit_roles(table: pd.DataFrame, columns: Columns, *, key: str) -> dict[str, str]:
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


def _find_twice(wanted: Mapping[str, str]) -> list[str]:
    roles = [role for role in wanted.values() if role]
    return sorted({say_role(role) for role in roles if roles.count(role) > 1})


def _save_columns(scene: Scene, layer: Any, columns: Columns, answers: dict[str, str]) -> None:
    study = scene.study
    try:
        load_counts(
            layer.path,
            study_year=study.volumes.study_year,
            extent=_extent(study.place),
            crs=layer.options.get("crs"),
            answers=answers,
            defaults=layer.options,
            values=study.numbers["passing"],
        )
    except CaptureError as error:
        st.warning(as_markdown(error, most=600), icon=":material/warning:")
        return
    ColumnMemory(count_answers.column_memory()).remember(columns.signature, answers)
    change("columns of the counts file corrected", columns=answers)
    st.rerun()


def _extent(place: Any) -> tuple[float, float, float, float]:
    lat, lon = place.network.node_lat, place.network.node_lon
    return float(lat.min()), float(lon.min()), float(lat.max()), float(lon.max())


def _take_in(scene: Scene) -> None:
    """Take in a further file step by step: give it, check it, use it."""
    say(
        "<b>1.</b> Give a table or map of counts. <b>2.</b> Look at what each column was taken for "
        "and what was done with the rows. <b>3.</b> Use it: a copy of this area is made that "
        "holds it, and the area itself stays as it is."
    )
    given = st.file_uploader(
        "Counts file", type=list(own_counts.ENDINGS), key=f"own-counts-{scene.inputs.area}"
    )
    if given is None:
        return
    space = engine.open_workspace().path.parent
    try:
        path = own_counts.keep_given(space / "given", given.name, given.getvalue())
        table, _ = read_count_file(path)
        memory = ColumnMemory(count_answers.column_memory())
        first = guess(table, {})
        recalled = memory.recall(first.signature)
        columns = guess(table, recalled)
    except CaptureError as error:
        st.error(as_markdown(error, most=600), icon=":material/error:")
        return
    if recalled:
        st.caption("You were asked about a file with these columns before; it was remembered.")
    answers = _settle(table, columns, recalled, path.name)
    open_ = [q.role for q in columns.questions if q.needed and not answers.get(q.role)]
    if open_ and not columns.hours:
        said = ", ".join(say_role(role) for role in open_)
        st.info(as_markdown(f"Say which column holds the {said}; then the file is read."))
        return
    _check_and_use(scene, path, given.name, answers, columns.signature)


def _settle(
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
        wanted = _edit_roles(table, columns, key=f"given-columns-{key}")
    twice = _find_twice(wanted)
    if twice:
        st.warning(as_markdown(f"Only one column can hold: {', '.join(twice)}.", most=400))
    return {**find_answers(table, wanted, recalled), **asked}


def _check_and_use(
    scene: Scene, path: Path, called: str, answers: dict[str, str], signature: str
) -> None:
    study = scene.study
    try:
        file = load_counts(
            path,
            study_year=study.volumes.study_year,
            name=called,
            extent=_extent(study.place),
            answers=answers,
            values=study.numbers["passing"],
        )
    except CaptureError as error:
        st.error(as_markdown(error, most=800), icon=":material/error:")
        return
    columns = {name: told for name, told in _DONE.items() if name != "file"}
    show_table(make_done_table(file.done), columns, scene, caption="What was done with your file")
    _show_ties(scene, file)
    beside = False
    if study.area.layers.get("counts") is not None:
        ways = ["beside the counts that are there", "in place of them"]
        beside = st.radio("Where they go", ways, horizontal=True) == ways[0]
    if not st.button("Use these counts", type="primary", icon=":material/check:"):
        return
    if answers:
        ColumnMemory(count_answers.column_memory()).remember(signature, answers)
    space = engine.open_workspace().path.parent
    try:
        made = own_counts.add_counts(
            study.area, space / "areas", path, called=called, beside=beside, answers=answers,
            signature=signature,
        )  # fmt: skip
    except CaptureError as error:
        st.error(as_markdown(error, most=600), icon=":material/error:")
        return
    change(f"counts file {called} taken in", area=str(made), columns={})
    notify("done", f"{len(file.counts)} counts taken in")
    st.rerun()


def _show_ties(scene: Scene, file: Any) -> None:
    """Show to which road each count of a file would be tied."""
    ties = tie_counts(scene.study.place.network, file.counts, values=scene.study.numbers["passing"])
    told = pd.DataFrame(
        {
            "station": file.counts["station"].to_numpy(),
            "road": file.counts["road"].to_numpy(),
            "vehicles": file.counts["vehicles_per_day"].to_numpy(dtype=float),
            "year": [
                f"{year:.0f}" if np.isfinite(year) else "not given"
                for year in file.counts["year"].astype(float)
            ],
            "story": file.counts["story"].to_numpy(),
            "tied_to": [name or "no road" for name in ties["tied_to"]],
            "sure": [
                say_sure(float(score)) if g >= 0 else why
                for score, g, why in zip(ties["score"], ties["segment"], ties["why"], strict=True)
            ],
        }
    )
    show_table(
        told,
        {
            "station": ("count", ""), "road": ("road in the file", ""),
            "vehicles": ("vehicles a day", "count"), "year": ("year", ""),
            "story": ("how it was read", ""), "tied_to": ("road on the map", ""),
            "sure": ("how sure", ""),
        },
        scene,
        caption=f"The {len(told)} counts of the file and the road that each would be tied to",
        most=60,
    )  # fmt: skip

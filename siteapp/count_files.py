"""What was done with an area's files of counts, and how is what was guessed of them corrected?

Every counts file of the area is shown with what each of its columns was taken for; each can
be corrected, and what is said of one file never slips to another.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import streamlit as st

from capture.basis import CaptureError
from capture.papers.passing_tables import make_column_table, make_done_table
from capture.passing import ColumnMemory, load_counts
from capture.passing.layers import CountSource, list_count_files
from siteapp import count_answers
from siteapp.count_columns import edit_roles, find_answers, find_twice, read_columns
from siteapp.count_taking import DONE_COLUMNS, Desk, open_desk, take_in
from siteapp.frame import Scene, change, say
from siteapp.own_ties import name_files
from siteapp.show import show_table
from siteapp.text import as_markdown, tell_apart

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
            make_done_table(volumes.done), DONE_COLUMNS, scene,
            caption="What was done with your files",
        )  # fmt: skip
        show_table(
            make_column_table(volumes.columns), _COLUMNS, scene,
            caption="What each column was taken for",
        )  # fmt: skip
        for name, question in volumes.questions:
            st.caption(as_markdown(f"Open in {name}: {question.text}", most=400))
        _correct(open_desk(scene))
    else:
        say("This area has no file of counts; every figure is estimated and says so.")
    take_in(open_desk(scene))


def _correct(desk: Desk) -> None:
    """Offer to correct what the columns of one of the area's files were taken for."""
    files = {file.name: file for file in list_count_files(desk.area)}
    if not files:
        return
    with st.expander("Correct what a column was taken for", icon=":material/edit:"):
        name = next(iter(files))
        if len(files) > 1:
            name = st.selectbox("File of counts", list(tell_apart({n: n for n in files})))
        _correct_file(desk, files[str(name)])


def _correct_file(desk: Desk, file: CountSource) -> None:
    scene = desk.scene
    said = name_files(scene.inputs.columns, desk.area).get(file.name, {})
    told = {**file.columns, **said}
    table, columns = read_columns(file.path, told)
    wanted = edit_roles(
        table, columns, key=f"area-columns-{file.name}-{scene.kept.id}-{scene.kept.revision}"
    )
    twice = find_twice(wanted)
    answers = find_answers(table, wanted, told)
    if twice:
        st.warning(as_markdown(f"Only one column can hold: {', '.join(twice)}.", most=400))
    elif answers == told:
        st.caption("Change what a column was taken for, and the file is read that way.")
    elif st.button("Read the file this way", type="primary"):
        _save(desk, file, columns.signature, answers)
    if said and st.button("Go back to what was guessed", icon=":material/undo:"):
        _change(desk, file, {}, f"columns of {file.name} as guessed")


def _save(desk: Desk, file: CountSource, signature: str, answers: dict[str, str]) -> None:
    try:
        load_counts(
            file.path,
            study_year=desk.year,
            extent=desk.extent,
            crs=file.options.get("crs"),
            answers=answers,
            hourly=True if file.kind == "hourly_counts" else None,
            defaults=file.options,
            values=desk.values,
        )
    except CaptureError as error:
        st.warning(as_markdown(error, most=600), icon=":material/warning:")
        return
    ColumnMemory(count_answers.column_memory()).remember(signature, answers)
    _change(desk, file, answers, f"columns of {file.name} corrected")


def _change(desk: Desk, file: CountSource, answers: Mapping[str, str], said: str) -> None:
    kept: dict[str, Any] = name_files(desk.scene.inputs.columns, desk.area)
    kept = {name: told for name, told in kept.items() if name != file.name}
    change(said, columns={**kept, file.name: dict(answers)} if answers else kept)
    st.rerun()

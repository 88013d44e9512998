"""How does a user give washes with known cars, and see what each of them does?

Rows are pasted, uploaded or typed; what was done to them is told line by line. A row can
be left out of the fit with one press, and the range is shown before and after.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import pandas as pd
import streamlit as st

from capture.basis import CaptureError, DataError
from capture.papers.known_rows import (
    TEMPLATE,
    clean_rows,
    make_own_table,
    make_read_table,
    merge_rows,
    say_column,
)
from capture.papers.share_tables import say_ladder
from capture.share import read_pasted, take_in
from siteapp import share_answers
from siteapp.frame import Scene, change, say
from siteapp.share_charts import draw_ranges
from siteapp.show import keep_in_step, show_table
from siteapp.text import as_markdown, say_withheld

MOST_BYTES: Final = 5_000_000


def show_known(scene: Scene) -> None:
    """Show the known sites, what each does, and the inputs for one's own."""
    if scene.hidden:
        say("{}", say_withheld("washes with known cars"))
        return
    try:
        joined = share_answers.get_joined(scene.inputs)
    except CaptureError as error:
        st.error(as_markdown(error, most=800), icon=":material/error:")
        return
    own, left = len(joined.own), len(joined.left_out)
    say(
        "<b>{} known sites</b>: {} of the area and {} of your own; {} left out of the fit.",
        len(joined.everyone),
        len(joined.everyone) - own,
        own,
        left or "none",
    )
    _show_ladder(scene)
    _show_influence(scene, joined)
    st.subheader("Your own sites", anchor=False)
    _show_notes(scene, joined)
    _edit_rows(scene)
    _take_more(scene)
    if own:
        _show_read(scene, joined)


def mend_known(scene: Scene) -> None:
    """Let own rows be mended where a fault of theirs keeps the study from being made."""
    if not scene.inputs.known or scene.hidden:
        return
    st.subheader("Your own sites", anchor=False)
    try:
        share_answers.get_joined(scene.inputs)
    except CaptureError as error:
        say("Nothing can be shown until this is mended: {}.", str(error))
    _edit_rows(scene)


def _show_ladder(scene: Scene) -> None:
    ladder = share_answers.get_share("ladder", scene.inputs)
    st.altair_chart(
        draw_ranges(ladder, title="share washed at this site, %", scale=100.0, digits=2),
        width="stretch",
    )
    said = say_ladder(ladder) if len(ladder) > 1 else "No known sites were given yet."
    st.caption(as_markdown(f"This site's share with more and fewer known sites. {said}", most=500))


def _show_influence(scene: Scene, joined: Any) -> None:
    st.subheader("What each known site does", anchor=False)
    try:
        table = share_answers.get_share("influence", scene.inputs)
    except CaptureError as error:
        say("What each row does cannot be said: {}.", str(error))
        _choose_left_out(scene, joined)
        return
    odd = table[table["outlier"]]
    if len(odd):
        say(
            "{} far outside what the others tell: <b>{}</b>. Check its figures before you leave "
            "it out.",
            "One row lies" if len(odd) == 1 else f"{len(odd)} rows lie",
            ", ".join(odd["id"]),
        )
    else:
        say("No row lies far outside what the others tell of it.")
    names = list(dict.fromkeys([*odd["id"], *table["id"].head(3)]))[:5]
    with st.container(horizontal=True):
        for name in names:
            st.button(
                as_markdown(f"Leave {name} out", most=60),
                key=f"out-{name}-{scene.kept.revision}",
                icon=":material/remove:",
                on_click=_leave(scene, [*joined.left_out, name], f"{name} left out of the fit"),
            )
    _choose_left_out(scene, joined)
    with st.expander(f"All {len(table)} rows by how far each moves the share"):
        kinds = ["outlier" if far else "" for far in table["outlier"]]
        show_table(
            table.assign(kind=kinds),
            {
                "id": ("site", ""),
                "town": ("town", ""),
                "whose": ("whose", ""),
                "share": ("washed", "share"),
                "told_share": ("the others tell", "share"),
                "moves_share": ("leaving it out moves the share by", "share"),
                "moves": ("moves most", ""),
                "kind": ("", ""),
            },
            scene,
            caption="Known sites by how far leaving each out would move the typical share",
        )


def _choose_left_out(scene: Scene, joined: Any) -> None:
    key = f"left-out-{scene.kept.id}"
    keep_in_step(key, list(joined.left_out))

    def choose() -> None:
        _leave(scene, st.session_state[key], "choice of known sites changed")()

    st.multiselect(
        "Left out of the fit",
        list(joined.everyone.ids),
        key=key,
        placeholder="none",
        on_change=choose,
    )


def _leave(scene: Scene, names: list[str], said: str) -> Callable[[], None]:
    def save() -> None:
        new = list(dict.fromkeys(map(str, names)))
        try:
            share_answers.get_joined(scene.inputs.change(left_out=new))
        except CaptureError as error:
            st.session_state["notice"] = ("warning", str(error))
            return
        change(said, left_out=new)

    return save


def _show_notes(scene: Scene, joined: Any) -> None:
    told = [*st.session_state.get(f"intake-{scene.kept.id}", ()), *joined.notes]
    notes = list(dict.fromkeys(told))
    if notes:
        with st.expander(f"What was done to your rows: {len(notes)} notes", expanded=True):
            for note in notes:
                st.caption(as_markdown(note[:1].upper() + note[1:] + ".", most=400))


def _edit_rows(scene: Scene) -> None:
    rows = list(scene.inputs.known)
    table = make_own_table(rows)
    st.caption(
        "One row a wash. Cars a year are needed; vehicles passing too, unless latitude and "
        "longitude stand on this area's map, from which every empty cell is then measured."
    )
    edited = st.data_editor(
        table,
        key=f"own-{scene.kept.id}-{scene.kept.revision}",
        width="stretch",
        num_rows="dynamic",
        column_config={
            name: st.column_config.TextColumn(say_column(name)) for name in table.columns
        },
    )
    _save(scene, lambda: clean_rows(edited), "own sites changed")


def _show_read(scene: Scene, joined: Any) -> None:
    with st.expander("Your rows as the fit reads them"):
        show_table(
            make_read_table(joined),
            {
                "id": ("site", ""),
                "cars_per_year": ("cars a year", "count"),
                "vehicles_per_day": ("vehicles a day", "count"),
                "share": ("washed", "share"),
                "delay_s": ("delay", "s"),
                "sight": ("seen in time", "share"),
                "pull": ("pull of rivals", "1"),
                "passed_first_share": ("rival passed first", "share"),
                "people_10min": ("people near", "count"),
                "line": ("line", ""),
            },
            scene,
            caption="Your sites, given or measured on the map",
        )


def _save(scene: Scene, read: Callable[[], list[dict[str, str]]], said: str) -> None:
    try:
        rows = read()
        if rows == scene.inputs.known:
            return
        share_answers.get_joined(scene.inputs.change(known=rows))
    except CaptureError as error:
        st.warning(as_markdown(error, most=800), icon=":material/warning:")
        return
    change(said, known=rows)
    st.rerun()


def _take_more(scene: Scene) -> None:
    left, right = st.columns(2)
    with left, st.form(f"paste-{scene.kept.id}-{scene.kept.revision}"):
        text = st.text_area(
            "Paste a table",
            placeholder="site, cars, aadt, operator\nOak Street, 90000, 25000, my company",
            height=150,
            help="Headings first; commas, semicolons or tabs. Cars may stand by month, in columns "
            "jan to dec or in rows with a column month.",
        )
        if st.form_submit_button("Take these rows in") and text.strip():
            _take(scene, lambda: read_pasted(text), "own sites pasted")
    with right:
        given = st.file_uploader(
            "Or give a CSV file",
            type=["csv", "txt"],
            key=f"own-file-{scene.kept.id}-{scene.kept.revision}",
        )
        if given is not None:
            _take(scene, lambda: read_pasted(_decode(given)), "own sites from a file")
        st.download_button(
            "Empty table to fill in",
            ",".join(TEMPLATE) + "\n",
            "known_sites.csv",
            "text/csv",
            icon=":material/download:",
        )


def _decode(given: Any) -> str:
    if given.size > MOST_BYTES:
        raise DataError("the file must be under 5 MB; is it another file?")
    content = bytes(given.getvalue())
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def _take(scene: Scene, read: Callable[[], pd.DataFrame], said: str) -> None:
    notes: list[str] = []

    def rows() -> list[dict[str, str]]:
        table = read()
        notes.extend(take_in(table).notes)
        taken = merge_rows(scene.inputs.known, clean_rows(table))
        st.session_state[f"intake-{scene.kept.id}"] = tuple(notes)
        return taken

    _save(scene, rows, said)

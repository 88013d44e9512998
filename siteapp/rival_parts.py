"""How are rivals changed on the map, by form and in the table, and each change undone?

A change is a plain mapping such as ``{"do": "add", "lat": .., "lon": ..}``; the list of
them, in their order, is all that is kept.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import pandas as pd
import streamlit as st

from capture.around import RIVAL_FORMATS
from capture.basis import CaptureError, InputError
from capture.papers.own_rivals import find_own_rivals
from capture.papers.rival_tables import NO_NAME, say_format
from capture.papers.words import say_amount
from siteapp import share_answers
from siteapp.frame import Scene, change, say
from siteapp.text import as_markdown

Edit = dict[str, Any]

MOST_EDITS: Final = 400
STATUSES: Final = ("open", "planned", "closed")
#: field of a change -> (column of the table, what it is called)
FIELDS: Final[Mapping[str, str]] = {
    "name": "name",
    "format": "kind",
    "status": "status",
    "bays": "bays",
    "price_usd": "single wash, $",
    "open_hours_day": "hours a day",
    "opened": "opened, year",
    "closed": "closed, year",
}


def add_edit(edits: Sequence[Edit], edit: Edit) -> list[Edit]:
    """Return the changes with one more; two changes of one rival in a row become one."""
    made = [dict(each) for each in edits]
    last = made[-1] if made else {}
    if edit.get("do") == "change" and last.get("id") == edit["id"] and last["do"] != "remove":
        made[-1] = {**last, **edit, "do": last["do"]}
        return made
    return [*made, dict(edit)]


def drop_edit(edits: Sequence[Edit], place: int) -> list[Edit]:
    """Return the changes without one; what was done later to a wash it added goes with it."""
    gone = edits[place]
    later = [
        each
        for each in edits[place + 1 :]
        if not (gone.get("do") == "add" and each.get("id") == gone.get("id"))
    ]
    return [dict(each) for each in (*edits[:place], *later)]


def free_id(taken: Sequence[str], edits: Sequence[Edit]) -> str:
    """Return an id for one more wash that neither the list nor any change uses."""
    used = {*taken, *(str(each.get("id", "")) for each in edits)}
    return next(name for name in (f"hand{n}" for n in range(1, 10_000)) if name not in used)


def say_edit(edit: Edit, names: Mapping[str, str]) -> str:
    """Say a change in words; the words are not escaped.

    Examples
    --------
    >>> say_edit({"do": "change", "id": "W1", "format": "in_bay"}, {"W1": "Oak"})
    'Oak: kind in-bay automatic'
    """
    known = str(edit.get("id", ""))
    called = str(edit.get("name") or names.get(known) or known)
    if edit.get("do") == "add":
        kind = say_format(str(edit.get("format", "unknown")))
        return f"{called}: added, {kind}"
    if edit.get("do") == "remove":
        return f"{called}: taken out"
    told = ["moved"] if "lat" in edit else []
    told += [
        f"{FIELDS[field]} {say_format(str(edit[field])) if field == 'format' else edit[field]}"
        for field in FIELDS
        if field in edit
    ]
    return f"{names.get(known) or known}: {', '.join(told)}"


def save_edits(scene: Scene, edits: list[Edit], said: str) -> None:
    """Keep the changes if the library takes them, else say why not."""
    try:
        if len(edits) > MOST_EDITS:
            raise InputError(f"at most {MOST_EDITS} changes are kept; give a file of rivals")
        share_answers.check_rivals(scene.inputs.change(rivals=edits))
    except CaptureError as error:
        st.session_state["notice"] = ("warning", str(error))
    else:
        change(said, rivals=edits)
    st.rerun()


def rival_frame(rivals: Any) -> pd.DataFrame:
    """Return the list of rivals as a table to edit, one row a wash, by id."""
    return pd.DataFrame(
        {
            "name": list(rivals.names),
            "format": [say_format(name) for name in rivals.formats],
            "status": list(rivals.status),
            "bays": rivals.bays,
            "price_usd": rivals.price_usd,
            "open_hours_day": rivals.open_hours_day,
            "opened": rivals.opened,
            "closed": rivals.closed,
        },
        index=pd.Index(rivals.ids, name="id"),
    )


def find_edits(before: pd.DataFrame, after: pd.DataFrame) -> list[Edit]:
    """Return what was changed in the table; an emptied number changes nothing."""
    kinds = {say_format(name): name for name in RIVAL_FORMATS}
    edits: list[Edit] = [
        {"do": "remove", "id": str(name)} for name in before.index if name not in after.index
    ]
    for name in (each for each in before.index if each in after.index):
        told: Edit = {}
        for field in before.columns:
            old: Any = before.at[name, field]
            new: Any = after.at[name, field]
            if pd.isna(new) or old == new:
                continue
            if field == "format":
                new = kinds[str(new)]
            told[str(field)] = new if isinstance(new, str) else float(new)
        if told:
            edits.append({"do": "change", "id": str(name), **told})
    return edits


def rivals_editor(scene: Scene, rivals: Any) -> None:
    """Show the list of rivals as a table that can be changed in place."""
    table = rival_frame(rivals)
    words = [say_format(name) for name in RIVAL_FORMATS]
    number = st.column_config.NumberColumn
    edited = st.data_editor(
        table,
        key=f"rival-table-{scene.kept.id}-{scene.kept.revision}",
        width="stretch",
        hide_index=True,
        column_config={
            "name": st.column_config.TextColumn(FIELDS["name"], max_chars=80),
            "format": st.column_config.SelectboxColumn(
                FIELDS["format"], options=words, required=True
            ),
            "status": st.column_config.SelectboxColumn(
                FIELDS["status"], options=list(STATUSES), required=True
            ),
            "bays": number(FIELDS["bays"], min_value=1, max_value=100, step=1),
            "price_usd": number(FIELDS["price_usd"], min_value=0.01, max_value=1000.0),
            "open_hours_day": number(FIELDS["open_hours_day"], min_value=0.1, max_value=24.0),
            "opened": number(FIELDS["opened"], min_value=1900.0, max_value=2100.0, format="%.1f"),
            "closed": number(FIELDS["closed"], min_value=1900.0, max_value=2100.0, format="%.1f"),
        },
    )
    found = find_edits(table, edited)
    if found:
        edits = list(scene.inputs.rivals)
        for edit in found:
            edits = add_edit(edits, edit)
        names = dict(zip(rivals.ids, rivals.names, strict=True))
        save_edits(scene, edits, f"rival {say_edit(found[0], names)}")


def list_changes(scene: Scene, rivals: Any, *, is_open: bool = False) -> None:
    """Show every change of the list, each with a button that takes it back.

    ``rivals`` is None where a change keeps the list from being made.
    """
    edits = list(scene.inputs.rivals)
    if not edits:
        return
    names = {} if rivals is None else dict(zip(rivals.ids, rivals.names, strict=True))
    names |= {str(e["id"]): str(e["name"]) for e in edits if e.get("do") == "add" and "name" in e}
    with st.expander(f"Changes you made to the list: {len(edits)}. Take any of them back", is_open):
        for place in range(len(edits) - 1, -1, -1):
            said = say_edit(edits[place], names)
            if st.button(
                as_markdown(f"Take back: {said}"),
                key=f"back-{place}-{scene.kept.revision}",
                icon=":material/undo:",
            ):
                save_edits(scene, drop_edit(edits, place), f"taken back, {said}")
        if len(edits) > 1 and st.button("Take all of them back", icon=":material/restart_alt:"):
            save_edits(scene, [], "all changes of rivals taken back")


def propose_own(scene: Scene, rivals: Any) -> None:
    """Offer to take out of the list what is the operator's own wash."""
    if not scene.inputs.known or scene.hidden:
        return
    try:
        spots = share_answers.get_joined(scene.inputs).spots
    except CaptureError:  # said on the screen where own washes are given
        return
    for one in find_own_rivals(rivals, scene.study.place, spots):
        with st.container(border=True):
            say(
                "Your own wash <b>{}</b> stands in this list as <b>{}</b>, {} from it, and so "
                "counts as a rival of this site.",
                one.own,
                name_of(rivals, one.rival_id),
                say_amount(one.apart_m, "m", scene.system, digits=2),
            )
            if st.button(
                "It is mine: take it out of the list",
                icon=":material/delete:",
                key=f"own-{one.rival_id}-{scene.kept.revision}",
            ):
                edit = {"do": "remove", "id": one.rival_id}
                said = f"own wash {one.own} taken out of the rivals"
                save_edits(scene, add_edit(scene.inputs.rivals, edit), said)


def read_spot(text: str) -> tuple[float, float] | None:
    """Read a latitude and a longitude; None when it is not two numbers.

    Examples
    --------
    >>> read_spot("40.5, -98"), read_spot("here")
    ((40.5, -98.0), None)
    """
    parts = text.replace(" ", "").split(",")
    try:
        lat, lon = (float(part) for part in parts)
    except ValueError:
        return None
    return lat, lon


def name_of(rivals: Any, rival_id: str) -> str:
    """Return a rival's name, or what it is called without one."""
    return str(rivals.names[rivals.find(rival_id)]) or NO_NAME

"""How are dated notes on roads, such as road works, kept with a study on the screen?

A note says on which road or around which place, from when to when, and how many vehicles
pass meanwhile. It can be added, edited and struck; each change can be undone.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any, Final

import streamlit as st

from capture.basis import convert_in, convert_out
from capture.papers.marks import drop_empty
from capture.papers.passing_layers import make_placed_layer
from capture.papers.passing_tables import make_note_table
from siteapp.count_places import read_spot
from siteapp.frame import Scene, change, notify, say
from siteapp.own_notes import STRUCK, check_note, name_note, put_note, strike_note
from siteapp.show import show_map, show_table
from siteapp.text import as_markdown, tell_apart

_WHERE: Final = {"road": "a road", "place": "around a place"}
_COLUMNS: Final = {
    "road": ("road", ""), "why": ("what happens", ""), "starts": ("from", ""), "ends": ("to", ""),
    "factor": ("vehicles meanwhile, times", "1"), "low": ("at least", "1"),
    "high": ("at most", "1"), "year_share": ("part of {}", "share"),
    "year_factor": ("mean day of {}, times", "1"), "streams": ("changes", ""),
}  # fmt: skip
#: settings of the form of a note that is new
_NEW: Final = {"factor": 0.7, "why": "", "reach_m": 500.0}


def show_notes(scene: Scene) -> None:
    """Show dated notes with whom each touches, and let the study's own be changed."""
    study = scene.study
    year = study.volumes.study_year
    rows = make_note_table(
        study.area, study.streams, study_year=year, notes=study.chain.request.notes
    )
    if len(rows):
        say(
            "A note counts for its part of the year: half the vehicles for half of {} are three "
            "quarters of its mean day. Its own range widens the stream's.",
            year,
        )
        columns = {name: (words.format(year), unit) for name, (words, unit) in _COLUMNS.items()}
        show_table(
            rows, columns, scene,
            caption="Road works and other dated changes, counted for their part of the year",
        )  # fmt: skip
    else:
        say("No road works or other dated changes are noted on this area's roads.")
    _show_own(scene)


def _show_own(scene: Scene) -> None:
    notes = scene.inputs.notes
    names = tell_apart({
        at: name_note(row) + (" (struck)" if row.get(STRUCK) else "")
        for at, row in enumerate(notes)
    })  # fmt: skip
    key = f"note-chosen-{scene.kept.id}-{len(notes)}"
    chosen = st.selectbox(
        "A note of your own", [-1, *names],
        format_func=lambda at: names[at] if at >= 0 else "a new one", key=key,
    )  # fmt: skip
    at = None if chosen < 0 else int(chosen)
    if at is not None:
        struck = bool(notes[at].get(STRUCK))
        words = "Bring it back" if struck else "Strike it"
        icon = ":material/undo:" if struck else ":material/strikethrough_s:"
        if st.button(words, icon=icon, help="A struck note stays listed and changes nothing."):
            _save(scene, strike_note(notes, at, struck=not struck), f"road note: {words.lower()}")
    row = _NEW if at is None else notes[at]
    _edit(scene, row, at)


def _edit(scene: Scene, row: Mapping[str, Any], at: int | None) -> None:
    tag = f"{scene.kept.id}-{'new' if at is None else at}-{scene.kept.revision}-{scene.system}"
    where = st.radio(
        "Where", list(_WHERE), format_func=_WHERE.get, horizontal=True, key=f"note-where-{tag}",
        index=int("lat" in row),
    )  # fmt: skip
    made: dict[str, Any] = (
        _ask_road(scene, row, tag) if where == "road" else _ask_place(scene, row, tag)
    )
    left, right = st.columns(2)
    with left:
        made["starts"] = _ask_day("First day", row.get("starts"), f"note-starts-{tag}")
        share = st.number_input(
            "Vehicles meanwhile, % of the usual", 1.0, 500.0,
            round(100 * float(row.get("factor", 0.7)), 4), 5.0, key=f"note-factor-{tag}",
        )  # fmt: skip
        made["factor"] = round(share / 100, 6)
    with right:
        for_good = st.checkbox(
            "For good, such as a road that is closed", value=at is not None and "ends" not in row,
            key=f"note-good-{tag}",
        )  # fmt: skip
        if not for_good:
            made["ends"] = _ask_day("Last day", row.get("ends"), f"note-ends-{tag}", later=True)
        made |= _ask_range(row, tag)
    made["why"] = st.text_input(
        "What happens", str(row.get("why", "")), max_chars=200, key=f"note-why-{tag}",
        placeholder="one lane shut for a new water main",
    ).strip()  # fmt: skip
    _offer_save(scene, row, made, at, tag)


def _ask_road(scene: Scene, row: Mapping[str, Any], tag: str) -> dict[str, Any]:
    streams = scene.study.streams
    past = [str(name) for name in dict.fromkeys(streams.road) if name]
    named = {str(name) for name in scene.study.place.network.segment_name if name}
    own = str(row.get("road", ""))
    roads = list(dict.fromkeys([*([own] if own else []), *past, *sorted(named)]))
    road = st.selectbox(
        "Road, those past the site first", roads, key=f"note-road-{tag}",
        help="The note holds on the whole of the road.",
    )  # fmt: skip
    return {"road": str(road)} if road else {}


def _ask_place(scene: Scene, row: Mapping[str, Any], tag: str) -> dict[str, Any]:
    sites = scene.study.sites
    spot = {"lat": float(sites.lat[0]), "lon": float(sites.lon[0])}
    if "lat" in row:
        spot = {"lat": float(row["lat"]), "lon": float(row["lon"])}
    key = f"note-spot-{tag}"
    st.session_state.setdefault(key, f"{spot['lat']:.6f}, {spot['lon']:.6f}")
    clicked = st.session_state.pop(f"clicked-{key}", None)
    if clicked:
        st.session_state[key] = clicked
    typed = st.text_input("Latitude, longitude, or click the map", key=key)
    shown, name = convert_out(float(row.get("reach_m", 500.0)), "m", scene.system)
    reach = st.number_input(
        f"How far around it holds, {name}", 1.0, 1e6, round(shown, 1), 50.0,
        key=f"note-reach-{tag}",
    )  # fmt: skip

    def click(lat: float, lon: float) -> None:
        st.session_state[f"clicked-{key}"] = f"{lat:.6f}, {lon:.6f}"
        st.rerun()

    read = read_spot(typed)
    layer = make_placed_layer({"the note": read} if read else {}, words="where the note holds")
    centre = (read or spot)["lat"], (read or spot)["lon"]
    show_map(
        scene, drop_empty((layer,)), key=f"note-map-{scene.kept.id}", centre=centre, zoom=15,
        height=320, on_click=click,
    )  # fmt: skip
    metres = convert_in(reach, "m", scene.system)
    return {**(read or {}), "reach_m": round(metres, 3)}


def _ask_day(label: str, told: Any, key: str, *, later: bool = False) -> str:
    day = datetime.datetime.now(tz=datetime.UTC).date()
    try:
        day = datetime.date.fromisoformat(str(told))
    except ValueError:
        day = day + datetime.timedelta(days=180 if later else 0)
    picked = st.date_input(
        label, day, key=key, format="YYYY-MM-DD",
        min_value=datetime.date(1990, 1, 1), max_value=datetime.date(2100, 12, 31),
    )  # fmt: skip
    return picked.isoformat() if isinstance(picked, datetime.date) else ""


def _ask_range(row: Mapping[str, Any], tag: str) -> dict[str, float]:
    told = {}
    columns = st.columns(2)
    for column, name, label in zip(columns, ("low", "high"), ("At least, %", "At most, %"),
                                   strict=True):  # fmt: skip
        with column:
            held = row.get(name)
            said = st.number_input(
                label, 0.0, 1000.0, 0.0 if held is None else round(100 * float(held), 4), 5.0,
                key=f"note-{name}-{tag}",
                help="Nine times out of ten; 0 takes a fifth of the change to either side.",
            )  # fmt: skip
            if said:
                told[name] = round(said / 100, 6)
    return told


def _offer_save(
    scene: Scene, row: Mapping[str, Any], made: dict[str, Any], at: int | None, tag: str
) -> None:
    fault = check_note(made) if made["why"] else "Say what happens in a few words."
    if not fault:
        from capture.passing.works import read_notes

        year = scene.study.volumes.study_year
        st.caption(as_markdown(read_notes([made])[0].describe(year) + ".", most=400))
    pressed = st.button(
        "Add this note" if at is None else "Keep this change",
        type="primary", icon=":material/check:", key=f"note-save-{tag}",
    )  # fmt: skip
    if not pressed:
        return
    if fault:
        st.warning(as_markdown(fault, most=500), icon=":material/warning:")
        return
    if row.get(STRUCK):
        made[STRUCK] = True
    _save(scene, put_note(scene.inputs.notes, made, at), f"road note: {name_note(made)}")


def _save(scene: Scene, notes: list[Any], said: str) -> None:
    change(said, notes=notes)
    notify("done", said[:1].upper() + said[1:])
    st.rerun()

"""How does someone make an area of their own on the screen, in three steps?

Roads first, from a file or fetched by the name of a place or a box; then counts; then rivals
and what else is known. Each step leaves an area that can be used; what is missing is
estimated and says so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import streamlit as st

from capture.area import LAYER_KINDS
from capture.basis import CaptureError
from siteapp import count_taking, engine, jobs, own_area
from siteapp.frame import Scene, change, notify, say
from siteapp.text import as_markdown

#: settings of the workspace under which addresses of services are kept
SERVER: Final = "roads server"
GEOCODER: Final = "place names server"
WAYS: Final = {
    "file": "a file that I have",
    "place": "fetch by the name of a place",
    "box": "fetch by a box",
}
_JOB: Final = "own-area"
_TITLE: Final = "Making the area"


def open_area_at(path: Path, said: str) -> None:
    """Make an area the study's own, when it opens; its site is to be chosen anew."""
    try:
        engine.get_area(str(path))
    except CaptureError as error:
        st.error(as_markdown(error, most=600), icon=":material/error:")
        return
    change(said, area=str(path), site="", ties={}, columns={})
    notify("done", "Area opened")
    st.rerun()


def make_own() -> None:
    """Take the first step: name the place and give or fetch its roads."""
    say("<b>1. Roads.</b> Name the place and say where its roads come from. <b>2. Counts</b> and "
        "<b>3. rivals and the rest</b> are asked for next; what is missing is estimated and says "
        "so.")  # fmt: skip
    name = st.text_input("Name of the place", key="own-name")
    left, right = st.columns(2)
    with left:
        side = st.radio("Cars drive on the", ["right", "left"], horizontal=True, key="own-side")
    with right:
        words = {"us": "feet, miles", "metric": "metres, km"}
        units = st.radio(
            "Units of the area", list(words), horizontal=True, format_func=words.get,
            key="own-units",
        )  # fmt: skip
    way = st.radio(
        "Roads come from", list(WAYS), format_func=WAYS.get, horizontal=True, key="own-way"
    )
    ask: dict[str, Callable[[str], Any]] = {
        "file": _ask_file, "place": _ask_place, "box": _ask_box
    }  # fmt: skip
    roads = ask[str(way)](name)
    pressed = st.button(
        "Make and open it", type="primary", key="own-make", disabled=jobs.is_at_work(_JOB)
    )
    made = jobs.show_job(_JOB, _TITLE)
    if made is not None:
        open_area_at(made, f"own area {made.name}")
    if not pressed:
        return
    if roads is None:
        st.warning(_LACKING[str(way)])
        return
    folder = engine.own_areas()
    jobs.start_job(
        _JOB,
        lambda job: own_area.write_area(
            folder, name=name, roads=roads, driving_side=str(side), units=str(units), say=job.say
        ),
    )
    st.rerun()


_LACKING: Final = {
    "file": "A roads file is needed; everything else may be left out.",
    "place": "Type the name of the place, such as Springfield, Illinois.",
    "box": "The box needs south below north and west below east.",
}


def _ask_file(_: str) -> tuple[str, bytes] | None:
    given = st.file_uploader(
        "Roads file: an extract of OpenStreetMap (.osm.pbf, .osm) or a street graph (.graphml)",
        key="own-roads",
    )
    return None if given is None else (given.name, given.getvalue())


def _ask_place(name: str) -> dict[str, Any] | None:
    wanted = st.text_input(
        "Place to look up, with its state or country", placeholder=name or "Springfield, Illinois",
        key="own-place",
    )  # fmt: skip
    more = _ask_servers(named=True)
    return {"place": wanted.strip(), **more} if wanted.strip() else None


def _ask_box(_: str) -> dict[str, Any] | None:
    st.caption("Degrees; a box may be at most one degree wide and high, a town is about 0.1.")
    sides = {}
    for column, side in zip(st.columns(4), ("South", "West", "North", "East"), strict=True):
        with column:
            sides[side] = st.number_input(
                side, min_value=-180.0, max_value=180.0, value=0.0, step=0.01, format="%.4f",
                key=f"own-box-{side}",
            )  # fmt: skip
    south, west, north, east = sides.values()
    more = _ask_servers(named=False)
    if not (south < north and west < east):
        return None
    return {"bbox": [south, west, north, east], **more}


def _ask_servers(*, named: bool) -> Mapping[str, str]:
    """Ask which servers are to be asked; empty boxes leave the public ones."""
    space = engine.open_workspace()
    asked = {"server": (SERVER, "Address of the roads server (speaks Overpass)")}
    if named:
        asked["geocoder"] = (GEOCODER, "Address of the place names server (speaks Nominatim)")
    told = {}
    with st.expander("Servers that are asked"):
        st.caption(
            "Empty boxes ask the public servers of OpenStreetMap, which are slow and shared: "
            "fetch a place once. Only the name or the box is sent."
        )
        for field, (setting, label) in asked.items():
            said = st.text_input(label, space.setting(setting), key=f"own-{field}").strip()
            if said != space.setting(setting):
                space.keep_setting(setting, said)
            if said:
                told[field] = said
    return told


def go_on(scene: Scene, area: Any) -> None:
    """Take the second and third step for an area that was made on the screen."""
    st.subheader("What is known so far", anchor=False)
    has_counts = any(kind in area.layers for kind in ("counts", "hourly_counts"))
    missing = [kind for kind in own_area.ASKED if kind not in area.layers]
    say(
        "<b>1. Roads</b>: read. <b>2. Counts</b>: {}. <b>3. Rivals and the rest</b>: {}.",
        "given" if has_counts else "none yet, so every figure is estimated and says so",
        "all given" if not missing
        else f"not given: {', '.join(LAYER_KINDS[kind][0] for kind in missing)}",
    )  # fmt: skip
    st.page_link("screens/sites.py", label="Go on: place a site", icon=":material/add_location:")
    st.markdown("**2. Counts**")
    try:
        count_taking.take_in(count_taking.open_desk(scene))
    except CaptureError as error:
        st.error(as_markdown(error, most=600), icon=":material/error:")
    st.markdown("**3. Rivals and the rest**")
    offer_layers(area)


def offer_layers(area: Any) -> None:
    """Offer to give an area further files; one that is not made here is copied first."""
    with st.expander("Add rivals, parcels, people, known washes or weather"):
        _add_layers(area)


def _add_layers(area: Any) -> None:
    say("Rivals, shops and homes are read from the roads file already where it shows them; a file "
        "of your own goes before it. A shapefile is given as a zip archive or with all its parts "
        "at once.")  # fmt: skip
    given = {}
    with st.form("own-layers", border=False):
        columns = st.columns(2)
        for at, kind in enumerate(own_area.ASKED):
            with columns[at % 2]:
                given[kind] = st.file_uploader(
                    LAYER_KINDS[kind][0].capitalize(), type=list(own_area.TABLE_TAKEN),
                    accept_multiple_files=True, key=f"own-{kind}-{area.folder.name}",
                    help=f"Without it {LAYER_KINDS[kind][1]}.",
                )  # fmt: skip
        if not st.form_submit_button("Add to the area", icon=":material/add:"):
            return
    layers = {kind: [(one.name, one.getvalue()) for one in files] for kind, files in given.items()}
    try:
        made = own_area.add_layers(
            area, engine.own_areas(), {kind: files for kind, files in layers.items() if files}
        )
    except CaptureError as error:
        st.error(as_markdown(error, most=800), icon=":material/error:")
        return
    # what was a parcel of the old file may be none of the new one
    gone = {"site": ""} if layers["parcels"] else {}
    change("further files given to the area", area=str(made), **gone)
    notify("done", "Added to the area")
    st.rerun()

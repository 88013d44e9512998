"""Area: what is known about this place, and what is missing?"""

from pathlib import Path

import pandas as pd
import streamlit as st

from capture.area import LAYER_KINDS
from capture.basis import CaptureError
from capture.papers.layers import make_people_layer
from capture.papers.maps import check_tiles_url
from capture.papers.marks import drop_empty
from siteapp import engine, own_area
from siteapp.frame import change, notify, open_screen, say
from siteapp.show import show_map, show_table
from siteapp.text import as_markdown

scene = open_screen("Area", needs_site=False)

try:
    area = engine.get_area(scene.inputs.area)
    place = engine.get_place(scene.inputs.area)
except CaptureError as error:
    st.error(as_markdown(error, most=600))
    area = place = None

if area is not None:
    if area.invented:
        say("<b>Invented demo data.</b> No place, road, wash or figure here is real; it is there "
            "to try things on.")  # fmt: skip
    told = place.describe()
    say(
        "<b>{}</b>: {} stretches of road and {} buildings are read; everything drawn here comes "
        "from files on this machine.",
        area.name,
        f"{len(place.network.segment_class):,}",
        f"{len(place.buildings):,}",
    )
    people = make_people_layer(area.read("people"), place.network.projection, shown=True)
    show_map(scene, drop_empty([people]), key=f"area-{scene.inputs.area}", height=520)
    st.caption("Roads and buildings as read from the roads file: the ground of every map.")
    rows = pd.DataFrame([tuple(row)[:2] for row in area.describe()], columns=["layer", "known"])
    columns = {"layer": ("layer", ""), "known": ("what is known", "")}
    show_table(rows, columns, scene, caption="What is known and what is missing")

st.subheader("Work somewhere else", anchor=False)


def open_area_at(path: Path, said: str) -> None:
    """Make an area the study's own, when it opens."""
    try:
        engine.get_area(str(path))
    except CaptureError as error:
        st.error(as_markdown(error, most=600))
        return
    change(said, area=str(path), site="")
    notify("done", "Area opened")
    st.rerun()


away = engine.DEMO.exists() and scene.inputs.area != str(engine.DEMO)
if away and st.button("Go to the demo area"):
    open_area_at(engine.DEMO, "the demo area")

with st.expander("Make an area of your own, from files you have"):
    say("<b>1.</b> Name it. <b>2.</b> Give a roads file: an extract of OpenStreetMap (.osm.pbf, "
        ".osm) or a street graph (.graphml). <b>3.</b> Give what else you know; what is missing is "
        "estimated and says so.")  # fmt: skip
    with st.form("own-area", border=False):
        name = st.text_input("Name of the place")
        left, right = st.columns(2)
        with left:
            side = st.radio("Cars drive on the", ["right", "left"], horizontal=True)
        with right:
            words = {"us": "feet, miles", "metric": "metres, km"}
            units = st.radio("Units", list(words), horizontal=True, format_func=words.get)
        roads = st.file_uploader("Roads file (needed)", key="own-roads")
        columns = st.columns(3)
        given = {}
        for place_at, kind in enumerate(own_area.ASKED):
            with columns[place_at % 3]:
                given[kind] = st.file_uploader(
                    LAYER_KINDS[kind][0].capitalize(), key=f"own-{kind}", help=LAYER_KINDS[kind][1]
                )
        if st.form_submit_button("Make and open it"):
            if roads is None:
                st.warning("A roads file is needed; everything else may be left out.")
            else:
                try:
                    made = own_area.write_area(
                        engine.open_workspace().path.parent / "areas",
                        name=name,
                        roads=(roads.name, roads.getvalue()),
                        layers={
                            kind: (file.name, file.getvalue())
                            for kind, file in given.items()
                            if file is not None
                        },
                        driving_side=str(side),
                        units=str(units),
                    )
                except CaptureError as error:
                    st.error(as_markdown(error, most=600))
                else:
                    open_area_at(made, f"own area {made.name}")

with st.expander("Open a folder or roads file on this machine"), st.form("other", border=False):
    path = st.text_input("Folder with an area.toml, or a bare roads file", value=scene.inputs.area)
    if st.form_submit_button("Open this area"):
        open_area_at(Path(path).expanduser(), "another area")

with st.expander("Street tiles under the maps, for when there is a network"):
    say(
        "Maps draw roads and buildings from the roads file and need no network. If you have the "
        "right to use a tile server, its tiles are laid under them whenever it can be reached."
    )
    space = engine.open_workspace()
    with st.form("tiles", border=False):
        address = st.text_input(
            "Address, with {z}, {x} and {y}; empty goes without", space.setting("tiles")
        )
        credit = st.text_input("Whose tiles they are", space.setting("tiles credit"))
        if st.form_submit_button("Keep"):
            try:
                if address.strip():
                    check_tiles_url(address.strip())
            except CaptureError as error:
                st.error(as_markdown(error, most=600))
            else:
                space.keep_setting("tiles", address.strip())
                space.keep_setting("tiles credit", credit.strip())
                notify("done", "Kept")
                st.rerun()

"""Area: what is known about this place, and what is missing?"""

from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from capture.basis import CaptureError
from capture.papers.layers import make_people_layer
from capture.papers.maps import check_tiles_url
from capture.papers.marks import drop_empty
from siteapp import area_steps, engine, own_area
from siteapp.frame import notify, open_screen, say
from siteapp.show import show_map, show_table
from siteapp.text import as_markdown

scene = open_screen("Area", needs_site=False)

area: Any = None
place: Any = None
try:
    area = engine.get_area(scene.inputs.area)
    place = engine.get_place(scene.inputs.area)
except CaptureError as error:
    st.error(as_markdown(error, most=600))

if place is not None:
    if area.invented:
        say("<b>Invented demo data.</b> No place, road, wash or figure here is real; it is there "
            "to try things on.")  # fmt: skip
    say(
        "<b>{}</b>: {} stretches of road and {} buildings are read; everything drawn here comes "
        "from files on this machine.",
        area.name,
        f"{len(place.network.segment_class):,}",
        f"{len(place.buildings):,}",
    )
    people = make_people_layer(area.read("people"), place.network.projection, shown=True)
    show_map(scene, drop_empty([people]), key=f"area-{scene.inputs.area}", height=520)
    homes = "" if people is None else " Green squares: the darker, the more people live there."
    st.caption(f"Roads and buildings as read from the roads file: the ground of every map.{homes}")
    told = [(kind.replace("_", " "), known) for kind, known in area.describe()]
    rows = pd.DataFrame(told, columns=["layer", "known"])
    columns = {"layer": ("layer", ""), "known": ("what is known", "")}
    show_table(rows, columns, scene, caption="What is known and what is missing")

    if own_area.is_own(area, engine.own_areas()):
        area_steps.go_on(scene, area)
    else:
        area_steps.offer_layers(area)

st.subheader("Work somewhere else", anchor=False)
away = engine.DEMO.exists() and scene.inputs.area != str(engine.DEMO)
if away and st.button("Go to the demo area"):
    area_steps.open_area_at(engine.DEMO, "the demo area")

with st.expander("Make an area of your own", icon=":material/add_location_alt:"):
    area_steps.make_own()

with st.expander("Open a folder or roads file on this machine"), st.form("other", border=False):
    path = st.text_input("Folder with an area.toml, or a bare roads file", value=scene.inputs.area)
    if st.form_submit_button("Open this area"):
        area_steps.open_area_at(Path(path).expanduser(), "another area")

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

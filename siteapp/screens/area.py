"""Area: what is known about this place, and what is missing?"""

from pathlib import Path

import pandas as pd
import streamlit as st

from capture.basis import CaptureError
from capture.papers.layers import make_people_layer
from capture.papers.marks import drop_empty
from siteapp import engine
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
say("Give a folder with an <b>area.toml</b>, or a bare roads file (.osm.pbf, .osm, .graphml). "
    "Counts, rivals and parcels may be added to the folder later; what is missing is estimated "
    "and says so.")  # fmt: skip
with st.form("other-area", border=False):
    path = st.text_input("Folder or roads file on this machine", value=scene.inputs.area)
    if st.form_submit_button("Open this area"):
        try:
            engine.get_area(str(Path(path).expanduser()))
        except CaptureError as error:
            st.error(as_markdown(error, most=600))
        else:
            change("another area", area=str(Path(path).expanduser()), site="")
            notify("done", "Area opened")
            st.rerun()
away = engine.DEMO.exists() and scene.inputs.area != str(engine.DEMO)
if away and st.button("Go to the demo area"):
    change("the demo area", area=str(engine.DEMO), site="")
    st.rerun()

"""Rivals & people: who else washes, and who lives near?"""

import numpy as np
import streamlit as st

from capture.basis import FORMAT_WORDS
from capture.papers.layers import (
    make_band_layer,
    make_people_layer,
    make_rival_layer,
    make_site_layer,
)
from capture.papers.marks import drop_empty
from capture.papers.pictures import make_rival_table
from capture.papers.words import say_minutes, say_number
from siteapp.frame import open_screen, say
from siteapp.show import numbers_editor, show_map, show_table

scene = open_screen("Rivals & people")
study = scene.study
table = make_rival_table(study)
table["format"] = [FORMAT_WORDS.get(name, name) for name in table["format"]]
table["drive"] = [say_minutes(value) for value in table["minutes"]]
standing = table[table["status"] == "open"]
near = standing[standing["minutes"] <= 10]
people = float(np.atleast_1d(study.around.people_10min)[0])
say(
    "<b>{} open washes</b> are within ten minutes' drive; the nearest, <b>{}</b>, is {} away. {}",
    len(near),
    standing["name"].iloc[0] if len(standing) else "none",
    say_minutes(float(standing["minutes"].iloc[0]) if len(standing) else None),
    f"About {say_number(people, digits=2)} people live within ten minutes."
    if np.isfinite(people) and people > 0 else "How many people live near is not known here.",
)  # fmt: skip
plane = study.place.network.projection
seconds = np.asarray(study.around.rival_seconds)[0] if len(study.rivals.names) else None
from capture.place import snap  # noqa: E402

layers = drop_empty(
    (
        make_people_layer(study.area.read("people"), plane, shown=True),
        make_band_layer(
            study.place, snap(study.place.network, study.sites.x, study.sites.y), shown=True
        ),
        make_rival_layer(study.rivals, seconds, study.around.likeness),
        make_site_layer(study.sites, study.frontage, plane),
    )
)
centre = (float(study.sites.lat[0]), float(study.sites.lon[0]))
show_map(scene, layers, key=f"rivals-{scene.kept.id}", centre=centre, zoom=13, height=540)
st.caption("Filled squares wash the same way as you would; minutes are driving time.")
show_table(
    table,
    {
        "name": ("wash", ""),
        "format": ("kind", ""),
        "drive": ("drive", ""),
        "likeness": ("likeness", "share"),
        "status": ("status", ""),
        "source": ("from", ""),
    },
    scene,
    caption="Rival washes, nearest first",
)
numbers_editor(scene, ["around"])

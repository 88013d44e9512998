"""Trail: what are all the inputs of this study, and which is the weakest?"""

import streamlit as st

from capture.papers.tables import render_csv
from capture.papers.trail import count_grades
from siteapp.frame import open_screen, say
from siteapp.trail_parts import choose_rows, draw_grades, get_trail, show_rows

scene = open_screen("Trail")
trail = get_trail(scene)
grades = count_grades(trail)
weak = int(trail["grade"].isin(["invented", "memory"]).sum())
say(
    "Behind this study stand <b>{} inputs</b>; <b>{}</b> of them are invented or written from "
    "memory and should be replaced first by what you know. How far each moves the value today is "
    "read from the worlds in which it is low and in which it is high.",
    len(trail),
    weak,
)
st.altair_chart(draw_grades(grades), width="stretch")
st.caption("How many inputs are of each grade, the weakest on top.")
chosen = choose_rows(trail, str(scene.kept.id))
show_rows(scene, chosen)
st.download_button(
    "These inputs as CSV", render_csv(chosen), "trail.csv", "text/csv", icon=":material/download:"
)

"""Papers: what do people take away, what are the cautions, and where does each number come from?"""

import time

import pandas as pd
import streamlit as st

from capture.basis import CaptureError
from capture.papers.argument import say_argument
from siteapp import engine
from siteapp.frame import change, notify, open_screen, open_study, say
from siteapp.handing import show_papers
from siteapp.show import show_cautions, show_table
from siteapp.since import show_change
from siteapp.text import as_markdown
from siteapp.why import render_trail

scene = open_screen("Papers", needs_site=False)
study = None if scene.study is None else scene.complete()
space = engine.open_workspace()

if study is not None:
    say("{}", say_argument(scene.claims))
    st.subheader("Take away", anchor=False)
    show_papers(scene, study)
    st.subheader("Cautions", anchor=False)
    show_cautions(study.cautions, scene.system)
    book = engine.get_book(study, scene.token)
    trail = book.trail()
    st.subheader("Trail: every input, the weakest first", anchor=False)
    say("{} inputs and steps; the first are invented or from memory and should be replaced by what "
        "you know.", len(trail))  # fmt: skip
    with st.expander("Show the trail"):
        st.markdown(render_trail(trail, scene.system), unsafe_allow_html=True)

st.subheader("Your work", anchor=False)
say("Everything is kept in one file on this machine as you change it: <b>{}</b>", space.path)
left, right = st.columns(2)
with left:
    name = st.text_input("Name of this study", scene.kept.name, key=f"name-{scene.kept.id}")
    if name != scene.kept.name:
        space.rename(scene.kept.id, name)
        st.rerun()
    st.download_button(
        "Save all studies as one file", space.export(), "studies.json", "application/json"
    )
    given = st.file_uploader("Bring in saved studies", type=["json"], key="bring-in")
    if given is not None and st.button("Add them"):
        try:
            made = space.bring_in(given.getvalue())
            notify("done", f"{len(made)} studies added")
            if made:
                open_study(made[0].id)
        except CaptureError as error:
            st.warning(as_markdown(error, most=600))
with right:
    rows = space.history(scene.kept.id)
    labels = {
        row.revision: f"{row.revision}: {row.said} "
        f"({time.strftime('%d %b %H:%M', time.localtime(row.changed))})"
        for row in rows
    }
    picked = st.selectbox("Earlier states", list(labels), format_func=lambda r: labels[r])
    if st.button("Bring this state back"):
        change(f"back to state {picked}", **space.state(scene.kept.id, picked).to_dict())
        st.rerun()
    show_table(
        pd.DataFrame([{"revision": row.revision, "said": row.said} for row in rows[:12]]),
        {"revision": ("state", "count"), "said": ("what changed", "")},
        scene,
        caption="Last changes",
    )
    if study is not None and st.button("Say what the argument was then"):
        show_change(scene, space.state(scene.kept.id, picked))

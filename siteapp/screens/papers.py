"""Papers: what do people take away, what are the cautions, and where does each number come from?"""

import pandas as pd
import streamlit as st

from capture.basis import CaptureError
from capture.papers.argument import say_argument
from capture.papers.remarks import list_cautions, list_notes
from siteapp import engine
from siteapp.frame import change, notify, open_screen, open_study, say
from siteapp.handing import export_studies, show_papers, show_pitch, show_reference
from siteapp.show import show_cautions, show_table
from siteapp.since import name_states, say_time, show_since
from siteapp.text import as_markdown

scene = open_screen("Papers", needs_site=False)
study = None if scene.study is None else scene.complete()
space = engine.open_workspace()

if study is not None:
    say("{}", say_argument(scene.claims))
    st.subheader("Take away", anchor=False)
    show_papers(scene, study)
    show_pitch(scene, study)
    st.subheader("Cautions", anchor=False)
    show_cautions(list_cautions(study, scene.system), scene.system)
    notes = list_notes(study, scene.system)
    if notes:
        st.caption(as_markdown(f"Of the data: {'; '.join(notes)}.", most=1500))

st.subheader("Your work", anchor=False)
say("Everything is kept in one file on this machine as you change it: <b>{}</b>", space.path)
left, right = st.columns(2)
with left:
    name = st.text_input("Name of this study", scene.kept.name, key=f"name-{scene.kept.id}")
    if name != scene.kept.name:
        space.rename(scene.kept.id, name)
        st.rerun()
    st.download_button(
        "Save all studies as one file", export_studies(space), "studies.json", "application/json"
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
    labels = name_states(rows)
    picked = st.selectbox("Earlier states", list(labels), format_func=lambda r: labels[r])
    if st.button("Bring this state back"):
        change(f"back to state {picked}", **space.state(scene.kept.id, picked).to_dict())
        st.rerun()
    show_table(
        pd.DataFrame([{"at": say_time(row.changed), "said": row.said} for row in rows[:12]]),
        {"at": ("when", ""), "said": ("what changed", "")},
        scene,
        caption="Last changes",
    )
st.subheader("What changed between two dates", anchor=False)
show_since(scene)

st.subheader("Help", anchor=False)
say("Every name of the library behind these screens, with what it takes and gives, its equation, "
    "units and source, on pages that read with no network.")  # fmt: skip
show_reference()

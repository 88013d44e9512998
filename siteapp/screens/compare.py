"""Compare: which parcels are worth a visit, and why are the others not?"""

import streamlit as st

from capture.basis import CaptureError
from capture.papers.rank_layer import make_many_layers
from capture.papers.tables import render_csv
from capture.papers.withheld import withhold_many
from capture.papers.workbook import render_ranking_workbook
from siteapp import compare_parts, engine, money_parts
from siteapp.frame import open_screen, say
from siteapp.parcel_parts import read_parcels
from siteapp.show import show_map
from siteapp.text import as_markdown

scene = open_screen("Compare", needs_site=False)
area = engine.get_area(scene.inputs.area)
if "parcels" not in area.layers:
    say("This area has no parcels. Give a <b>file of parcels</b> on the Area screen, and they are "
        "ranked here.")  # fmt: skip
    st.page_link("screens/area.py", label="Go to Area", icon=":material/map:")
    st.stop()
if read_parcels(scene) is None:
    st.stop()
state = f"ranked-{scene.kept.id}"
if not st.session_state.get(state):
    say("Runs the whole chain for every parcel of the area with this study's choices, and ranks "
        "them by what they are worth.")  # fmt: skip
    pressed = st.button("Rank the parcels", type="primary")
    st.page_link("screens/area.py", label="Other parcels? Give their file on the Area screen",
                 icon=":material/upload_file:")  # fmt: skip
    if not pressed:
        st.stop()
    st.session_state[state] = True
    st.rerun()
cancel = st.empty()
with cancel:
    st.button("Cancel", on_click=lambda: st.session_state.pop(state, None))
progress = st.empty()


def tell(text: str) -> None:
    """Show what is being done."""
    progress.info(text.capitalize())


try:
    many = engine.get_many(scene.inputs, tell)
except CaptureError as error:
    st.error(as_markdown(error, most=600))
    st.stop()
cancel.empty()
progress.empty()
if scene.hidden:
    many = withhold_many(many)
ranking = many.ranking
struck = ranking["struck"].to_numpy(dtype=bool)
first = ranking.iloc[0]
say(
    "<b>{}</b> leads {} parcels; {}. The same draws are used for all, so two parcels on one road "
    "share its luck.",
    first["name"],
    int((~struck).sum()),
    f"{int(struck.sum())} struck out, each with its reason" if struck.any() else "none struck out",
)
if not (ranking.loc[~struck, "npv_usd"] > 0).any():
    say("<b>None of them is worth more than it costs</b>, in the mean of what may be; the order "
        "still says which comes nearest.")  # fmt: skip
show_map(scene, make_many_layers(many), key=f"compare-{scene.kept.id}", height=520)
st.caption(
    "Numbers are ranks; large marks are the first five. Pale crosses are struck out, dark ones are "
    "rivals that are shut or planned."
)
standing, out, together = st.tabs(
    ["Ranked", f"Struck out ({int(struck.sum())})", "Several to build together"]
)
with standing:
    compare_parts.show_standing(scene, ranking)
with out:
    compare_parts.show_struck(scene, ranking)
with together:
    money_parts.show_together(scene, int((~struck).sum()))
with st.container(horizontal=True):
    st.download_button("Ranking as CSV", render_csv(ranking), "ranking.csv", "text/csv")
    st.download_button(
        "Ranking as a workbook (XLSX)",
        render_ranking_workbook(many),
        "ranking.xlsx",
        "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    )

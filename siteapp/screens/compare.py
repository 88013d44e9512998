"""Compare: which parcels are worth a visit, and why are the others not?"""

import streamlit as st

from capture.basis import CaptureError
from capture.papers.rank_layer import make_many_layers
from capture.papers.tables import render_csv
from capture.papers.workbook import render_ranking_workbook
from siteapp import engine, money_parts
from siteapp.frame import change, open_screen, say
from siteapp.show import show_map, show_table
from siteapp.text import as_markdown

scene = open_screen("Compare", needs_site=False)
area = engine.get_area(scene.inputs.area)
if "parcels" not in area.layers:
    say("This area has no parcels. Add a <b>parcels</b> layer to its area.toml, and they are "
        "ranked here.")  # fmt: skip
    st.stop()
state = f"ranked-{scene.kept.id}"
if not st.session_state.get(state):
    say("Runs the whole chain for every parcel of the area with this study's choices, and ranks "
        "them by what they are worth.")  # fmt: skip
    if not st.button("Rank the parcels", type="primary"):
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
ranking = many.ranking
struck = ranking["struck"].to_numpy(dtype=bool)
first = ranking.iloc[0]
say(
    "<b>{}</b> leads {} parcels; {} are struck out, each with its reason. The same draws are used "
    "for all, so two parcels on one road share its luck.",
    first["name"],
    int((~struck).sum()),
    int(struck.sum()),
)
show_map(scene, make_many_layers(many), key=f"compare-{scene.kept.id}", height=520)
st.caption("Numbers are ranks; large marks are the first five, crosses are struck out.")
columns = {
    "rank": ("rank", "count"),
    "id": ("parcel", ""),
    "name": ("name", ""),
    "vehicles_per_day": ("pass a day", "count"),
    "measured": ("known by", ""),
    "share": ("washed", "share"),
    "cars_per_day": ("washed a day", "count"),
    "design_hour_cars": ("hour with headroom", "count"),
    "line_length_m": ("line", "m"),
    "npv_usd": ("worth, mean", "USD"),
    "chance_npv_positive": ("chance above zero", "share"),
    "payback_years": ("pays back in", "years"),
    "land_ceiling_usd": ("land may cost", "USD"),
    "chance_top": ("chance in first five", "share"),
    "reason": ("what the ground says", ""),
}
standing, out, together = st.tabs(
    ["Ranked", f"Struck out ({int(struck.sum())})", "Several to build together"]
)
with standing:
    show_table(ranking[~struck], columns, scene, caption="Parcels by rank")
    st.caption("Ranked by the mean of their value today; the same worlds are used for all.")
with out:
    if struck.any():
        show_table(
            ranking[struck],
            {
                "id": ("parcel", ""),
                "name": ("name", ""),
                "reason": ("why it is struck out", ""),
                "vehicles_per_day": ("pass a day", "count"),
                "npv_usd": ("would be worth, mean", "USD"),
            },
            scene,
            caption="Parcels that are struck out, each with its reason",
        )
    else:
        say("No parcel is struck out.")
with together:
    money_parts.show_together(scene, int((~struck).sum()))
left, right = st.columns(2)
with left:
    st.download_button("Ranking as CSV", render_csv(ranking), "ranking.csv", "text/csv")
    st.download_button(
        "Ranking as a workbook (XLSX)",
        render_ranking_workbook(many),
        "ranking.xlsx",
        "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    )
with right:
    best = [str(name) for name in ranking["id"]]
    chosen = st.selectbox("Open a parcel as this study's site", ["", *best],
                          format_func=lambda name: name or "choose")  # fmt: skip
    if chosen and scene.inputs.site != f"parcel:{chosen}":
        change(f"parcel {chosen}", site=f"parcel:{chosen}")
        st.rerun()

"""Which tables are shown of a ranking: the short list, one parcel, the struck-out ones?"""

from __future__ import annotations

from typing import Any

import streamlit as st

from capture.papers import shortlist
from capture.place.parcels import find_asking
from siteapp import engine
from siteapp.frame import Scene, change, say
from siteapp.show import show_table


def show_standing(scene: Scene, ranking: Any) -> None:
    """Show the parcels that stand in few columns, and all of one on demand."""
    table = shortlist.make_short_table(
        ranking, engine.get_answer_book_of(scene.inputs), hidden=scene.hidden
    )
    columns = dict(shortlist.SHORT)
    if not find_asking(ranking):
        columns.pop("asking")
    show_table(table, columns, scene, caption="Parcels by rank")
    st.caption(
        "Ranked by the mean of their value today; the same worlds are used for all. Land may cost "
        "as much as leaves an even chance that the site is worth more than it costs; 'nothing': it "
        "would not pay even on free land."
    )
    _show_one(scene, ranking)


def _show_one(scene: Scene, ranking: Any) -> None:
    names = dict(zip(map(str, ranking["id"]), shortlist.name_parcels(ranking), strict=True))
    chosen = st.selectbox(
        "All of one parcel",
        list(names),
        index=None,
        format_func=lambda parcel: names[parcel],
        placeholder="choose a parcel",
        key=f"one-parcel-{scene.kept.id}",
    )
    if not chosen:
        return
    show_table(
        shortlist.make_parcel_table(ranking, chosen, scene.system),
        {"what": ("what", ""), "said": ("here", "")},
        scene,
        caption=names[chosen],
    )
    if scene.inputs.site != f"parcel:{chosen}" and st.button(
        "Open it as this study's site", icon=":material/add_location:"
    ):
        change(f"parcel {chosen}", site=f"parcel:{chosen}")
        st.rerun()


def show_struck(scene: Scene, ranking: Any) -> None:
    """Show the struck-out parcels, each with its reason."""
    table = shortlist.make_struck_table(ranking, scene.system)
    if table.empty:
        say("No parcel is struck out.")
        return
    show_table(
        table,
        shortlist.STRUCK,
        scene,
        caption="Parcels that are struck out, each with its reason",
    )

"""What was done with a file of parcels, and may its good rows be used without the bad ones?"""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from capture.basis import CaptureError
from siteapp import engine, own_area
from siteapp.frame import Scene, change, notify, say
from siteapp.show import show_table
from siteapp.text import as_markdown


def read_parcels(scene: Scene) -> Any:
    """Return the area's parcels; None when it has none or they will not do, which is said."""
    from capture.place import load_parcels

    area = engine.get_area(scene.inputs.area)
    if "parcels" not in area.layers:
        return None
    try:
        found = load_parcels(area, engine.get_place(scene.inputs.area))
    except CaptureError as error:
        st.error(as_markdown(error, most=900), icon=":material/error:")
        _offer_rest(scene, area)
        return None
    show_left_out(scene, found)
    return found


def show_left_out(scene: Scene, found: Any) -> None:
    """Show which rows of the parcels file were left out; nothing when none was."""
    if not found.left_out:
        return
    with st.expander(
        f"Rows of the parcels file: {len(found)} used, {len(found.left_out)} left out",
        icon=":material/rule:",
    ):
        _show_rows(scene, found)


def _show_rows(scene: Scene, found: Any) -> None:
    rows = [text.partition(": ")[::2] for text in found.left_out]
    show_table(
        pd.DataFrame(rows, columns=["row", "why"]),
        {"row": ("row of the file", ""), "why": ("why it was left out", "")},
        scene,
        caption=f"What was done with {found.source}: {len(found)} rows used, {len(rows)} left out",
        most=200,
    )


def _offer_rest(scene: Scene, area: Any) -> None:
    """Offer to go on with the rows that will do, the others told of one by one."""
    from capture.place import sift_parcels

    try:
        found = sift_parcels(area, engine.get_place(scene.inputs.area))
    except CaptureError:
        return
    if not found.left_out:
        return
    say(
        "<b>{} of {}</b> rows can be used. Mend the file and give it again, or go on without the "
        "others; the area itself stays as it is.",
        len(found),
        len(found) + len(found.left_out),
    )
    _show_rows(scene, found)
    if not st.button(f"Go on with the {len(found)} good rows", icon=":material/check:"):
        return
    try:
        made = own_area.leave_rows_out(area, engine.own_areas())
    except CaptureError as error:
        st.error(as_markdown(error, most=600), icon=":material/error:")
        return
    change("faulty rows of the parcels left out", area=str(made))
    notify("done", f"{len(found.left_out)} rows left out")
    st.rerun()

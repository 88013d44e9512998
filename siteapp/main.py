"""Which screens are there, and in which order? The chain's own order."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

SCREENS = (
    ("pages/area.py", "Area", ":material/map:"),
    ("pages/sites.py", "Sites", ":material/add_location:"),
    ("pages/passing.py", "Passing", ":material/directions_car:"),
    ("pages/turning.py", "Turning in & seeing", ":material/visibility:"),
    ("pages/rivals.py", "Rivals & people", ":material/groups:"),
    ("pages/share.py", "Share", ":material/percent:"),
    ("pages/busy.py", "Busy hour", ":material/schedule:"),
    ("pages/line.py", "Line", ":material/conveyor_belt:"),
    ("pages/money.py", "Money", ":material/payments:"),
    ("pages/compare.py", "Compare", ":material/format_list_numbered:"),
    ("pages/papers.py", "Papers", ":material/description:"),
)

ICON = Path(__file__).with_name("icon.svg")

st.set_page_config(page_title="Site to line", page_icon=str(ICON), layout="wide")
st.navigation(
    [
        st.Page(path, title=title, icon=icon, default=index == 0)
        for index, (path, title, icon) in enumerate(SCREENS)
    ],
    position="sidebar",
).run()

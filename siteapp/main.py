"""Which screens are there, and in which order? The chain's own order."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

SCREENS = (
    ("screens/area.py", "Area", ":material/map:"),
    ("screens/sites.py", "Sites", ":material/add_location:"),
    ("screens/passing.py", "Passing", ":material/directions_car:"),
    ("screens/turning.py", "Turning in & seeing", ":material/visibility:"),
    ("screens/rivals.py", "Rivals & people", ":material/groups:"),
    ("screens/share.py", "Share", ":material/percent:"),
    ("screens/busy.py", "Busy hour", ":material/schedule:"),
    ("screens/line.py", "Line", ":material/conveyor_belt:"),
    ("screens/money.py", "Money", ":material/payments:"),
    ("screens/compare.py", "Compare", ":material/format_list_numbered:"),
    ("screens/papers.py", "Papers", ":material/description:"),
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

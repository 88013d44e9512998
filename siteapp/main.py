"""Which screens are there, and in which order? The chain's own order."""

from __future__ import annotations

import inspect
from pathlib import Path
from typing import Any

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
    ("screens/trail.py", "Trail", ":material/account_tree:"),
)

ICON = Path(__file__).with_name("icon.svg")

st.set_page_config(page_title="Site to line", page_icon=str(ICON), layout="wide")
pages = [
    # the first screen stands at the bare address; its own is given to a page that no list shows
    st.Page(
        path, title=title, icon=icon, default=index == 0, url_path="start" if index == 0 else None
    )
    for index, (path, title, icon) in enumerate(SCREENS)
]
if "visibility" in inspect.signature(st.Page).parameters:
    path, title, icon = SCREENS[0]
    hidden: dict[str, Any] = {"visibility": "hidden"}
    pages.append(st.Page(path, title=title, icon=icon, url_path=Path(path).stem, **hidden))
# a screen that is run by itself knows no other to lead to
st.session_state["listed"] = True
st.navigation(pages, position="sidebar").run()

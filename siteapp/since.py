"""What has changed between two states of a study, claim by claim and change by change?"""

from __future__ import annotations

import time
from typing import Any

import pandas as pd
import streamlit as st

from capture.basis import CaptureError
from capture.papers.argument import make_argument
from siteapp import engine
from siteapp.frame import Scene, say
from siteapp.show import show_table
from siteapp.text import as_markdown


def say_time(seconds: float) -> str:
    """Say a moment as it is written everywhere in the app: year-month-day hour:minute.

    Examples
    --------
    >>> len(say_time(1.7e9))
    16
    """
    return time.strftime("%Y-%m-%d %H:%M", time.localtime(seconds))


def name_states(rows: Any) -> dict[int, str]:
    """Name the states of a history by date and what was changed, the newest first."""
    return {row.revision: f"{say_time(row.changed)}, {row.said} ({row.revision})" for row in rows}


def show_since(scene: Scene) -> None:
    """Ask for two states and say what lies between them."""
    rows = engine.open_workspace().history(scene.kept.id)
    names = name_states(rows)
    if len(names) < 2:
        st.caption("Nothing has been changed yet; once it has, any two dates can be compared here.")
        return
    states = list(names)
    left, right = st.columns(2)
    with left:
        early = st.selectbox(
            "From", states, index=len(states) - 1, format_func=names.__getitem__,
            key=f"since-{scene.kept.id}",
        )  # fmt: skip
    with right:
        late = st.selectbox(
            "To", states, index=0, format_func=names.__getitem__, key=f"until-{scene.kept.id}"
        )
    if st.button("Say what changed", key=f"say-since-{scene.kept.id}"):
        _show_change(scene, rows, min(early, late), max(early, late))


def _show_change(scene: Scene, rows: Any, early: int, late: int) -> None:
    space = engine.open_workspace()
    pair = []
    for revision in (early, late):
        inputs = space.state(scene.kept.id, revision)
        if not inputs.site:
            say("No site had been placed at <b>{}</b>.", name_states(rows)[revision])
            return
        try:
            pair.append(make_argument(engine.get_brief(inputs), system=scene.system))
        except CaptureError as error:
            st.warning(as_markdown(error, most=600))
            return
    told = [
        {
            "words": now.words,
            "then": f"{then.said} ({then.spread})" if then.spread else then.said,
            "now": f"{now.said} ({now.spread})" if now.spread else now.said,
            "moved": "" if (then.said, then.spread) == (now.said, now.spread) else "changed",
        }
        for then, now in zip(*pair, strict=True)
    ]
    show_table(
        pd.DataFrame(told),
        {"words": ("claim", ""), "then": ("then", ""), "now": ("later", ""), "moved": ("", "")},
        scene,
        caption="The argument at both dates",
    )
    between = [
        {"at": say_time(row.changed), "said": row.said}
        for row in rows
        if early < row.revision <= late
    ]
    show_table(
        pd.DataFrame(between, columns=["at", "said"]),
        {"at": ("when", ""), "said": ("what was changed", "")},
        scene,
        caption=f"{len(between)} changes between them, the newest first",
    )

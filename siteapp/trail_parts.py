"""What does the trail's screen show, and who changed what when?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import altair as alt
import pandas as pd
import streamlit as st

from capture.basis import Range
from capture.papers.look import INK, WATER
from capture.papers.trail import count_grades, make_trail
from capture.papers.words import NOT_KNOWN, say_amount, say_spread
from siteapp import engine
from siteapp.charts import finish
from siteapp.frame import Scene
from siteapp.inputs import Inputs
from siteapp.show import show_table
from siteapp.since import say_time

MOST_SHOWN: Final = 60
#: earlier states that are looked through for who changed an input
MOST_LOOKED: Final = 60
#: part of the inputs -> start of the ids of its entries
_PARTS: Final[Mapping[str, str]] = {"replaced": "", "offer": "offer.", "answers": "answer."}
_WHOLE: Final[Mapping[str, str]] = {
    "known": "given.known", "sales": "given.sales", "rivals": "given.rivals",
    "ties": "given.ties", "columns": "given.columns", "line": "given.line",
    "year_choice": "given.year_choice", "plan": "given.works",
}  # fmt: skip


def get_trail(scene: Scene) -> pd.DataFrame:
    """Make the trail of the open study, once for each state of it."""
    key = f"trail {scene.token}"
    if key not in st.session_state:
        study = scene.complete()
        book = engine.get_book(study, scene.token)
        st.session_state[key] = make_trail(study, book, changed=find_changes(scene))
    kept: pd.DataFrame = st.session_state[key]
    return kept


def find_changes(scene: Scene) -> dict[str, str]:
    """Find when each own input came to be what it is, by the id of its entry."""
    waiting = dict(list_own(scene.inputs))
    space, found = engine.open_workspace(), {}
    rows = space.history(scene.kept.id)
    for newer, older in zip(rows[:MOST_LOOKED], [*rows[1:], None], strict=False):
        if not waiting:
            break
        before = dict(list_own(space.state(scene.kept.id, older.revision))) if older else {}
        for name in [name for name, value in waiting.items() if before.get(name) != value]:
            found[name] = f"you, {say_time(newer.changed)}: {newer.said}"
            waiting.pop(name)
    return found


def list_own(inputs: Inputs) -> Iterator[tuple[str, Any]]:
    """List what a study's inputs hold of the user's own, by the id of its entry."""
    for part, start in _PARTS.items():
        for name, value in getattr(inputs, part).items():
            yield f"{start}{name}", value
    for part, name in _WHOLE.items():
        if getattr(inputs, part):
            yield name, getattr(inputs, part)


def draw_grades(table: pd.DataFrame) -> Any:
    """Draw how many inputs are of each grade, the weakest on top."""
    base = alt.Chart(table).encode(y=alt.Y("how_sure:N", title=None, sort=None))
    bars = base.mark_bar(color=WATER, stroke=INK, height=18).encode(
        x=alt.X("inputs:Q", title="inputs")
    )
    words = base.mark_text(align="left", dx=6).encode(x="inputs:Q", text="inputs:Q")
    return finish(bars + words, height=40 + 28 * len(table))


def choose_rows(trail: pd.DataFrame, key: str) -> pd.DataFrame:
    """Let rooms and grades be chosen; nothing chosen leaves all."""
    left, right = st.columns(2)
    with left:
        rooms = st.multiselect(
            "Only of these rooms", sorted(trail["room"].unique()), key=f"trail-rooms-{key}",
            placeholder="all",
        )  # fmt: skip
    with right:
        grades = st.multiselect(
            "Only of these grades", list(count_grades(trail)["how_sure"]),
            key=f"trail-grades-{key}", placeholder="all",
        )  # fmt: skip
    if rooms:
        trail = trail[trail["room"].isin(rooms)]
    return trail[trail["how_sure"].isin(grades)] if grades else trail


def show_rows(scene: Scene, trail: pd.DataFrame) -> None:
    """Show the chosen inputs, some of them at first."""
    every = len(trail) <= MOST_SHOWN or st.toggle(
        f"Show all {len(trail)} (the first {MOST_SHOWN} are shown)",
        key=f"trail-all-{scene.kept.id}",
    )
    table = trail if every else trail.head(MOST_SHOWN)
    said = table.assign(
        value=[_say_value(row, scene) for row in table.itertuples()],
        moves=[_say_moves(row) for row in table.itertuples()],
    )
    show_table(
        said,
        {
            "what": ("input", ""),
            "value": ("value used (9 times in 10)", ""),
            "how_sure": ("how sure", ""),
            "moves": ("value today, if low and if high", ""),
            "changed_by": ("set by", ""),
            "source": ("source", ""),
            "id": ("name", ""),
        },
        scene,
        caption="Inputs, the weakest first",
        most=len(said),
    )


def _say(row: Any, value: Any, scene: Scene) -> str:
    if isinstance(value, str):
        return value
    if value is None or pd.isna(value):
        return ""
    return say_amount(float(value), row.unit, scene.system)


def _say_value(row: Any, scene: Scene) -> str:
    said = _say(row, row.value, scene)
    if pd.isna(row.low):
        return said
    spread = Range(value=row.value, low=row.low, high=row.high, mean=row.value, unit=row.unit)
    return f"{said} ({say_spread(spread, scene.system)})"


def _say_moves(row: Any) -> str:
    if pd.isna(row.part):
        return NOT_KNOWN
    if row.part == 0:
        return "not beyond chance"
    low, high = (
        say_amount(end, "USD", digits=2) for end in (row.npv_if_low_usd, row.npv_if_high_usd)
    )
    return f"{low}, {high}"

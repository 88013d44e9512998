"""What can be said of a year's holidays, closed days and weather on the busy-hour screen?"""

from __future__ import annotations

from typing import Any

import streamlit as st

from capture.basis import CaptureError
from siteapp.frame import Scene, change, notify, say
from siteapp.own_year import (
    get_year,
    list_countries,
    list_states,
    make_normals_table,
    read_closed_days,
    read_normals_table,
    say_closed_days,
)
from siteapp.show import keep_in_step
from siteapp.text import as_markdown


def show_year(scene: Scene) -> None:
    """Ask for country and state, the days on which the wash is shut, and monthly weather."""
    say(
        "Fewer cars come on public holidays, none on days when the wash is shut, and weather "
        "moves cars within a month."
    )
    columns = st.columns(3)
    with columns[0]:
        _country_input(scene)
    with columns[1]:
        _state_input(scene)
    with columns[2]:
        _closed_input(scene)
    _show_normals(scene)


def _keep(scene: Scene, said: str, **parts: Any) -> bool:
    """Keep parts of the year that are something, drop those that are nothing."""
    told = {**scene.inputs.year_choice, **parts}
    told = {name: value for name, value in told.items() if value}
    try:
        get_year(told)
    except CaptureError as error:
        notify("warning", str(error))
        return False
    change(said, year_choice=told)
    return True


def _country_input(scene: Scene) -> None:
    key = f"country-{scene.kept.id}"
    countries = list_countries()
    now = scene.inputs.year_choice.get("country", "")
    options = ["", *countries]
    keep_in_step(key, now if now in options else "")

    def save() -> None:
        _keep(scene, "country of the holidays", country=st.session_state[key], subdivision="")

    st.selectbox(
        "Public holidays of",
        options,
        format_func=lambda code: f"{countries[code]} ({code})" if code else "no country",
        key=key,
        on_change=save,
    )


def _state_input(scene: Scene) -> None:
    country = scene.inputs.year_choice.get("country", "")
    key = f"state-{scene.kept.id}-{country}"
    options = ["", *list_states(country)]
    now = scene.inputs.year_choice.get("subdivision", "")
    keep_in_step(key, now if now in options else "")

    def save() -> None:
        _keep(scene, "state of the holidays", subdivision=st.session_state[key])

    st.selectbox(
        "State or province",
        options,
        format_func=lambda code: code or "the whole country",
        key=key,
        on_change=save,
        disabled=len(options) == 1,
    )


def _closed_input(scene: Scene) -> None:
    key = f"closed-{scene.kept.id}"
    keep_in_step(key, say_closed_days(scene.inputs.year_choice.get("closed_days", [])))

    def save() -> None:
        try:
            days = read_closed_days(str(st.session_state[key]))
        except CaptureError as error:
            notify("warning", str(error))
            return
        _keep(scene, "days on which the wash is shut", closed_days=days)

    st.text_input(
        "Days shut each year, month-day",
        max_chars=3000,
        placeholder="12-25, 01-01",
        key=key,
        on_change=save,
    )


def _show_normals(scene: Scene) -> None:
    rows = scene.inputs.year_choice.get("normals", [])
    if not rows and scene.study.area.read("weather") is not None:
        st.caption("The area has weather of its own; months filled in here go before it.")
    else:
        st.caption("A usual year by month; what is not known of snow and heat may stay empty.")
    edited = st.data_editor(
        make_normals_table(rows, scene.system),
        key=f"normals-{scene.kept.id}-{scene.kept.revision}-{scene.system}",
        hide_index=True,
        height=460,
        disabled=["month"],
    )
    use, away = st.columns(2)
    with use:
        if st.button("Use these months"):
            try:
                read = read_normals_table(edited, scene.system)
            except CaptureError as error:
                st.warning(as_markdown(error, most=900))
                return
            _keep(scene, "usual weather by month", normals=read)
            st.rerun()
    with away:
        if rows and st.button("Take these months away", icon=":material/undo:"):
            _keep(scene, "usual weather by month taken away", normals=[])
            st.rerun()

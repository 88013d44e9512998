"""How is the ground changed by a click on the map: driveway, sign, front, what hides the wash?

A click, or a typed spot, is tried first; what is kept is one saved change, which Undo takes
back.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import streamlit as st

from capture.basis import CaptureError
from capture.chain.own_driveway import check_by_parcel
from capture.papers.marks import MapLayer, mark_point
from capture.papers.turning_layers import find_screen
from capture.papers.words import say_lengths
from siteapp import own_plan, turning_answers
from siteapp.frame import Scene, say
from siteapp.rival_parts import read_spot
from siteapp.text import as_markdown
from siteapp.turning_parts import keep_plan, show_trial

MODES: Final = {
    "look": "only looks",
    "driveway": "puts a driveway",
    "sign": "puts the sign",
    "front": "puts the building front",
    "cut": "cuts a hedge, wall or trees",
}
#: a click this near to a hedge means that hedge
_CLICK_M: Final = 25.0


def _spot_key(scene: Scene) -> str:
    return f"ground-spot-{scene.kept.id}"


def pick_mode(scene: Scene) -> str:
    """Ask what a click on the map does."""
    key = f"ground-mode-{scene.kept.id}"
    mode = st.radio(
        "A click on the map", list(MODES), format_func=lambda name: MODES[name], horizontal=True,
        key=key, on_change=lambda: st.session_state.pop(_spot_key(scene), None),
    )  # fmt: skip
    return str(mode)


def make_click(scene: Scene, mode: str) -> Callable[[float, float], None] | None:
    """Return what takes a click; None where a click only looks."""
    if mode == "look":
        return None

    def clicked(lat: float, lon: float) -> None:
        st.session_state[_spot_key(scene)] = (lat, lon)
        st.rerun()

    return clicked


def make_spot_layer(scene: Scene) -> MapLayer | None:
    """Make the ring around the spot that was clicked."""
    spot = st.session_state.get(_spot_key(scene))
    if spot is None:
        return None
    lat, lon = spot
    mark = mark_point(lat, lon, "chosen", lift=1500)
    return MapLayer(name="Where you clicked", marks=(mark,), legend=("chosen",))


def show_clicked(scene: Scene, mode: str) -> None:
    """Show what the click would do, with a button that keeps it."""
    if mode == "look":
        return
    spot = st.session_state.get(_spot_key(scene))
    with st.container(border=True):
        if spot is None:
            _ask_spot(scene, mode)
            return
        try:
            _TRY[mode](scene, *spot)
        except CaptureError as error:
            told = say_lengths(f"{error}.", scene.system)
            st.info(as_markdown(told[:1].upper() + told[1:], most=600))
        if st.button("Let this spot go", icon=":material/close:"):
            st.session_state.pop(_spot_key(scene))
            st.rerun()


def _ask_spot(scene: Scene, mode: str) -> None:
    """Ask for a spot in words, for those who do not click."""
    with st.form(f"ground-typed-{scene.kept.id}-{mode}", border=False):
        typed = st.text_input(
            "Click a spot on the map, or type its latitude, longitude",
            placeholder="40.0123, -98.5345",
        )
        if st.form_submit_button("Take this spot") and typed.strip():
            spot = read_spot(typed)
            if spot is None:
                st.warning("Type two numbers with a comma between, such as 40.0123, -98.5345.")
            else:
                st.session_state[_spot_key(scene)] = spot
                st.rerun()


def _try_driveway(scene: Scene, lat: float, lon: float) -> None:
    names = list(scene.study.frontage.driveway)
    new = next(f"D{n}" for n in range(1, 100) if f"D{n}" not in names)
    picked = st.radio(
        "Which driveway",
        [*names, new],
        format_func=lambda name: "one more" if name == new else name,
        horizontal=True,
        key=f"ground-which-{scene.kept.id}-{len(names)}",
    )
    plan = own_plan.place_driveway(own_plan.get_plan(scene.inputs), str(picked), lat, lon)
    what = f"driveway {picked} put here" if picked != new else f"one more driveway, {picked}"
    _try_plan(scene, plan, what)


def _try_thing(part: str, words: str) -> Callable[[Scene, float, float], None]:
    def run(scene: Scene, lat: float, lon: float) -> None:
        study, plan = scene.study, own_plan.get_plan(scene.inputs)
        check_by_parcel(
            study.place, study.sites, lat, lon, what=words, values=study.numbers["place"]
        )
        names = study.frontage.driveway
        _try_plan(scene, own_plan.place_thing(plan, part, names, lat, lon), f"{words} put here")

    return run


def _try_cut(scene: Scene, lat: float, lon: float) -> None:
    osm_id = find_screen(scene.study, lat, lon, within_m=_CLICK_M)
    if osm_id is None:
        say("No hedge, wall or trees of the map stand at that spot near a driveway.")
        return
    plan = own_plan.cut(own_plan.get_plan(scene.inputs), {osm_id: 0.0})
    _try_plan(scene, plan, f"no. {osm_id} in the map cut to the ground")


def _try_plan(scene: Scene, plan: own_plan.Plan, what: str) -> None:
    trial: Any = turning_answers.get_plan_trial(scene.inputs, plan, what)

    def keep() -> None:
        st.session_state.pop(_spot_key(scene), None)
        keep_plan(scene, plan, what)

    show_trial(scene, trial, what, keep, name="clicked")


_TRY: Final[dict[str, Callable[[Scene, float, float], None]]] = {
    "driveway": _try_driveway,
    "sign": _try_thing("sign", "the sign"),
    "front": _try_thing("front", "the building front"),
    "cut": _try_cut,
}

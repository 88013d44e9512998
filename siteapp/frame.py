"""What is the same on every screen: which study is open, the strip, saving, units.

A screen calls :func:`open_screen` first and reads the scene that it returns. A change of
an input is saved before anything is drawn, so that a crash after it loses nothing.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import streamlit as st

from capture.basis import CaptureError, Offer, UnitSystem
from capture.papers.argument import Claim, make_argument
from capture.papers.withheld import withhold
from siteapp import engine
from siteapp.look import make_style
from siteapp.text import as_markdown, fill, tell_apart
from siteapp.why import show_every, show_why, start_screen
from siteapp.workspace import Inputs, Kept, Workspace


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What a screen shows."""

    #: the study that is open
    kept: Kept
    #: what it is made from
    inputs: Inputs
    #: units of the reader
    system: UnitSystem
    #: the chain's result; None before a site is placed or when an input cannot be used
    study: Any
    #: claims of the strip, empty without a result
    claims: tuple[Claim, ...]
    #: whether the client's own figures are kept off screens and papers
    hidden: bool = False

    @property
    def offer(self) -> Offer:
        """What is to be built and sold."""
        return engine.make_offer(self.inputs)

    def complete(self) -> Any:
        """Return the study with its queue, pipes, wires and cautions; takes a moment longer."""
        with st.spinner("Queueing a thousand days, sizing pipes and wires"):
            made = engine.get_study(self.inputs)
        return withhold(made) if self.hidden else made

    @property
    def token(self) -> str:
        """A short name of the inputs, for keys of what depends on them."""
        text = json.dumps([self.inputs.to_dict(), self.hidden], sort_keys=True)
        return hashlib.blake2b(text.encode(), digest_size=8).hexdigest()


def open_screen(title: str, *, needs_site: bool = True) -> Scene:
    """Draw what is the same on every screen and return what the rest reads."""
    st.html(make_style(dark=st.context.theme.type == "dark"))
    st.session_state["screen"] = title
    start_screen(title)
    kept = _current()
    st.session_state.setdefault("seen", {})[kept.id] = kept.revision
    system = _sidebar(kept)
    _say_notice()
    hidden = is_hidden(kept)
    study, fault = _result(kept)
    study = withhold(study) if hidden and study is not None else study
    claims = make_argument(study, system=system) if study is not None else ()
    scene = Scene(
        kept=kept, inputs=kept.inputs, system=system, study=study, claims=claims, hidden=hidden
    )
    _head(scene, title)
    if fault:
        st.error(as_markdown(fault, most=600), icon=":material/error:")
    if study is not None:
        _strip(scene, title)
    elif needs_site and fault:
        st.page_link("screens/sites.py", label="Mend or move the site", icon=":material/edit:")
        st.stop()
    elif needs_site or (title != "Area" and not kept.inputs.area):
        st.markdown(
            fill('<p class="say">There is no site yet. Place one on the <b>Sites</b> screen: '
                 "click the map, choose a parcel or type coordinates.</p>"),
            unsafe_allow_html=True,
        )  # fmt: skip
        st.page_link("screens/sites.py", label="Place a site", icon=":material/add_location:")
        st.stop()
    return scene


def _current() -> Kept:
    space = engine.open_workspace()
    wanted = st.session_state.get("study") or st.query_params.get("study")
    studies = space.studies()
    if wanted is None and studies:
        wanted = _find_for_area(studies, engine.named_area())
    ids = {kept.id for kept in space.studies()}
    try:
        number = int(wanted) if wanted is not None else None
    except ValueError:
        number = None
    if number not in ids:
        number = studies[0].id if studies else space.add(
            "First study", Inputs(area=engine.first_area(), site=engine.first_site())
        ).id  # fmt: skip
    st.session_state["study"] = number
    if st.query_params.get("study") != str(number):
        st.query_params["study"] = str(number)
    return space.load(int(number or 0))


def _find_for_area(studies: list[Kept], area: str) -> int | None:
    """Find the last study of the area that the app was started with, or begin one."""
    if not area:
        return None
    for kept in studies:
        if kept.inputs.area == area:
            return kept.id
    return engine.open_workspace().add("New area", Inputs(area=area)).id


def name_apart(studies: list[Kept]) -> dict[int, str]:
    """Name studies so that no two read alike, whichever was changed last."""
    names = {item.id: f"{item.name} ({item.inputs.site or 'no site yet'})" for item in studies}
    return tell_apart(dict(sorted(names.items())))


def _sidebar(kept: Kept) -> UnitSystem:
    space = engine.open_workspace()
    with st.sidebar:
        studies = space.studies()
        names = name_apart(studies)
        chosen = st.selectbox(
            "Study",
            [item.id for item in studies],
            index=[item.id for item in studies].index(kept.id),
            format_func=lambda number: names[number],
            key=f"choose-{kept.id}-{kept.revision}-{len(names)}",
        )
        if chosen != kept.id:
            open_study(int(chosen))
        _undo_button(kept)
        if st.button("New study", icon=":material/add:", width="stretch"):
            made = space.add(f"Study {len(names) + 1}", Inputs(area=kept.inputs.area))
            open_study(made.id)
        words = {"us": "feet, miles", "metric": "metres, km"}
        before = space.setting("units", "us")
        picked = st.radio(
            "Units",
            list(words),
            index=int(before == "metric"),
            format_func=lambda name: words[name],
            horizontal=True,
            key="units",
            on_change=lambda: space.keep_setting("units", str(st.session_state["units"])),
        )
        _hide_switch(kept)
    return "metric" if picked == "metric" else "us"


def is_hidden(kept: Kept, space: Workspace | None = None) -> bool:
    """Whether a study's own figures of the client are kept off screens and papers."""
    return (space or engine.open_workspace()).setting(f"withheld {kept.id}") == "yes"


def _hide_switch(kept: Kept) -> None:
    space, key = engine.open_workspace(), f"withhold-{kept.id}"
    st.toggle(
        "Hide client's numbers",
        is_hidden(kept),
        key=key,
        help="Own prices, land price, sales, known washes, answers and replaced numbers read "
        "'withheld' on every screen and in every paper. What was worked out from them stays, and "
        "can be used to narrow them down.",
        on_change=lambda: space.keep_setting(
            f"withheld {kept.id}", "yes" if st.session_state[key] else ""
        ),
    )


def _undo_button(kept: Kept) -> None:
    space = engine.open_workspace()
    rows = space.history(kept.id)
    if len(rows) < 2:
        return
    undone = st.session_state.get("undone", {}).get(kept.id, 0)
    if not rows[0].said.startswith("undone"):
        undone = 0
    back = 1 if undone == 0 else 2 * undone + 1
    if back >= len(rows):
        return
    said = rows[0].said if undone == 0 else "one more change"
    if st.button("Undo", icon=":material/undo:", width="stretch", help=f"Last change: {said}"):
        st.session_state.setdefault("undone", {})[kept.id] = undone + 1
        space.save(kept, space.state(kept.id, rows[back].revision),
                   said=f"undone: {rows[back - 1].said}")  # fmt: skip
        st.rerun()


def open_study(number: int) -> None:
    """Open another study and draw the screen again."""
    st.session_state["study"] = number
    st.query_params["study"] = str(number)
    st.rerun()


def _result(kept: Kept) -> tuple[Any, str]:
    if not kept.inputs.site or not kept.inputs.area:
        return None, ""
    try:
        with st.spinner("Reading roads, counts and rivals, then running the chain"):
            return engine.get_brief(kept.inputs), ""
    except CaptureError as error:
        return None, str(error)


def _head(scene: Scene, title: str) -> None:
    where = scene.inputs.site or "no site yet"
    if scene.study is not None:
        where = f"{scene.study.sites.names[0]}, {scene.study.area.name}"
    st.markdown(
        fill('<p class="where">{} · {}</p>', scene.kept.name, where), unsafe_allow_html=True
    )
    st.title(title, anchor=False)


def _strip(scene: Scene, title: str) -> None:
    with st.container(key="strip", horizontal=True, gap=None):
        for claim in scene.claims:
            spread = f"  \n:small[{claim.spread}]" if claim.spread else ""
            pressed = st.button(
                f"**{claim.said}**  \n{claim.words}{spread}",
                key=f"why-{claim.key}",
                help=None,
                width="content",
            )
            if pressed:
                show_why(scene.study, claim, scene.token, scene.system)
    with st.container(key="ways", horizontal=True):
        if st.button("Why? Any number here", icon=":material/help:", type="tertiary"):
            show_every(scene.complete(), title, scene.token, scene.system)
        if st.session_state.get("listed"):
            st.page_link(
                "screens/trail.py", label="Trail: every input", icon=":material/account_tree:"
            )


def say(sentence: str, *values: object) -> None:
    """Show a plain sentence of ours, filled with escaped values."""
    st.markdown(f'<p class="say">{fill(sentence, *values)}</p>', unsafe_allow_html=True)


def change(said: str, **changes: Any) -> None:
    """Save changed inputs of the open study; called before the screen is drawn again."""
    number = int(st.session_state["study"])
    seen = st.session_state.setdefault("seen", {})
    try:
        kept = engine.open_workspace().put(number, changes, seen=seen.get(number), said=said)
        seen[number] = kept.revision
    except CaptureError as error:
        st.session_state["notice"] = ("warning", str(error))


def notify(kind: Literal["done", "warning"], text: str) -> None:
    """Show a line at the top of the next screen."""
    st.session_state["notice"] = (kind, text)


def _say_notice() -> None:
    kind, text = st.session_state.pop("notice", ("", ""))
    if kind == "warning":
        st.warning(as_markdown(text, most=600), icon=":material/warning:")
    elif kind == "done":
        st.toast(as_markdown(text, most=200))


def change_offer(field: str, read: Callable[[], Any], said: str) -> Callable[[], None]:
    """Return what saves one field of the offer when its widget changes."""

    def save() -> None:
        kept = engine.open_workspace().load(int(st.session_state["study"]))
        offer = {**kept.inputs.offer, field: read()}
        usual = Offer().to_dict()
        offer = {name: value for name, value in offer.items() if value != usual[name]}
        try:
            Offer().change(**offer)
        except CaptureError as error:
            st.session_state["notice"] = ("warning", str(error))
            return
        change(said, offer=offer)

    return save

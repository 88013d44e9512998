"""How do maps, tables and inputs get onto a screen?

Maps are the papers' own, so they look the same and ask nothing of a network.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import pandas as pd
import streamlit as st
from streamlit_folium import st_folium

from capture.basis import CaptureError, Offer, UnitSystem, convert_in, convert_out, escape_text
from capture.papers.folder import list_credits
from capture.papers.html_table import Columns, render_table, say_table
from capture.papers.maps import make_map
from capture.papers.marks import MapLayer
from capture.papers.withheld import PRIVATE_OFFER, WITHHELD
from capture.papers.words import say_lengths
from siteapp import engine
from siteapp.frame import Scene, change, change_offer
from siteapp.text import as_markdown
from siteapp.why import remember_table

MAP_HEIGHT = 480


@st.fragment
def show_map(
    scene: Scene,
    layers: Sequence[MapLayer],
    *,
    key: str,
    centre: tuple[float, float] | None = None,
    zoom: int = 15,
    on_click: Callable[[float, float], None] | None = None,
    height: int = MAP_HEIGHT,
    drive: dict[str, Any] | None = None,
) -> None:
    """Show layers over the area's roads; a click is handed on as latitude and longitude.

    ``drive`` is what can be driven on the map; the reader's browser remembers which layers
    are on by the first part of ``key``.

    A fragment of the screen, so that a map that has finished drawing, or is panned, does not
    draw the whole screen again and close what is open on it.
    """
    space = engine.open_workspace()
    made = make_map(
        layers,
        background=engine.get_ground(scene.inputs.area),
        centre=centre,
        zoom=zoom,
        system=scene.system,
        credits=list_credits(engine.get_area(scene.inputs.area)),
        tiles_url=space.setting("tiles") or None,
        tiles_credit=space.setting("tiles credit") or "street tiles",
        drive=drive,
        memory=key.partition("-")[0],
    )
    answer = st_folium(
        made,
        key=key,
        height=height,
        use_container_width=True,
        returned_objects=["last_clicked"] if on_click else [],
    )
    clicked = (answer or {}).get("last_clicked")
    if on_click is None or not clicked:
        return
    at = (key, float(clicked["lat"]), float(clicked["lng"]))
    if st.session_state.get("clicked") != at:
        st.session_state["clicked"] = at
        on_click(at[1], at[2])


def show_table(
    table: pd.DataFrame, columns: Columns, scene: Scene, *, caption: str, most: int = 400
) -> None:
    """Show a table in words, every cell escaped."""
    said = say_table(table.head(most), columns, scene.system)
    remember_table(caption, said)
    st.markdown(render_table(said, caption=caption), unsafe_allow_html=True)


def show_cautions(texts: Iterable[str], system: UnitSystem = "us") -> None:
    """Show cautions as one list, each once, lengths in the reader's unit."""
    said = (say_lengths(text, system) for text in dict.fromkeys(texts) if text)
    told = [text[:1].upper() + text[1:] for text in said]
    if told:
        items = "".join(f"<li>{escape_text(text, most=1000)}</li>" for text in told)
        st.markdown(f'<ul class="cautions">{items}</ul>', unsafe_allow_html=True)


#: field -> label, unit as stored, least step
_AMOUNTS = {
    "ticket_price_usd": ("Price of a single wash, $", "USD", 0.5),
    "plan_price_usd_month": ("Price of the plan a month, $", "USD", 1.0),
    "years_open": ("Years open when looked at", "years", 1.0),
    "headroom_share": ("Headroom over the design hour, %", "share", 5.0),
    "sign_height_m": ("Height of the sign", "m", 1.0),
    "building_limit_m": ("Longest line that fits (0 lets the hour decide)", "m", 5.0),
    "land_cost_usd": ("Price of the land, $ (0 takes the usual)", "USD", 10_000.0),
}
_WHOLE = {
    "bays": ("Bays", 1, 40),
    "opens_hour": ("Opens at, hour", 0, 23),
    "closes_hour": ("Closes at, hour", 1, 24),
    "busy_rank": ("Which busiest hour of the year", 1, 500),
    "pay_lanes": ("Pay lanes", 1, 12),
}
_YES_NO = {
    "plan_offered": "A monthly plan is sold",
    "guided_loading": "Cars are guided onto the line",
    "reclaim": "Wash water is reclaimed",
}


def offer_inputs(scene: Scene, fields: Sequence[str], *, heading: str = "Your choices") -> None:
    """Show inputs for some fields of the offer; each is saved when it changes."""
    st.subheader(heading, anchor=False)
    columns = st.columns(min(len(fields), 4))
    for place, field in enumerate(fields):
        with columns[place % len(columns)]:
            _offer_input(scene, field)


def keep_in_step(key: str, stored: Any) -> None:
    """Give a widget the stored value when that changed elsewhere, and leave it alone else.

    The widget keeps its key, so that the keyboard's place is not lost when the screen is
    drawn again after a change. A screen entered anew gets the stored value in any case: the
    toolkit would otherwise start the same widget there from its least value.
    """
    known = st.session_state.setdefault("in step", {})
    now = (st.session_state.get("screen"), stored)
    if key not in st.session_state or known.get(key, now) != now:
        st.session_state[key] = stored
    known[key] = now


def _offer_input(scene: Scene, field: str) -> None:
    if scene.hidden and field in PRIVATE_OFFER:
        st.caption(f"{PRIVATE_OFFER[field].capitalize()}: {WITHHELD}")
        return
    offer = scene.offer
    key = f"offer-{field}-{scene.kept.id}-{scene.system}"

    def read() -> Any:
        return st.session_state[key]

    if field == "format":
        _format_input(offer, key, read)
    elif field in _YES_NO:
        keep_in_step(key, bool(getattr(offer, field)))
        save = change_offer(field, lambda: bool(read()), f"{_YES_NO[field]}: changed")
        st.toggle(_YES_NO[field], key=key, on_change=save)
    elif field in _WHOLE:
        label, least, most = _WHOLE[field]
        keep_in_step(key, int(getattr(offer, field)))
        save = change_offer(field, lambda: int(read()), f"{label}: changed")
        st.number_input(label, least, most, step=1, key=key, on_change=save)
    else:
        _amount_input(scene, offer, field, key)


def _format_input(offer: Offer, key: str, read: Callable[[], Any]) -> None:
    from capture.basis import FORMAT_WORDS, FORMATS

    keep_in_step(key, offer.format)
    st.selectbox(
        "Kind of wash",
        FORMATS,
        format_func=lambda name: FORMAT_WORDS[name],
        key=key,
        on_change=change_offer("format", read, "kind of wash changed"),
    )


def _amount_input(scene: Scene, offer: Offer, field: str, key: str) -> None:
    label, unit, step = _AMOUNTS[field]
    stored = getattr(offer, field)
    shown, name = _to_shown(stored, unit, scene)
    optional = stored is None or field in {"building_limit_m", "land_cost_usd"}

    def read() -> Any:
        value = float(st.session_state[key])
        return None if optional and value == 0 else _from_shown(value, unit, scene)

    keep_in_step(key, shown)
    st.number_input(
        f"{label}, {name}" if unit == "m" else label,
        min_value=0.0,
        step=step,
        key=key,
        on_change=change_offer(field, read, f"{label}: changed"),
    )


def _to_shown(value: float | None, unit: str, scene: Scene) -> tuple[float, str]:
    if value is None:
        return 0.0, convert_out(0.0, unit, scene.system)[1]
    if unit == "share":
        return round(value * 100, 6), "%"
    amount, name = convert_out(value, unit, scene.system)
    return round(amount, 6), name


def _from_shown(value: float, unit: str, scene: Scene) -> float:
    return value / 100 if unit == "share" else convert_in(value, unit, scene.system)


def numbers_editor(scene: Scene, rooms: Sequence[str]) -> None:
    """Show the built-in numbers of some rooms; any may be replaced by the user's own."""
    from capture.chain import load_numbers

    sheets = load_numbers(scene.inputs.replaced)
    rows = [
        {
            "name": f"{room}.{name}",
            "what": number.meaning,
            "value": number.value,
            "low": number.low,
            "high": number.high,
            "unit": number.unit,
            "how sure": number.grade,
            "source": number.source,
        }
        for room in rooms
        for name, number in sheets[room].items()
        if not (scene.hidden and number.grade == "yours")
    ]
    with st.expander(f"The {len(rows)} numbers this rests on; change any of them"):
        if scene.hidden:
            st.caption("Those that are the client's own are withheld.")
        st.caption("Change a value to use your own; empty it to go back to the built-in one.")
        table = pd.DataFrame(rows).set_index("name")
        key = f"numbers-{'-'.join(rooms)}-{scene.kept.id}-{scene.kept.revision}"
        edited = st.data_editor(
            table,
            key=key,
            width="stretch",
            disabled=[name for name in table.columns if name != "value"],
            column_config={"value": st.column_config.NumberColumn(required=False)},
        )
        _save_numbers(scene, table, edited)


def _save_numbers(scene: Scene, before: pd.DataFrame, after: pd.DataFrame) -> None:
    from capture.chain import load_numbers

    replaced, changed = dict(scene.inputs.replaced), []
    for name in before.index:
        old: Any = before.at[name, "value"]
        new: Any = after.at[name, "value"]
        if pd.isna(new):
            replaced.pop(str(name), None)
            changed.append(str(name))
        elif old != new:
            replaced[str(name)] = float(new)
            changed.append(str(name))
    if not changed:
        return
    try:
        load_numbers(replaced)
    except CaptureError as error:
        st.warning(as_markdown(error, most=600))
        return
    change(f"{', '.join(changed)}: own value", replaced=replaced)
    st.rerun()

"""Where do the stations of a file stand that does not say so itself? The user is asked.

A station is put where the map is clicked, at a count that is known already, or at typed
degrees. What is said stays with the visitor until the file is used, and then with the area.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

import pandas as pd
import streamlit as st

from capture.basis import CaptureError, plain_text
from capture.papers.marks import drop_empty
from capture.papers.passing_layers import make_known_layer, make_placed_layer
from siteapp import count_answers
from siteapp.frame import say
from siteapp.show import show_map, show_table
from siteapp.text import as_markdown, tell_apart

if TYPE_CHECKING:
    from siteapp.count_taking import Desk

MOST_STATIONS: Final = 200
_PAIR: Final = re.compile(r"^\s*([-+]?\d{1,3}(?:\.\d+)?)\s*[,;\s]\s*([-+]?\d{1,3}(?:\.\d+)?)\s*$")

Places = dict[str, dict[str, float]]


def read_spot(text: str) -> dict[str, float] | None:
    """Read typed degrees; None when they are none or not on Earth.

    Examples
    --------
    >>> read_spot("43.6, -87.3"), read_spot("95, 10"), read_spot("here")
    ({'lat': 43.6, 'lon': -87.3}, None, None)
    """
    found = _PAIR.match(text)
    if found is None:
        return None
    lat, lon = float(found[1]), float(found[2])
    return {"lat": lat, "lon": lon} if abs(lat) <= 90 and abs(lon) <= 180 else None


def ask_places(desk: Desk, lacking: list[str], *, key: str) -> Places:
    """Ask where stations stand; returns what was said so far, station -> lat and lon."""
    if len(lacking) > MOST_STATIONS:
        st.error(
            f"The file names {len(lacking)} stations and no place of any; add columns of latitude "
            "and longitude, and give it again.",
            icon=":material/error:",
        )
        return {}
    held: Places = st.session_state.setdefault(f"places-{key}", {})
    say(
        "<b>The file does not say where {}.</b> Click the map, choose a count that stands there "
        "already, or type degrees.",
        "its station stands" if len(lacking) == 1 else f"its {len(lacking)} stations stand",
    )
    name = lacking[0]
    if len(lacking) > 1:
        names = tell_apart({one: _call(one) for one in lacking})
        open_ = [one for one in lacking if one not in held]
        name = st.selectbox(
            "Station to place",
            lacking,
            index=lacking.index(open_[0]) if open_ else 0,
            format_func=lambda one: names[one] + (" (placed)" if one in held else ""),
            key=f"place-which-{key}-{len(held)}",
        )
    _ask_one(desk, held, str(name), key)
    _show_placed(desk, held, lacking)
    return dict(held)


def _call(station: str) -> str:
    return plain_text(station, most=60) or "the file's station"


def _ask_one(desk: Desk, held: Places, name: str, key: str) -> None:
    known = _known_counts(desk)
    left, right = st.columns([5, 3])
    with right:
        if len(known):
            titles = tell_apart(
                {k: f"{row['station'] or row['count_id']}, {row['road'] or 'road not named'}"
                 for k, row in enumerate(known.to_dict("records"))}
            )  # fmt: skip
            chosen = st.selectbox(
                "Where this count stands", [-1, *titles],
                format_func=lambda k: titles[k] if k >= 0 else "none chosen",
                key=f"place-count-{key}-{name}",
            )  # fmt: skip
            if chosen >= 0 and st.button("Put it there", key=f"place-put-{key}"):
                row = known.iloc[chosen]
                _put(held, name, float(row["lat"]), float(row["lon"]))
        with st.form(f"place-typed-{key}", border=False):
            typed = st.text_input("Latitude, longitude", placeholder="43.6050, -87.3074")
            if st.form_submit_button("Put it at these degrees"):
                spot = read_spot(typed)
                if spot is None:
                    st.warning("Type degrees such as 43.6050, -87.3074, latitude first.")
                else:
                    _put(held, name, spot["lat"], spot["lon"])
    with left:
        show_map(
            desk.scene,
            drop_empty((make_known_layer(known), make_placed_layer(held))),
            key=f"place-map-{key}",
            on_click=lambda lat, lon: _put(held, name, lat, lon),
            height=420,
        )


def _put(held: Places, name: str, lat: float, lon: float) -> None:
    held[name] = {"lat": round(lat, 6), "lon": round(lon, 6)}
    st.rerun()


def _known_counts(desk: Desk) -> pd.DataFrame:
    """Return the area's counts that have a place; none when its files cannot be read."""
    try:
        counts: Any = count_answers.get_files(desk.scene.inputs, year=desk.year).counts
    except CaptureError:
        return pd.DataFrame({"lat": [], "lon": []})
    known: pd.DataFrame = counts[counts["lat"].notna()].reset_index(drop=True)
    return known


def _show_placed(desk: Desk, held: Places, lacking: list[str]) -> None:
    rows = [(_call(name), f"{held[name]['lat']:.5f}, {held[name]['lon']:.5f}")
            for name in lacking if name in held]  # fmt: skip
    if not rows:
        return
    show_table(
        pd.DataFrame(rows, columns=["station", "spot"]),
        {"station": ("station", ""), "spot": ("latitude, longitude", "")},
        desk.scene,
        caption=f"{len(rows)} of {len(lacking)} placed",
    )
    left = [_call(name) for name in lacking if name not in held]
    if left:
        st.caption(as_markdown(f"Without a place a station changes no road: {', '.join(left)}",
                               most=400))  # fmt: skip

"""How do rivals changed by hand and the user's own washes get from a study into the chain?

Both are kept as plain rows. What is made of them is kept too, so that the same rows give
the same thing and nothing that stands on them is done twice.
"""

from __future__ import annotations

import json
from typing import Any

import streamlit as st

from siteapp.own_ties import get_columns
from siteapp.own_year import get_year
from siteapp.workspace import Inputs


@st.cache_resource(show_spinner=False, max_entries=32)
def _rivals(text: str, stamp: float, _area: Any, _place: Any) -> Any:
    from capture.around import load_rivals
    from capture.chain import load_numbers

    told = json.loads(text)
    return load_rivals(
        _area,
        _place,
        edits=told["edits"],
        on_year=told["year"] + 0.5,
        values=load_numbers(told["replaced"])["around"],
    )


def get_rivals(inputs: Inputs, area: Any, place: Any, *, year: int, stamp: float) -> Any:
    """Return the area's rivals with the study's changes; None when there are none."""
    if not inputs.rivals:
        return None
    told = {
        "area": inputs.area, "edits": inputs.rivals, "year": year,
        "replaced": _pick(inputs.replaced, "around"),
    }  # fmt: skip
    return _rivals(json.dumps(told, sort_keys=True), stamp, area, place)


@st.cache_resource(show_spinner=False, max_entries=16)
def _known(text: str, stamp: float, _area: Any, _place: Any, _others: Any) -> Any:
    from capture.chain import load_numbers
    from capture.papers.known_rows import join_known

    told = json.loads(text)
    numbers = load_numbers(told["replaced"])

    def measure(table: Any) -> Any:
        from capture.passing import add_volumes
        from capture.share.from_map import measure_known

        volumes = add_volumes(
            _area, _place, study_year=told["year"], decisions=told["ties"],
            answers=told["columns"], values=numbers["passing"],
        )  # fmt: skip
        return measure_known(
            _area, _place, volumes, _others(), table, values=numbers["share"], sheets=numbers
        )

    return join_known(
        _area, told["rows"], left_out=told["left_out"], measure=measure, values=numbers["share"]
    )


def get_known(inputs: Inputs, area: Any, place: Any, *, year: int, stamp: float) -> Any:
    """Return the area's known sites with the study's own rows, those left out told apart.

    Raises
    ------
    CaptureError
        With every fault of the rows.
    """
    told = {
        "area": inputs.area, "rows": inputs.known, "left_out": inputs.left_out, "year": year,
        "ties": inputs.ties, "rivals": inputs.rivals,
        "columns": get_columns(inputs, area, stamp=stamp),
        "replaced": _pick(inputs.replaced, "place", "passing", "turning", "seeing", "around",
                          "share"),
    }  # fmt: skip

    def others() -> Any:
        from capture.around import load_rivals
        from capture.chain import load_numbers

        changed = get_rivals(inputs, area, place, year=year, stamp=stamp)
        if changed is not None:
            return changed
        values = load_numbers(_pick(inputs.replaced, "around"))["around"]
        return load_rivals(area, place, on_year=year + 0.5, values=values)

    return _known(json.dumps(told, sort_keys=True), stamp, area, place, others)


def get_used(inputs: Inputs, area: Any, place: Any, *, year: int, stamp: float) -> Any:
    """Return the known sites that the fit reads; None when they are the area's own."""
    if not inputs.known and not inputs.left_out:
        return None
    return get_known(inputs, area, place, year=year, stamp=stamp).used


@st.cache_resource(show_spinner=False, max_entries=16)
def _members(text: str, stamp: float, _area: Any) -> Any:
    from capture.basis import Offer
    from capture.chain import YearChoice, load_numbers
    from capture.hours import make_year_shape
    from capture.papers.member_months import learn_members

    told = json.loads(text)
    numbers = load_numbers(told["replaced"])
    shape = make_year_shape(
        Offer().change(**told["offer"]), values=numbers["hours"],
        **(get_year(told["year"]) or YearChoice()).lay_year(_area.read("weather")),
    )  # fmt: skip
    return learn_members(told["rows"], month_share=shape.month_share, values=numbers["share"])


def get_members(inputs: Inputs, area: Any, *, stamp: float) -> Any:
    """Return what the study's own months taught of members.

    Raises
    ------
    CaptureError
        When a row cannot be used.
    """
    told = {
        "area": inputs.area, "rows": inputs.member_months, "offer": inputs.offer,
        "year": inputs.year_choice, "replaced": _pick(inputs.replaced, "hours", "share"),
    }  # fmt: skip
    return _members(json.dumps(told, sort_keys=True), stamp, area)


def get_numbers(inputs: Inputs, area: Any, *, stamp: float) -> Any:
    """Return every room's numbers: built in, the user's own, and learned from own months."""
    from capture.chain import load_numbers

    return load_numbers(get_replaced(inputs, area, stamp=stamp))


def get_replaced(inputs: Inputs, area: Any, *, stamp: float) -> dict[str, Any]:
    """Return the user's own numbers, those learned from own months with their spread."""
    if not inputs.member_months:
        return inputs.replaced
    learned = get_members(inputs, area, stamp=stamp).learned
    return {**{f"share.{each.name}": each for each in learned}, **inputs.replaced}


def _pick(replaced: dict[str, float], *rooms: str) -> dict[str, float]:
    return {name: value for name, value in replaced.items() if name.partition(".")[0] in rooms}

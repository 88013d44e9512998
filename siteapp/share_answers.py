"""What do the screens on rivals and on the share ask of the library, once for each input?

Every answer is kept under the inputs' text, as the study itself is.
"""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import streamlit as st

from siteapp import engine, own_rows
from siteapp.workspace import Inputs

MOST_KEPT = 24


def _text(inputs: Inputs) -> str:
    return json.dumps(inputs.to_dict(), sort_keys=True)


def _read(text: str) -> Inputs:
    return Inputs.from_dict(json.loads(text))


@st.cache_resource(show_spinner=False, max_entries=MOST_KEPT)
def _rival_trial(text: str, lat: float, lon: float, kind: str) -> Any:
    from capture.chain.whatif import compare
    from capture.papers.rival_tables import say_format

    study = engine.get_brief(_read(text))
    more = study.rivals.add(
        place=study.place, lat=lat, lon=lon, format=kind, name="one more wash", status="open"
    )
    return compare(
        study,
        replace(study.chain.request, rivals=more),
        name="rival",
        what=f"One more wash there ({say_format(kind)})",
        memo=engine.get_memo(),
    )


def get_rival_trial(inputs: Inputs, lat: float, lon: float, kind: str) -> Any:
    """Say what one more open wash at a spot would do.

    Raises
    ------
    CaptureError
        For a spot off the roads.
    """
    return _rival_trial(_text(inputs), round(lat, 6), round(lon, 6), kind)


@st.cache_resource(show_spinner=False, max_entries=MOST_KEPT)
def _status_trial(text: str, rival_id: str, status: str) -> Any:
    from capture.chain.whatif import compare

    study = engine.get_brief(_read(text))
    changed = study.rivals.change(rival_id, place=study.place, status=status)
    name = study.rivals.names[study.rivals.find(rival_id)] or "this wash"
    return compare(
        study,
        replace(study.chain.request, rivals=changed),
        name="rival",
        what=f"If {name} were {status}",
        memo=engine.get_memo(),
    )


def get_status_trial(inputs: Inputs, rival_id: str, status: str) -> Any:
    """Say what a wash that opens or closes would do."""
    return _status_trial(_text(inputs), rival_id, status)


@st.cache_resource(show_spinner=False, max_entries=MOST_KEPT)
def get_table(name: str, text: str) -> Any:
    """Make one of the tables on rivals of a study, once."""
    from capture.papers import rival_tables

    return getattr(rival_tables, name)(engine.get_brief(_read(text)))


def get_rival_table(name: str, inputs: Inputs) -> Any:
    """Make one of the tables on rivals and people by its function's name."""
    return get_table(name, _text(inputs))


def get_joined(inputs: Inputs) -> Any:
    """Return the area's known sites and the user's own, joined.

    Raises
    ------
    CaptureError
        With every fault of the rows.
    """
    from capture.chain.steps import find_year

    area = engine.get_area(inputs.area)
    return own_rows.get_known(
        inputs, area, engine.get_place(inputs.area), year=find_year(area, None),
        stamp=engine.area_stamp(inputs.area),
    )  # fmt: skip


def get_members(inputs: Inputs) -> Any:
    """Return what the study's own months of tickets and members taught.

    Raises
    ------
    CaptureError
        When a row cannot be used.
    """
    return own_rows.get_members(
        inputs, engine.get_area(inputs.area), stamp=engine.area_stamp(inputs.area)
    )


def check_rivals(inputs: Inputs) -> None:
    """Apply a study's changes of rivals to see whether they can be.

    Raises
    ------
    CaptureError
        For a change that is not understood.
    """
    from capture.chain.steps import find_year

    area = engine.get_area(inputs.area)
    own_rows.get_rivals(
        inputs, area, engine.get_place(inputs.area), year=find_year(area, None),
        stamp=engine.area_stamp(inputs.area),
    )  # fmt: skip


@st.cache_resource(show_spinner=False, max_entries=MOST_KEPT)
def _share(name: str, text: str) -> Any:
    from capture.papers import share_tables as tables
    from capture.share import check_left_out, measure_unlikeness

    inputs = _read(text)
    study = engine.get_brief(inputs)
    if name == "ladder":
        joined = get_joined(inputs)
        return tables.make_fit_ladder(study, joined.everyone, joined.used, joined.own)
    if name == "influence":
        return tables.make_influence_table(study.fit, own=get_joined(inputs).own)
    if name == "checks":
        return tuple(check_left_out(study.fit, unit) for unit in ("site", "town"))
    if name == "unlikeness":
        return measure_unlikeness(study.fit, study.factors)[0]
    if name == "learning":
        return tables.make_learning_table(study.fit, study.worlds)
    return getattr(tables, name)(study)


def get_share(name: str, inputs: Inputs) -> Any:
    """Return one answer on the share of a study by its name.

    Raises
    ------
    CaptureError
        Where there are too few known sites for it.
    """
    return _share(name, _text(inputs))


@st.cache_resource(show_spinner=False, max_entries=MOST_KEPT)
def _second(text: str, first: str) -> Any:
    from capture.papers.operator_tables import judge_second

    return judge_second(engine.get_brief(_read(text)), **json.loads(first))


def get_second(inputs: Inputs, **first: Any) -> Any:
    """Judge a study's site as the second of an operator, see ``judge_second``."""
    return _second(_text(inputs), json.dumps(first, sort_keys=True))

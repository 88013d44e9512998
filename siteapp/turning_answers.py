"""What does the screen on turning in ask of the library, once for each input?

Every trial is kept under the inputs' text, as the study itself is.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import streamlit as st

from capture.basis import UnitSystem
from siteapp import engine
from siteapp.workspace import Inputs

MOST_KEPT: Final = 24
#: how far along the road, which is said before the reasons
_ALONG: Final = re.compile(r"^[\d.]+ m along the road ")


def _text(inputs: Inputs) -> str:
    return json.dumps(inputs.to_dict(), sort_keys=True)


@st.cache_resource(show_spinner=False, max_entries=MOST_KEPT)
def _trial(text: str, kind: str, driveway: str, value: Any) -> Any:
    from capture import chain

    study = engine.get_brief(Inputs.from_dict(json.loads(text)))
    memo = engine.get_memo()
    if kind == "sign":
        return chain.try_sign(study, value, memo=memo)
    if kind == "cut":
        return chain.try_cut(study, value, memo=memo)
    if kind == "driveway":
        return chain.try_driveway(study, value, driveway=driveway, memo=memo)
    tries = {
        "opening": chain.try_opening,
        "closing": chain.try_closing,
        "near_side_only": chain.try_near_side_only,
    }
    return tries[kind](study, driveway=driveway, memo=memo)


def get_trial(
    inputs: Inputs, kind: str, *, driveway: str = "", value: float | tuple[int, ...] = 0.0
) -> Any:
    """Say what one change on the ground would do.

    Raises
    ------
    CaptureError
        When it cannot be made here.
    """
    return _trial(_text(inputs), kind, driveway, value)


@st.cache_resource(show_spinner=False, max_entries=MOST_KEPT)
def _plan_trial(text: str, changed: str, what: str) -> Any:
    from dataclasses import replace

    from capture.chain.whatif import compare
    from siteapp.own_plan import lay_frontage, make_works

    study = engine.get_brief(Inputs.from_dict(json.loads(text)))
    wanted = Inputs.from_dict(json.loads(changed))
    place, sites = study.place, study.sites
    request = replace(
        study.chain.request,
        works=make_works(wanted, sites.ids[0], place.network.projection),
        frontage=lay_frontage(wanted, place, sites, study.numbers),
    )
    return compare(study.chain, request, name="plan", what=what, memo=engine.get_memo())


def get_plan_trial(inputs: Inputs, plan: dict[str, Any], what: str) -> Any:
    """Say what another plan for the same site would do, named in words.

    Raises
    ------
    CaptureError
        When it cannot be carried out here.
    """
    from siteapp.own_plan import put_plan

    return _plan_trial(_text(inputs), _text(inputs.change(plan=put_plan(inputs, plan))), what)


@st.cache_resource(show_spinner=False, max_entries=MOST_KEPT)
def _proposal(text: str, driveway: str) -> Any:
    from capture.chain import propose_driveway

    study = engine.get_brief(Inputs.from_dict(json.loads(text)))
    return propose_driveway(study, driveway=driveway, memo=engine.get_memo())


def get_proposal(inputs: Inputs, driveway: str) -> Any:
    """Propose the best place of a driveway along its frontage.

    Raises
    ------
    CaptureError
        When no place along the road lies in front of the parcel.
    """
    return _proposal(_text(inputs), driveway)


def say_reasons(reasons: Sequence[str], system: UnitSystem) -> str:
    """Say why a place is best, without saying again how far it is.

    Examples
    --------
    >>> say_reasons(["10 m along the road it keeps as many", "a signal is 20 m on"], "metric")
    'it keeps as many; a signal is 20 m on'
    """
    from capture.papers.words import say_lengths

    return "; ".join(say_lengths(_ALONG.sub("", one), system) for one in reasons)


def say_side(study: Any, driveway: str, along_m: float) -> str:
    """Say to which side of the sky a move along the road leads."""
    from capture.papers.passing_layers import say_heading

    row = study.frontage.driveway.index(driveway)
    line = study.place.network.segment_line(int(study.frontage.segment[row]))
    east, north = (line[-1] - line[0]) * np.sign(along_m)
    return say_heading(float(np.degrees(np.arctan2(east, north)))).removeprefix("going ")

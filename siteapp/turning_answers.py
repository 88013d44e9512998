"""What does the screen on turning in ask of the library, once for each input?

Every trial is kept under the inputs' text, as the study itself is.
"""

from __future__ import annotations

import json
from typing import Any, Final

import numpy as np
import streamlit as st

from siteapp import engine
from siteapp.workspace import Inputs

MOST_KEPT: Final = 24


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


def say_side(study: Any, driveway: str, along_m: float) -> str:
    """Say to which side of the sky a move along the road leads."""
    from capture.papers.passing_layers import say_heading

    row = study.frontage.driveway.index(driveway)
    line = study.place.network.segment_line(int(study.frontage.segment[row]))
    east, north = (line[-1] - line[0]) * np.sign(along_m)
    return say_heading(float(np.degrees(np.arctan2(east, north)))).removeprefix("going ")

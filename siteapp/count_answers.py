"""What does the screen on passing traffic ask of the library, once for each input?

Count files are read again here for what the chain does not keep: the 84 cells of continuous
stations and the headings of each file.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

import streamlit as st

from siteapp import engine
from siteapp.own_ties import get_columns
from siteapp.workspace import Inputs

#: file beside the workspace that remembers what columns were taken for
MEMORY: Final = "count_columns.json"


def column_memory() -> Path:
    """Return the file that remembers answers about columns."""
    return engine.open_workspace().path.parent / MEMORY


@st.cache_resource(show_spinner=False, max_entries=8)
def _files(path: str, stamp: float, columns: str, replaced: str, year: int) -> Any:
    from capture.chain import load_numbers
    from capture.passing.layers import load_area_counts
    from capture.passing.volumes import COLUMN_MEMORY

    area = engine.get_area(path)
    kept = area.folder / COLUMN_MEMORY
    return load_area_counts(
        area,
        engine.get_place(path),
        study_year=year,
        answers=json.loads(columns) or None,
        memory=kept if kept.is_file() else None,
        values=load_numbers(json.loads(replaced))["passing"],
    )


def get_files(inputs: Inputs, *, year: int) -> Any:
    """Return an area's count files as read for a study."""
    stamp = engine.area_stamp(inputs.area)
    columns = get_columns(inputs, engine.get_area(inputs.area), stamp=stamp)
    replaced = {k: v for k, v in inputs.replaced.items() if k.startswith("passing.")}
    return _files(
        inputs.area,
        stamp,
        json.dumps(columns or {}, sort_keys=True),
        json.dumps(replaced, sort_keys=True),
        year,
    )


def get_table(inputs: Inputs, name: str, **more: Any) -> Any:
    """Make one of the tables on counts of a study, once, by its function's name."""
    return _table(json.dumps(inputs.to_dict(), sort_keys=True), name, **more)


@st.cache_resource(show_spinner=False, max_entries=24)
def _table(text: str, name: str, **more: Any) -> Any:
    from capture.papers import passing_tables

    return getattr(passing_tables, name)(
        engine.get_brief(Inputs.from_dict(json.loads(text))), **more
    )

"""How do ties and columns settled by hand get from a study into the chain?

Both are plain values of a study. They may come from a file, so they are checked here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import streamlit as st

from capture.basis import CaptureError, DataError
from siteapp.workspace import Inputs

MOST_TIES: Final = 5_000


def get_ties(inputs: Inputs) -> dict[str, dict[str, float]] | None:
    """Return where counts were tied by hand; None when nowhere.

    Raises
    ------
    DataError
        When a tie is not a position on Earth, nor empty for a count left untied.

    Examples
    --------
    >>> get_ties(Inputs(ties={"A|high street|40.1|-75.0": {"lat": 40.1, "lon": -75.0}}))
    {'A|high street|40.1|-75.0': {'lat': 40.1, 'lon': -75.0}}
    """
    if len(inputs.ties) > MOST_TIES:
        raise DataError(f"counts: at most {MOST_TIES} may be tied by hand, got {len(inputs.ties)}")
    return {str(key): _check_spot(spot) for key, spot in inputs.ties.items()} or None


def _check_spot(spot: Any) -> dict[str, float]:
    fault = DataError(
        "counts: a tie by hand must be a lat and lon in degrees, or nothing; undo the last change"
    )
    if not isinstance(spot, Mapping) or set(spot) not in (set(), {"lat", "lon"}):
        raise fault
    for name, most in (("lat", 90.0), ("lon", 180.0)):
        value = spot.get(name, 0.0)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise fault
        if not (math.isfinite(value) and abs(value) <= most):
            raise fault
    return {name: float(value) for name, value in spot.items()}


@st.cache_resource(show_spinner=False, max_entries=16)
def _headings(path: str, stamp: float, _area: Any) -> dict[str, tuple[str, ...]]:
    """List the headings of each counts file of an area, by the file's name in the area."""
    from capture.passing.layers import list_count_files
    from capture.passing.reading import read_count_file

    found = {}
    for source in list_count_files(_area):
        try:
            table, _ = read_count_file(source.path)
        except CaptureError:
            continue
        own = {"row", "geometry"}
        found[source.name] = tuple(str(name) for name in table.columns if str(name) not in own)
    return found


def get_columns(inputs: Inputs, area: Any, *, stamp: float) -> dict[str, dict[str, str]] | None:
    """Return what was said of the columns of this area's count files; None when nothing.

    What was said of another area's files does not hold here and stays with the study.

    Returns
    -------
    dict or None
        File -> role -> heading.
    """
    if not inputs.columns:
        return None
    try:
        have = _headings(inputs.area, stamp, area)
    except CaptureError:
        return None
    kept = {}
    for file, told in name_files(inputs.columns, area).items():
        known = set(have.get(file, ()))
        said = {str(role): str(head) for role, head in told.items()}
        if file in have:
            kept[file] = {role: head for role, head in said.items() if not head or head in known}
    return {file: told for file, told in kept.items() if told} or None


def name_files(columns: Mapping[str, Any], area: Any) -> dict[str, dict[str, str]]:
    """Return answers about columns by file; what names no file is about the layer's own.

    Raises
    ------
    CaptureError
        When the area does not say its count files rightly.
    """
    by_file = {str(k): dict(v) for k, v in columns.items() if isinstance(v, Mapping)}
    bare = {str(role): str(head) for role, head in columns.items() if isinstance(head, str)}
    if not bare:
        return by_file
    from capture.passing.layers import list_count_files

    files = (one for one in list_count_files(area) if one.kind == "counts" and one.first)
    first = next(files, None)
    if first is None:
        return by_file
    return {**by_file, first.name: {**bare, **by_file.get(first.name, {})}}

"""How is a further file of counts given on the screen, looked at, and taken in?

Given as a file or fetched from a feature service; what each column was taken for, where each
station stands and what was done with the rows are shown before it is used.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
import streamlit as st

from capture.basis import CaptureError, Sheet
from capture.papers.passing_tables import make_done_table, say_role, say_sure
from capture.passing import ColumnMemory, load_counts, tie_counts
from capture.passing.places import list_unplaced
from capture.passing.reading import read_count_file
from siteapp import count_answers, engine, own_counts
from siteapp.count_columns import guess, settle
from siteapp.count_places import ask_places
from siteapp.count_service import Fetched, ask_service
from siteapp.frame import Scene, change, notify, say
from siteapp.own_ties import get_columns
from siteapp.show import show_table
from siteapp.text import as_markdown

DONE_COLUMNS: Final = {
    "file": ("file", ""), "what": ("what", ""), "rows": ("rows", ""), "why": ("why", ""),
    "which": ("rows in the file", ""),
}  # fmt: skip
_WAYS: Final = ("beside the counts that are there", "in place of them")


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """What a file of counts is looked at with; needs no site."""

    #: the screen
    scene: Scene
    #: where the file is to belong
    area: Any
    #: its roads
    place: Any
    #: numbers of the passing room
    values: Sheet
    #: year looked at
    year: int

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """South, west, north, east of the roads, degrees."""
        lat, lon = self.place.network.node_lat, self.place.network.node_lon
        return float(lat.min()), float(lon.min()), float(lat.max()), float(lon.max())


def open_desk(scene: Scene) -> Desk:
    """Make ready to look at a file of counts of the study's area.

    Raises
    ------
    CaptureError
        When the area or a number of the study's own cannot be used.
    """
    from capture.chain import load_numbers
    from capture.chain.steps import find_year

    path = scene.inputs.area
    replaced = {k: v for k, v in scene.inputs.replaced.items() if k.startswith("passing.")}
    area = engine.get_area(path)
    return Desk(
        scene=scene,
        area=area,
        place=engine.get_place(path),
        values=load_numbers(replaced)["passing"],
        year=find_year(area, None),
    )


def take_in(desk: Desk) -> None:
    """Take in a further file step by step: give it, check it, use it."""
    with st.expander("Use a counts file of your own", icon=":material/upload_file:"):
        say(
            "<b>1.</b> Give a table or map of counts. <b>2.</b> Look at what each column was taken "
            "for and what was done with the rows. <b>3.</b> Use it: a copy of this area is made "
            "that holds it, and the area itself stays as it is."
        )
        given = st.file_uploader(
            "Counts file", type=list(own_counts.TAKEN), accept_multiple_files=True,
            key=f"own-counts-{desk.scene.inputs.area}",
            help="CSV, GeoJSON, GeoPackage or FlatGeobuf; a shapefile as a zip archive or with "
            "all its parts at once.",
        )  # fmt: skip
        if given:
            _take_files(desk, [(one.name, one.getvalue()) for one in given])
    with st.expander("Fetch counts from a feature service", icon=":material/cloud_download:"):
        fetched = ask_service(desk)
        if fetched is not None:
            _look_at(desk, fetched.path, fetched)


def _take_files(desk: Desk, given: list[tuple[str, bytes]]) -> None:
    space = engine.open_workspace().path.parent
    try:
        laid = own_counts.keep_given(space / "given", given)
    except CaptureError as error:
        st.error(as_markdown(error, most=600), icon=":material/error:")
        return
    for remark in laid.remarks:
        st.caption(as_markdown(remark, most=400))
    told = Fetched(
        path=laid.path, called=laid.called, source=f"given by you: {laid.called}", licence=""
    )
    _look_at(desk, laid.path, told)


def _look_at(desk: Desk, path: Path, given: Fetched) -> None:
    """Show what a file was taken for, ask what is open, and offer to use it."""
    try:
        table, _ = read_count_file(path)
        memory = ColumnMemory(count_answers.column_memory())
        first = guess(table, {})
        recalled = memory.recall(first.signature)
        columns = guess(table, recalled)
    except CaptureError as error:
        st.error(as_markdown(error, most=600), icon=":material/error:")
        return
    if recalled:
        st.caption("You were asked about a file with these columns before; it was remembered.")
    answers = settle(table, columns, recalled, path.name)
    open_ = [q.role for q in columns.questions if q.needed and not answers.get(q.role)]
    if open_ and not columns.hours:
        said = ", ".join(say_role(role) for role in open_)
        st.info(as_markdown(f"Say which column holds the {said}; then the file is read."))
        return
    try:
        lacking = list_unplaced(table, guess(table, answers))
    except CaptureError as error:
        st.error(as_markdown(error, most=600), icon=":material/error:")
        return
    places = ask_places(desk, lacking, key=path.stem) if lacking else {}
    if lacking and not places:
        st.info("Say where at least one station stands; then the file is read.")
        return
    _check_and_use(desk, path, given, answers, columns.signature, places)


def _check_and_use(
    desk: Desk,
    path: Path,
    given: Fetched,
    answers: dict[str, str],
    signature: str,
    places: Mapping[str, Mapping[str, float]],
) -> None:
    try:
        file = load_counts(
            path,
            study_year=desk.year,
            name=given.called,
            extent=desk.extent,
            answers=answers,
            defaults={"places": places},
            values=desk.values,
        )
    except CaptureError as error:
        st.error(as_markdown(error, most=800), icon=":material/error:")
        return
    columns = {name: told for name, told in DONE_COLUMNS.items() if name != "file"}
    show_table(
        make_done_table(file.done), columns, desk.scene, caption="What was done with your file"
    )
    _show_ties(desk, file)
    beside = False
    if desk.area.layers.get("counts") is not None:
        way = st.radio("Where they go", _WAYS, horizontal=True, key=f"way-{path.stem}")
        beside = way == _WAYS[0]
    if not st.button(
        "Use these counts", type="primary", icon=":material/check:", key=f"use-{path.stem}"
    ):
        return
    if answers:
        ColumnMemory(count_answers.column_memory()).remember(signature, answers)
    told = own_counts.Told(
        called=given.called, source=given.source, licence=given.licence, columns=answers,
        places=places,
    )  # fmt: skip
    inputs = desk.scene.inputs
    try:
        made = own_counts.add_counts(
            desk.area,
            engine.own_areas(),
            path,
            told,
            beside=beside,
            settled=get_columns(inputs, desk.area, stamp=engine.area_stamp(inputs.area)),
        )
    except CaptureError as error:
        st.error(as_markdown(error, most=600), icon=":material/error:")
        return
    change(f"counts file {given.called} taken in", area=str(made), columns={})
    notify("done", f"Counts taken in: {len(file.counts)}")
    st.rerun()


def _show_ties(desk: Desk, file: Any) -> None:
    """Show to which road each count of a file would be tied."""
    ties = tie_counts(desk.place.network, file.counts, values=desk.values)
    told = pd.DataFrame(
        {
            "station": file.counts["station"].to_numpy(),
            "road": file.counts["road"].to_numpy(),
            "vehicles": file.counts["vehicles_per_day"].to_numpy(dtype=float),
            "year": [
                f"{year:.0f}" if np.isfinite(year) else "not given"
                for year in file.counts["year"].astype(float)
            ],
            "story": file.counts["story"].to_numpy(),
            "tied_to": [name or "no road" for name in ties["tied_to"]],
            "sure": [
                say_sure(float(score)) if g >= 0 else why
                for score, g, why in zip(ties["score"], ties["segment"], ties["why"], strict=True)
            ],
        }
    )
    show_table(
        told,
        {
            "station": ("count", ""), "road": ("road in the file", ""),
            "vehicles": ("vehicles a day", "count"), "year": ("year", ""),
            "story": ("how it was read", ""), "tied_to": ("road on the map", ""),
            "sure": ("how sure", ""),
        },
        desk.scene,
        caption=f"Counts of the file, {len(told)}, and the road that each would be tied to",
        most=60,
    )  # fmt: skip

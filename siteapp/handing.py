"""Which papers can be taken away, and how are they handed over?

Each is made when it is asked for and kept until an input changes.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final

import streamlit as st

from capture.basis import CaptureError, UnitSystem
from capture.papers import render_study, render_study_map, write_geopackage
from capture.papers.layers_out import make_layers_out
from capture.papers.report import make_report
from capture.papers.report_html import render_report_html
from capture.papers.report_pdf import render_report_pdf
from capture.papers.seller import make_pitch
from capture.papers.withheld import hide_inputs
from capture.papers.workbook import render_workbook
from siteapp import engine
from siteapp.frame import Scene, is_hidden, say
from siteapp.text import as_markdown
from siteapp.workspace import Workspace

Make = Callable[[Any, UnitSystem, str, str, bytes | None], bytes]
PICTURES: Final = ("png", "jpg", "jpeg", "svg")


def _today() -> str:
    return datetime.date.today().isoformat()


def _map(study: Any, system: UnitSystem, date: str, author: str, logo: bytes | None) -> bytes:
    return render_study_map(study, system=system).encode()


def _pdf(study: Any, system: UnitSystem, date: str, author: str, logo: bytes | None) -> bytes:
    return render_report_pdf(make_report(study, system=system, date=date, author=author, logo=logo))


def _html(study: Any, system: UnitSystem, date: str, author: str, logo: bytes | None) -> bytes:
    return render_report_html(
        make_report(study, system=system, date=date, author=author, logo=logo)
    ).encode()


def _json(study: Any, system: UnitSystem, date: str, author: str, logo: bytes | None) -> bytes:
    return render_study(study).encode()


def _workbook(study: Any, system: UnitSystem, date: str, author: str, logo: bytes | None) -> bytes:
    return render_workbook(study, date=date, system=system)


def _geopackage(
    study: Any, system: UnitSystem, date: str, author: str, logo: bytes | None
) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "layers.gpkg"
        write_geopackage(make_layers_out(study), path)
        return path.read_bytes()


#: name, file, kind of file, what it is for, how it is made
PAPERS: Final[tuple[tuple[str, str, str, str, Make], ...]] = (
    ("Map", "map.html", "text/html", "One file that opens from a stick, with no network.", _map),
    ("Report to print", "report.pdf", "application/pdf", "About six pages: the argument, "
     "pictures, what we do not know, sources.", _pdf),
    ("Report to read", "report.html", "text/html", "The same on one page, for a screen.", _html),
    ("Workbook", "study.xlsx",
     "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
     "Every table as values with unit and source.", _workbook),
    ("Map layers", "layers.gpkg", "application/geopackage+sqlite3",
     "Site, streams, roads, rivals, for a map program.", _geopackage),
    ("Study file", "study.json", "application/json",
     "Every number with its range and its source, for a program.", _json),
)  # fmt: skip


def show_papers(scene: Scene, study: Any) -> None:
    """Show what can be taken away."""
    space = engine.open_workspace()
    author = st.text_input(
        "Your name or firm, for the report (may stay empty)", space.setting("author")
    )
    if author != space.setting("author"):
        space.keep_setting("author", author)
    given = st.file_uploader(
        "Your logo, for the report: PNG, JPEG or SVG (may stay empty)", type=list(PICTURES)
    )
    logo = None if given is None else given.getvalue()
    columns = st.columns(3)
    for place, (name, file, media, purpose, make) in enumerate(PAPERS):
        with columns[place % 3]:
            _show_paper(scene, study, (name, file, media, purpose), make, author, logo)


def show_pitch(scene: Scene, study: Any) -> None:
    """Show the sentence for a seller, and which claims may be printed."""
    pitch = make_pitch(study, system=scene.system)
    st.subheader("For the seller, in one sentence", anchor=False)
    say("{}", pitch.sentence)
    left, right = st.columns(2)
    with left:
        _list_claims("May be printed", pitch.may or ("nothing: the data are invented",))
    with right:
        _list_claims("May not be printed as a claim", pitch.may_not)


def _list_claims(heading: str, claims: Sequence[str]) -> None:
    st.caption(heading)
    st.markdown("\n".join(f"- {as_markdown(text, most=400)}" for text in claims))


def export_studies(space: Workspace) -> bytes:
    """Save all studies as one file, without the client's own figures where they are hidden."""
    content = json.loads(space.export())
    for told, kept in zip(content["studies"], space.studies(), strict=True):
        if is_hidden(kept, space):
            inputs = hide_inputs(told["inputs"])
            told["withheld"] = inputs.pop("withheld")
            told["inputs"] = inputs
    return json.dumps(content, indent=1, sort_keys=True).encode()


def _show_paper(
    scene: Scene,
    study: Any,
    about: tuple[str, str, str, str],
    make: Make,
    author: str,
    logo: bytes | None,
) -> None:
    name, file, media, purpose = about
    own = "" if logo is None else hashlib.sha256(logo).hexdigest()[:16]
    key = f"paper {file} {scene.token} {scene.system} {author} {own}"
    if key not in st.session_state and st.button(f"Make: {name}", key=f"make {key}"):
        try:
            with st.spinner(f"Making {file}"):
                st.session_state[key] = make(study, scene.system, _today(), author, logo)
        except CaptureError as error:
            st.warning(as_markdown(error, most=600))
        else:
            st.rerun()
    if key in st.session_state:
        st.download_button(
            f"Save {file}", st.session_state[key], file, media, type="primary", key=f"save {key}"
        )
    st.caption(purpose)


def show_reference() -> None:
    """Show how to take the library's reference away; made when asked for, some seconds."""
    if "reference" not in st.session_state and st.button("Make: Reference"):
        from siteapp.reference import pack_reference

        with st.spinner("Making reference.zip"):
            st.session_state["reference"] = pack_reference()
        st.rerun()
    if "reference" in st.session_state:
        st.download_button(
            "Save reference.zip", st.session_state["reference"], "reference.zip",
            "application/zip", type="primary",
        )  # fmt: skip
    st.caption("One file. Unpack it and open index.html in it.")

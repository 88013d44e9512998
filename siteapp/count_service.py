"""How are counts fetched on the screen from a feature service, as road authorities run them?

An address is looked at first: what the layer holds and whom it is from. Then its rows in the
area are fetched, with progress and a way to stop, and kept as a file beside the workspace.
"""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import streamlit as st

from capture.basis import CaptureError, plain_text
from capture.papers.passing_tables import say_role
from siteapp import engine, jobs
from siteapp.frame import say
from siteapp.show import show_table
from siteapp.text import as_markdown

if TYPE_CHECKING:
    from siteapp.count_taking import Desk

#: seconds until one answer is given up, and how often it is asked for again
TIMEOUT_S: Final = 30.0
TRIES: Final = 3
_JOB: Final = "service"
_LAYER: Final = "service-layer"
_FILE: Final = "service-file"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fetched:
    """A file of counts that was given or fetched, and whom it is from."""

    #: the file
    path: Path
    #: what it is called
    called: str
    #: whom it is from, in words
    source: str
    #: licence it comes under, in words
    licence: str


def ask_service(desk: Desk) -> Fetched | None:
    """Ask for an address, look at it and fetch; returns what was fetched, None before."""
    say(
        "<b>1.</b> Give the address of a layer, as the publisher's page has it. <b>2.</b> Look at "
        "what it holds. <b>3.</b> Fetch the rows that lie in this area; nothing is sent but that "
        "question."
    )
    with st.form("service", border=False):
        address = st.text_input(
            "Address of the layer",
            placeholder="https://maps.county.example/rest/services/Counts/FeatureServer/0",
        )
        if st.form_submit_button("Look at it", icon=":material/search:"):
            st.session_state[_LAYER] = _describe(address)
            st.session_state.pop(_file_key(desk), None)
    layer = st.session_state.get(_LAYER)
    if layer is None:
        return None
    _show_fields(desk, layer)
    fetched: Fetched | None = _offer_fetch(desk, layer)
    return fetched


def _file_key(desk: Desk) -> str:
    """Return under which name a fetched file is kept: what was fetched for one area is its own."""
    return f"{_FILE}-{desk.scene.inputs.area}"


def _client(wait: Callable[[float], None] | None = None) -> Any:
    from capture.passing.client import Client

    more: dict[str, Any] = {} if wait is None else {"sleep": wait}
    return Client(timeout_s=TIMEOUT_S, tries=TRIES, **more)


def _describe(address: str) -> Any:
    from capture.passing import describe_layer

    try:
        with st.spinner("Asking the service what it holds"):
            return describe_layer(address, client=_client())
    except CaptureError as error:
        st.error(as_markdown(error, most=900), icon=":material/error:")
        return None


def _show_fields(desk: Desk, layer: Any) -> None:
    told = layer.tell_fields()
    told = told.assign(perhaps=[say_role(role) or "not used" for role in told["perhaps"]])
    say(
        "Layer <b>{}</b> has {} fields. Its publisher asks to be named as: {}",
        layer.name or "without a name",
        len(told),
        layer.credit or "nothing said; ask before you pass its figures on.",
    )
    show_table(
        told,
        {"field": ("field", ""), "alias": ("also called", ""), "kind": ("holds", ""),
         "perhaps": ("by its name, perhaps", "")},
        desk.scene,
        caption="What the layer holds",
        most=120,
    )  # fmt: skip


def _offer_fetch(desk: Desk, layer: Any) -> Fetched | None:
    licence = st.text_input(
        "Licence or terms, as the publisher's page says",
        value=layer.credit,
        key=f"service-licence-{layer.url}",
        help="Kept with the area and shown wherever its sources are.",
    )
    if jobs.is_at_work(_JOB) is False and st.button(
        "Fetch the rows in this area", icon=":material/cloud_download:"
    ):
        folder = engine.open_workspace().path.parent / "given"
        extent = desk.extent
        jobs.start_job(_JOB, lambda job: _fetch(job, layer, extent, folder))
    made = jobs.show_job(_JOB, "Fetching")
    if made is not None:
        st.session_state[_file_key(desk)] = made
    held = st.session_state.get(_file_key(desk))
    if held is None or held[0] != layer.url:
        return None
    _, path, remarks, day = held
    for remark in remarks:
        st.caption(as_markdown(remark, most=300))
    where = layer.url.split("//", 1)[-1]
    return Fetched(
        path=path,
        called=f"{plain_text(layer.name, most=60) or 'service'}.geojson",
        source=plain_text(f"feature service {where}, fetched on {day}", most=280),
        licence=licence.strip(),
    )


def _fetch(
    job: jobs.Job, layer: Any, extent: tuple[float, float, float, float], folder: Path
) -> tuple[str, Path, list[str], str]:
    from capture.passing import fetch_counts, save_counts

    def heard(rows: int, of_all: int | None) -> None:
        known = of_all is not None and of_all > 0
        said = f"{rows:,} of {of_all:,} rows" if known else f"{rows:,} rows"
        job.say(said, rows / of_all if known and of_all else None)

    job.say("asking how many rows there are")
    table, remarks = fetch_counts(layer.url, extent=extent, client=_client(job.wait), heard=heard)
    job.say("keeping them as a file")
    mark = hashlib.blake2b(layer.url.encode(), digest_size=8).hexdigest()
    day = datetime.datetime.now(tz=datetime.UTC).date().isoformat()
    path = save_counts(table, folder / f"service-{mark}-{day}.geojson")
    return layer.url, path, remarks, day

"""How do the screens get their answers? The one door from the app to the library.

Areas and places are opened once and kept; the steps of the chain that a change does not
touch are remembered. Nothing is computed here.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, Literal

import streamlit as st

from capture.basis import CaptureError, Offer, Worlds
from siteapp.own_line import get_answer_book, get_answers, get_choice, get_sales
from siteapp.own_notes import get_notes
from siteapp.own_plan import lay_frontage, make_works
from siteapp.own_rows import get_numbers, get_replaced, get_rivals, get_used
from siteapp.own_ties import get_columns, get_ties
from siteapp.own_year import get_year
from siteapp.workspace import Inputs, Workspace, default_path

MOST_KEPT: Final = 24
MOST_RANKINGS: Final = 4
DEMO: Final = Path(__file__).resolve().parent.parent / "data_public" / "demo"
#: the parcel that the demo opens on
DEMO_SITE: Final = "parcel:P01"
Say = Callable[[str], None]


@st.cache_resource(show_spinner=False)
def open_workspace() -> Workspace:
    """Open the workspace that the app was started with."""
    named = os.environ.get("SITEAPP_WORKSPACE")
    return Workspace(Path(named) if named else default_path())


def own_areas() -> Path:
    """Return the folder in which areas made on the screen are kept."""
    return open_workspace().path.parent / "areas"


def named_area() -> str:
    """Return the area that the app was started with, "" when none was named."""
    return os.environ.get("SITEAPP_AREA", "")


def first_site() -> str:
    """Return the site that a new workspace starts with: one of the demo area's, else none."""
    return DEMO_SITE if not os.environ.get("SITEAPP_AREA") and DEMO.exists() else ""


def first_area() -> str:
    """Return the area that a new study starts in."""
    return named_area() or (str(DEMO) if DEMO.exists() else "")


def _stamp(path: str) -> float:
    try:
        return Path(path).stat().st_mtime
    except OSError:
        return 0.0


@st.cache_resource(show_spinner=False, max_entries=4)
def _open_area(path: str, stamp: float) -> Any:
    from capture.area import open_area

    return open_area(Path(path))


def area_stamp(path: str) -> float:
    """Return what tells one state of an area's folder from another."""
    return _stamp(path)


def get_area(path: str) -> Any:
    """Open an area, once."""
    return _open_area(path, _stamp(path))


@st.cache_resource(show_spinner=False, max_entries=4)
def _open_place(path: str, stamp: float) -> Any:
    from capture.place import open_place

    return open_place(_open_area(path, stamp))


def get_place(path: str) -> Any:
    """Open an area's roads, once."""
    return _open_place(path, _stamp(path))


@st.cache_resource(show_spinner=False)
def _memo() -> Any:
    from capture.chain import Memo

    return Memo()


def make_offer(inputs: Inputs) -> Offer:
    """Make the offer of a study."""
    return Offer().change(**inputs.offer)


@st.cache_resource(show_spinner=False, max_entries=16)
def _find_site(area: str, site: str, stamp: float) -> Any:
    from capture.place import find_sites

    return find_sites(_open_area(area, stamp), _open_place(area, stamp), site)


@st.cache_resource(show_spinner=False, max_entries=MOST_KEPT)
def _brief(text: str, stamp: float) -> Any:
    from capture.chain import Request, make_brief, walk_chain
    from capture.chain.steps import find_year

    inputs = Inputs.from_dict(json.loads(text))
    area = get_area(inputs.area)
    sites = _find_site(inputs.area, inputs.site, stamp)
    year = find_year(area, None)
    own = {"place": _open_place(inputs.area, stamp), "year": year, "stamp": stamp}
    choice = get_choice(inputs.line)
    numbers = get_numbers(inputs, area, stamp=stamp)
    request = Request(
        area=area,
        sites=sites,
        offer=make_offer(inputs),
        worlds=Worlds(seed=inputs.seed, draws=inputs.draws),
        numbers=numbers,
        year=year,
        known=get_used(inputs, area, **own),
        rivals=get_rivals(inputs, area, **own),
        answers=get_answers(inputs.answers, sites.ids[0]),
        sales=get_sales(inputs.sales),
        line=choice,
        year_choice=get_year(inputs.year_choice),
        ties=get_ties(inputs),
        columns=get_columns(inputs, area, stamp=stamp),
        notes=get_notes(inputs),
        works=make_works(inputs, sites.ids[0], own["place"].network.projection),
        frontage=lay_frontage(inputs, own["place"], sites, numbers),
        keep=True,
    )
    return make_brief(walk_chain(request, memo=_memo()))


@st.cache_resource(show_spinner=False, max_entries=MOST_KEPT)
def _study(text: str, stamp: float) -> Any:
    from capture.chain import complete_study

    return complete_study(_brief(text, stamp).chain, memo=_memo())


def get_brief(inputs: Inputs) -> Any:
    """Walk the chain for a study, without its queue, pipes and wires; answers at once.

    Raises
    ------
    CaptureError
        When an input cannot be used.
    """
    return _brief(json.dumps(inputs.to_dict(), sort_keys=True), _stamp(inputs.area))


def get_study(inputs: Inputs) -> Any:
    """Complete a study with what takes longer: its queue, pipes and wires, and cautions."""
    return _study(json.dumps(inputs.to_dict(), sort_keys=True), _stamp(inputs.area))


@st.cache_resource(show_spinner=False)
def _rankings() -> dict[tuple[str, str, float], Any]:
    return {}


def _many(text: str, told: str, stamp: float, say: Say | None) -> Any:
    """Rank, or find the ranking among those kept; by hand, since what is said is drawn."""
    kept, key = _rankings(), (text, told, stamp)
    if key not in kept:
        made = _rank(text, told, stamp, say)
        while len(kept) >= MOST_RANKINGS:
            kept.pop(next(iter(kept)))
        kept[key] = made
    return kept[key]


def _rank(text: str, told: str, stamp: float, say: Say | None) -> Any:
    from capture import chain
    from capture.chain.steps import find_year

    inputs = Inputs.from_dict(json.loads(text))
    area = get_area(inputs.area)
    year = find_year(area, None)
    own = {"place": _open_place(inputs.area, stamp), "year": year, "stamp": stamp}
    return chain.many(
        area,
        None,
        make_offer(inputs),
        **_ask_many(inputs, json.dumps(json.loads(told)["answers"])),
        **_lay_plans(inputs, json.loads(told)["plan"], own["place"]),
        seed=inputs.seed,
        draws=inputs.draws,
        replaced=get_replaced(inputs, area, stamp=stamp),
        known=get_used(inputs, area, **own),
        rivals=get_rivals(inputs, area, **own),
        memo=_memo(),
        say=say or (lambda _: None),
    )


def get_memo() -> Any:
    """Return what remembers the steps of the chain."""
    return _memo()


def get_many(inputs: Inputs, say: Say | None = None) -> Any:
    """Rank an area's parcels with a study's offer and numbers."""
    text = json.dumps(inputs.change(site="", answers={}, plan={}).to_dict(), sort_keys=True)
    told = {name: _gather(inputs, name) for name in ("answers", "plan")}
    return _many(text, json.dumps(told, sort_keys=True), _stamp(inputs.area), say)


def _lay_plans(inputs: Inputs, plans: dict[str, Any], place: Any) -> dict[str, Any]:
    """Return works and driveways by parcel, as the parcels' own studies have them."""
    from capture.place import find_sites

    area = get_area(inputs.area)
    numbers = get_numbers(inputs, area, stamp=_stamp(inputs.area))
    works, frontages = {}, {}
    for parcel, plan in plans.items():
        site = f"parcel:{parcel}"
        own = inputs.change(site=site, plan={site: plan})
        works[parcel] = make_works(own, parcel, place.network.projection)
        frontages[parcel] = lay_frontage(own, place, find_sites(area, place, site), numbers)
    laid = {parcel: one for parcel, one in frontages.items() if one is not None}
    return {"works": works, "frontages": laid}


def get_together(inputs: Inputs, most: int, *, exactly: bool) -> Any:
    """Choose which ranked parcels to build together.

    Raises
    ------
    CaptureError
        When no parcel stands.
    """
    from capture.chain.together import choose_parcels

    area = get_area(inputs.area)
    made = get_many(inputs)
    own: dict[str, Any] = {
        "place": get_place(inputs.area), "year": made.year, "stamp": _stamp(inputs.area)
    }  # fmt: skip
    return choose_parcels(
        made, most, exactly=exactly, memo=_memo(), known=get_used(inputs, area, **own),
        **_ask_many(inputs, _answers_of_all(inputs)),
    )  # fmt: skip


def get_answer_book_of(inputs: Inputs) -> Any:
    """Return what all studies of an area know of its parcels; None when nothing is known."""
    return get_answer_book(_answers_of_all(inputs))


def _ask_many(inputs: Inputs, answers: str) -> dict[str, Any]:
    return {
        "answers": get_answer_book(answers),
        "ties": get_ties(inputs),
        "columns": get_columns(inputs, get_area(inputs.area), stamp=_stamp(inputs.area)),
        "notes": get_notes(inputs),
        "sales": get_sales(inputs.sales),
        "line": get_choice(inputs.line),
        "year_choice": get_year(inputs.year_choice),
    }


def _answers_of_all(inputs: Inputs) -> str:
    return json.dumps(_gather(inputs, "answers"), sort_keys=True)


def _gather(inputs: Inputs, name: Literal["answers", "plan"]) -> dict[str, Any]:
    """Gather what all studies of an area say of its parcels, the last changed first."""
    told: dict[str, Any] = {}
    for kept in open_workspace().studies():
        site = kept.inputs.site
        said = kept.inputs.answers if name == "answers" else kept.inputs.plan.get(site)
        if kept.inputs.area == inputs.area and site.startswith("parcel:") and said:
            told.setdefault(site.removeprefix("parcel:"), said)
    return told


@st.cache_resource(show_spinner=False, max_entries=MOST_KEPT)
def get_book(_study_result: Any, key: str) -> Any:
    """Make the book of a study's sources, once."""
    from capture.papers.study_json import make_source_book

    return make_source_book(_study_result)


def get_ground(path: str) -> Any:
    """Pack an area's background, once."""
    from capture.papers.background import keep_background

    return keep_background(get_place(path))


__all__ = [
    "CaptureError",
    "area_stamp",
    "first_area",
    "get_area",
    "get_book",
    "get_brief",
    "get_ground",
    "get_many",
    "get_memo",
    "get_place",
    "get_study",
    "get_together",
    "make_offer",
    "named_area",
    "open_workspace",
    "own_areas",
]
